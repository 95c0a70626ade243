"""A schedule as step lines: dry bulb, wet bulb and EMC against moisture content or time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise

from markupsafe import Markup

from kilnfolio.charts.axes import (
    Axis,
    Panel,
    even_axis,
    read_area,
    read_stops,
    spread,
    svg,
    text,
)
from kilnfolio.records.setpoints import AirState, PlannedStep
from kilnfolio.rendering.regional import PLAIN, RegionalFormat
from kilnfolio.review.figures import number

_LEFT, _TOP, _WIDTH, _HEIGHT, _EMC_HEIGHT, _VIEW = 46.0, 48.0, 500.0, 200.0, 120.0, 640.0
_BETWEEN = 66.0
#: Points of MC drawn before the end of the first step and after the start of the last.
_LEAD_IN, _TAIL = 15.0, 10.0

_Line = tuple[str, str, Callable[[AirState], float]]


def step_diagram(
    title: str, steps: Sequence[PlannedStep], regional: RegionalFormat = PLAIN
) -> Markup:
    """Return the chart of a schedule's steps; "" for a schedule of one step.

    Parameters
    ----------
    title : str
        The schedule's title.
    steps : sequence of PlannedStep
        Its steps with their air.
    regional : RegionalFormat, optional
        Whose units it is drawn in.
    """
    if len(steps) < 2:
        return Markup("")
    timed = steps[0].hours is not None
    foot, starts = _hours(steps) if timed else _moistures(steps)
    scale, say = regional.temperature_scale, regional.reading
    bulbs: tuple[_Line, ...] = (
        ("series-db", "dry bulb", lambda air: scale.of(air.dry_bulb_c)),
        ("series-wb", "wet bulb", lambda air: scale.of(air.wet_bulb_c)),
    )
    emc: tuple[_Line, ...] = (("series-emc", "EMC", lambda air: air.emc_pct),)
    values = [line[2](step.air) for line in bulbs for step in steps]
    upper = Panel(
        _LEFT,
        _TOP,
        _WIDTH,
        _HEIGHT,
        foot,
        even_axis(min(values), max(values), f"Temperature, {scale.unit}", about=5),
    )
    lower = Panel(
        _LEFT,
        upper.foot + _BETWEEN,
        _WIDTH,
        _EMC_HEIGHT,
        foot,
        even_axis(0.0, max(step.air.emc_pct for step in steps), "EMC, %", about=4),
    )
    parts = [
        upper.frame(x_words=False),
        lower.frame(),
        *_lines(upper, bulbs, steps, starts),
        *_lines(lower, emc, steps, starts),
        *_numbers(upper, lower, steps, starts, say),
    ]
    first, last = steps[0].air, steps[-1].air
    description = (
        f"{len(steps)} steps. The dry bulb goes from {say(first.dry_bulb_c)} to "
        f"{say(last.dry_bulb_c)} and the EMC from {first.emc_pct:.1f} to {last.emc_pct:.1f} %."
    )
    return svg(
        "step-diagram",
        _VIEW,
        lower.foot + 56,
        f"Steps of {title}",
        description,
        parts,
        read_stops(),
        fits=True,
    )


def _hours(steps: Sequence[PlannedStep]) -> tuple[Axis, list[float]]:
    starts = [0.0]
    for step in steps:
        starts.append(starts[-1] + (step.hours or 0.0))
    total = starts.pop()
    marks = tuple((value, number(value, 0)) for value in [*starts, total])
    return Axis(0.0, total, _spaced(marks, total), "hours from the start"), starts


def _spaced(marks: tuple[tuple[float, str], ...], total: float) -> tuple[tuple[float, str], ...]:
    """Return the ticks whose labels do not overlap the one before."""
    kept: list[tuple[float, str]] = []
    for mark in marks:
        if not kept or (mark[0] - kept[-1][0]) / total * _WIDTH > 44:
            kept.append(mark)
    return tuple(kept)


def _moistures(steps: Sequence[PlannedStep]) -> tuple[Axis, list[float]]:
    ends = [step.until_mc_pct for step in steps if step.until_mc_pct is not None]
    high, low = ends[0] + _LEAD_IN, max(ends[-1] - _TAIL, 0.0)
    marks = ((high, "start"), *((end, number(end, 0)) for end in ends), (low, "end"))
    starts = [high, *ends][: len(steps)]
    # the axis runs from wet to dry, in the direction of drying
    return Axis(high, low, marks, "controlling moisture content, %"), starts


def _lines(
    panel: Panel, lines: Sequence[_Line], steps: Sequence[PlannedStep], starts: Sequence[float]
) -> Iterator[Markup]:
    ends = []
    for css, _, value in lines:
        points = [(start, value(step.air)) for start, step in zip(starts, steps, strict=True)]
        yield panel.stairs(css, points, panel.x.high)
        ends.append(panel.y_at(points[-1][1]) + 4)
    for (css, words, _), y in zip(lines, spread(ends, 20, panel.top, panel.foot), strict=True):
        yield text(css, panel.right + 10, y, words)


def _numbers(
    upper: Panel,
    lower: Panel,
    steps: Sequence[PlannedStep],
    starts: Sequence[float],
    say: Callable[[float | None], str],
) -> Iterator[Markup]:
    edges = [*starts, upper.x.high]
    spans = zip(steps, pairwise(edges), strict=True)
    for place, (step, (first, last)) in enumerate(spans, start=1):
        left, right = upper.x_at(first), upper.x_at(last)
        if right - left > 11:
            yield text("step-line", (left + right) / 2, upper.foot + 20, str(place), "middle")
        air = step.air
        words = (
            f"Step {place}: dry bulb {say(air.dry_bulb_c)}, wet bulb {say(air.wet_bulb_c)}, "
            f"EMC {number(air.emc_pct, 1)} %"
        )
        yield read_area(words, left, upper.top, right - left, lower.foot - upper.top)
