"""Reads the sheets of a .csv or .xlsx file as text cells.

Whatever cannot be trusted (a formula without its value, a hidden row) is reported.
"""

from __future__ import annotations

import csv
from pathlib import Path

from kilnfolio.adopt.cells import MAX_CELLS, Cell, Sheet, column_letters, refused
from kilnfolio.records.problems import RecordProblems, cannot_read
from kilnfolio.runtime.files import TooLargeError, read_whole

#: The largest file [bytes].
MAX_BYTES = 20 * 1024 * 1024


#: Prefix and suffix by which spreadsheet programs name the lock file beside an open file.
_OPEN = (("~$", ""), (".~lock.", "#"))


def open_elsewhere(path: Path) -> str:
    """Return a warning if a spreadsheet program has a file open; empty otherwise.

    The file is read all the same: the lock file may be stale, and what was saved is complete.
    """
    marks = [f"{before}{path.name}{after}" for before, after in _OPEN]
    mark = next((one for one in marks if path.with_name(one).exists()), "")
    return mark and (
        f"{path.name} is open in a spreadsheet program, by {mark} beside it: what was "
        "typed there and not saved is not read. Save it there, and import it again"
    )


def read_sheets(path: Path) -> list[Sheet]:
    """Read every sheet that is not empty.

    Raises
    ------
    RecordProblems
        It cannot be read, is not a sheet, or has formulas without values.
    """
    if path.name.startswith(tuple(before for before, _ in _OPEN)):
        own = next(
            path.name.removeprefix(before).removesuffix(after)
            for before, after in _OPEN
            if path.name.startswith(before)
        )
        raise refused(
            path,
            "this is the lock file that a spreadsheet program leaves beside an open file",
            "the sheet is the file without it",
            f"Close the sheet, and name the file itself: {own}",
        )
    try:
        raw = read_whole(path, MAX_BYTES)
    except TooLargeError:
        raise refused(
            path,
            "the file is too large",
            f"a sheet may have at most {MAX_BYTES:,} bytes",
            "Split it",
        ) from None
    except OSError as error:
        raise RecordProblems([cannot_read(path.name, error)]) from None
    if raw.startswith(b"PK"):
        from kilnfolio.adopt.workbook import read_workbook  # slow to import, and no .csv needs it

        return read_workbook(path, raw)
    if raw.startswith(b"\xd0\xcf\x11\xe0"):
        raise refused(
            path,
            "this is an old spreadsheet file (.xls), or one with a password",
            "only .xlsx and .csv are read",
            "Save it as .xlsx without a password",
        )
    return [_text_sheet(path, raw)]


def _text_sheet(path: Path, raw: bytes) -> Sheet:
    encoding = "utf-16" if raw.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError:
        text = raw.decode("windows-1252", errors="replace")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    delimiter = max(
        ";\t,|",
        key=lambda mark: min((line.count(mark) for line in lines if line.strip()), default=0),
    )
    rows: list[list[Cell]] = []
    cells = 0
    try:
        for number, row in enumerate(csv.reader(lines, delimiter=delimiter), 1):
            cells += max(len(row), 1)
            if cells > MAX_CELLS:
                raise refused(
                    path,
                    "the sheet is too large",
                    f"line {number:,} holds its {MAX_CELLS:,}th cell, and no more are read",
                    "Keep the rows that count, or split it",
                )
            rows.append(
                [
                    Cell(" ".join(cell.split()), f"{column_letters(column)}{number}")
                    for column, cell in enumerate(row, 1)
                ]
            )
    except csv.Error as error:
        raise refused(
            path,
            "this is not a sheet that can be read",
            str(error),
            "Save it again as .csv or .xlsx",
        ) from None
    return Sheet(path.name, "", rows)
