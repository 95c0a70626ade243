"""A charge over time: moisture above, air below, with steps, stops and gaps through both."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Sequence
from zoneinfo import ZoneInfo

from markupsafe import Markup

from kilnfolio.charts.axes import (
    Axis,
    Panel,
    even_axis,
    read_clock,
    segment,
    spread,
    svg,
    text,
)
from kilnfolio.review.dossier import AirPoint, BoardResult, Dossier

#: Line styles that tell boards apart.
_STYLES = 8
_LEFT, _WIDTH, _VIEW = 46.0, 560.0, 720.0
_TOP, _UPPER, _BETWEEN, _LOWER = 62.0, 210.0, 54.0, 190.0
_LABEL_GAP = 16.0


def charge_chart(dossier: Dossier, zone: ZoneInfo) -> Markup:
    """Return the chart of a charge; "" where neither boards nor a log are on record.

    Parameters
    ----------
    dossier : Dossier
        The charge.
    zone : ZoneInfo
        Clock the foot is labelled by.
    """
    if not dossier.boards and dossier.log is None:
        return Markup("")
    clock = _Clock(dossier)
    foot = clock.axis(zone)
    upper = Panel(
        _LEFT,
        _TOP,
        _WIDTH,
        _UPPER,
        foot,
        even_axis(0.0, _most(_moistures(dossier)), "Moisture content, %", about=5),
    )
    lower = Panel(
        _LEFT,
        _TOP + _UPPER + _BETWEEN,
        _WIDTH,
        _LOWER,
        foot,
        even_axis(0.0, _most(_temperatures(dossier)), "Dry bulb and wet bulb, °C; EMC, %", about=5),
    )
    bands = [
        *_bands(dossier, upper, clock, words=True),
        *_bands(dossier, lower, clock, words=False),
    ]
    parts = [
        *bands,
        upper.frame(x_words=False),
        lower.frame(),
        *_step_lines(dossier, upper, lower, clock),
        *_board_lines(dossier, upper, clock),
        *_air_lines(dossier, lower, clock),
    ]
    return svg(
        "charge-chart",
        _VIEW,
        lower.foot + 50,
        f"Charge {dossier.charge}",
        describe(dossier),
        parts,
        read_clock(clock.start, clock.days, upper, lower),
    )


def describe(dossier: Dossier) -> str:
    """Return what the chart shows, for those who cannot see it."""
    days = (dossier.ended - dossier.started).total_seconds() / 86_400.0
    parts = [f"{days:.1f} days of drying."]
    if dossier.controlling:
        first, last = dossier.controlling[0], dossier.controlling[-1]
        parts.append(
            f"The controlling moisture content falls from {first.mc_pct:.1f} to "
            f"{last.mc_pct:.1f} %."
        )
    dry = (
        [point.dry_bulb_c for point in dossier.log.air if point.dry_bulb_c is not None]
        if dossier.log
        else []
    )
    if dry:
        parts.append(f"The dry bulb lies between {min(dry):.1f} and {max(dry):.1f} °C.")
    parts.append(f"{len(dossier.steps)} step changes, {len(dossier.gaps)} stops and gaps.")
    return " ".join(parts)


class _Clock:
    """Days from the start of the chart."""

    def __init__(self, dossier: Dossier):
        log = dossier.log
        self.start = min([dossier.started, *([log.first] if log else [])])
        ends = [
            dossier.ended,
            *([log.last] if log else []),
            *(board.points[-1].at for board in dossier.boards if board.points),
        ]
        self.days = max(self._days(max(ends)), 0.1)

    def _days(self, moment: dt.datetime) -> float:
        return (moment - self.start).total_seconds() / 86_400.0

    def __call__(self, moment: dt.datetime) -> float:
        return min(max(self._days(moment), 0.0), self.days)

    def axis(self, zone: ZoneInfo) -> Axis:
        begun = f"{self.start.astimezone(zone):%Y-%m-%d %H:%M %Z}"
        round_marks = even_axis(0.0, self.days, about=9).ticks
        return Axis(
            0.0,
            self.days,
            tuple(mark for mark in round_marks if mark[0] <= self.days + 1e-9),
            f"days from {begun}",
        )


def _moistures(dossier: Dossier) -> Iterator[float]:
    yield from (point.mc_pct for board in dossier.boards for point in board.points)
    yield dossier.target_mc_pct


def _temperatures(dossier: Dossier) -> Iterator[float]:
    for point in dossier.log.air if dossier.log else ():
        yield from (
            value
            for value in (point.dry_bulb_c, point.wet_bulb_c, point.emc_pct)
            if value is not None
        )
    yield from (point.dry_bulb_c for point in dossier.set_points)


def _most(values: Iterable[float]) -> float:
    return max(values, default=20.0)


def _bands(dossier: Dossier, panel: Panel, clock: _Clock, *, words: bool) -> Iterator[Markup]:
    for gap in dossier.gaps:
        css, first, last = f"{gap.kind}-band", clock(gap.start), clock(gap.end)
        yield panel.band(css, first, last)
        if words and panel.x_at(last) - panel.x_at(first) > 26:
            yield text(css, panel.x_at((first + last) / 2), panel.foot - 8, gap.kind, "middle")


def _step_lines(dossier: Dossier, upper: Panel, lower: Panel, clock: _Clock) -> Iterator[Markup]:
    free = -100.0
    for point in dossier.set_points:
        x = upper.x_at(clock(point.at))
        stage = not point.label.isdigit()
        yield segment("step-line", x, upper.top, x, upper.foot)
        yield segment("step-line", x, lower.top, x, lower.foot)
        # between the panels; stages are words, and stand a line lower than the numbers of steps
        if stage:
            yield text(
                "step-line",
                x,
                upper.foot + 32,
                point.label,
                "end" if point.label == "equalizing" else "start",
            )
        elif x - free > 11:
            yield text("step-line", x, upper.foot + 14, point.label, "middle")
            free = x


def _board_lines(dossier: Dossier, panel: Panel, clock: _Clock) -> Iterator[Markup]:
    for place, board in enumerate(dossier.boards):
        points = [(clock(point.at), point.mc_pct) for point in board.points]
        yield panel.line(_style(place), points)
    yield panel.line(
        "controlling", [(clock(point.at), point.mc_pct) for point in dossier.controlling]
    )
    target = panel.y_at(dossier.target_mc_pct)
    yield segment("target-line", panel.left, target, panel.right, target)
    below = panel.foot - target > 24  # where the target's line leaves room for its name
    yield text(
        "target-line",
        panel.left + 6,
        target + (16 if below else -6),
        f"target {dossier.target_mc_pct:g} %",
    )
    yield from _labels(panel, _board_labels(dossier))


def _style(place: int) -> str:
    return f"board-{place % _STYLES + 1}"


def _board_labels(dossier: Dossier) -> list[tuple[str, str, float]]:
    """Return style, words and value at the end of each line that is named."""
    named: Sequence[tuple[int, BoardResult]] = [
        (place, board) for place, board in enumerate(dossier.boards) if board.points
    ]
    if len(named) > _STYLES:
        ranked = sorted(named, key=lambda item: item[1].points[-1].mc_pct)
        named = [ranked[0], ranked[-1]]
    labels = [(_style(place), board.id, board.points[-1].mc_pct) for place, board in named]
    if dossier.controlling:
        labels.append(("controlling", "controlling", dossier.controlling[-1].mc_pct))
    return labels


def _labels(panel: Panel, labels: Sequence[tuple[str, str, float]]) -> Iterator[Markup]:
    places = spread(
        [panel.y_at(value) + 4 for _, _, value in labels],
        _LABEL_GAP,
        panel.top + 10,
        panel.foot + 10,
    )
    for (css, words, _), y in zip(labels, places, strict=True):
        yield text(css, panel.right + 10, y, words)


def _air_lines(dossier: Dossier, panel: Panel, clock: _Clock) -> Iterator[Markup]:
    lines: list[tuple[str, str, Callable[[AirPoint], float | None]]] = [
        ("series-db", "dry bulb", lambda point: point.dry_bulb_c),
        ("series-wb", "wet bulb", lambda point: point.wet_bulb_c),
        ("series-emc", "EMC", lambda point: point.emc_pct),
    ]
    labels: list[tuple[str, str, float]] = []
    for css, words, value in lines:
        known = [value(point) for point in dossier.log.air] if dossier.log else []
        yield panel.line(css, _unbroken(dossier, clock, value))
        last = next((item for item in reversed(known) if item is not None), None)
        if last is not None:
            labels.append((css, words, last))
    end = clock(dossier.ended)
    points = dossier.set_points
    for name in ("dry_bulb_c", "wet_bulb_c", "emc_pct"):
        yield panel.stairs(
            "series-setpoint", [(clock(point.at), getattr(point, name)) for point in points], end
        )
    if points:
        labels.append(("series-setpoint", "thin: as set", points[-1].dry_bulb_c))
    yield from _labels(panel, labels)


def _unbroken(
    dossier: Dossier, clock: _Clock, value: Callable[[AirPoint], float | None]
) -> Iterator[tuple[float, float | None]]:
    """Yield the points of a line, broken where intervals are missing: a gap is not bridged."""
    if dossier.log is None:
        return
    longest = dt.timedelta(hours=1.5 * dossier.log.summary_hours)
    before: dt.datetime | None = None
    for point in dossier.log.air:
        if before is not None and point.at - before > longest:
            yield clock(point.at), None
        yield clock(point.at), value(point)
        before = point.at
