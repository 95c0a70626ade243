"""Drawings of what a mill knows of its scales and meters."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.axes import (
    Axis,
    Panel,
    box,
    dots,
    even_axis,
    read_area,
    read_stops,
    segment,
    svg,
    text,
)
from kilnfolio.physics.control_chart import ControlLimits
from kilnfolio.physics.measuring import Correction, corrected_interval
from kilnfolio.review.figures import number

_LEFT, _TOP, _WIDTH, _HEIGHT, _VIEW, _FOOT = 50.0, 44.0, 480.0, 200.0, 640.0, 58.0
_POINTS = 24


def pairs_chart(
    identity: str, title: str, pairs: Sequence[tuple[float, float]], line: Correction | None
) -> Markup:
    """Return the oven's MC against the meter's, with the line and the interval of its mean.

    Parameters
    ----------
    identity : str
        Unique in the page.
    title : str
        What it is, for those who cannot see it.
    pairs : sequence of (float, float)
        MC by meter and by oven. [%] [%]
    line : Correction, optional
        The line, if there are enough pairs for one.
    """
    values = [mc for pair in pairs for mc in pair]
    low, high = min(values) - 0.5, max(values) + 0.5
    panel = Panel(
        _LEFT,
        _TOP,
        _WIDTH,
        _HEIGHT + 60.0,
        even_axis(low, high, "MC by the meter, %", about=6),
        even_axis(low, high, "MC by the oven, %", about=5),
    )
    parts = [panel.frame()]
    first, last = panel.x.low, panel.x.high
    parts.append(panel.line("trigger-line", [(first, first), (last, last)]))
    parts.append(text("small", panel.right + 8, panel.y_at(last) + 4, "as the oven"))
    if line is not None:
        begin, end = min(x for x, _ in pairs), max(x for x, _ in pairs)
        at = [begin + (end - begin) * place / _POINTS for place in range(_POINTS + 1)]
        middle = [corrected_interval(line, x) for x in at]
        upper = [(x, y + half) for x, (y, half) in zip(at, middle, strict=True)]
        lower = [(x, y - half) for x, (y, half) in zip(at, middle, strict=True)]
        parts += [
            panel.line("control-limit", upper),
            panel.line("control-limit", lower),
            panel.line("controlling", [(x, y) for x, (y, _) in zip(at, middle, strict=True)]),
            text("small", panel.x_at(at[-1]) + 6, panel.y_at(middle[-1][0]) + 18, "fitted line"),
        ]
    parts.append(dots("dot board-1", [(panel.x_at(x), panel.y_at(y)) for x, y in pairs]))
    parts += _stops(
        panel, [(x, f"{number(x, 1)} % by meter, {number(y, 1)} % by oven") for x, y in pairs]
    )
    said = f"{len(pairs)} pairs from {number(low + 0.5, 1)} to {number(high - 0.5, 1)} % MC."
    foot = panel.foot + _FOOT
    return svg(identity, _VIEW, foot, title, said, parts, read_stops(), fits=True)


def drift_chart(
    identity: str,
    title: str,
    points: Sequence[tuple[str, float]],
    limits: ControlLimits | None,
    levels: Sequence[float | None] = (),
) -> Markup:
    """Return the deviations from a line in order of time, with control limits.

    Parameters
    ----------
    identity, title : str
        As for `pairs_chart`.
    points : sequence of (str, float)
        The day, and the deviation [points], oldest first.
    limits : ControlLimits, optional
        Mean and limits, if there are enough points for them.
    levels : sequence of float
        The mean before and after a shift, at each point; without it, the mean of all is drawn.
    """
    shown = [value for _, value in points]
    if limits is not None:
        shown += [limits.low, limits.high]
    count = len(points)
    every = max(1, count // 5)
    marks = tuple((place + 0.5, points[place][0]) for place in range(0, count, every))
    panel = Panel(
        _LEFT,
        _TOP,
        _WIDTH,
        _HEIGHT - 40.0,
        Axis(0.0, float(count), marks, "day of the pair"),
        even_axis(min(0.0, *shown), max(0.0, *shown), "Oven less line, points", about=4),
    )
    parts = [panel.frame()]
    if limits is not None:
        for value in (limits.low, limits.high):
            y = panel.y_at(value)
            parts.append(segment("control-limit", panel.left, y, panel.right, y))
        means = levels or [limits.mean] * count
        parts.append(
            panel.line("control-mean", [(at + 0.5, mean) for at, mean in enumerate(means)])
        )
    at = [(place + 0.5, value) for place, (_, value) in enumerate(points)]
    parts += [
        panel.line("board-1", at),
        dots("dot board-1", [(panel.x_at(x), panel.y_at(y)) for x, y in at]),
    ]
    said = [
        (x, f"{day}: {number(value, 2)} points")
        for (x, value), (day, _) in zip(at, points, strict=True)
    ]
    parts += _stops(panel, said)
    foot = panel.foot + _FOOT
    words = f"{count} pairs from {points[0][0]} to {points[-1][0]}."
    return svg(identity, _VIEW, foot, title, words, parts, read_stops(), fits=True)


def digits_chart(identity: str, title: str, counts: Sequence[int]) -> Markup:
    """Return how often each last digit was read, with the frequency expected of a scale.

    Parameters
    ----------
    identity, title : str
        As for `pairs_chart`.
    counts : sequence of int
        Readings by last digit, from 0.
    """
    expected = sum(counts) / 10.0
    panel = Panel(
        _LEFT,
        _TOP,
        _WIDTH,
        _HEIGHT - 60.0,
        Axis(0.0, 10.0, tuple((d + 0.5, str(d)) for d in range(10)), "last digit"),
        even_axis(0.0, float(max(*counts, 1)), "Readings", about=3, decimals=0),
    )
    parts = [panel.frame()]
    for digit, count in enumerate(counts):
        left, y = panel.x_at(digit + 0.2), panel.y_at(count)
        parts.append(box("bar", left, y, panel.width * 0.06, panel.foot - y))
    y = panel.y_at(expected)
    parts += [
        segment("target-line", panel.left, y, panel.right, y),
        text("target-line", panel.right + 6, y + 4, "expected"),
    ]
    said = [(digit + 0.5, f"Digit {digit}: {count}") for digit, count in enumerate(counts)]
    parts += _stops(panel, said)
    words = ", ".join(f"{digit}: {count}" for digit, count in enumerate(counts))
    foot = panel.foot + _FOOT
    return svg(identity, _VIEW, foot, title, words, parts, read_stops(), fits=True)


def _stops(panel: Panel, said: Sequence[tuple[float, str]]) -> list[Markup]:
    wide = max(8.0, panel.width / max(len(said), 1))
    return [
        read_area(words, panel.x_at(x) - wide / 2, panel.top, wide, panel.height)
        for x, words in said
    ]
