"""Parses a part of a workbook once, for its extent and for what openpyxl does not report.

No cell values are kept. Parsing stops with a reason at the first thing that no spreadsheet program
writes: a document type (whose entities could expand without end), rows out of order, overlapping
merged areas.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any
from xml.sax import SAXException
from xml.sax.handler import ContentHandler, feature_namespaces

from defusedxml.common import DefusedXmlException
from defusedxml.sax import make_parser

from kilnfolio.adopt.cells import MAX_CELLS, column_letters

#: Most elements in one part, and their deepest nesting.
MAX_ELEMENTS, MAX_DEPTH = 1_000_000, 100
#: The last possible row and column of a sheet (ECMA-376 part 1, 18.3.1.73 and 18.3.1.4, as
#: spreadsheet programs apply them).
LAST_ROW, LAST_COLUMN = 1_048_576, 16_384

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_PLACE = re.compile(r"\$?([A-Z]{1,3})\$?([0-9]{1,7})")


class OutlineError(Exception):
    """A part is refused: what, why and what to do instead."""

    def __init__(self, what: str, why: str, instead: str = "Save it again as .xlsx") -> None:
        super().__init__(what)
        self.what, self.why, self.instead = what, why, instead


@dataclass
class Outline:
    """The structure of one sheet, without its values.

    Attributes
    ----------
    rows, columns : int
        The last row and column with a filled cell.
    merged : list of tuple
        Top, left, bottom and right of each merged area, clipped to the filled part.
    hidden_rows : set of int
    hidden_columns : list of tuple
        First and last of each run.
    formulas : dict
        By row and column, the formula and, if it is shared, the cell that it was written for; the
        formula is empty for an array or a data table.
    """

    rows: int = 0
    columns: int = 0
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: list[tuple[int, int]] = field(default_factory=list)
    formulas: dict[tuple[int, int], tuple[str, str]] = field(default_factory=dict)


def outline_of(part: bytes) -> Outline | None:
    """Parse a part; return the outline of a sheet, None for any other part.

    Raises
    ------
    OutlineError
        It is not XML, or not as spreadsheet programs write it.
    """
    walk = _PartHandler()
    parser = make_parser()
    parser.forbid_dtd = True
    parser.setFeature(feature_namespaces, True)
    parser.setContentHandler(walk)
    try:
        parser.feed(part)
        parser.close()
    except DefusedXmlException:
        raise OutlineError(
            "the workbook declares a document type",
            "its entities could expand without end, so none are read",
        ) from None
    except (SAXException, ValueError, LookupError) as error:
        raise OutlineError(
            "this is not a spreadsheet that can be read", " ".join(str(error).split()).lower()[:80]
        ) from None
    return walk.finished()


def place_of(name: str) -> tuple[int, int]:
    """Return the row and column of a cell's name, as in B4.

    Raises
    ------
    OutlineError
        There is no such cell.
    """
    found = _PLACE.fullmatch(name)
    column = 0
    for letter in found[1] if found else "":
        column = column * 26 + ord(letter) - 64
    row = int(found[2]) if found else 0
    if not (1 <= row <= LAST_ROW and 1 <= column <= LAST_COLUMN):
        raise OutlineError(
            f"'{name[:20]}' is not a cell of a sheet",
            "a cell is named by its column and row, as in B4",
        )
    return row, column


class _PartHandler(ContentHandler):
    """SAX handler that counts elements and collects the outline of a sheet."""

    def __init__(self) -> None:
        super().__init__()
        self.outline = Outline()
        self.is_sheet = False
        self.count = self.depth = 0
        self.row = self.column = 0
        self.filled = False
        self.formula: list[str] | None = None
        self.formula_told: dict[str, str] = {}
        self.shared: dict[str, tuple[str, str]] = {}
        self.areas: list[tuple[int, int, int, int]] = []

    def startElementNS(  # noqa: N802
        self,
        name: tuple[str | None, str],
        qname: str | None,
        attrs: Any,
    ) -> None:
        del qname
        self.count += 1
        self.depth += 1
        if self.count > MAX_ELEMENTS or self.depth > MAX_DEPTH:
            raise OutlineError(
                "the workbook is too large",
                f"a part has more than {MAX_ELEMENTS:,} elements, or more than {MAX_DEPTH} levels of nesting",
                "Copy the rows that count to a new workbook",
            )
        space, tag = name
        if space != _MAIN:
            return
        if self.depth == 1:
            self.is_sheet = tag == "worksheet"
        elif self.is_sheet and (visit := getattr(self, f"_begin_{tag}", None)):
            visit({local: value for (spaced, local), value in attrs.items() if not spaced})

    def endElementNS(self, name: tuple[str | None, str], qname: str | None) -> None:  # noqa: N802
        del qname
        self.depth -= 1
        if self.is_sheet and name[0] == _MAIN and name[1] in ("c", "f"):
            getattr(self, f"_end_{name[1]}")()

    def characters(self, content: str) -> None:
        if self.formula is not None:
            self.formula.append(content)

    def _begin_row(self, told: dict[str, str]) -> None:
        row = _number(told.get("r"), self.row + 1, LAST_ROW)
        if row <= self.row:
            raise OutlineError(f"row {row} comes after row {self.row}", "one of them would be lost")
        self.row, self.column = row, 0
        if told.get("hidden") in ("1", "true"):
            self.outline.hidden_rows.add(row)

    def _begin_c(self, told: dict[str, str]) -> None:
        row, column = place_of(told["r"]) if "r" in told else (self.row, self.column + 1)
        if row != self.row or not self.column < column <= LAST_COLUMN:
            raise OutlineError(
                f"cell {told.get('r', column)} comes after column {self.column} in row {self.row}",
                "one of the cells would be lost",
            )
        self.column = column
        self.filled = False

    def _begin_v(self, told: dict[str, str]) -> None:
        del told
        self.filled = True

    _begin_is = _begin_v

    def _begin_f(self, told: dict[str, str]) -> None:
        self.filled = True
        self.formula, self.formula_told = [], told

    def _end_f(self) -> None:
        text = "".join(self.formula or ())
        self.formula = None
        kind, shared = self.formula_told.get("t", "normal"), self.formula_told.get("si", "")
        where = f"{column_letters(self.column)}{self.row}"
        if kind == "shared":
            if text:
                self.shared.setdefault(shared, (text, where))
            told = self.shared.get(shared, ("", ""))
        else:
            told = (text, "") if kind == "normal" else ("", "")
        self.outline.formulas[self.row, self.column] = told

    def _end_c(self) -> None:
        if self.filled:
            self.outline.rows = max(self.outline.rows, self.row)
            self.outline.columns = max(self.outline.columns, self.column)

    def _begin_col(self, told: dict[str, str]) -> None:
        if told.get("hidden") in ("1", "true"):
            first = _number(told.get("min"), 1, LAST_COLUMN)
            self.outline.hidden_columns.append(
                (first, _number(told.get("max"), first, LAST_COLUMN))
            )

    def _begin_mergeCell(self, told: dict[str, str]) -> None:  # noqa: N802
        first, _, last = told.get("ref", "").partition(":")
        self.areas.append((*place_of(first), *place_of(last or first)))

    def finished(self) -> Outline | None:
        """Return the outline, with merged areas clipped to the filled part."""
        if not self.is_sheet:
            return None
        covered = 0
        for top, left, bottom, right in self.areas:
            bottom, right = min(bottom, self.outline.rows), min(right, self.outline.columns)
            if top > bottom or left > right:
                continue
            covered += (bottom - top + 1) * (right - left + 1)
            if covered > MAX_CELLS:
                raise OutlineError(
                    "merged areas overlap",
                    "the file does not say which of them counts",
                    "Unmerge them, and save it again",
                )
            self.outline.merged.append((top, left, bottom, right))
        return self.outline


def _number(text: str | None, otherwise: int, most: int) -> int:
    """Return the number of a row or column."""
    if text is None:
        return otherwise
    if not re.fullmatch(r"[0-9]{1,7}", text) or not 1 <= int(text) <= most:
        raise OutlineError(
            f"'{text[:20]}' is not a row or column of a sheet", f"they count from 1 to {most:,}"
        )
    return int(text)


def _letters(column: int) -> str:
    from kilnfolio.adopt.cells import column_letters

    return column_letters(column)
