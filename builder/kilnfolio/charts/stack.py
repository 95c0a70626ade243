"""A kiln's places as they stand: how far each stays from the mean of its charges."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.axes import read_area, read_stops, svg, text
from kilnfolio.review.figures import number
from kilnfolio.runtime.values import dataclass

_VIEW, _LEFT, _TOP, _HEIGHT, _GAP = 640.0, 64.0, 34.0, 58.0, 6.0
#: Most places side by side; more would not be legible.
_MOST_COLUMNS = 8
_DARKEST = 0.5


@dataclass(frozen=True)
class Cell:
    """A place: its name, difference from the mean and half of its interval [points of MC]."""

    position: str
    points: float
    half: float
    charges: int


def stack(title: str, cells: Sequence[Cell]) -> Markup:
    """Return the places as a stack seen from the side: bays from the door, levels above each other.

    Places whose names do not end in a level, as in ``bay 1 low``, stand in rows in their order.

    Parameters
    ----------
    title : str
        Title of the drawing.
    cells : sequence of Cell
        The places, from the door inward.
    """
    columns, rows, grid = _grid(cells)
    width = (_VIEW - _LEFT - 8.0) / len(columns)
    most = max(0.3, *(abs(cell.points) for cell in cells))
    parts = [
        text("axis", _LEFT + (at + 0.5) * width, 22, name, "middle")
        for at, name in enumerate(columns)
    ]
    for level, name in enumerate(rows):
        top = _TOP + level * (_HEIGHT + _GAP)
        parts.append(text("axis", 4, top + _HEIGHT / 2 + 5, name))
        for at, cell in enumerate(grid[level]):
            if cell is not None:
                parts += _cell(cell, _LEFT + at * width, top, width - _GAP, most)
    wettest = max(cells, key=lambda cell: cell.points)
    driest = min(cells, key=lambda cell: cell.points)
    description = (
        f"Wettest: {wettest.position}, {_signed(wettest.points)} points. Driest: "
        f"{driest.position}, {_signed(driest.points)} points."
    )
    foot = _TOP + len(rows) * (_HEIGHT + _GAP) + 8
    return svg("stack", _VIEW, foot, title, description, parts, read_stops(), fits=True)


def _grid(
    cells: Sequence[Cell],
) -> tuple[list[str], list[str], list[list[Cell | None]]]:
    """Return the names of columns and rows, and the cell at each crossing; the top row first."""
    split = [cell.position.rpartition(" ") for cell in cells]
    columns = list(dict.fromkeys(bay for bay, _, _ in split))
    levels = list(dict.fromkeys(level for _, _, level in split))
    if "" not in columns and len(levels) <= 3 and len(columns) <= _MOST_COLUMNS:
        found = {(bay, level): cell for (bay, _, level), cell in zip(split, cells, strict=True)}
        levels.reverse()  # the lowest is named first and lies below
        return columns, levels, [[found.get((bay, level)) for bay in columns] for level in levels]
    size = min(len(cells), 4)
    lines = [list(cells[at : at + size]) for at in range(0, len(cells), size)]
    padded = [[*line, *[None] * (size - len(line))] for line in lines]
    return [""] * size, [""] * len(padded), padded


def _cell(cell: Cell, left: float, top: float, width: float, most: float) -> list[Markup]:
    shade = _DARKEST * min(1.0, abs(cell.points) / most)
    middle = left + width / 2
    return [
        Markup(
            '<rect class="{}" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}" '
            'fill-opacity="{:.2f}"/>'
        ).format("water" if cell.points >= 0 else "warm", left, top, width, _HEIGHT, shade),
        text("axis", middle, top + 26, _signed(cell.points), "middle"),
        text("axis", middle, top + 45, f"± {number(cell.half, 2)}", "middle"),
        read_area(
            f"{cell.position}: {_signed(cell.points)} points ± {number(cell.half, 2)}, "
            f"{cell.charges} charges",
            left,
            top,
            width,
            _HEIGHT,
        ),
    ]


def _signed(points: float) -> str:
    return ("+" if points > 0 else "") + number(points, 2)
