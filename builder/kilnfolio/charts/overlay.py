"""Several courses over one time axis from their starts: panels one above the other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

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
from kilnfolio.review.figures import number
from kilnfolio.runtime.values import dataclass

STYLES = 8
"""Line styles that tell courses apart."""
_LEFT, _WIDTH, _VIEW, _TOP, _BETWEEN = 44.0, 470.0, 640.0, 54.0, 56.0
_LABEL_GAP, _STOPS = 20.0, 16


@dataclass(frozen=True)
class Course:
    """One line of a panel.

    Attributes
    ----------
    place : int
        Which of the courses it belongs to, from 0; gives its style.
    points : sequence of (float, float)
        Days from the start, and value.
    asked : bool
        True for what was asked: a thin step line.
    dotted : bool
        Whether each point is a reading and gets a dot.
    computed : bool
        True for what was computed and not measured: a thin line.
    """

    place: int
    points: Sequence[tuple[float, float]]
    asked: bool = False
    dotted: bool = False
    computed: bool = False


@dataclass(frozen=True)
class Part:
    """A panel.

    Attributes
    ----------
    label : str
        Quantity and unit.
    height : float
        Its height.
    courses : sequence of Course
        Its lines.
    from_zero : bool
        Whether its scale begins at 0.
    """

    label: str
    height: float
    courses: Sequence[Course]
    from_zero: bool = True


def overlay_chart(
    identity: str, title: str, description: str, names: Sequence[str], panels: Sequence[Part]
) -> Markup:
    """Return the chart; the names of the courses stand beside the uppermost panel.

    Parameters
    ----------
    identity : str
        Unique in the page.
    title, description : str
        What it is and what it shows, for those who cannot see it.
    names : sequence of str
        The courses, at most `STYLES`.
    panels : sequence of Part
        The panels, uppermost first; those without a point are left out.
    """
    shown = [part for part in panels if any(one.points for one in part.courses)]
    if not shown:
        return Markup("")
    last = max(x for part in shown for one in part.courses for x, _ in one.points)
    foot = even_axis(0.0, last, "days from the start", about=6)
    foot = Axis(0.0, max(last, 0.1), tuple(m for m in foot.ticks if m[0] <= last), foot.label)
    parts, placed, top = list[Markup](), list[Panel](), _TOP
    for place, part in enumerate(shown):
        panel = Panel(_LEFT, top, _WIDTH, part.height, foot, _scale(part))
        placed.append(panel)
        parts += [panel.frame(x_words=place == len(shown) - 1), *_lines(panel, part)]
        top = panel.foot + _BETWEEN
    parts += _labels(placed[0], shown[0], names)
    parts += _stops(placed, shown[0], names)
    foot_y = placed[-1].foot + 56
    return svg(identity, _VIEW, foot_y, title, description, parts, read_stops(), fits=True)


def _scale(part: Part) -> Axis:
    values = [y for one in part.courses for _, y in one.points]
    low = min(0.0, *values) if part.from_zero else min(values)
    return even_axis(low, max(values), part.label, about=4)


def style(place: int) -> str:
    """Return the class of a course."""
    return f"board-{place % STYLES + 1}"


def _lines(panel: Panel, part: Part) -> Iterator[Markup]:
    for one in part.courses:
        if not one.points:
            continue
        if one.asked:
            yield panel.stairs("series-setpoint", one.points[:-1], one.points[-1][0])
            continue
        if one.computed:
            yield panel.line("series-setpoint", one.points)
            continue
        if len(one.points) > 1:
            yield panel.line(style(one.place), one.points)
        if one.dotted:
            at = [(panel.x_at(x), panel.y_at(y)) for x, y in one.points]
            yield dots(f"dot {style(one.place)}", at)


def _labels(panel: Panel, part: Part, names: Sequence[str]) -> Iterator[Markup]:
    """Yield the names at the ends of the lines, or at the right edge if they had to move."""
    ends = {
        one.place: (panel.x_at(one.points[-1][0]), panel.y_at(one.points[-1][1]))
        for one in part.courses
        if one.points and not one.asked
    }
    order = sorted(ends, key=lambda place: (ends[place][1], ends[place][0]))
    heights = [ends[place][1] for place in order]
    for place, y in zip(
        order, spread(heights, _LABEL_GAP, panel.top + 4, panel.foot + 4), strict=True
    ):
        yield segment("leader", ends[place][0] + 3, ends[place][1], panel.right + 8, y)
        yield segment(style(place), panel.right + 10, y, panel.right + 28, y)
        yield text(style(place), panel.right + 32, y + 5, names[place])


def _stops(panels: Sequence[Panel], part: Part, names: Sequence[str]) -> Iterator[Markup]:
    """Yield strips that read out the uppermost panel."""
    first, wide = panels[0], panels[0].width / _STOPS
    for stop in range(_STOPS):
        day = (stop + 0.5) / _STOPS * first.x.high
        said = [
            f"{names[one.place]} {number(value, 1)} %"
            for one in part.courses
            if not one.asked and (value := _at(one.points, day)) is not None
        ]
        words = f"Day {number(day, 1)}: {', '.join(said) or 'all ended'}"
        left = first.left + stop * wide
        yield read_area(words, left, first.top, wide, panels[-1].foot - first.top)


def _at(points: Sequence[tuple[float, float]], day: float) -> float | None:
    """Return the latest value at a day; None before the first and after the last."""
    if not points or not points[0][0] <= day <= points[-1][0]:
        return None
    return [y for x, y in points if x <= day][-1]
