"""A schedule as stairs: dry bulb, wet bulb and EMC against the moisture content or the clock."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise

from markupsafe import Markup

from kilnfolio.charts.axes import (
    Axis,
    Panel,
    even_axis,
    read_stops,
    spoken,
    spread,
    svg,
    text,
)
from kilnfolio.review.figures import number
from kilnfolio.review.setpoints import AirState, PlannedStep

_LEFT, _TOP, _WIDTH, _HEIGHT, _VIEW = 46.0, 44.0, 560.0, 230.0, 720.0
#: Points of MC drawn before the first step's end and after the last step's beginning.
_LEAD_IN, _TAIL = 15.0, 10.0

_LINES: tuple[tuple[str, str, Callable[[AirState], float]], ...] = (
    ("series-db", "dry bulb", lambda air: air.dry_bulb_c),
    ("series-wb", "wet bulb", lambda air: air.wet_bulb_c),
    ("series-emc", "EMC", lambda air: air.emc_pct),
)


def step_diagram(title: str, steps: Sequence[PlannedStep]) -> Markup:
    """Return the drawing of a schedule's steps; "" for a schedule of one step.

    Parameters
    ----------
    title : str
        The schedule's title.
    steps : sequence of PlannedStep
        Its steps with their air.
    """
    if len(steps) < 2:
        return Markup("")
    timed = steps[0].hours is not None
    foot, starts = _hours(steps) if timed else _moistures(steps)
    panel = Panel(
        _LEFT,
        _TOP,
        _WIDTH,
        _HEIGHT,
        foot,
        even_axis(
            0.0,
            max(step.air.dry_bulb_c for step in steps),
            "Dry bulb and wet bulb, °C; EMC, %",
            about=5,
        ),
    )
    parts = [panel.frame(), *_lines(panel, steps, starts), *_numbers(panel, steps, starts)]
    last = steps[-1].air
    description = (
        f"{len(steps)} steps. The dry bulb rises from {steps[0].air.dry_bulb_c:.1f} to "
        f"{last.dry_bulb_c:.1f} °C while the EMC falls from {steps[0].air.emc_pct:.1f} to "
        f"{last.emc_pct:.1f} %."
    )
    return svg(
        "step-diagram",
        _VIEW,
        panel.foot + 50,
        f"Steps of {title}",
        description,
        parts,
        read_stops(),
    )


def _hours(steps: Sequence[PlannedStep]) -> tuple[Axis, list[float]]:
    starts = [0.0]
    for step in steps:
        starts.append(starts[-1] + (step.hours or 0.0))
    total = starts.pop()
    marks = tuple((value, number(value, 0)) for value in [*starts, total])
    return Axis(0.0, total, _apart(marks, total), "hours from the start"), starts


def _apart(marks: tuple[tuple[float, str], ...], total: float) -> tuple[tuple[float, str], ...]:
    """Keep the marks whose words do not run into the mark before."""
    kept: list[tuple[float, str]] = []
    for mark in marks:
        if not kept or (mark[0] - kept[-1][0]) / total * _WIDTH > 28:
            kept.append(mark)
    return tuple(kept)


def _moistures(steps: Sequence[PlannedStep]) -> tuple[Axis, list[float]]:
    ends = [step.until_mc_pct for step in steps if step.until_mc_pct is not None]
    high, low = ends[0] + _LEAD_IN, max(ends[-1] - _TAIL, 0.0)
    marks = ((high, "start"), *((end, number(end, 0)) for end in ends), (low, "end"))
    starts = [high, *ends][: len(steps)]
    # the axis runs from wet to dry, as drying does
    return Axis(high, low, marks, "controlling moisture content, %"), starts


def _lines(panel: Panel, steps: Sequence[PlannedStep], starts: Sequence[float]) -> Iterator[Markup]:
    ends = []
    for css, _, value in _LINES:
        points = [(start, value(step.air)) for start, step in zip(starts, steps, strict=True)]
        yield panel.stairs(css, points, panel.x.high)
        ends.append(panel.y_at(points[-1][1]) + 4)
    for (css, words, _), y in zip(_LINES, spread(ends, 16, panel.top, panel.foot), strict=True):
        yield text(css, panel.right + 10, y, words)


def _numbers(
    panel: Panel, steps: Sequence[PlannedStep], starts: Sequence[float]
) -> Iterator[Markup]:
    edges = [*starts, panel.x.high]
    spans = zip(steps, pairwise(edges), strict=True)
    for place, (step, (first, last)) in enumerate(spans, start=1):
        left, right = panel.x_at(first), panel.x_at(last)
        yield text("step-line", (left + right) / 2, panel.top + 12, str(place), "middle")
        air = step.air
        words = (
            f"Step {place}: dry bulb {number(air.dry_bulb_c, 1)} °C, "
            f"wet bulb {number(air.wet_bulb_c, 1)} °C, EMC {number(air.emc_pct, 1)} %"
        )
        yield spoken(words, left, panel.top, right - left, panel.height)
