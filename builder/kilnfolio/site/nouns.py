"""Every noun that has pages, by edition: which there are of it, and how one is made."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from kilnfolio.records.reading import ALL
from kilnfolio.rendering.page import Page
from kilnfolio.review.findings import CHECKS
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.audit import audit_charge, audit_register, years_listed
from kilnfolio.site.pages.charges import charge_pages, open_charge_page
from kilnfolio.site.pages.checks import check_index, check_page
from kilnfolio.site.pages.early_warnings import early_warnings_page
from kilnfolio.site.pages.guide import guide_index, guide_page, guide_slugs
from kilnfolio.site.pages.home import home_page
from kilnfolio.site.pages.kiln_plan import calendar_page, plan_page
from kilnfolio.site.pages.kiln_side import (
    kiln_side_names,
    kiln_side_page,
    worker_file,
    worker_names,
)
from kilnfolio.site.pages.kilns import kiln_index, kiln_page
from kilnfolio.site.pages.lots import lot_page
from kilnfolio.site.pages.records import records_page
from kilnfolio.site.pages.registers import (
    manifest_script,
    register_names,
    register_page,
    register_script,
    script_names,
)
from kilnfolio.site.pages.rows import CHARGES, LOTS, Register
from kilnfolio.site.pages.schedule_changes import changed_names, changes_page
from kilnfolio.site.pages.schedules import schedule_index, schedule_page
from kilnfolio.site.pages.sources import sources_page
from kilnfolio.site.pages.species import species_index, species_page

Made = Page | Iterable[Page]


@dataclass(frozen=True)
class Noun:
    """A kind of page: which there are of it, and how one is made."""

    names: Callable[[SiteContext], Iterable[str]]
    """What each is called; "" where there is one only."""
    make: Callable[[SiteContext, str], Made]

    def pages(self, context: SiteContext, name: str) -> tuple[Page, ...]:
        """Return the page or pages of one of them."""
        made = self.make(context, name)
        return (made,) if isinstance(made, Page) else tuple(made)


def _one(make: Callable[[SiteContext], Page]) -> Noun:
    return Noun(lambda _: ("",), lambda context, _: make(context))


def _register(register: Register) -> Noun:
    return Noun(
        lambda context: register_names(context, register),
        lambda context, name: register_page(context, register, name),
    )


def _rows(register: Register) -> Noun:
    return Noun(
        lambda context: script_names(context, register),
        lambda context, name: register_script(context, register, name),
    )


_LIBRARY: Mapping[str, Noun] = {
    "species-index": _one(species_index),
    "species": Noun(lambda context: sorted(context.folder.species), species_page),
    "schedule-index": _one(schedule_index),
    "schedule": Noun(lambda context: sorted(context.folder.schedules), schedule_page),
    "schedule-changes": Noun(changed_names, changes_page),
    "kiln-index": _one(kiln_index),
    "kiln": Noun(lambda context: sorted(context.folder.kilns), kiln_page),
    "check-index": _one(check_index),
    "check": Noun(lambda _: tuple(CHECKS), check_page),
    "sources": _one(sources_page),
}

#: The pages of the mill edition beside the handbook and search.
MILL: Mapping[str, Noun] = {
    "home": _one(home_page),
    **_LIBRARY,
    "charge-register": _register(CHARGES),
    "charge": Noun(lambda context: context.charges[ALL], charge_pages),
    "open_charge": Noun(lambda context: sorted(context.open_reviews), open_charge_page),
    "plan": _one(plan_page),
    "early-warnings": _one(early_warnings_page),
    "kiln-side": Noun(kiln_side_names, kiln_side_page),
    "lot-register": _register(LOTS),
    "lot": Noun(lambda context: context.lots[ALL], lot_page),
    "records": _one(records_page),
    "guide-index": _one(guide_index),
    "guide": Noun(lambda _: guide_slugs(), guide_page),
}

#: Script files the mill edition's registers and search load.
SCRIPTS: Mapping[str, Noun] = {
    "charge-rows": _rows(CHARGES),
    "lot-rows": _rows(LOTS),
    "rows": _one(manifest_script),
    "calendar": _one(calendar_page),
    "kiln-side-files": Noun(worker_names, worker_file),
}

#: The pages of the auditor edition; links that lead out of it are to be made words: `within`.
AUDITOR: Mapping[str, Noun] = {
    "audit-register": Noun(lambda context: ("", *map(str, years_listed(context))), audit_register),
    "audit-charge": Noun(lambda context: context.charges[ALL], audit_charge),
    **_LIBRARY,
}
