"""Reads workbooks (.xlsx) as sheets of cells, safe against hostile files.

A workbook is a zip of XML. Both can be made to unpack without end, or to hold a single cell in the
last of a million rows. So the package is unpacked up to a limit, and every part is parsed once for
counts, merged areas, hidden rows and formulas. Only then is it given to openpyxl, which turns the
values into numbers, dates and text.
"""

from __future__ import annotations

import io
import math
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from kilnfolio.adopt.cell_formulas import LONGEST, Effort, recalculated
from kilnfolio.adopt.cells import MAX_CELLS, Cell, Sheet, column_letters, refused, value_cell
from kilnfolio.adopt.outline import Outline, OutlineError, outline_of
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.runtime.values import dataclass

#: Largest unpacked size of a workbook [bytes], and most parts: a year of weighings with formatting
#: unpacks to about a megabyte in twenty parts.
MAX_UNPACKED, MAX_PARTS = 64 * 1024 * 1024, 2_000

#: What reading a zip with damaged contents can raise.
_BROKEN_ZIP = (
    zipfile.BadZipFile,
    zlib.error,
    OSError,
    EOFError,
    ValueError,
    RuntimeError,
    NotImplementedError,
    LookupError,
    OverflowError,
)


def read_workbook(path: Path, raw: bytes) -> list[Sheet]:
    """Read every sheet of a workbook that is not empty.

    Raises
    ------
    RecordProblems
        It is not a workbook, is too large, or has hidden cells or formulas without values.
    """
    parts = _parts(path, raw)
    try:
        outlines = {
            name: outline
            for name, part in parts.items()
            if (outline := outline_of(part)) is not None
        }
    except OutlineError as error:
        raise refused(path, error.what, error.why, error.instead) from None
    if sum(one.rows * one.columns for one in outlines.values()) > MAX_CELLS:
        raise _too_far(path, outlines)
    book = _opened(path, parts)
    computed = _computed(parts.get("xl/workbook.xml", b""))
    sheets: list[Sheet] = []
    problems: list[Problem] = []
    effort = Effort()
    for page in book.worksheets:
        # openpyxl has no public way from a sheet to its part
        outline = outlines.get(page._worksheet_path)
        if outline is None:
            continue
        values = _values(path, page, outline)
        sheet = Sheet(path.name, page.title, _rows(values, outline))
        try:
            problems += _old_values(values, outline, sheet, effort, computed=computed)
        except Effort.Spent:
            raise refused(
                path,
                "it has too many formulas to check against their values",
                "a value may be older than the cells it is made from",
                "Copy the rows that count to a new sheet, as values",
            ) from None
        problems += _hidden(values, outline, sheet)
        if any(cell.text for row in sheet.rows for cell in row):
            sheets.append(sheet)
    if problems:
        raise RecordProblems(problems[:5])
    if not sheets:
        raise refused(path, "every sheet is empty", "there is nothing to read")
    return sheets


def _parts(path: Path, raw: bytes) -> dict[str, bytes]:
    """Unpack the XML parts only, not pictures, macros or printer settings."""
    parts: dict[str, bytes] = {}
    left = MAX_UNPACKED
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            members = packed.infolist()
            if len(members) > MAX_PARTS:
                raise _too_much(path, f"it has {len(members):,} parts")
            for member in members:
                if not member.filename.lower().endswith((".xml", ".rels")):
                    continue
                with packed.open(member) as part:
                    content = part.read(left + 1)
                left -= len(content)
                if left < 0:
                    raise _too_much(path, "it unpacks to more than a sheet of readings can hold")
                parts[member.filename] = content
    except _BROKEN_ZIP as error:
        raise _unreadable(path, error) from None
    return parts


def _too_much(path: Path, what: str) -> RecordProblems:
    return refused(
        path,
        f"the workbook is too large: {what}",
        f"at most {MAX_UNPACKED // 1024**2} MB in {MAX_PARTS:,} parts are read",
        "Copy the rows that count to a new workbook",
    )


def _too_far(path: Path, outlines: dict[str, Outline]) -> RecordProblems:
    widest = max(outlines.values(), key=lambda one: one.rows * one.columns)
    return refused(
        path,
        f"a sheet is filled as far as {column_letters(widest.columns)}{widest.rows}",
        f"from A1 to there are {widest.rows * widest.columns:,} cells, and at most {MAX_CELLS:,} "
        "are read",
        "Delete whatever is far below or beside the readings, or copy the readings to a new sheet",
    )


def _unreadable(path: Path, error: Exception) -> RecordProblems:
    why = " ".join(str(error).split()).lower()[:80] or type(error).__name__
    return refused(
        path, "this is not a spreadsheet that can be read", why, "Save it again as .xlsx"
    )


def _opened(path: Path, parts: dict[str, bytes]) -> Any:
    """Open the accepted parts in openpyxl, stored without compression."""
    import openpyxl

    package = io.BytesIO()
    with zipfile.ZipFile(package, "w", zipfile.ZIP_STORED) as stored:
        for name, content in parts.items():
            stored.writestr(zipfile.ZipInfo(name), content)
    package.seek(0)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # warnings about styles, which are not read
            return openpyxl.load_workbook(package, read_only=True, data_only=True, keep_links=False)
    except Exception as error:  # a damaged part can make the library raise anything
        raise _unreadable(path, error) from None


