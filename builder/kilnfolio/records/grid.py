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
_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")


def _plain(decimal: str) -> np.ndarray:
    """Return which characters a plain number may have; 0 pads shorter cells."""
    table = np.zeros(256, bool)
    table[[0, *b"0123456789+-", ord(decimal)]] = True
    return table


_PLAIN = {decimal: _plain(decimal) for decimal in ".,"}


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
        starts, widths = self.starts[:, column], self.ends[:, column] - self.starts[:, column]
        places = np.arange(max(int(widths.max()), 1))
        inside = places < widths[:, None]
        last = len(self.characters) - 1
        table = np.where(
            inside, self.characters[np.minimum(starts[:, None] + places, last)], 0
        ).astype(np.uint8)
        cells = table.view(f"S{len(places)}").ravel()
        known = ~np.isin(cells, [b"", *(mark.encode() for mark in missing)])
        if not _PLAIN[decimal][table[known]].all():
            return None
        table[table == ord(decimal)] = ord(".")
        values = np.full(len(cells), np.nan)
        try:
            values[known] = cells[known].astype(float)
        except ValueError:
            return None
        marks = [float(mark) for mark in missing if _NUMBER.fullmatch(mark)]
        values[np.isin(values, marks)] = np.nan
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
