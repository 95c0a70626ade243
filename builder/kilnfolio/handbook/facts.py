"""Tables of published facts, each row with its source, from ``content/handbook/facts``.

A cell is a number or a line of handbook prose, so that quantities print in both unit systems. The
source and status at the head of a file apply to every row without its own.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import ConfigDict, Field

from kilnfolio.handbook.chapter import FACTS
from kilnfolio.records.model import Located, Name, Record
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.sourced import Citation, Status
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import read_yaml

Fact = str | int | float


class FactColumn(Record):
    """A column of a table of facts."""

    key: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
    """Its key in the rows."""
    words: Name
    """Its heading."""
    unit: Name | None = None
    """The unit of its numbers; a column of words has none."""


class FactRow(Record):
    """A row: its cells by the keys of the columns, and their source."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Fact] = Field(init=False)

    source: Citation | None = None
    """A publication's id and the place in it; by default that of the head."""
    status: Status | None = None
    """Status of its values; by default that of the head."""

    def cell(self, key: str) -> Fact | None:
        """Return a cell, or None if the source gives no value."""
        return (self.model_extra or {}).get(key)

    def number(self, key: str) -> float | None:
        """Return a cell that holds a number, or None."""
        value = self.cell(key)
        return float(value) if isinstance(value, int | float) else None

    def numbers(self, *keys: str) -> list[float]:
        """Return cells that must hold numbers."""
        found = [self.number(key) for key in keys]
        missing = [key for key, value in zip(keys, found, strict=True) if value is None]
        if missing:
            raise ValueError(f"a row gives no number for {', '.join(missing)}")
        return [value for value in found if value is not None]


class FactTable(Record):
    """``content/handbook/facts/NAME.yaml``."""

    title: Name
    """What it is about."""
    columns: Annotated[list[FactColumn], Field(min_length=1)]
    """The columns in order; the first names the row."""
    rows: Annotated[list[FactRow], Field(min_length=1)]
    """In order."""
    source: Citation | None = None
    """The source of rows without their own."""
    status: Status | None = None
    """The status of rows without their own."""

    def origin(self, row: FactRow) -> tuple[str, str]:
        """Return a row's source and status."""
        return row.source or self.source or "", row.status or self.status or ""


def read_facts(root: Path, name: str) -> FactTable:
    """Read a table of facts.

    Parameters
    ----------
    root : Path
        The mill folder.
    name : str
        Name of its file without the extension.

    Raises
    ------
    RecordProblems
        All problems of the file, with their lines.
    """
    shown_as = f"{FACTS}/{name}.yaml"
    if not (root / shown_as).is_file():
        known = ", ".join(sorted(path.stem for path in (root / FACTS).glob("*.yaml")))
        raise RecordProblems(
            [
                Problem(
                    Place(shown_as),
                    "the table of facts is missing",
                    f"there is no file {shown_as}",
                    f"Known ones: {known or 'none'}",
                )
            ]
        )
    located = validate(read_yaml(root / shown_as, shown_as), FactTable)
    problems = list(_problems(located))
    if problems:
        raise RecordProblems(problems)
    return located.record


def _problems(located: Located[FactTable]) -> list[Problem]:
    table, document = located.record, located.document
    keys = [column.key for column in table.columns]
    found = []
    for place, row in enumerate(table.rows):
        found += [
            Problem(
                document.key_place("rows", place, key),
                f"the cell '{key}'",
                "no column has this key",
                "Known ones: " + ", ".join(keys),
            )
            for key in row.model_extra or {}
            if key not in keys
        ]
        if row.cell(keys[0]) is None:
            found.append(
                Problem(
                    document.place("rows", place),
                    f"the row has no '{keys[0]}'",
                    "the first column names the row",
                    "Add it",
                )
            )
        if not all(table.origin(row)):
            found.append(
                Problem(
                    document.place("rows", place),
                    "the row has no source or no status",
                    "every fact says where it comes from and how it is known",
                    "Add 'source:' and 'status:' to the row or to the head of the file",
                )
            )
    return found