def _values(path: Path, page: Any, outline: Outline) -> list[tuple[object, ...]]:
    """Return the values from A1 to the last filled cell."""
    if not outline.rows:
        return []
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return list(
                page.iter_rows(
                    min_row=1,
                    max_row=outline.rows,
                    min_col=1,
                    max_col=outline.columns,
                    values_only=True,
                )
            )
    except Exception as error:  # as above
        raise _unreadable(path, error) from None


def _rows(values: list[tuple[object, ...]], outline: Outline) -> list[list[Cell]]:
    """Return a sheet's cells; every position of a merged cell has its value."""
    merged = {}
    for top, left, bottom, right in outline.merged:
        first = values[top - 1][left - 1]
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                merged[row, column] = first
    letters = [column_letters(column) for column in range(1, outline.columns + 1)]
    return [
        [
            value_cell(merged.get((number, column), value), f"{letters[column - 1]}{number}")
            for column, value in enumerate(row, 1)
        ]
        for number, row in enumerate(values, 1)
    ]


def _computed(workbook: bytes) -> bool:
    """Return whether formulas were calculated when the workbook was saved.

    A workbook declares whether they are calculated when it is opened, or only on request.
    """
    settings = re.search(rb"<(?:\w{1,20}:)?calcPr\b[^>]*>", workbook)
    return not settings or not re.search(
        rb'calcMode="manual"|(?:fullCalcOnLoad|forceFullCalc)="(?:1|true)"'
        rb'|calcCompleted="(?:0|false)"',
        settings[0],
    )


@dataclass(frozen=True)
class _ValueAt:
    """Returns the value of a cell by its name, as in B4."""

    values: list[tuple[object, ...]]

    def __call__(self, name: str) -> object:
        from openpyxl.utils.cell import coordinate_to_tuple

        row, column = coordinate_to_tuple(name)
        inside = row <= len(self.values) and column <= len(self.values[row - 1])
        return self.values[row - 1][column - 1] if inside else None


def _old_values(
    values: list[tuple[object, ...]],
    outline: Outline,
    sheet: Sheet,
    effort: Effort,
    *,
    computed: bool,
) -> Iterator[Problem]:
    """Yield a problem for each formula whose value is, or may be, missing or out of date."""
    instead = "Open the file in the spreadsheet program, let it compute, and save it again"
    value_at = _ValueAt(values)
    for (row, column), told in outline.formulas.items():
        kept = values[row - 1][column - 1]
        place = Cell("", f"{column_letters(column)}{row}")
        formula = _formula(told, place.where, effort)
        gives = recalculated(formula, value_at, effort) if formula else None
        shown = f"formula ={formula[:60].removeprefix('=')}" if formula else "formula"
        if kept is None:
            yield sheet.problem(
                place,
                "holds a formula without its value",
                "the program that wrote the file did not compute it",
                instead,
            )
        elif gives is not None and (
            not isinstance(kept, int | float)
            or not math.isclose(kept, gives, rel_tol=1e-9, abs_tol=1e-9)
        ):
            yield sheet.problem(
                place,
                f"'{value_cell(kept, '').text}'",
                f"its {shown} "
                f"gives {gives:.10g} from the present cells, so one of them has changed since",
                instead,
            )
        elif gives is None and not computed:
            yield sheet.problem(
                place,
                f"'{value_cell(kept, '').text}'",
                f"its {shown} may "
                "give another value: the file says that it was saved without "
                "computing",
                instead,
            )


def _formula(told: tuple[str, str], where: str, effort: Effort) -> str | None:
    """Return a cell's formula, translated if it is shared; None if it is too long."""
    formula, origin = told
    if not formula or len(formula) > LONGEST:
        return None
    if origin in ("", where):
        return f"={formula}"
    from openpyxl.formula.translate import Translator

    effort.spend(len(formula))
    try:
        moved: str = Translator(f"={formula}", origin).translate_formula(where)
    except Exception:  # a formula that the library cannot parse is not recalculated
        return None
    return moved


def _hidden(values: list[tuple[object, ...]], outline: Outline, sheet: Sheet) -> list[Problem]:
    """Return a problem for each hidden row and column that is not empty.

    A person may have hidden what should not count, or a filter what should.
    """
    found = [
        (f"(row {row})", row, column)
        for row in sorted(outline.hidden_rows)
        if row <= len(values)
        for column in [_first_filled(values[row - 1])]
        if column
    ]
    found += [
        (f"(column {column_letters(column)})", row, column)
        for first, last in outline.hidden_columns
        for column in range(first, min(last, outline.columns) + 1)
        for row in [_first_filled([line[column - 1] for line in values])]
        if row
    ]
    return [
        sheet.problem(
            Cell("", f"{column_letters(column)}{row}"),
            f"{what} is hidden",
            "hidden cells are neither read nor silently left out",
            "Show it if it counts, or delete it",
        )
        for what, row, column in found
    ]


def _first_filled(values: tuple[object, ...] | list[object]) -> int:
    """Return the position of the first value, counted from 1; 0 if there is none."""
    return next((place for place, value in enumerate(values, 1) if value is not None), 0)
