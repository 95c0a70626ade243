"""Cells as text, each with its position in its sheet.

A spreadsheet's date becomes text as in a record; a number keeps every digit it shows.
"""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.runtime.values import dataclass

#: Most cells read, from A1 to the last filled one, in all sheets of a file together: about fifty
#: times the weighings of fifty charges a year.
MAX_CELLS = 250_000


@dataclass(frozen=True)
class Cell:
    """A cell's text and position.

    Attributes
    ----------
    text : str
        Its text; a date and time as in 2026-03-02T07:10, a date as in 2026-03-02.
    where : str
        Its name, as in B4.
    dated : bool
        Whether the spreadsheet stores a date or time here, so that day and month are certain.
    """

    text: str
    where: str
    dated: bool = False


@dataclass(frozen=True)
class Sheet:
    """The rows of a sheet."""

    file: str
    name: str
    rows: list[list[Cell]]

    def problem(self, cell: Cell, what: str, why: str, instead: str) -> Problem:
        """Return a problem with a cell."""
        name = f"{self.file} [{self.name}]" if self.name else self.file
        column = re.match(r"[A-Z]+", cell.where)
        number = 0
        for letter in column[0] if column else "":
            number = number * 26 + ord(letter) - 64
        line = re.search(r"\d+", cell.where)
        return Problem(
            Place(name, int(line[0]) if line else 1, number or 1),
            f"{cell.where} {what}".strip(),
            why,
            instead,
        )


def refused(path: Path, what: str, why: str, instead: str = "") -> RecordProblems:
    """Return a problem with a whole file."""
    return RecordProblems([Problem(Place(path.name), what, why, instead)])


def column_letters(column: int) -> str:
    """Return the letters of a column counted from 1: A for 1, AA for 27."""
    letters = ""
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def value_cell(value: object, where: str) -> Cell:
    """Return a cell for a workbook's value: a number as displayed, a date as in a record."""
    if value is None:
        return Cell("", where)
    if isinstance(value, dt.datetime):
        value = (value + dt.timedelta(seconds=30)).replace(second=0, microsecond=0)
        midnight = value.time() == dt.time()
        return Cell(f"{value:%Y-%m-%d}" if midnight else f"{value:%Y-%m-%dT%H:%M}", where, True)
    if isinstance(value, dt.date):
        return Cell(f"{value:%Y-%m-%d}", where, True)
    if isinstance(value, dt.time):
        return Cell(f"{value:%H:%M}", where, True)
    if isinstance(value, float):
        return Cell(f"{value:.10g}", where)
    return Cell(" ".join(str(value).split()), where)
