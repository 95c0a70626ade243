"""Quantities from charge to charge: small panels over a common calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from itertools import groupby
from zoneinfo import ZoneInfo

from markupsafe import Markup

from kilnfolio.charts.axes import (
    Panel,
    dots,
    even_axis,
    read_area,
    read_stops,
    segment,
    svg,
    text,
)
from kilnfolio.charts.calendar import Clock
from kilnfolio.physics.control_chart import ControlLimits, Judged
from kilnfolio.review.figures import measure
from kilnfolio.runtime.values import dataclass

_LEFT, _WIDTH, _VIEW = 54.0, 560.0, 640.0
_TOP, _HEIGHT, _BETWEEN = 44.0, 84.0, 48.0
#: Height of a row of the key, and the width of a mark with its gaps and of a letter; the shapes of the marks about a point: square, triangle, ring, cross, saltire.
_KEY, _GAPS, _LETTER = 28.0, 44.0, 9.0
_SHAPES = (
    "m-3.2 -3.2h6.4v6.4h-6.4z",
    "m0 -4.6l4.6 8h-9.2z",
    "m-4 0a4 4 0 1 0 8 0a4 4 0 1 0 -8 0z",
    "m-4.4 0h8.8m-4.4 -4.4v8.8",
    "m-3.6 -3.6l7.2 7.2m0 -7.2l-7.2 7.2",
)
MARKS = len(_SHAPES)
"""Marks that tell groups apart."""


@dataclass(frozen=True)
class Trend:
    """A quantity with a value for each charge; None where it was not measured."""

    name: str
    unit: str
    values: Sequence[float | None]
    decimals: int = 1
    limits: ControlLimits | None = None
    """Mean and limits, if there are enough charges for them."""
    from_zero: bool = False
    """True if it cannot be negative, so that a limit below 0 is not drawn."""
    levels: Sequence[float | None] = ()
    """The mean before and after a shift, at each charge; without it, the mean of all."""

    @property
    def low(self) -> float | None:
        """Its lower limit; None if it has none."""
        if self.limits is None or (self.from_zero and self.limits.low < 0.0):
            return None
        return self.limits.low

    @property
    def known(self) -> list[float]:
        """The known values, in the order of the charges."""
        return [value for value in self.values if value is not None]


@dataclass(frozen=True)
class Groups:
    """The groups that the charges of a chart belong to, each with a mark of its own."""

    names: Sequence[str]
    """At most `MARKS`."""
    of: Sequence[int]
    """The group of each charge, by its place in `names`."""


def trend_chart(
    title: str,
    charges: Sequence[tuple[str, dt.datetime]],
    trends: Sequence[Trend],
    zone: ZoneInfo,
    groups: Groups | None = None,
    identity: str = "kiln-trends",
) -> Markup:
    """Return the panels; "" if no quantity is known for at least two charges.

    Parameters
    ----------
    title : str
        Title of the chart.
    charges : sequence of (str, datetime)
        Number and start of each charge.
    trends : sequence of Trend
        The quantities, with values in the same order.
    zone : ZoneInfo
        Time zone of the calendar.
    groups : Groups, optional
        Marks the charges of each group; without it, all are dots.
    identity : str
        Unique in the page.
    """
    shown = [trend for trend in trends if sum(one is not None for one in trend.values) > 1]
    if not shown:
        return Markup("")
    start, end = min(at for _, at in charges), max(at for _, at in charges)
    margin = max((end - start) * 0.02, dt.timedelta(days=1))
    clock = Clock(start - margin, (end - start + 2 * margin).total_seconds() / 86_400.0)
    foot = clock.axis(zone)
    key = _key_places(groups.names) if groups else []
    parts = list(_key(key))
    top = _TOP + (_KEY + key[-1][1] if key else 0.0)
    panels = []
    for place, trend in enumerate(shown):
        known = trend.known
        if trend.limits:
            known = [*known, trend.low or 0.0, trend.limits.high]
        panel = Panel(
            _LEFT,
            top + place * (_HEIGHT + _BETWEEN),
            _WIDTH,
            _HEIGHT,
            foot,
            even_axis(min(0.0, *known), max(0.0, *known), f"{trend.name}, {trend.unit}", about=3),
        )
        panels.append(panel)
        parts += [
            panel.frame(x_words=place == len(shown) - 1),
            *_limit_lines(panel, trend),
            *_levels(panel, trend, [clock(at) for _, at in charges]),
            *_points(panel, trend, [clock(at) for _, at in charges], groups),
        ]
    parts += _stops(charges, shown, panels, clock)
    return svg(
        identity,
        _VIEW,
        panels[-1].foot + 56,
        title,
        describe(shown),
        parts,
        read_stops(),
        fits=True,
    )


def _points(
    panel: Panel, trend: Trend, days: Sequence[float], groups: Groups | None
) -> Iterator[Markup]:
    """Yield the charges: dots on a line, or the marks of their groups."""
    of = groups.of if groups else [0] * len(days)
    known = sorted(
        (day, value, group)
        for day, value, group in zip(days, trend.values, of, strict=True)
        if value is not None
    )
    if groups is None:
        yield panel.line("board-1", [(x, y) for x, y, _ in known])
        yield dots("dot board-1", [(panel.x_at(x), panel.y_at(y)) for x, y, _ in known])
    else:
        for x, y, group in known:
            yield _mark(group, panel.x_at(x), panel.y_at(y))


def _mark(group: int, x: float, y: float) -> Markup:
    """Return the mark of a group: its shape tells it apart without its colour."""
    return Markup(f'<path class="mark-{group + 1}" d="M{x:.1f} {y:.1f}{_SHAPES[group]}"/>')


def _key_places(names: Sequence[str]) -> list[tuple[float, float, str]]:
    """Return where each name of the key stands, in as many rows as they need, from the top left."""
    places, x, y = [], 0.0, 0.0
    for name in names:
        wide = _GAPS + _LETTER * len(name)
        if x and x + wide > _VIEW:
            x, y = 0.0, y + _KEY
        places.append((x, y, name))
        x += wide
    return places


def _key(places: Sequence[tuple[float, float, str]]) -> Iterator[Markup]:
    """Yield the marks with the names of their groups."""
    for group, (x, y, name) in enumerate(places):
        yield _mark(group, x + 10.0, y + 14.0)
        yield text("axis", x + 20.0, y + 19.0, name)


def _limit_lines(panel: Panel, trend: Trend) -> Iterator[Markup]:
    """Yield lines for the mean and the two limits across a panel."""
    if trend.limits is None:
        return
    for css, value in (
        ("control-mean", trend.limits.mean),
        ("control-limit", trend.low),
        ("control-limit", trend.limits.high),
    ):
        if value is not None and not (trend.levels and css == "control-mean"):
            yield segment(css, panel.left, panel.y_at(value), panel.right, panel.y_at(value))


def _levels(panel: Panel, trend: Trend, days: Sequence[float]) -> Iterator[Markup]:
    """Yield a line for the mean before a shift, and one for the mean after it."""
    known = (
        [(day, level) for day, level in zip(days, trend.levels, strict=True) if level is not None]
        if trend.levels
        else []
    )
    for _, group in groupby(known, key=lambda one: one[1]):
        part = list(group)
        y = panel.y_at(part[0][1])
        yield segment("control-mean", panel.x_at(part[0][0]), y, panel.x_at(part[-1][0]), y)


def shift_levels(found: Judged, count: int, times: float = 1.0) -> list[float | None]:
    """Return the mean before a shift for each value before it, that after it for the others.

    Parameters
    ----------
    found : Judged
        What the series shows; without a shift, the list is empty.
    count : int
        Number of its values.
    times : float
        What the means are multiplied by, for another unit.
    """
    if found.shifted is None or found.before is None or found.after is None:
        return []
    before, after = times * found.before, times * found.after
    return [before if place < found.shifted else after for place in range(count)]


def describe(trends: Sequence[Trend]) -> str:
    """Return the panels in words: the lowest, highest and latest value of each."""
    said = []
    for trend in trends:
        known = trend.known
        low, high = (measure(edge, trend.unit, trend.decimals) for edge in (min(known), max(known)))
        said.append(f"{trend.name}: {low} to {high}.")
    return " ".join(said)


def _stops(
    charges: Sequence[tuple[str, dt.datetime]],
    trends: Sequence[Trend],
    panels: Sequence[Panel],
    clock: Callable[[dt.datetime], float],
) -> list[Markup]:
    """Return a read-out strip for each charge, half-way to its neighbours on both sides."""
    order = sorted(range(len(charges)), key=lambda place: charges[place][1])
    places = [panels[0].x_at(clock(charges[one][1])) for one in order]
    found = []
    for rank, one in enumerate(order):
        left = panels[0].left if rank == 0 else (places[rank - 1] + places[rank]) / 2
        right = panels[0].right if rank + 1 == len(order) else (places[rank] + places[rank + 1]) / 2
        words = ", ".join(
            f"{trend.name[0].lower()}{trend.name[1:]} "
            f"{measure(trend.values[one], trend.unit, trend.decimals)}"
            for trend in trends
            if trend.values[one] is not None
        )
        found.append(
            read_area(
                f"{charges[one][0]}: {words or 'not measured'}",
                left,
                panels[0].top,
                right - left,
                panels[-1].foot - panels[0].top,
            )
        )
    return found
