"""A survey on one line: driest, mean and wettest, with the band ordered."""

from __future__ import annotations

from markupsafe import Markup

from kilnfolio.charts.axes import Axis, Panel, dots, even_axis, segment, svg, text
from kilnfolio.review.figures import number
from kilnfolio.runtime.values import dataclass

_WIDTH, _LEFT, _RIGHT = 340.0, 12.0, 12.0
_TOP, _HEIGHT = 26.0, 26.0


@dataclass(frozen=True)
class Strip:
    """The values of a strip, all in % MC; None on a side without an ordered limit."""

    driest: float
    mean: float
    wettest: float
    target: float
    low: float | None
    high: float | None


def range_strip(strip: Strip) -> Markup:
    """Return the strip as a drawing small enough for a phone."""
    shown = [
        strip.driest,
        strip.wettest,
        strip.target,
        *(edge for edge in (strip.low, strip.high) if edge is not None),
    ]
    room = max((max(shown) - min(shown)) * 0.12, 0.5)
    low, high = max(min(shown) - room, 0.0), max(shown) + room
    ticks = even_axis(low, high, about=6).ticks
    foot = Axis(low, high, tuple(tick for tick in ticks if low <= tick[0] <= high))
    panel = Panel(_LEFT, _TOP, _WIDTH - _LEFT - _RIGHT, _HEIGHT, foot, Axis(0.0, 1.0, ()))
    middle = panel.y_at(0.5)
    driest, mean, wettest = map(panel.x_at, (strip.driest, strip.mean, strip.wettest))
    first = low if strip.low is None else strip.low
    last = high if strip.high is None else strip.high
    parts = [
        panel.band("band-ordered", first, last),
        text("band-ordered", panel.left, 12, _ordered(strip)),
        panel.frame(),
        segment("measured-span", driest, middle, wettest, middle),
        dots("measured-mean", [(mean, middle)]),
        text("measured", panel.right, 12, f"mean {number(strip.mean)} %", "end"),
    ]
    return svg(
        "range",
        _WIDTH,
        panel.foot + 26,
        "Moisture content measured, and ordered",
        describe(strip),
        parts,
        alone=False,
    )


def _ordered(strip: Strip) -> str:
    if strip.low is None and strip.high is None:
        return f"target {strip.target:g} %"
    if strip.low is None:
        return f"ordered: up to {strip.high:g} %"
    if strip.high is None:
        return f"ordered: {strip.low:g} % and above"
    return f"ordered: {strip.low:g} to {strip.high:g} %"


def describe(strip: Strip) -> str:
    """Return the strip in words."""
    ordered = _ordered(strip)
    return (
        f"Measured: {number(strip.driest)} to {number(strip.wettest)} %, mean "
        f"{number(strip.mean)} %. {ordered[0].upper()}{ordered[1:]}."
    )
