"""The toolkit of every chart: panels, axes, lines, labels.

A chart is a list of SVG fragments. They are made from plain strings, because `Markup.format` takes
ten times as long; everything that may hold words of a record is escaped. Positions are rounded to a
tenth of a unit, so that every machine draws the same bytes. Styles come from classes in
``assets/charts.css`` and ``drawings.css``.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from markupsafe import Markup
from numpy.typing import ArrayLike

from kilnfolio.charts.stand_alone import stand_alone
from kilnfolio.physics._types import Floats
from kilnfolio.rendering.compiled import escaped, marked
from kilnfolio.review.figures import number


@dataclass(frozen=True)
class Axis:
    """A scale with its ticks and label."""

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    """Value and label of each tick."""
    label: str = ""
    """The quantity, with its unit."""

    def share(self, value: float) -> float:
        """Return the position of a value along the axis, 0 to 1."""
        return (value - self.low) / (self.high - self.low)


@lru_cache(maxsize=256)
def even_axis(
    low: float, high: float, label: str = "", *, about: int = 6, decimals: int | None = None
) -> Axis:
    """Return an axis with round ticks, widened to begin and end at a tick.

    Parameters
    ----------
    low, high : float
        Range of values to show.
    label : str
        The quantity, with its unit.
    about : int
        Approximate number of ticks.
    decimals : int, optional
        Decimals of the tick labels; by default from the step.
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
    """A rectangle with an axis along its lower edge and one along its left edge."""

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
        """Return the x coordinate of a value."""
        return self.left + self.x.share(value) * self.width

    def y_at(self, value: float) -> float:
        """Return the y coordinate of a value."""
        return self.foot - self.y.share(value) * self.height

    def across(self, values: ArrayLike) -> list[str]:
        """Return the x coordinates of values as `course` takes them, for lines that share them."""
        shares = (np.asarray(values) - self.x.low) / (self.x.high - self.x.low)
        return _tenths(self.left + shares * self.width)

    def down(self, values: ArrayLike) -> list[str]:
        """Return the y coordinates of values as `course` takes them."""
        shares = (np.asarray(values) - self.y.low) / (self.y.high - self.y.low)
        return _tenths(self.foot - shares * self.height)

    def frame(self, *, x_words: bool = True) -> Markup:
        """Return the grid, the ticks and their labels.

        Parameters
        ----------
        x_words : bool
            Whether to label the x axis; False if a panel below has the same axis.
        """
        return _frame(self, x_words)

    def line(self, css: str, points: Iterable[tuple[float, float | None]]) -> Markup:
        """Return a line through points given as values; None breaks the line."""
        forms: list[str] = []
        places: list[float] = []
        form = "M%.1f %.1f"
        # `x_at` and `y_at` are written out: a page's lines have thousands of points
        left, width, x_low, x_span = self.left, self.width, self.x.low, self.x.high - self.x.low
        foot, height, y_low, y_span = self.foot, self.height, self.y.low, self.y.high - self.y.low
        for x, y in points:
            if y is None or y != y:
                form = "M%.1f %.1f"
                continue
            forms.append(form)
            places += (left + (x - x_low) / x_span * width, foot - (y - y_low) / y_span * height)
            form = "L%.1f %.1f"
        return _path(css, "".join(forms) % tuple(places)) if forms else Markup("")

    def stairs(self, css: str, points: Sequence[tuple[float, float]], end: float) -> Markup:
        """Return a step line: each value holds until the next point, the last until `end`."""
        corners: list[tuple[float, float | None]] = []
        for place, (value_x, value_y) in enumerate(points):
            following = points[place + 1][0] if place + 1 < len(points) else end
            corners += [(value_x, value_y), (following, value_y)]
        return self.line(css, corners)

    def band(self, css: str, first: float, last: float) -> Markup:
        """Return a vertical band between two x values."""
        left, right = self.x_at(first), self.x_at(last)
        return box(css, left, self.top, max(right - left, 0.5), self.height)


@lru_cache(maxsize=256)  # charts of lots have the same few axes
def _frame(panel: Panel, x_words: bool) -> Markup:
    parts = []
    for value, words in panel.y.ticks:
        y = panel.y_at(value)
        parts.append(segment("grid", panel.left, y, panel.right, y))
        parts.append(text("axis", panel.left - 8, y + 4, words, "end"))
    for value, words in panel.x.ticks:
        x = panel.x_at(value)
        parts.append(segment("axis", x, panel.foot, x, panel.foot + 5))
        if x_words:
            parts.append(text("axis", x, panel.foot + 20, words, "middle"))
    parts.append(segment("axis", panel.left, panel.foot, panel.right, panel.foot))
    if panel.y.label:
        parts.append(text("label", 4, panel.top - 18, panel.y.label))
    if panel.x.label and x_words:
        middle = panel.left + panel.width / 2
        parts.append(text("axis", middle, panel.foot + 40, panel.x.label, "middle"))
    return Markup("".join(parts))


def course(
    css: str, across: Sequence[str], down: Sequence[str], begins: Iterable[int] = ()
) -> Markup:
    """Return a line through positions from `Panel.across` and `Panel.down`.

    It is broken before each place in `begins`.
    """
    if not across:
        return Markup("")
    points = list(map(" ".join, zip(across, down, strict=True)))
    ends = sorted({0, *begins, len(points)})
    parts = ["M" + "L".join(points[first:last]) for first, last in pairwise(ends)]
    return marked(f'<path class="{css}" d="{"".join(parts)}"/>')


