"""The toolkit of every chart: panels, axes, lines, labels.

A chart is a list of SVG fragments, put together from plain strings, for `Markup.format` takes ten
times as long; whatever may hold words of a record is escaped. Positions are rounded to a tenth of a
unit, so that another machine's arithmetic draws the same bytes. Looks come from classes in
``assets/charts.css`` and ``drawings.css``.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from kilnfolio.charts.stand_alone import stand_alone
from kilnfolio.review.figures import number


@dataclass(frozen=True)
class Axis:
    """A scale from the value of one end to that of the other."""

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    """Where a mark stands, and its words."""
    label: str = ""
    """What it measures, with its unit."""

    def share(self, value: float) -> float:
        """Return how far along the axis a value stands, 0 to 1."""
        return (value - self.low) / (self.high - self.low)


def even_axis(
    low: float, high: float, label: str = "", *, about: int = 6, decimals: int | None = None
) -> Axis:
    """Return an axis with round marks, widened to begin and end at one.

    Parameters
    ----------
    low, high : float
        The values to be shown.
    label : str
        What it measures, with its unit.
    about : int
        Roughly how many marks.
    decimals : int, optional
        Decimals of the words; from the step where absent.
    """
    high = high if high > low else low + 1.0
    rough = (high - low) / max(about, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m for m in (1, 2, 2.5, 5, 10) if m * power >= rough * (1 - 1e-9)) * power
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    if decimals is None:
        decimals = max(0, -math.floor(math.log10(step) + 1e-9) + (step / power == 2.5))
    marks = tuple(
        (place * step, number(place * step, decimals)) for place in range(first, last + 1)
    )
    return Axis(first * step, last * step, marks, label)


@dataclass(frozen=True)
class Panel:
    """A rectangle with an axis along its foot and one along its left side."""

    left: float
    top: float
    width: float
    height: float
    x: Axis
    y: Axis

    @property
    def right(self) -> float:
        """Its right edge."""
        return self.left + self.width

    @property
    def foot(self) -> float:
        """Its lower edge."""
        return self.top + self.height

    def x_at(self, value: float) -> float:
        """Return where a value of the foot's axis stands."""
        return self.left + self.x.share(value) * self.width

    def y_at(self, value: float) -> float:
        """Return where a value of the side's axis stands."""
        return self.foot - self.y.share(value) * self.height

    def frame(self, *, x_words: bool = True) -> Markup:
        """Return the grid, the marks and their words.

        Parameters
        ----------
        x_words : bool
            Write the foot's words; not for a panel whose foot another panel below shares.
        """
        parts = []
        for value, words in self.y.ticks:
            y = self.y_at(value)
            parts.append(segment("grid", self.left, y, self.right, y))
            parts.append(text("axis", self.left - 8, y + 4, words, "end"))
        for value, words in self.x.ticks:
            x = self.x_at(value)
            parts.append(segment("axis", x, self.foot, x, self.foot + 5))
            if x_words:
                parts.append(text("axis", x, self.foot + 20, words, "middle"))
        parts.append(segment("axis", self.left, self.foot, self.right, self.foot))
        if self.y.label:
            parts.append(text("label", 4, self.top - 18, self.y.label))
        if self.x.label and x_words:
            middle = self.left + self.width / 2
            parts.append(text("axis", middle, self.foot + 40, self.x.label, "middle"))
        return Markup("").join(parts)

    def line(self, css: str, points: Iterable[tuple[float, float | None]]) -> Markup:
        """Return a line through points in the axes' values; None breaks it."""
        path, pen_down = [], False
        for value_x, value_y in points:
            if value_y is None or math.isnan(value_y):
                pen_down = False
                continue
            step = "L" if pen_down else "M"
            path.append(f"{step}{_at(self.x_at(value_x))} {_at(self.y_at(value_y))}")
            pen_down = True
        if not path:
            return Markup("")
        return Markup(f'<path class="{css}" d="{"".join(path)}"/>')

    def stairs(self, css: str, points: Sequence[tuple[float, float]], end: float) -> Markup:
        """Return a line that holds each value until the next point, and the last until `end`."""
        corners: list[tuple[float, float | None]] = []
        for place, (value_x, value_y) in enumerate(points):
            following = points[place + 1][0] if place + 1 < len(points) else end
            corners += [(value_x, value_y), (following, value_y)]
        return self.line(css, corners)

    def band(self, css: str, first: float, last: float) -> Markup:
        """Return an upright band between two values of the foot's axis."""
        left, right = self.x_at(first), self.x_at(last)
        return box(css, left, self.top, max(right - left, 0.5), self.height)


