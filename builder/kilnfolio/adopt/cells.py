"""Cells of text, each with its place in its sheet.

A spreadsheet's date is turned into the words a record writes; a number keeps every digit it shows.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from pathlib import Path

from kilnfolio.records.problems import Place, Problem, RecordProblems

#: The most cells read from A1 to the last one filled, all sheets of a file together: some fifty
#: times what a mill of fifty charges a year weighs.
MAX_CELLS = 250_000


@dataclass(frozen=True)
class Cell:
    """A cell: what it says, and where.

    Attributes
    ----------
    text : str
        Its words; a date and time as in 2026-03-02T07:10, a day as in 2026-03-02.
    where : str
        As in B4.
    dated : bool
        The spreadsheet itself holds a date or time here, so that day and month are certain.
    """

    text: str
    where: str
    dated: bool = False


@dataclass(frozen=True)
class Sheet:
    """A sheet, row by row."""

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
    """Return a column's letters, counted from 1: A for 1, AA for 27."""
    letters = ""
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def value_cell(value: object, where: str) -> Cell:
    """Return a cell of a workbook's value: a number as it is shown, a day as records write it."""
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
