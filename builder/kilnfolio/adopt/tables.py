"""Sheets of .csv and .xlsx files as cells of text, each with its place in the sheet.

A spreadsheet's date is turned into the words a record writes; a number keeps every digit it shows.
What cannot be trusted (a formula without its value, a sheet left out) is said, not passed over.
"""

from __future__ import annotations

import csv
import datetime as dt
import math
import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from kilnfolio.adopt.cell_formulas import worked_out
from kilnfolio.records.problems import Place, Problem, RecordProblems, cannot_read

#: The largest file, and the largest once unpacked [bytes]: a thousand times a year of weighings.
MAX_BYTES, MAX_UNPACKED = 20 * 1024 * 1024, 200 * 1024 * 1024


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
        return Problem(Place(name, int(line[0]) if line else 1, number or 1),
                       f"{cell.where} {what}".strip(), why, instead)


#: What spreadsheet programs put around the name of a file that is open, for a mark beside it.
_OPEN = (("~$", ""), (".~lock.", "#"))


def open_elsewhere(path: Path) -> str:
    """Return what to say where a spreadsheet program has a file open; empty where none has.

    It is read all the same: a mark may have stayed behind, and what was saved is whole.
    """
    marks = [f"{before}{path.name}{after}" for before, after in _OPEN]
    mark = next((one for one in marks if path.with_name(one).exists()), "")
    return mark and (f"{path.name} is open in a spreadsheet program, by {mark} beside it: what was "
                     "typed there and not saved is not read. Save it there, and import it again")


def read_sheets(path: Path) -> list[Sheet]:
    """Read every sheet that holds something.

    Raises
    ------
    RecordProblems
        It cannot be read, is no sheet, or holds formulas without their values.
    """
    if path.name.startswith(tuple(before for before, _ in _OPEN)):
        own = next(path.name.removeprefix(before).removesuffix(after) for before, after in _OPEN
                   if path.name.startswith(before))
        raise _refused(path, "this is the mark a spreadsheet program leaves beside a file that is "
                       "open", "the sheet is the file without it",
                       f"Close the sheet, and name the file itself: {own}")
    try:
        if path.stat().st_size > MAX_BYTES:
            raise _refused(path, "the file is too large",
                           f"a sheet may have at most {MAX_BYTES:,} bytes", "Split it")
        raw = path.read_bytes()
    except OSError as error:
        raise RecordProblems([cannot_read(path.name, error)]) from None
    if raw.startswith(b"PK"):
        return _workbook(path)
    if raw.startswith(b"\xd0\xcf\x11\xe0"):
        raise _refused(path, "this is an old spreadsheet file (.xls), or one with a password",
                       "only .xlsx and .csv are read", "Save it as .xlsx without a password")
    return [_text_sheet(path, raw)]


def _refused(path: Path, what: str, why: str, instead: str = "") -> RecordProblems:
    return RecordProblems([Problem(Place(path.name), what, why, instead)])


def _text_sheet(path: Path, raw: bytes) -> Sheet:
    encoding = "utf-16" if raw.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError:
        text = raw.decode("windows-1252", errors="replace")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    delimiter = max(";\t,|", key=lambda mark: min(
        (line.count(mark) for line in lines if line.strip()), default=0))
    rows = [[Cell(cell.strip(), f"{_letters(column)}{number}")
             for column, cell in enumerate(row, 1)]
            for number, row in enumerate(csv.reader(lines, delimiter=delimiter), 1)]
    return Sheet(path.name, "", rows)


