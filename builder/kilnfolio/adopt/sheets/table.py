"""A table in a sheet whose columns are known, and the options given with it."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from dataclasses import field
from itertools import groupby

from kilnfolio.adopt.cells import Cell, Sheet
from kilnfolio.adopt.sheets.columns import Proposal
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.sheet_words import is_total, roles
from kilnfolio.records.yaml_source import Document
from kilnfolio.runtime.values import dataclass


@dataclass
class Options:
    """What the person said about the sheet."""

    sheet: str | None = None
    column: list[str] | None = None
    """The role of columns, as HEADING=ROLE, if the heading does not tell or is wrong."""
    unit: str | None = None
    decimal: str | None = None
    dates: str | None = None
    time: str | None = None
    by: str | None = None
    at: str | None = None
    method: str | None = None
    instrument: str | None = None
    corrected_for: list[str] | None = None
    wood_temperature: str | None = None
    calibration_temperature: str | None = None
    chosen: str | None = None


@dataclass
class Table:
    """A table whose columns are known."""

    sheet: Sheet
    heading: list[Cell]
    rows: list[list[Cell]]
    roles: dict[str, int]
    options: Options
    problems: list[Problem] = field(default_factory=list)
    moments: dict[int, str | None] = field(default_factory=dict)
    """Times of columns whose heading is a date."""
    used: set[int] = field(default_factory=set)
    """Columns that were read."""
    used_rows: set[int] = field(default_factory=set)
    """Indices into `rows` of the rows that were read."""
    left_out: list[str] = field(default_factory=list)
    """Parts of the sheet that are not used, one sentence each."""
    notes: list[str] = field(default_factory=list)
    """What a person must know about what was read, one sentence each."""
    proposed: list[Proposal] = field(default_factory=list)
    """Columns recognized by content, for a person to confirm."""
    started: dt.datetime | None = None
    """When heating of the charge began; a column of hours counts from it."""

    def read_as(self) -> list[str]:
        """Return how each column is read, one sentence each."""
        by_index = {index: role for role, index in self.roles.items()}
        why = {one.column: one.why for one in self.proposed}
        return [
            f"column {re.sub(r'[0-9]', '', cell.where)} '{cell.text}' is read as "
            f"{roles()[by_index[index]].means}" + (f": {why[index]}" if index in why else "")
            for index, cell in enumerate(self.heading)
            if index in by_index and index in self.used
        ]

    def cell(self, row: list[Cell], role: str) -> Cell:
        """Return the cell of a role in a row; an empty cell if the sheet has no such column."""
        index = self.roles.get(role)
        if index is None or index >= len(row):
            return Cell("", row[0].where)
        self.used.add(index)
        return row[index]

    def leave_out_totals(self) -> None:
        """Remove rows of totals; ask about a total without a label."""
        kept = []
        for row in self.rows:
            label = next((cell for cell in row if is_total(cell.text)), None)
            if label is None:
                kept.append(row)
            else:
                self.left_out.append(
                    f"row {_row_number(label)} ('{label.text}') is a total and is left out"
                )
        self.rows = kept

    def leave_out_others(self, charge: str) -> None:
        """Remove the rows of other charges, if a column names the charge.

        Raises
        ------
        RecordProblems
            No row is of this charge.
        """
        if "charge" not in self.roles:
            return
        named = [self.cell(row, "charge").text for row in self.rows]
        others = sorted({name for name in named if name and name != charge})
        self.rows = [row for row, name in zip(self.rows, named, strict=True) if name == charge]
        if not self.rows:
            head = self.heading[self.roles["charge"]]
            raise RecordProblems(
                [
                    self.sheet.problem(
                        head,
                        f"column '{head.text}'",
                        f"no row is of charge {charge}",
                        f"It names {', '.join(others[:5])}{', …' if len(others) > 5 else ''}; if "
                        f"all rows are of this charge, say --column '{head.text}=ignore'",
                    )
                ]
            )
        if others:
            count = sum(name in others for name in named)
            self.left_out.append(
                f"{count} row{'s' if count > 1 else ''} of other charges "
                f"({', '.join(others[:3])}{', …' if len(others) > 3 else ''}) "
                f"{'are' if count > 1 else 'is'} left out"
            )

    def _unused_rows(self) -> Iterator[str]:
        """Yield a sentence for each run of unused rows."""
        idle = [place for place in range(len(self.rows)) if place not in self.used_rows]
        for _, run in groupby(enumerate(idle), key=lambda one: one[1] - one[0]):
            rows = [self.rows[place] for _, place in run]
            first, last = (_row_number(row[0]) for row in (rows[0], rows[-1]))
            named = next(cell.text for cell in rows[0] if cell.text)
            yield (
                f"row {first} ('{named}') holds nothing that is read"
                if len(rows) == 1
                else f"rows {first} to {last} ('{named}', …) hold nothing that is read"
            )

    def unused(self) -> list[str]:
        """Return the parts of the sheet that were not used, one sentence each."""
        found = [*self.left_out, *self._unused_rows(), *self.notes]
        for index, head in enumerate(self.heading):
            filled = sum(1 for row in self.rows if index < len(row) and row[index].text)
            if index not in self.used and (head.text or filled):
                letters = re.sub(r"\d", "", head.where)
                named = f"'{head.text}'" if head.text else "(no heading)"
                found.append(
                    f"column {letters} {named} is not used ({filled} "
                    f"cell{'s' if filled != 1 else ''})"
                )
        return found

    def refuse(self, cell: Cell, what: str, why: str, instead: str) -> None:
        """Record a problem with a cell."""
        self.problems.append(self.sheet.problem(cell, what, why, instead))


@dataclass(frozen=True)
class Kind:
    """A kind of data that a sheet can hold."""

    key: str
    words: str
    needs: tuple[tuple[str, ...], ...]
    make: Callable[[Table, Document], str]
    #: Takes the headings of a table and the boards of a charge; returns whether the columns hold
    #: it.
    fits: Callable[[Table, list[str]], bool] = lambda table, boards: True  # noqa: ARG005
    #: What the headings must name, if there are several ways to do so.
    told: str = ""
    #: Roles that may be proposed from a column's content.
    proposes: tuple[str, ...] = ()
    #: Those of them that are proposed even if the headings name all that is needed.
    completes: tuple[str, ...] = ()
    #: Added to the message that no sheet holds it: what another command reads.
    otherwise: str = ""
    #: Whether a sheet may hold several charges, named in a column.
    of_charges: bool = False


def refusal(where: str, what: str, why: str, instead: str) -> RecordProblems:
    """Return the error that refuses a sheet or an option."""
    return RecordProblems([Problem(Place(where), what, why, instead)])


def _row_number(cell: Cell) -> str:
    return re.sub(r"\D", "", cell.where)
