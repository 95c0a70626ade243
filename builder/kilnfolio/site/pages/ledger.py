"""The page of the degrade ledger: what goes with the defects of the final inspection."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import NormalDist

from markupsafe import Markup

from kilnfolio.charts.intervals import Interval, intervals_chart
from kilnfolio.physics.comparisons import CONFIDENCE
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review.dossier import Working
from kilnfolio.review.figures import number
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.workings import Shown, by_id, shown
from kilnfolio.trends.entries import CHANCE, COURSES, LEAST_GROUP, LEAST_PAIRS, Entry, Group
from kilnfolio.trends.ledger import NEWEST, Ledger, TimberShare, degrade_ledger

#: Most lines of a table, and of a drawing, which then fits a printed page.
_SHOWN, _DRAWN = 40, 12
_NIST = "NIST/SEMATECH e-Handbook of Statistical Methods"


@dataclass(frozen=True)
class LedgerRow:
    """A comparison as the page prints it."""

    entry: Entry
    defect: str
    what: str
    """What is compared, in words."""
    linked: tuple[tuple[Group, tuple[tuple[str, str], ...]], ...]
    """Each group with its charges and their pages; "" for a charge of the mill's own list."""


@dataclass(frozen=True)
class LedgerPart:
    """The comparisons of a kind, with their drawing."""

    id: str
    rows: list[LedgerRow]
    """The clearest, at most as many as fit a page."""
    total: int
    drawing: Markup
    drawn: int
    decimals: int


@dataclass(frozen=True)
class PlacesView:
    """How often each defect was found at each place of a kiln."""

    kiln: str
    target: str
    """The map of the kiln's places; "" if it has none."""
    charges: int
    defects: list[str]
    rows: list[tuple[str, list[float]]]
    """Position, and the share of its pieces with each defect [%]."""


@dataclass(frozen=True)
class TimberRow:
    """How often each defect was found in charges of a species."""

    name: str
    target: str
    charges: int
    shares: list[TimberShare | None]
    """By defect; None where too few charges were examined for it, or none had it."""


def ledger_page(context: SiteContext) -> Page:
    """Return the page of the degrade ledger."""
    ledger = degrade_ledger(context.graph)
    rows = [_row(context, one) for one in ledger.entries]
    groups = [row for row in rows if row.entry.groups]
    ranks = [row for row in rows if not row.entry.groups]
    return context.page(
        "ledger.html",
        routes.DEGRADE,
        "What goes with degrade?",
        "trend",
        ledger=ledger,
        groups=_part("ledger-shares", "Shares of two groups, difference in points", groups, 1),
        ranks=_part("ledger-ranks", "Rank correlation with degrade", ranks, 2),
        standing=[row for row in rows if row.entry.stands_out],
        places=list(_places(context, ledger)),
        timber_defects=[context.regional.defect(one) for one in _defects_of_timbers(ledger)],
        timbers=list(_timbers(context, ledger)),
        one_in=round(1 / CHANCE),
        least=LEAST_GROUP,
        pairs=LEAST_PAIRS,
        newest=NEWEST,
        how=by_id([_differences(groups), _correlations(ranks), _corrected(rows)]),
        crumbs=(("Trends", routes.TRENDS),),
        text=["What goes with degrade?", *sorted({row.defect for row in rows})],
    )


def _part(identity: str, axis: str, rows: Sequence[LedgerRow], decimals: int) -> LedgerPart:
    drawn = [
        Interval(
            f"{row.defect[0].upper()}{row.defect[1:]}: {row.what}",
            row.entry.found.effect,
            row.entry.found.low,
            row.entry.found.high,
            row.entry.stands_out,
        )
        for row in rows[:_DRAWN]
    ]
    drawing = intervals_chart(identity, axis, axis, drawn, decimals) if drawn else Markup("")
    return LedgerPart(identity, list(rows[:_SHOWN]), len(rows), drawing, len(drawn), decimals)


