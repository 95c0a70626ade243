"""The wording that stands on every page and every PDF; its one home."""

#: Guidance, deference to those who may decide, and the one thing no record may be taken for.
SAFETY = (
    "Guidance only. Follow national and local law, your plant-health authority, the site risk "
    "assessment, permit-to-enter rules and equipment instructions; where they differ, they "
    "prevail. Check current editions. Do not enter a kiln on the strength of this record."
)
