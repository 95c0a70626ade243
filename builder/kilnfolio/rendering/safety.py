"""The safety wording on every page and PDF, defined only here."""

#: What the pages are for, who decides instead, and what no record may be mistaken for.
SAFETY = (
    "Guidance only. Follow national and local law, your plant-health authority, the site risk "
    "assessment, permit-to-enter rules and equipment instructions; where they differ, they "
    "prevail. Check current editions. Do not enter a kiln on the strength of this record."
)
