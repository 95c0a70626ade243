"""Pages of trends: whether a kiln or a timber has changed from charge to charge."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from functools import partial

from kilnfolio.charts.trends import MARKS, Groups, Trend, shift_levels, trend_chart
from kilnfolio.physics.control_chart import LEAST
from kilnfolio.records.quantities import Quantity
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review.dossier import Working
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.positions import map_names
from kilnfolio.site.pages.workings import Shown, Workings, by_id, shown, work_out
from kilnfolio.trends.control import (
    ALIKE,
    CHANCE,
    MEASURES,
    NEWEST,
    Measure,
    Verdict,
    looks,
    stream_key,
    streams,
    verdicts,
)

#: What the charges of a kiln, or of a timber, are marked by.
_OTHER = {"kiln": "stock", "stock": "kiln"}
#: Digits after the point by unit; two for others.
DECIMALS = {"%": 0, "arcsine": 1}


@dataclass(frozen=True)
class Signal:
    """Something that stands out on a chart."""

    charge: str
    target: str
    """Its page; empty for a charge of the mill's own list."""
    shift: bool
    """Whether it is the first after a shift; else its own value is beyond a limit."""
    high: bool
    """Whether it is above the limit, or higher after the shift."""
    value: float
    """Its own value, or the mean after the shift."""
    before: float
    """The limit it is beyond, or the mean before the shift."""


@dataclass(frozen=True)
class Line:
    """A quantity as the page's table prints it."""

    name: str
    trend: Trend
    signals: list[Signal]
    listed: int
    left_out: int
    enough: bool
    decimals: int


@dataclass(frozen=True)
class TrendView:
    """Everything a page of trends prints."""

    kind: str
    name: str
    about: str
    """Page of the kiln or the species."""
    chart: str
    lines: list[Line]
    charges: list[tuple[str, str, str, str, list[float | None]]]
    """Number, page, day of start, its timber or kiln, and its value of each quantity; newest first."""
    listed: int
    looks: int
    how: Workings


@dataclass(frozen=True)
class Found:
    """A quantity that has changed, in the list of the whole mill."""

    name: str
    target: str
    line: Line


def trend_names(context: SiteContext) -> list[str]:
    """Return the keys of the pages: every kiln, and each timber with enough charges."""
    return [key for key in streams(context.graph) if _has_page(context, key)]


def _has_page(context: SiteContext, key: str) -> bool:
    kind, _, named = key.partition(":")
    if kind == "kiln":
        return named in context.folder.kilns
    return any(one.series.enough for one in verdicts(context.graph, key))


def trend_index(context: SiteContext) -> Page:
    """Return the page of what has changed in the whole mill."""
    rows = [(name_of(context, key), routes.trend(key), key) for key in trend_names(context)]
    found = [
        Found(name, target, line)
        for name, target, key in rows
        for line in _lines(context, key)
        if line.signals
    ]
    return context.page(
        "trends_index.html",
        routes.TRENDS,
        "Trends",
        "trend",
        rows=rows,
        found=found,
        maps=[
            (context.folder.kilns[name].record.name, routes.position_map(name))
            for name in map_names(context)
        ],
        degrade=routes.DEGRADE,
        looks=looks(context.graph),
        one_in=round(1 / CHANCE),
        enough=LEAST,
        summary="What the charges together show: whether a kiln or a timber has changed.",
    )


def trend_page(context: SiteContext, key: str) -> Page:
    """Return the page of a kiln's or a timber's trends."""
    view = _view(context, key)
    title = (
        f"Does {view.name} still dry as it used to?"
        if view.kind == "kiln"
        else f"Does {view.name} still come out as it used to?"
    )
    return context.page(
        "trend.html",
        routes.trend(key),
        title,
        "trend",
        view=view,
        enough=LEAST,
        newest=NEWEST,
        alike=ALIKE,
        one_in=round(1 / CHANCE),
        crumbs=(("Trends", routes.TRENDS),),
        summary="",
        text=[title, *(line.name for line in view.lines)],
    )


def name_of(context: SiteContext, key: str) -> str:
    """Return the name of a kiln, or of a timber with its thickness as first entered."""
    kind, _, named = key.partition(":")
    if kind == "kiln":
        kilns = context.folder.kilns
        return kilns[named].record.name if named in kilns else named
    species, _, thickness = named.partition("/")
    return f"{thickness_words(float(thickness))} {context.species_name(species)}"


def thickness_words(mm: float) -> str:
    """Return a thickness in quarters of an inch where it is whole quarters, else in millimetres."""
    quarters = mm / 6.35
    exact = abs(quarters - round(quarters)) < 0.01 and quarters >= 4
    return f"{round(quarters)}/4" if exact else f"{mm:g}\N{NO-BREAK SPACE}mm"


def _view(context: SiteContext, key: str) -> TrendView:
    kind, _, named = key.partition(":")
    found, lines = verdicts(context.graph, key), _lines(context, key)
    starts = {
        number: at
        for one in found
        for number, at in zip(one.series.numbers, one.series.started, strict=True)
    }
    order = sorted(starts, key=lambda number: (starts[number], number))
    within = _within(context, kind, found)
    return TrendView(
        kind,
        name_of(context, key),
        routes.kiln(named) if kind == "kiln" else routes.species(named.partition("/")[0]),
        trend_chart(
            _charted(name_of(context, key)),
            [(number, starts[number]) for number in order],
            [_aligned(line.trend, one, order) for line, one in zip(lines, found, strict=True)],
            context.folder.mill.record.zone,
            _groups([within[number] for number in order]),
        ),
        lines,
        [
            (
                number,
                _page_of(context, number),
                starts[number].astimezone(context.folder.mill.record.zone).date().isoformat(),
                within[number],
                [_at(line.trend, one, number) for line, one in zip(lines, found, strict=True)],
            )
            for number in reversed(order)
        ],
        max((line.listed for line in lines), default=0),
        looks(context.graph),
        by_id([_limits_shown(lines), _scores_shown(found, lines)]),
    )


