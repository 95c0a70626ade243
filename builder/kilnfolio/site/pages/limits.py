"""The page of a limit: how past charges and lots would stand at other values of it."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.limit_values import ValueBars, limit_chart
from kilnfolio.records.limits import Limit
from kilnfolio.records.sourced import Status
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review import figures
from kilnfolio.review.findings import CHECKS
from kilnfolio.review.limit_values import Flip
from kilnfolio.review.own_code import own_code
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import Citation, SiteContext, check_address
from kilnfolio.site.limit_trials import NEWEST, EntryStanding, limit_standings
from kilnfolio.site.pages.checks import INDEX, checks_of, decimals_of, scope_words


@dataclass(frozen=True)
class FlipLine:
    """A record whose results would change."""

    name: str
    target: str
    checks: tuple[tuple[str, str, str], ...]
    """Of each check that would say something else: its title, and its outcomes before and after."""


@dataclass(frozen=True)
class ValueRow:
    """A value tried."""

    value: str
    today: bool
    more: int
    less: int
    other: int
    """Records that would have as much to answer, but of another kind."""
    records: tuple[FlipLine, ...]


@dataclass(frozen=True)
class EntryView:
    """One entry of the limit."""

    anchor: str
    value: str
    meaning: str
    scope: str
    cite: Citation
    status: Status
    charges: int
    lots: int
    chart: Markup
    rows: tuple[ValueRow, ...]
    command: str


def limit_names(context: SiteContext) -> Sequence[str]:
    """Return the limits that have a page: those that the review of a charge or lot has read."""
    if context.edition != "mill":
        return ()
    # a store keeps the entries of a table, not the table
    return tuple(
        key
        for key in sorted(context.folder.limits.record.limits)
        if limit_standings.entry(context.graph, key) is not None
    )


def limit_page(context: SiteContext, key: str) -> Page:
    """Return the page of a limit."""
    entries = context.folder.limits.record.limits[key]
    found = limit_standings.entry(context.graph, key, ())
    views = [_entry(context, key, entries[one.place], one, len(entries) > 1) for one in found]
    used_by = [check for check in checks_of(context).values() if key in check.limits]
    title = f"What would another value of {key} change?"
    return context.page(
        "limit.html",
        routes.limit(key),
        title,
        "limit",
        key=key,
        entries=views,
        used_by=[(check.title, check_address(check.slug)) for check in used_by],
        newest=NEWEST,
        guide=routes.guide("change-a-limit"),
        summary=context.regional.localized(entries[found[0].place].meaning),
        crumbs=(("Checks", INDEX),),
        text=[key.replace("-", " "), key],
    )


def _entry(
    context: SiteContext, key: str, limit: Limit, found: EntryStanding, several: bool
) -> EntryView:
    name = f"{key}-{found.place + 1}" if several else key
    rows = sorted(
        [
            (limit.value, _today(limit)),
            *((value, _row(context, limit, value, flips)) for value, flips in found.flips.items()),
        ],
        key=lambda pair: pair[0],
    )
    firsts = [_first(context, row.value) for _, row in rows]
    bars = [
        ValueBars(number, row.more, row.less, row.today)
        for (number, _), (_, row) in zip(firsts, rows, strict=True)
    ]
    tried = next((value for value, flips in found.flips.items() if flips), None) or next(
        iter(found.flips), limit.value
    )
    at = f"{key}:{found.place + 1}" if several else key
    return EntryView(
        name,
        _words(limit, limit.value),
        limit.meaning,
        scope_words(context, limit),
        context.cite(limit.source),
        limit.status,
        found.charges,
        found.lots,
        limit_chart(f"limit-{name}", f"{key} at other values", firsts[0][1], bars)
        if any(row.more or row.less for _, row in rows)
        else Markup(""),
        tuple(row for _, row in rows),
        f"kilnfolio try-limit {at}={tried:g}",
    )


def _first(context: SiteContext, words: str) -> tuple[str, str]:
    """Return the number and the unit of a value as the region puts it first."""
    number, _, unit = context.regional.localized(words).partition(" (")[0].partition(figures.NBSP)
    return number, unit


def _words(limit: Limit, value: float) -> str:
    return figures.measure(value, limit.unit, decimals_of(value))


def _today(limit: Limit) -> ValueRow:
    return ValueRow(_words(limit, limit.value), True, 0, 0, 0, ())


def _row(context: SiteContext, limit: Limit, value: float, flips: Sequence[Flip]) -> ValueRow:
    by_record: dict[str, list[Flip]] = {}
    for flip in flips:
        by_record.setdefault(flip.record, []).append(flip)
    weights = [_weight(found) for found in by_record.values()]
    return ValueRow(
        _words(limit, value),
        False,
        weights.count(1),
        weights.count(-1),
        weights.count(0),
        tuple(_line(context, name, found) for name, found in by_record.items()),
    )


def _weight(flips: Sequence[Flip]) -> int:
    """Return 1 if a record would have more to answer in all, -1 if less, 0 if as much."""
    balance = sum(flip.weight for flip in flips)
    return (balance > 0) - (balance < 0)


def _line(context: SiteContext, record: str, flips: Sequence[Flip]) -> FlipLine:
    target = (
        routes.lot(record.removeprefix("lot "))
        if record.startswith("lot ")
        else routes.charge(record)
    )
    known = CHECKS | dict(own_code(context.folder.graph).checks)
    return FlipLine(
        record if record.startswith("lot ") else f"charge {record}",
        target,
        tuple(
            (known[flip.check].title, _counted(flip.before), _counted(flip.after)) for flip in flips
        ),
    )


def _counted(outcomes: dict[str, int]) -> str:
    if len(outcomes) == 1 and sum(outcomes.values()) == 1:
        return next(iter(outcomes))
    return ", ".join(f"{count} {word}" for word, count in sorted(outcomes.items())) or "no result"
