"""The page of the degrade ledger: what goes with the defects of the final inspection."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review.dossier import Working
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.workings import Shown, by_id, shown
from kilnfolio.trends.ledger import (
    CHANCE,
    COURSES,
    LEAST_GROUP,
    LEAST_PAIRS,
    Entry,
    Group,
    degrade_ledger,
)

_SHOWN = 60


@dataclass(frozen=True)
class LedgerRow:
    """A comparison as the page prints it."""

    entry: Entry
    defect: str
    about: str
    """The schedule or the species; empty for all timbers."""
    what: str
    """What is compared: a course of the charge, or a supplier; empty for revisions."""
    linked: tuple[tuple[Group, tuple[tuple[str, str], ...]], ...]
    """Each group with its charges and their pages; "" for a charge of the mill's own list."""


def ledger_page(context: SiteContext) -> Page:
    """Return the page of the degrade ledger."""
    ledger = degrade_ledger(context.graph)
    rows = [_row(context, one) for one in ledger.entries]
    return context.page(
        "ledger.html",
        routes.DEGRADE,
        "What goes with degrade?",
        "trend",
        ledger=ledger,
        rows=rows[:_SHOWN],
        standing=[row for row in rows if row.entry.stands_out],
        one_in=round(1 / CHANCE),
        least=LEAST_GROUP,
        pairs=LEAST_PAIRS,
        how=by_id([_shown(rows)]),
        crumbs=(("Trends", routes.TRENDS),),
        text=["What goes with degrade?", *sorted({row.defect for row in rows})],
    )


def _row(context: SiteContext, entry: Entry) -> LedgerRow:
    about = entry.about
    if entry.kind == "revision" and about in context.folder.schedules:
        about = context.folder.schedules[about].record.title
    elif entry.kind == "supplier":
        about = context.species_name(about)
    return LedgerRow(
        entry,
        context.regional.defect(entry.defect),
        about,
        COURSES[entry.what].name if entry.what else "",
        tuple(
            (
                group,
                tuple(
                    (name, routes.charge(name) if name in context.folder.charges else "")
                    for name in group.charges
                ),
            )
            for group in entry.groups
        ),
    )


def _shown(rows: Sequence[LedgerRow]) -> Shown:
    def worked() -> Iterator[Working]:
        for row in rows:
            groups = row.entry.groups
            if len(groups) == 2:
                yield Working(
                    name=f"{row.defect}, {row.about}",
                    formula="share = pieces with the defect ÷ pieces examined",
                    substituted=" and ".join(f"{one.pieces} ÷ {one.of}" for one in groups),
                    result=" and ".join(f"{one.share_pct:.1f} %" for one in groups),
                    source="the definition",
                )

    return shown(
        "ledger",
        "The shares of two groups",
        list(worked())[:20],
        "A difference is that of the mean shares of charges, with Welch's interval (NIST/SEMATECH "
        "e-Handbook, 7.3.1); its p-value comes from random divisions of the charges. A correlation is "
        "Spearman's, within timbers. Both p-values are corrected by Holm's method for all lines.",
        sample=True,
    )