def _within(context: SiteContext, kind: str, found: Sequence[Verdict]) -> dict[str, str]:
    """Return the timber of each charge of a kiln, or the kiln of each charge of a timber."""
    names: dict[str, str] = {}
    of: dict[str, str] = {}
    for one in found:
        keys = one.series.stocks if kind == "kiln" else one.series.kilns
        for number, key in zip(one.series.numbers, keys, strict=True):
            if key not in names:
                names[key] = name_of(context, stream_key(_OTHER[kind], key))
            of[number] = names[key]
    return of


def _groups(names: Sequence[str]) -> Groups | None:
    """Return the marks of charges, the rarest groups together; None if all are alike."""
    often = [name for name, _ in Counter(names).most_common()]
    if len(often) < 2:
        return None
    marked = sorted(often if len(often) <= MARKS else often[: MARKS - 1])
    places = {name: place for place, name in enumerate(marked)}
    shown = marked if len(often) <= MARKS else [*marked, "others"]
    return Groups(shown, [places.get(name, MARKS - 1) for name in names])


def _charted(name: str) -> str:
    return f"{name}, charge by charge"


def _at(trend: Trend, verdict: Verdict, number: str) -> float | None:
    numbers = verdict.series.numbers
    return trend.values[numbers.index(number)] if number in numbers else None


def _aligned(trend: Trend, verdict: Verdict, order: Sequence[str]) -> Trend:
    """Return a trend with a value, and a level, for every charge of the page."""
    places = {number: at for at, number in enumerate(verdict.series.numbers)}

    def spread(values: Sequence[float | None]) -> list[float | None]:
        return [values[places[number]] if number in places else None for number in order]

    return Trend(
        trend.name,
        trend.unit,
        spread(trend.values),
        trend.decimals,
        trend.limits,
        levels=spread(trend.levels) if trend.levels else (),
    )


def _page_of(context: SiteContext, number: str) -> str:
    return routes.charge(number) if number in context.folder.charges else ""


def _lines(context: SiteContext, key: str) -> list[Line]:
    return [_line(context, one) for one in verdicts(context.graph, key)]


def _line(context: SiteContext, verdict: Verdict) -> Line:
    series = verdict.series
    measure = MEASURES[series.measure]
    unit, times = _unit(context, measure)
    values = [times * value for value in series.values]
    found = verdict.judged
    limits = found.limits if found else None
    trend = Trend(
        measure.name,
        unit,
        values,
        DECIMALS.get(unit, 2),
        limits and type(limits)(limits.n, times * limits.mean, times * limits.sigma, limits.width),
        levels=shift_levels(found, len(values), times) if found else (),
    )
    return Line(
        measure.name,
        trend,
        list(signals_of(verdict, partial(_page_of, context), times)),
        series.listed,
        series.left_out,
        series.enough,
        trend.decimals,
    )


def _unit(context: SiteContext, measure: Measure) -> tuple[str, float]:
    """Return the unit of a measure in the region, and what its values are multiplied by."""
    if not measure.unit.startswith("K"):
        return measure.unit, 1.0
    scale = context.regional.difference_scale
    return measure.unit.replace("K", scale.unit, 1), scale.of(1.0)


def signals_of(
    verdict: Verdict, page_of: Callable[[str], str], times: float = 1.0
) -> Iterator[Signal]:
    """Yield what stands out on a chart.

    Parameters
    ----------
    verdict : Verdict
        What the series shows.
    page_of : callable
        Takes the number of a charge; returns its page, or "".
    times : float
        What values are multiplied by, for another unit.
    """
    numbers, values, found = verdict.series.numbers, verdict.series.values, verdict.judged
    if found is None:
        return
    if found.shifted is not None and found.before is not None and found.after is not None:
        number, after, before = numbers[found.shifted], times * found.after, times * found.before
        yield Signal(number, page_of(number), True, found.after > found.before, after, before)
    for at in found.beyond:
        high = values[at] > found.limits.high
        edge = found.limits.high if high else found.limits.low
        number = numbers[at]
        yield Signal(number, page_of(number), False, high, times * values[at], times * edge)


def _limits_shown(lines: Sequence[Line]) -> Shown:
    def worked() -> Iterator[Working | None]:
        for line in lines:
            if line.trend.limits:
                width = line.trend.limits.width
                for end in ("lower", "upper"):
                    yield work_out(
                        f"{end}_trend_limit",
                        f"{line.name}, {line.trend.unit}",
                        of=line.trend.known,
                        width=Quantity(width, f"{width:.2f}"),
                    )

    return shown(
        "trend-limits",
        "The limits of single charges",
        worked(),
        "The width is found by simulation: steady series of as many charges, each judged by its own "
        "moving range, stay within it except for the share that the number of charts allows.",
    )


def _scores_shown(found: Sequence[Verdict], lines: Sequence[Line]) -> Shown:
    return shown(
        "trend-shift",
        "The score of a shift",
        (
            work_out("shift_score", f"{line.name}, {line.trend.unit}", of=line.trend.known)
            for verdict, line in zip(found, lines, strict=True)
            if verdict.judged is not None
        ),
        "The score that shows a shift is found by simulation: these same values in random orders stay "
        "below it except for the share that the number of charts allows.",
    )
