"""Mills of a group beside each other: means with their intervals, and figures by quarter."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.axes import (
    Axis,
    Panel,
    dots,
    even_axis,
    read_area,
    read_stops,
    segment,
    spread,
    svg,
    text,
)
from kilnfolio.charts.overlay import STYLES, style
from kilnfolio.review.figures import number

_LEFT, _TOP, _WIDTH, _VIEW, _ROW = 190.0, 40.0, 420.0, 640.0, 30.0
_HEIGHT = 170.0


def means_chart(
    identity: str, title: str, label: str, rows: Sequence[tuple[str, float, float | None]]
) -> Markup:
    """Return a row for each mill: its mean as a dot, and its interval as a line.

    Parameters
    ----------
    identity : str
        Unique in the page.
    title : str
        What it is, for those who cannot see it.
    label : str
        The quantity and its unit.
    rows : sequence of (str, float, float or None)
        Mill, mean, and half the interval; None if it is not known.
    """
    if not rows:
        return Markup("")
    ends = [mean + side * (half or 0.0) for _, mean, half in rows for side in (-1, 1)]
    foot = even_axis(min(0.0, *ends), max(0.0, *ends), label, about=5)
    panel = Panel(_LEFT, _TOP, _WIDTH, _ROW * len(rows), foot, Axis(0.0, 1.0, ()))
    parts = [panel.frame()]
    for place, (mill, mean, half) in enumerate(rows):
        y = panel.top + (place + 0.5) * _ROW
        parts.append(text("small", _LEFT - 8, y + 4, mill, "end"))
        if half is not None:
            left, right = panel.x_at(mean - half), panel.x_at(mean + half)
            parts.append(segment("fan-likely", left, y, right, y))
        parts.append(dots("fan-dots", [(panel.x_at(mean), y)]))
        said = f"{mill}: {number(mean, 2)}" + (f" ± {number(half, 2)}" if half is not None else "")
        parts.append(read_area(said, panel.left, y - _ROW / 2, panel.width, _ROW))
    words = "; ".join(f"{mill} {number(mean, 2)}" for mill, mean, _ in rows)
    return svg(identity, _VIEW, panel.foot + 56, title, words, parts, read_stops(), fits=True)


def quarters_chart(
    identity: str,
    title: str,
    label: str,
    quarters: Sequence[str],
    mills: Sequence[tuple[str, Sequence[float | None]]],
) -> Markup:
    """Return a line for each mill over the quarters.

    Parameters
    ----------
    identity, title, label
        As for `means_chart`.
    quarters : sequence of str
        The quarters, oldest first.
    mills : sequence of (str, sequence of float or None)
        Mill, and its figure in each quarter; at most `overlay.STYLES` are drawn.
    """
    shown = [(name, values) for name, values in mills if any(v is not None for v in values)]
    shown = shown[:STYLES]
    if not shown:
        return Markup("")
    known = [value for _, values in shown for value in values if value is not None]
    every = -(-len(quarters) // 6)
    if every > 1:  # whole years, from the first that begins here
        every = -(-every // 4) * 4
    first = next((at for at, quarter in enumerate(quarters) if quarter.endswith("Q1")), 0)
    marks = tuple(
        (place + 0.5, quarters[place])
        for place in range(first if every > 1 else 0, len(quarters), every)
    )
    panel = Panel(
        44.0,
        _TOP,
        420.0,
        _HEIGHT,
        Axis(0.0, float(len(quarters)), marks, "quarter in which charges ended"),
        even_axis(min(0.0, *known), max(0.0, *known), label, about=4),
    )
    parts, ends = [panel.frame()], list[tuple[float, float]]()
    for place, (_, values) in enumerate(shown):
        points = [(at + 0.5, value) for at, value in enumerate(values)]
        seen = [(x, y) for x, y in points if y is not None]
        parts += [
            panel.line(style(place), points),
            dots(f"dot {style(place)}", [(panel.x_at(x), panel.y_at(y)) for x, y in seen]),
        ]
        ends.append((panel.x_at(seen[-1][0]), panel.y_at(seen[-1][1])))
    heights = spread([y for _, y in ends], 20.0, panel.top + 4, panel.foot + 4)
    for place, ((x, end), y) in enumerate(zip(ends, heights, strict=True)):
        parts += [
            segment("leader", x + 3, end, panel.right + 8, y),
            text(style(place), panel.right + 12, y + 5, shown[place][0]),
        ]
    wide = panel.width / len(quarters)
    for at, quarter in enumerate(quarters):
        said = [f"{name} {number(v[at], 2)}" for name, v in shown if v[at] is not None]
        words = f"{quarter}: {', '.join(said) or 'none'}"
        parts.append(read_area(words, panel.left + at * wide, panel.top, wide, panel.height))
    words = f"{len(shown)} mills over {len(quarters)} quarters."
    return svg(identity, _VIEW, panel.foot + 56, title, words, parts, read_stops(), fits=True)
