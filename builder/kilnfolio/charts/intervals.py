"""Effects with their intervals, one below the other, about a line of no effect."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap

from markupsafe import Markup

from kilnfolio.charts.axes import Axis, Panel, even_axis, read_area, read_stops, segment, svg, text
from kilnfolio.review.figures import number
from kilnfolio.runtime.values import dataclass

_VIEW, _LEFT, _WIDTH, _TOP = 640.0, 26.0, 588.0, 12.0
#: Height of a line of words, and of the interval below them; half the size of a mark and of an end.
_LINE, _BELOW, _MARK, _TICK = 22.0, 28.0, 5.0, 4.0
#: Longest line of words, in a phone's larger letters.
_LETTERS = 60


@dataclass(frozen=True)
class Interval:
    """An effect: what it is of, its value and the ends of its interval."""

    label: str
    effect: float
    low: float
    high: float
    stands_out: bool


def intervals_chart(
    identity: str, title: str, axis: str, rows: Sequence[Interval], decimals: int
) -> Markup:
    """Return the drawing; an effect that stands out has a filled mark, thick lines and bold words.

    Parameters
    ----------
    identity : str
        Unique in the page.
    title : str
        What it is, for those who cannot see it.
    axis : str
        The quantity, with its unit.
    rows : sequence of Interval
        One or more, the clearest first.
    decimals : int
        Decimals of the values read out.
    """
    low = min(0.0, *(row.low for row in rows))
    high = max(0.0, *(row.high for row in rows))
    panel = Panel(
        _LEFT,
        _TOP,
        _WIDTH,
        sum(_height(row) for row in rows),
        even_axis(low, high, axis, about=7),
        Axis(0.0, float(len(rows)), ()),
    )
    parts, top = [panel.frame()], panel.top
    for row in rows:
        parts += _row(panel, top, row, decimals)
        top += _height(row)
    out = [row for row in rows if row.stands_out]
    said = f"{len(rows)} comparisons, of which {len(out)} stand out."
    return svg(identity, _VIEW, panel.foot + 56, title, said, parts, read_stops(), fits=True)


def _lines(row: Interval) -> list[str]:
    return wrap(row.label, _LETTERS)


def _height(row: Interval) -> float:
    return _LINE * len(_lines(row)) + _BELOW


def _row(panel: Panel, top: float, row: Interval, decimals: int) -> Iterator[Markup]:
    kind = "interval-out" if row.stands_out else "interval"
    for place, line in enumerate(_lines(row), 1):
        yield text(kind, panel.left, top + place * _LINE - 4.0, line)
    foot = top + _height(row)
    middle, none = foot - _BELOW / 2.0, panel.x_at(0.0)
    yield segment("interval-none", none, foot - _BELOW + 2.0, none, foot)
    left, at, right = (panel.x_at(value) for value in (row.low, row.effect, row.high))
    yield segment(kind, left, middle, right, middle)
    for end in (left, right):
        yield segment(kind, end, middle - _TICK, end, middle + _TICK)
    yield Markup(
        f'<path class="{kind}-mark" d="M{at - _MARK:.1f} {middle:.1f}l{_MARK:g} -{_MARK:g} '
        f'{_MARK:g} {_MARK:g} -{_MARK:g} {_MARK:g}z"/>'
    )
    low, effect, high = (number(value, decimals) for value in (row.low, row.effect, row.high))
    words = f"{row.label}: {effect}, {low} to {high}"
    if row.stands_out:
        words = f"{row.label}: {effect}, {low} to {high}, stands out"
    yield read_area(words, panel.left, top, panel.width, _height(row))