def _row(context: SiteContext, entry: Entry) -> LedgerRow:
    return LedgerRow(
        entry,
        context.regional.defect(entry.defect),
        _compared(context, entry),
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


def _compared(context: SiteContext, entry: Entry) -> str:
    """Return what a line compares, in words."""
    folder, about = context.folder, entry.about
    if entry.kind in ("revision", "step") and about in folder.schedules:
        about = folder.schedules[about].record.title
    if entry.kind == "revision":
        newer, older = entry.groups
        return f"{about}, revision {newer.name} against {older.name}"
    if entry.kind == "supplier":
        return f"{context.species_name(about)}, {entry.groups[0].name} against the others"
    if entry.kind == "place":
        kiln = folder.kilns[about].record.name if about in folder.kilns else about
        return f"{kiln}, {entry.groups[0].name} against its other places"
    course = COURSES[entry.what].name
    return f"{course}, in step {entry.step} of {about}" if entry.kind == "step" else course


def _defects_of_timbers(ledger: Ledger) -> list[str]:
    return sorted({one.defect for one in ledger.timbers})


def _timbers(context: SiteContext, ledger: Ledger) -> Iterator[TimberRow]:
    found = {(one.species, one.defect): one for one in ledger.timbers}
    for species in dict.fromkeys(one.species for one in ledger.timbers):
        own = [found.get((species, defect)) for defect in _defects_of_timbers(ledger)]
        yield TimberRow(
            context.species_name(species),
            routes.species(species),
            max(one.charges for one in own if one),
            own,
        )


def _places(context: SiteContext, ledger: Ledger) -> Iterator[PlacesView]:
    for kiln in dict.fromkeys(one.kiln for one in ledger.places):
        tables = [one for one in ledger.places if one.kiln == kiln]
        names = list(dict.fromkeys(name for one in tables for name, *_ in one.places))
        found = {
            (name, one.defect): 100.0 * pieces / of
            for one in tables
            for name, pieces, of in one.places
        }
        known = kiln in context.folder.kilns
        yield PlacesView(
            context.folder.kilns[kiln].record.name if known else kiln,
            routes.kiln(kiln) if known else "",
            max(one.charges for one in tables),
            [context.regional.defect(one.defect) for one in tables],
            [
                (name, [found.get((name, one.defect), float("nan")) for one in tables])
                for name in names
            ],
        )


# --- workings -------------------------------------------------------------------------------------


def _differences(rows: Sequence[LedgerRow]) -> Shown:
    def worked() -> Iterator[Working]:
        for row in rows[:_SHOWN]:
            first, second = row.entry.groups
            found, place = row.entry.found, row.entry.kind == "place"
            n, m = len(first.charges), len(second.charges)
            spread = (
                f"{number(first.sd_pct, 2)} ÷ √{n}"
                if place
                else f"√({number(first.sd_pct, 2)}² ÷ {n} + {number(second.sd_pct, 2)}² ÷ {m})"
            )
            yield Working(
                name=f"{row.defect}, {row.what}",
                formula="mean share − mean share of the others ± t × s ÷ √n, s of the differences "
                "within charges"
                if place
                else "mean of the charges' shares − that of the others ± t × √(s₁² ÷ n₁ + s₂² ÷ n₂)",
                substituted=f"{number(first.mean_pct, 2)} − {number(second.mean_pct, 2)} ± t × {spread}",
                result=f"{number(found.effect, 1)} points, {number(found.low, 1)} to "
                f"{number(found.high, 1)}",
                source=f"{_NIST}, 7.2.2.1" if place else f"{_NIST}, 7.3.1",
            )

    return shown(
        "ledger-shares",
        "Differences of two groups",
        list(worked())[:10],
        "t is Student's for 95 %, of a place for as much more as lets the intervals of all places hold "
        "together, with Welch's degrees of freedom for two groups. The interval comes from the scatter "
        "of these charges alone, the p-value from random divisions of the charges, or from random "
        "orders of the places within each charge. Counts are uneven, so an interval may reach 0 where "
        "the p-value is small.",
        sample=True,
    )


def _correlations(rows: Sequence[LedgerRow]) -> Shown:
    def worked() -> Iterator[Working]:
        for row in rows[:_SHOWN]:
            found, n = row.entry.found, row.entry.n
            z = NormalDist().inv_cdf(1.0 - (1.0 - CONFIDENCE) / (2.0 * row.entry.chosen_from))
            rho = number(found.effect, 2)
            yield Working(
                name=f"{row.defect}, {row.what}",
                formula="tanh(artanh ρ ± z × √((1 + ρ² ÷ 2) ÷ (n − 3))), ρ the correlation of the ranks",
                substituted=f"tanh(artanh {rho} ± {z:.2f} × √((1 + {rho}² ÷ 2) ÷ ({n} − 3)))",
                result=f"{number(found.low, 2)} to {number(found.high, 2)}",
                source="Bonett and Wright, Psychometrika 65 (2000), 23",
            )

    return shown(
        "ledger-ranks",
        "Rank correlations",
        list(worked())[:10],
        "ρ is Spearman's, of what both are less the mean of their timber. A step is the one of its "
        "schedule that goes with the defect most; z and the p-value, from random orders of the charges, "
        "allow for that.",
        sample=True,
    )


def _corrected(rows: Sequence[LedgerRow]) -> Shown:
    def worked() -> Iterator[Working]:
        for place, row in enumerate(rows[:5]):
            yield Working(
                name=f"{row.defect}, {row.what}",
                formula="corrected p = p × lines not clearer than this one, at least as much as the "
                "line before, at most 1",
                substituted=f"{row.entry.found.p_value:.2g} × {len(rows) - place}",
                result=number(row.entry.corrected, 3),
                source="Holm, Scandinavian Journal of Statistics 6 (1979), 65",
            )

    return shown("ledger-holm", "The correction for many lines", list(worked()), sample=True)
