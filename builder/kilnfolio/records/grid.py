"""Uniform rows of text, whose cells are located without splitting the text.

Most exports are uniform: no quotes, and the same number of delimiters in every row. Their times can
be parsed as a table of characters, several times faster than one by one, and their numbers without
pandas, which takes longer to import than a season's log takes to read.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from kilnfolio.runtime.values import dataclass

_NEWLINE, _SPACE = ord("\n"), ord(" ")
_MOST_CHARACTERS = 15
"""Of a number whose digits are a whole number that a double holds exactly."""
_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")


@dataclass(frozen=True)
class Grid:
    """The positions of the cells of each row.

    Attributes
    ----------
    characters : ndarray of uint8
        The rows in UTF-8, each ending in a line feed.
    starts, ends : ndarray of int
        Start and end of each cell, rows by columns.
    """

    characters: np.ndarray
    starts: np.ndarray
    ends: np.ndarray

    @property
    def padded(self) -> bool:
        """Whether a cell begins with a space."""
        return bool((self.characters[self.starts] == _SPACE).any())

    def of_width(self, column: int, width: int) -> np.ndarray | None:
        """Return a column's characters, rows by width; None if any cell has another width."""
        starts = self.starts[:, column]
        if ((self.ends[:, column] - starts) != width).any():
            return None
        characters: np.ndarray = self.characters[starts[:, None] + np.arange(width)]
        return characters

    def numbers(self, column: int, decimal: str, missing: Sequence[str]) -> np.ndarray | None:
        """Return a column of plain decimal numbers; None if any cell is something else.

        Parameters
        ----------
        column : int
            The column, counted from 0.
        decimal : str
            The decimal separator, a point or a comma.
        missing : sequence of str
            Texts of a cell without a reading, besides an empty one. A number among them matches
            however it is written: -999 also as -999.0.
        """
        values = self._with_like_decimals(column, ord(decimal))
        if values is None:
            values = self._of_text(column, decimal, missing)
        if values is not None:
            marks = [float(mark) for mark in missing if _NUMBER.fullmatch(mark)]
            values[np.isin(values, marks)] = np.nan
        return values

    def _with_like_decimals(self, column: int, point: int) -> np.ndarray | None:
        """Return a column of numbers with as many decimals each; None if any cell is another.

        Such a number is a whole number divided by a power of ten. A double holds both exactly, so
        the quotient is the double nearest to it, as for a number read from text.
        """
        starts, ends = self.starts[:, column], self.ends[:, column]
        widths = ends - starts
        from_right = np.arange(1, min(int(widths.max()), _MOST_CHARACTERS + 1) + 1)
        table = self.characters[ends[:, None] - from_right]
        points = np.flatnonzero(table[0, : widths[0]] == point)[:1]
        negative = self.characters[starts] == ord("-")
        used = from_right <= (widths - negative)[:, None]
        used[:, points] = False
        digits = table - np.uint8(ord("0"))  # what is no digit wraps round, to more than 9
        if (
            len(from_right) > _MOST_CHARACTERS
            or (widths - negative <= points.sum() + len(points)).any()
            or (table[:, points] != point).any()
            or (digits[used] > 9).any()
        ):
            return None
        scale = 10.0 ** np.insert(np.arange(len(from_right) - len(points)), points, 0)
        values: np.ndarray = np.where(used, digits, 0) @ scale / 10.0 ** points.sum()
        values[negative] *= -1.0
        return values

    def _of_text(self, column: int, decimal: str, missing: Sequence[str]) -> np.ndarray | None:
        """Return a column of plain numbers, each read by itself; None if any cell is no such."""
        starts, widths = self.starts[:, column], self.ends[:, column] - self.starts[:, column]
        places = np.arange(max(int(widths.max()), 1))
        inside = places < widths[:, None]
        last = len(self.characters) - 1
        table = np.where(
            inside, self.characters[np.minimum(starts[:, None] + places, last)], 0
        ).astype(np.uint8)
        cells = table.view(f"S{len(places)}").ravel()
        known = ~np.isin(cells, [b"", *(mark.encode() for mark in missing)])
        # 0 pads shorter cells
        if not np.isin(table[known], [0, *b"0123456789+-", ord(decimal)]).all():
            return None
        table[table == ord(decimal)] = ord(".")
        values = np.full(len(cells), np.nan)
        try:
            values[known] = cells[known].astype(float)
        except ValueError:
            return None
        return values


def grid_of(body: bytes, delimiter: str, columns: int) -> Grid | None:
    """Return rows as a grid; None if they are not uniform or a cell may be quoted.

    Parameters
    ----------
    body : bytes
        The rows in UTF-8, separated by line feeds.
    delimiter : str
        The delimiter, one ASCII character.
    columns : int
        The number of cells each row must have, 2 or more.
    """
    if b'"' in body or columns < 2:
        return None
    characters = np.frombuffer(body + b"\n", np.uint8)
    newlines = np.flatnonzero(characters == _NEWLINE)
    delimiters = np.flatnonzero(characters == ord(delimiter))
    if len(delimiters) != (columns - 1) * len(newlines):
        return None
    inner = delimiters.reshape(len(newlines), columns - 1)
    rows = np.concatenate([[0], newlines[:-1] + 1])
    if (inner[:, 0] < rows).any() or (inner[:, -1] > newlines).any():
        return None
    return Grid(characters, np.column_stack([rows, inner + 1]), np.column_stack([inner, newlines]))