def _letters(column: int) -> str:
    letters = ""
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def _workbook(path: Path) -> list[Sheet]:
    import openpyxl

    try:
        with zipfile.ZipFile(path) as packed:
            if sum(item.file_size for item in packed.infolist()) > MAX_UNPACKED:
                raise _refused(path, "the file unpacks to more than a sheet can hold",
                               f"{MAX_UNPACKED:,} bytes are the most", "Save the sheet again")
            computed = _computed(packed)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles, which are not read
            shown = openpyxl.load_workbook(path, data_only=True)
            typed = openpyxl.load_workbook(path)
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError) as error:
        raise _refused(path, "this is not a spreadsheet that can be read", str(error).lower()[:80],
                       "Save it again as .xlsx") from None
    sheets: list[Sheet] = []
    problems: list[Problem] = []
    for page in shown.worksheets:
        sheet = Sheet(path.name, page.title, _rows(page))
        problems += _old_values(page, typed[page.title], sheet, computed=computed)
        problems += _hidden(page, sheet)
        if any(cell.text for row in sheet.rows for cell in row):
            sheets.append(sheet)
    if problems:
        raise RecordProblems(problems[:5])
    if not sheets:
        raise _refused(path, "every sheet is empty", "there is nothing to read")
    return sheets


def _computed(packed: zipfile.ZipFile) -> bool:
    """Return whether the workbook's formulas were computed when it was saved.

    A workbook says itself that they are to be computed when it is opened, or only when told to.
    """
    try:
        settings = re.search(rb"<(?:\w+:)?calcPr\b[^>]*>", packed.read("xl/workbook.xml"))
    except KeyError:
        return True
    return not settings or not re.search(
        rb'calcMode="manual"|(?:fullCalcOnLoad|forceFullCalc)="(?:1|true)"'
        rb'|calcCompleted="(?:0|false)"', settings[0])


def _old_values(page: Any, typed: Any, sheet: Sheet, *, computed: bool) -> Iterator[Problem]:
    """Yield a problem for each formula whose value is missing or old, or may be."""
    instead = "Open the file in the spreadsheet program, let it compute, and save it again"

    def value_at(name: str) -> object:
        return page[name].value

    for cell in (cell for row in typed.iter_rows() for cell in row if cell.data_type == "f"):
        kept, place = value_at(cell.coordinate), Cell("", cell.coordinate)
        gives = worked_out(cell.value, value_at) if isinstance(cell.value, str) else None
        if kept is None:
            yield sheet.problem(place, "holds a formula without its value", "the program that "
                                "wrote the file did not compute it", instead)
        elif gives is not None and (not isinstance(kept, int | float)
                                    or not math.isclose(kept, gives, rel_tol=1e-9, abs_tol=1e-9)):
            yield sheet.problem(place, f"'{_cell(kept, '').text}'", f"its formula {cell.value} "
                                f"gives {gives:.10g} from the cells as they stand, so one of them "
                                "was changed since", instead)
        elif gives is None and not computed:
            yield sheet.problem(place, f"'{_cell(kept, '').text}'", f"its formula {cell.value} may "
                                "give another value: the file says that it was saved without "
                                "computing", instead)


def _hidden(page: Any, sheet: Sheet) -> list[Problem]:
    """Return the problem of each hidden row and column that holds something.

    Whoever hid it may have meant it not to count; a filter may have hidden what does.
    """
    return [sheet.problem(Cell("", cell.coordinate), f"{what} is hidden",
                          "what nobody sees is not read, and not left out either",
                          "Show it if it counts, or delete it")
            for what, cells, hidden in [
                *((f"(row {number})", row, page.row_dimensions[number].hidden)
                  for number, row in enumerate(page.iter_rows(), 1)),
                *((f"(column {_letters(number)})", column, _column_hidden(page, number))
                  for number, column in enumerate(page.iter_cols(), 1))]
            if hidden and (cell := next((c for c in cells if c.value is not None), None))]


def _column_hidden(page: Any, number: int) -> bool:
    """Return whether a column is hidden; neighbours hidden together are kept as one range."""
    return any(column.hidden and column.min <= number <= column.max
               for column in page.column_dimensions.values() if column.min and column.max)


def _rows(page: Any) -> list[list[Cell]]:
    """Return a sheet's cells; one that is merged says the same in each of its places."""
    merged = {}
    for area in page.merged_cells.ranges:
        first = page.cell(area.min_row, area.min_col).value
        for row, column in area.cells:
            merged[row, column] = first
    return [[_cell(merged.get((cell.row, cell.column), cell.value), cell.coordinate)
             for cell in row] for row in page.iter_rows()]


def _cell(value: object, where: str) -> Cell:
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