def text(css: str, x: float, y: float, words: str, anchor: str = "") -> Markup:
    """Return words at a place; `anchor` is start, middle or end."""
    placed = f' text-anchor="{anchor}"' if anchor else ""
    return Markup(f'<text class="{css}" x="{_at(x)}" y="{_at(y)}"{placed}>{escape(words)}</text>')


def segment(css: str, x1: float, y1: float, x2: float, y2: float) -> Markup:
    """Return a straight line."""
    return Markup(f'<path class="{css}" d="M{_at(x1)} {_at(y1)}L{_at(x2)} {_at(y2)}"/>')


def box(css: str, x: float, y: float, width: float, height: float, read: str = "") -> Markup:
    """Return a rectangle; `read` is what to read out there."""
    told = f' data-read="{escape(read)}"' if read else ""
    return Markup(
        f'<rect class="{css}" x="{_at(x)}" y="{_at(y)}" width="{_at(width)}" '
        f'height="{_at(height)}"{told}/>'
    )


def dots(css: str, places: Iterable[tuple[float, float]]) -> Markup:
    """Return a round mark at each place, all in one path: points without length, round ends."""
    path = "".join(f"M{_at(x)} {_at(y)}h.01" for x, y in places)
    return Markup(f'<path class="{css}" d="{path}"/>') if path else Markup("")


def flag(css: str, x: float, y: float, read: str) -> Markup:
    """Return a small triangle that points down at a place, with what it says of itself."""
    path = f"M{_at(x - 6)} {_at(y - 14)}h12l-6 11z"
    return Markup(f'<path class="{css}" d="{path}"><title>{escape(read)}</title></path>')


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return places near the wanted ones, at least `gap` apart, for labels at the ends of lines.

    Parameters
    ----------
    wanted : sequence of float
        Where each label would like to stand.
    gap : float
        The least distance between two.
    low, high : float
        The room there is; given up only where the labels do not fit into it.
    """
    order = sorted(range(len(wanted)), key=lambda place: wanted[place])
    places = list(wanted)
    floor = low
    for place in order:
        places[place] = max(wanted[place], floor)
        floor = places[place] + gap
    ceiling = high
    for place in reversed(order):
        places[place] = min(places[place], ceiling)
        ceiling = places[place] - gap
    return places


def svg(
    identity: str,
    width: float,
    height: float,
    title: str,
    description: str,
    parts: Iterable[Markup],
    readout: Mapping[str, object] | None = None,
    *,
    fits: bool = False,
    alone: bool = True,
) -> Markup:
    """Return a drawing with its title and description.

    Parameters
    ----------
    identity : str
        Unique in the page; the title's and description's ids begin with it.
    width, height : float
        Size of the view box.
    title, description : str
        What it is, and what it shows, for those who cannot see it.
    parts : iterable of Markup
        From this module.
    readout : mapping, optional
        What ``assets/charts.js`` needs to read values out; see `read_stops` and `read_clock`.
    fits : bool
        Its words leave room to grow, so that a phone shows it whole with larger letters.
    alone : bool
        Carry its styles as attributes too, so that it looks the same when saved without the page.
        Not on a customer's page, which is fetched over a phone: they double a drawing's length.
    """
    told = "".join(f' data-{name}="{escape(value)}"' for name, value in (readout or {}).items())
    looks = ' class="fits"' if fits else ""
    drawing = Markup(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_at(width)} {_at(height)}"'
        f'{looks}{told} role="img" aria-labelledby="{identity}-title {identity}-desc">'
        f'<title id="{identity}-title">{escape(title)}</title>'
        f'<desc id="{identity}-desc">{escape(description)}</desc>{"".join(parts)}</svg>'
    )
    return stand_alone(drawing) if alone else drawing


def read_stops() -> dict[str, object]:
    """Return the read-out of a drawing whose parts say their own value; see `spoken`."""
    return {"readout": "stops"}


def read_clock(start: dt.datetime, days: float, first: Panel, last: Panel) -> dict[str, object]:
    """Return the read-out of a drawing over time, whose values stand in the tables behind it.

    Parameters
    ----------
    start : datetime
        Moment of its left edge.
    days : float
        What its width stands for [d].
    first, last : Panel
        Its uppermost and its lowest panel.
    """
    return {
        "readout": "clock",
        "from": start.isoformat(),
        "days": f"{days:.6f}",
        "left": _at(first.left),
        "width": _at(first.width),
        "top": _at(first.top),
        "foot": _at(last.foot),
    }


def spoken(words: str, x: float, y: float, width: float, height: float) -> Markup:
    """Return an unseen rectangle over a part of a drawing, with what to read out there."""
    return box("stop", x, y, width, height, words)


def _at(value: float) -> str:
    return f"{round(value, 1) + 0.0:g}"
