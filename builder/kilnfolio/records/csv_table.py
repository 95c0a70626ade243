"""Tables as a spreadsheet exports them, each row read as a record.

The first row holds the names of the columns; a unit may stand behind a name, as in ``thickness
[mm]``, and then the cells are plain numbers. Columns are separated by commas, semicolons or tabs;
except with commas, numbers may have a decimal comma. Lines that begin with ``#`` are comments.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from functools import cache
from typing import Any, Generic, get_args

from kilnfolio.records.export import cell_starts
from kilnfolio.records.model import Located, R, Record
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import Document, Mark
from kilnfolio.runtime.field_docs import field_doc
from kilnfolio.runtime.nearest import nearest
from kilnfolio.runtime.values import dataclass

#: Marks a field of a row that holds several columns: a mapping by the names of its columns.
COLUMNS = "columns"
#: Most problems that are reported of one table.
_SHOWN = 20
_WITH_UNIT = re.compile(r"(\S.*?)\s*[\[(]([^\])]+)[\])]")
_BARE = re.compile(r"[-+]?\d+(?:\.\d+)?")
_DECIMAL_COMMA = re.compile(r"(?<=\d),(?=\d)")


class Rows(Record, Generic[R]):
    """The rows of a table, in order."""

    rows: list[R]
    """One record for each row."""


@dataclass(frozen=True)
class _Heading:
    """A column: where its cells go in a row's record, and the unit of its numbers."""

    path: tuple[str, ...]
    unit: str


def read_table(raw: bytes, name: str, model: type[R]) -> Located[Rows[R]]:
    """Return the rows of a table.

    Parameters
    ----------
    raw : bytes
        The file, UTF-8.
    name : str
        Its name, for messages.
    model : type of Record
        The record that each row is read as.

    Raises
    ------
    RecordProblems
        Every problem in it, or the first twenty.
    """
    try:
        lines = raw.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise _refused(
            Place(name, line),
            f"byte 0x{raw[error.start]:02x}",
            "it is no text in UTF-8",
            "Save the table as CSV in UTF-8",
        ) from None
    filled = [
        (number, line)
        for number, line in enumerate(lines, 1)
        if line.strip() and not line.startswith("#")
    ]
    if not filled:
        raise _refused(
            Place(name),
            "the table is empty",
            "its first row names the columns",
            f"Begin with '{','.join(_needed(model))}'",
        )
    delimiter = max((",", ";", "\t"), key=filled[0][1].count)
    headings = _headings(filled[0], delimiter, name, model)
    try:
        return validate(_document(filled, delimiter, headings, name, model), Rows[model])  # type: ignore[valid-type]
    except RecordProblems as refused:
        raise RecordProblems(refused.problems[:_SHOWN]) from None


def _refused(place: Place, what: str, why: str, instead: str) -> RecordProblems:
    return RecordProblems([Problem(place, what, why, instead)])


def _needed(model: type[Record]) -> list[str]:
    return [name for name, field in model.model_fields.items() if field.is_required()]


@cache
def columns_of(model: type[Record]) -> dict[str, tuple[str, ...]]:
    """Return where the cells of each column go in a row's record, by the column's name."""
    found: dict[str, tuple[str, ...]] = {}
    for name, field in model.model_fields.items():
        if COLUMNS in field.metadata:
            keys, _ = get_args(field.annotation)
            found |= {key: (name, key) for key in get_args(keys)}
        else:
            found[name] = (name,)
    return found


def _headings(
    first: tuple[int, str], delimiter: str, name: str, model: type[Record]
) -> list[_Heading]:
    number, line = first
    known = columns_of(model)
    starts = cell_starts(line, delimiter)
    found, problems = [], []
    seen: set[str] = set()
    for at, cell in enumerate(_cells(line, delimiter)):
        place = Place(name, number, starts[min(at, len(starts) - 1)] + 1)
        parts = _WITH_UNIT.fullmatch(cell)
        word, unit = (parts[1], parts[2]) if parts else (cell, "")
        if word not in known or word in seen:
            problems.append(_heading_problem(place, cell, word, known, seen))
        seen.add(word)
        found.append(_Heading(known.get(word, ()), unit))
    problems += [
        Problem(
            Place(name, number),
            f"there is no column '{column}'",
            f"it is needed; it holds: {field_doc(model, column).strip().rstrip('.')}",
            "Add it",
        )
        for column in _needed(model)
        if column not in seen
    ]
    if problems:
        raise RecordProblems(problems[:_SHOWN])
    return found


def _heading_problem(
    place: Place, cell: str, word: str, known: dict[str, Any], seen: set[str]
) -> Problem:
    if word in seen:
        return Problem(place, f"column '{cell}'", "it stands twice", "Remove or rename one")
    near = nearest(word, [one for one in known if one not in seen], cutoff=0.5)
    return Problem(
        place,
        f"column '{cell}'" if cell else "a column without a name",
        "unknown columns are refused, so that a slip of the pen is not lost",
        f"Did you mean '{near[0]}'?" if near else f"The columns are: {', '.join(known)}",
    )


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:  # a cell exceeds the csv module's limit
        cells = line.split(delimiter)
    return [cell.strip() for cell in cells]


def _document(
    filled: list[tuple[int, str]],
    delimiter: str,
    headings: list[_Heading],
    name: str,
    model: type[Record],
) -> Document:
    """Return the rows as a document with the place of each cell.

    Raises
    ------
    RecordProblems
        A row has cells without a column, or lacks one that is needed.
    """
    needed = _needed(model)
    rows: list[dict[str, Any]] = []
    marks: dict[tuple[str | int, ...], Mark] = {}
    problems: list[Problem] = []
    for number, line in filled[1:]:
        at = len(rows)
        marks["rows", at] = number, 1
        row: dict[str, Any] = {}
        starts: list[int] = cell_starts(line, delimiter)
        cells = _cells(line, delimiter)
        for index, (heading, cell) in enumerate(zip(headings, cells, strict=False)):
            if cell:
                _put(row, heading, cell, delimiter)
                column = starts[min(index, len(starts) - 1)] + 1
                marks["rows", at, *heading.path] = number, column
        problems += _row_problems(Place(name, number), row, needed, cells[len(headings) :])
        rows.append(row)
        if len(problems) >= _SHOWN:
            break
    if problems:
        raise RecordProblems(problems[:_SHOWN])
    return Document(name, {"rows": rows}, marks, {})


def _put(row: dict[str, Any], heading: _Heading, cell: str, delimiter: str) -> None:
    if delimiter != ",":
        cell = _DECIMAL_COMMA.sub(".", cell)
    if heading.unit and _BARE.fullmatch(cell):
        cell = f"{cell} {heading.unit}"
    *into, last = heading.path
    for key in into:
        row = row.setdefault(key, {})
    row[last] = cell


def _row_problems(
    place: Place, row: dict[str, Any], needed: list[str], extra: list[str]
) -> Iterator[Problem]:
    for column in needed:
        if column not in row:
            yield Problem(place, f"'{column}' is empty", "it is needed in every row", "Fill it in")
    if any(extra):
        yield Problem(
            place,
            f"cell '{next(filter(None, extra))}'",
            "the row has more cells than there are columns",
            "Put quotes around text that holds the character between columns",
        )