def _path(css: str, drawn: str) -> Markup:
    drawn = drawn.replace("-0.0", "0.0")
    for after in (" ", "L", "M"):  # as `_at` writes positions
        drawn = drawn.replace(f".0{after}", after)
    return marked(f'<path class="{css}" d="{drawn.removesuffix(".0")}"/>')


def text(css: str, x: float, y: float, words: str, anchor: str = "") -> Markup:
    """Return text at a position; `anchor` is start, middle or end."""
    placed = f' text-anchor="{anchor}"' if anchor else ""
    return marked(f'<text class="{css}" x="{_at(x)}" y="{_at(y)}"{placed}>{escaped(words)}</text>')


def segment(css: str, x1: float, y1: float, x2: float, y2: float) -> Markup:
    """Return a straight line."""
    return marked(f'<path class="{css}" d="M{_at(x1)} {_at(y1)}L{_at(x2)} {_at(y2)}"/>')


def box(css: str, x: float, y: float, width: float, height: float, read: str = "") -> Markup:
    """Return a rectangle; `read` is its text for the read-out."""
    read_attribute = f' data-read="{escaped(read)}"' if read else ""
    return marked(
        f'<rect class="{css}" x="{_at(x)}" y="{_at(y)}" width="{_at(width)}" '
        f'height="{_at(height)}"{read_attribute}/>'
    )


def dots(css: str, places: Iterable[tuple[float, float]]) -> Markup:
    """Return a dot at each position, all in one path of near-zero lines with round caps."""
    return _dotted(css, [f"{_at(x)} {_at(y)}" for x, y in places])


def dotted(css: str, across: Sequence[str], down: Sequence[str]) -> Markup:
    """Return a dot at each of positions from `Panel.across` and `Panel.down`."""
    return _dotted(css, list(map(" ".join, zip(across, down, strict=True))))


def _dotted(css: str, places: Sequence[str]) -> Markup:
    return (
        marked(f'<path class="{css}" d="M{"h.01M".join(places)}h.01"/>') if places else Markup("")
    )


def flag(css: str, x: float, y: float, read: str) -> Markup:
    """Return a small triangle pointing down at a position, with `read` as its title."""
    path = f"M{_at(x - 6)} {_at(y - 14)}h12l-6 11z"
    return marked(f'<path class="{css}" d="{path}"><title>{escaped(read)}</title></path>')


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return positions near the wanted ones but at least `gap` apart, for labels at line ends.

    Parameters
    ----------
    wanted : sequence of float
        The ideal position of each label.
    gap : float
        Least distance between two labels.
    low, high : float
        The available range; exceeded only if the labels do not fit.
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
        Unique in the page; the ids of the title and description start with it.
    width, height : float
        Size of the view box.
    title, description : str
        What it is and what it shows, for those who cannot see it.
    parts : iterable of Markup
        Fragments from this module.
    readout : mapping, optional
        Data for the read-out of ``assets/charts.js``; see `read_stops` and `read_clock`.
    fits : bool
        True if its text has room to grow, so that a phone can show all of it in larger letters.
    alone : bool
        True to carry its styles as attributes too, so that it looks the same when saved without
        the page. Not on a customer's page, fetched over a mobile network: it doubles the size.
    """
    read_attribute = "".join(
        f' data-{name}="{escaped(value)}"' for name, value in (readout or {}).items()
    )
    looks = ' class="fits"' if fits else ""
    drawing = marked(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_at(width)} {_at(height)}"'
        f'{looks}{read_attribute} role="img" aria-labelledby="{identity}-title {identity}-desc">'
        f'<title id="{identity}-title">{escaped(title)}</title>'
        f'<desc id="{identity}-desc">{escaped(description)}</desc>{"".join(parts)}</svg>'
    )
    return stand_alone(drawing) if alone else drawing


def read_stops() -> dict[str, object]:
    """Return read-out data for a drawing whose parts carry their own text; see `read_area`."""
    return {"readout": "stops"}


def read_clock(start: dt.datetime, days: float, first: Panel, last: Panel) -> dict[str, object]:
    """Return read-out data for a drawing over time, whose values are in the tables behind it.

    Parameters
    ----------
    start : datetime
        Time at its left edge.
    days : float
        Time its width covers [d].
    first, last : Panel
        Its uppermost and lowest panels.
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


def read_area(words: str, x: float, y: float, width: float, height: float) -> Markup:
    """Return an invisible rectangle over a part of a drawing, with its text for the read-out."""
    return box("stop", x, y, width, height, words)


@lru_cache(maxsize=4096)  # most positions are those of frames, the same in every drawing of a kind
def _at(value: float) -> str:
    """Return a position to a tenth, without a needless zero or sign."""
    text = f"{value:.1f}"
    if text[-1] != "0":
        return text
    return "0" if text == "-0.0" else text[:-2]


class _Tenths(dict[float, str]):
    """Positions as `_at` writes them, by their tenths; there are only thousands in a drawing."""

    def __missing__(self, tenths: float) -> str:
        text = self[tenths] = _at(tenths / 10.0)
        return text


_TENTHS = _Tenths()


def _tenths(positions: Floats) -> list[str]:
    """Return positions as `_at` writes them, all at once."""
    tenths = positions * 10.0
    nearest = np.rint(tenths)
    if (np.abs(tenths - nearest) > 0.5 - 1e-9).any():  # which way a half goes, its last bits say
        return list(map(_at, positions.tolist()))
    return list(map(_TENTHS.__getitem__, nearest.tolist()))
