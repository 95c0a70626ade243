"""The final survey as a histogram, with the target and the band ordered."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

from markupsafe import Markup

from kilnfolio.charts.axes import (
    Axis,
    Panel,
    box,
    even_axis,
    read_area,
    read_stops,
    segment,
    svg,
    text,
)
from kilnfolio.review.figures import number
from kilnfolio.runtime.values import dataclass

_WIDTH, _HEIGHT = 420.0, 236.0
_BIN_WIDTHS = (0.25, 0.5, 1.0, 2.0, 5.0)
_MOST_BARS = 14


@dataclass(frozen=True)
class Histogram:
    """The chart and the table behind it."""

    svg: Markup
    bars: list[tuple[str, int]]
    """MC, and number of readings."""


def histogram(
    readings: Sequence[float],
    *,
    title: str,
    target_pct: float | None = None,
    low_pct: float | None = None,
    high_pct: float | None = None,
    identity: str = "survey",
    alone: bool = True,
) -> Histogram:
    """Return the histogram of a survey.

    Parameters
    ----------
    readings : sequence of float
        Corrected readings [% MC].
    title : str
        What it is, for those who cannot see it.
    target_pct : float, optional
        The target MC [%].
    low_pct, high_pct : float, optional
        The band ordered for a piece [%]; None for a side without a limit.
    identity : str
        Unique in the page.
    alone : bool
        As for `axes.svg`.
    """
    if not readings:
        return Histogram(Markup(""), [])
    width, counts = _counted(readings)
    shown = [
        min(readings),
        max(readings),
        *(edge for edge in (target_pct, low_pct, high_pct) if edge is not None),
    ]
    first, last = math.floor(min(shown) / width) - 1, math.ceil(max(shown) / width) + 1
    panel = _panel(first * width, last * width, max(counts.values()))
    bars, begin = _bars(counts, width), min(counts)
    edges = [panel.x_at((begin + place) * width) for place in range(len(bars) + 1)]
    parts = [*_band(panel, low_pct, high_pct), panel.frame()]
    for (_, count), (left, right) in zip(bars, pairwise(edges), strict=True):
        if count:
            top = panel.y_at(count)
            parts.append(box("bar", left + 1, top, right - 1 - (left + 1), panel.foot - top))
    if target_pct is not None:
        x = panel.x_at(target_pct)
        parts += [
            segment("target-line", x, panel.top, x, panel.foot),
            text(
                "target-line",
                x,
                panel.top - 6,
                f"target {number(target_pct, 0)} %"
                if target_pct == round(target_pct)
                else f"target {number(target_pct)} %",
                "middle",
            ),
        ]
    for (words, count), (left, right) in zip(bars, pairwise(edges), strict=True):
        readings_words = f"{words}: {count} {'reading' if count == 1 else 'readings'}"
        parts.append(read_area(readings_words, left, panel.top, right - left, panel.height))
    description = _describe(readings, low_pct, high_pct)
    drawing = svg(identity, _WIDTH, _HEIGHT, title, description, parts, read_stops(), alone=alone)
    return Histogram(drawing, bars)


def bars_of(readings: Sequence[float]) -> list[tuple[str, int]]:
    """Return the table behind a histogram: each class of MC, and how many readings [% MC] it has."""
    if not readings:
        return []
    width, counts = _counted(readings)
    return _bars(counts, width)


def _counted(readings: Sequence[float]) -> tuple[float, Counter[int]]:
    width = _bin_width(min(readings), max(readings))
    # rounded before floor, so that rounding errors cannot put 8.5 into the bin below
    return width, Counter(math.floor(round(value / width, 6)) for value in readings)


def _bars(counts: Counter[int], width: float) -> list[tuple[str, int]]:
    decimals = 2 if width < 0.5 else 1 if width < 1 else 0
    places = range(min(counts), max(counts) + 1)
    edges = [number(place * width, decimals) for place in (*places, places.stop)]
    return [
        (f"{low} to under {high} %", counts[place])
        for place, (low, high) in zip(places, pairwise(edges), strict=True)
    ]


def _bin_width(low: float, high: float) -> float:
    return next(
        (width for width in _BIN_WIDTHS if (high - low) / width <= _MOST_BARS), _BIN_WIDTHS[-1]
    )


@lru_cache(maxsize=256)  # lots of one stock have the same few
def _panel(low: float, high: float, most: int) -> Panel:
    marks = [mark for mark in even_axis(low, high, about=8).ticks if low <= mark[0] <= high]
    step = max(1, math.ceil(most / 4))
    room = step * math.ceil(most / step)
    return Panel(
        34,
        44,
        366,
        142,
        Axis(low, high, tuple(marks), "moisture content, %"),
        Axis(
            0.0,
            float(room),
            tuple((float(n), number(n, 0)) for n in range(0, room + 1, step)),
            "boards",
        ),
    )


def _band(panel: Panel, low: float | None, high: float | None) -> list[Markup]:
    if low is None and high is None:
        return []
    first = panel.x.low if low is None else low
    last = panel.x.high if high is None else high
    return [
        panel.band("band-ordered", first, last),
        text("band-ordered", panel.right, panel.top - 24, "shaded: ordered", "end"),
    ]


def _describe(readings: Sequence[float], low: float | None, high: float | None) -> str:
    words = (
        f"{len(readings)} readings from {number(min(readings))} to {number(max(readings))} %, "
        f"mean {number(sum(readings) / len(readings))} %."
    )
    if low is not None and high is not None:
        words += f" Ordered: {number(low)} to {number(high)} %."
    elif high is not None:
        words += f" Ordered: at most {number(high)} %."
    return words
