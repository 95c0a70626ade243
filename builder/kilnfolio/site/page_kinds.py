"""Every kind of page, by edition: its page names, and the function that makes a page."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from kilnfolio.records.reading import ALL
from kilnfolio.rendering.page import Page
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.audit import audit_charge, audit_register, years_listed
from kilnfolio.site.pages.charges import charge_pages, open_charge_page
from kilnfolio.site.pages.checks import check_index, check_page, checks_of
from kilnfolio.site.pages.compared_charges import compared_charges_page, compared_kinds
from kilnfolio.site.pages.compared_schedules import (
    compared_schedules,
    compared_schedules_page,
)
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
from kilnfolio.site.pages.ledger import ledger_page
from kilnfolio.site.pages.limits import limit_names, limit_page
from kilnfolio.site.pages.lots import lot_page
from kilnfolio.site.pages.measuring import measuring_page
from kilnfolio.site.pages.positions import map_names, map_page
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
from kilnfolio.site.pages.trends import trend_index, trend_names, trend_page

PageOrPages = Page | Iterable[Page]


@dataclass(frozen=True)
class PageKind:
    """A kind of page: its page names, and the function that makes a page."""

    names: Callable[[SiteContext], Iterable[str]]
    """The name of each page; "" for a kind with a single page."""
    make: Callable[[SiteContext, str], PageOrPages]
    batch: int = 50
    """As for `Derived`."""

    def pages(self, context: SiteContext, name: str) -> tuple[Page, ...]:
        """Return the page, or pages, of a name."""
        made = self.make(context, name)
        return (made,) if isinstance(made, Page) else tuple(made)


def _one(make: Callable[[SiteContext], Page]) -> PageKind:
    return PageKind(lambda _: ("",), lambda context, _: make(context))


def _register(register: Register) -> PageKind:
    return PageKind(
        lambda context: register_names(context, register),
        lambda context, name: register_page(context, register, name),
    )


def _rows(register: Register) -> PageKind:
    return PageKind(
        lambda context: script_names(context, register),
        lambda context, name: register_script(context, register, name),
    )


_LIBRARY: Mapping[str, PageKind] = {
    "species-index": _one(species_index),
    "species": PageKind(lambda context: sorted(context.folder.species), species_page, 160),
    "schedule-index": _one(schedule_index),
    "schedule": PageKind(lambda context: sorted(context.folder.schedules), schedule_page, 13),
    "schedule-changes": PageKind(changed_names, changes_page),
    "kiln-index": _one(kiln_index),
    "kiln": PageKind(lambda context: sorted(context.folder.kilns), kiln_page),
    "check-index": _one(check_index),
    "check": PageKind(lambda context: tuple(checks_of(context)), check_page, 250),
    "sources": _one(sources_page),
}

#: Pages of the mill edition, apart from the handbook and search.
MILL: Mapping[str, PageKind] = {
    "home": _one(home_page),
    **_LIBRARY,
    "charge-register": _register(CHARGES),
    "charge": PageKind(lambda context: context.charges[ALL], charge_pages, 7),
    "open_charge": PageKind(lambda context: sorted(context.open_reviews), open_charge_page),
    "plan": _one(plan_page),
    "compared-charges": PageKind(compared_kinds, compared_charges_page),
    "compared-schedules": PageKind(compared_schedules, compared_schedules_page),
    "measuring": _one(measuring_page),
    "limit": PageKind(limit_names, limit_page, 200),
    "early-warnings": _one(early_warnings_page),
    "kiln-side": PageKind(kiln_side_names, kiln_side_page),
    "trend-index": _one(trend_index),
    "trend": PageKind(trend_names, trend_page, 100),
    "degrade": _one(ledger_page),
    "places": PageKind(map_names, map_page),
    "lot-register": _register(LOTS),
    "lot": PageKind(lambda context: context.lots[ALL], lot_page, 60),
    "records": _one(records_page),
    "guide-index": _one(guide_index),
    "guide": PageKind(lambda _: guide_slugs(), guide_page, 6),
}

#: Files that pages of the mill edition load or link to.
SCRIPTS: Mapping[str, PageKind] = {
    "charge-rows": _rows(CHARGES),
    "lot-rows": _rows(LOTS),
    "rows": _one(manifest_script),
    "calendar": _one(calendar_page),
    "kiln-side-files": PageKind(worker_names, worker_file),
}

#: Pages of the auditor edition, before `audit.without_outside_links`.
AUDITOR: Mapping[str, PageKind] = {
    "audit-register": PageKind(
        lambda context: ("", *map(str, years_listed(context))), audit_register
    ),
    "audit-charge": PageKind(lambda context: context.charges[ALL], audit_charge, 25),
    **_LIBRARY,
}
