"""Reads a sheet, merges it into a charge's text, and checks the result before it is written."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter, ValidationError
from pydantic_core import PydanticCustomError

from kilnfolio.adopt.logs import zone_of
from kilnfolio.adopt.merging import merge
from kilnfolio.adopt.record_file import ChargeFile
from kilnfolio.adopt.sheets.headings import find_table
from kilnfolio.adopt.sheets.table import Kind, Options, refusal
from kilnfolio.adopt.sheets.weighings import board_tags
from kilnfolio.records.charge import Charge
from kilnfolio.records.model import Moment
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.quantities import Mass
from kilnfolio.records.sheet_words import roles
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import Document, parse_yaml
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class SheetImport:
    """A sheet merged into a charge, not yet written.

    Attributes
    ----------
    file : ChargeFile
        The charge's record, edited but not written.
    part : str
        The new part of the record's text; empty if the sheet holds nothing new.
    same : int
        Number of values that the charge already has.
    sheet : str
        The sheet's name.
    unused : tuple of str
        Columns and rows that are not used, one sentence each.
    read_as : tuple of str
        How each column is read, one sentence each.
    proposed : tuple of str
        HEADING=ROLE of each column recognized by its content, for a person to confirm.
    headings : tuple of str
        The headings, by which the sheet is recognized next time.
    """

    file: ChargeFile
    part: str
    same: int
    sheet: str
    unused: tuple[str, ...]
    read_as: tuple[str, ...]
    proposed: tuple[str, ...]
    headings: tuple[str, ...]

    @property
    def name(self) -> str:
        """The charge's file."""
        return self.file.name

    def save(self) -> None:
        """Write the charge's new text."""
        self.file.save(f"import of {self.sheet}")


def import_sheet(root: Path, path: Path, kind: Kind, charge: str, options: Options) -> SheetImport:
    """Read a sheet and merge it into a charge's text; nothing is written.

    Parameters
    ----------
    root : Path
        The mill folder.
    path : Path
        The sheet.
    kind : Kind
        One of `kinds.SHEETS`.
    charge : str
        The charge's number.
    options : Options
        What the person said about the sheet.

    Raises
    ------
    RecordProblems
        A cell cannot be read, a value contradicts the record, or the result is not valid.
    """
    file = ChargeFile.open(root, charge)
    name, document, text = file.name, file.record.document, file.record.text
    table = find_table(path, kind, options, board_tags(document), _board_masses(file))
    table.leave_out_totals()
    if kind.of_charges:
        table.leave_out_others(charge)
    table.started = began(root, document)
    part = kind.make(table, document)
    if table.problems:
        raise RecordProblems(first_of_each(table.problems))
    if "\n" not in part.rstrip("\n"):
        raise refusal(
            path.name,
            f"the sheet holds no {kind.words}",
            "no row below its headings could be read",
            "For weighings, head each column with a board's tag",
        )
    alone = _without(document, text, kind.key).rstrip("\n") + "\n" + part
    _fits(root, name, alone, text)
    found = parse_yaml(part.encode(), path.name)
    added, same = part, 0
    if isinstance(document.value, dict) and document.value.get(kind.key):
        merged = merge(file, kind.key, found, zone_of(root))
        added = f"{kind.key}:\n" + "\n".join(merged.added) + "\n" if merged.new else ""
        same = merged.same
    else:
        file.record.put((kind.key,), found.value[kind.key])
    file.check()
    return SheetImport(
        file,
        added,
        same,
        path.name,
        tuple(table.unused()),
        tuple(table.read_as()),
        tuple(
            f"{table.heading[one.column].text}={roles()[one.role].name}" for one in table.proposed
        ),
        tuple(cell.text for cell in table.heading),
    )


def began(root: Path, charge: Document) -> dt.datetime | None:
    """Return when heating of a charge began; None if its record does not say."""
    value = charge.value.get("started") if isinstance(charge.value, dict) else None
    try:
        return TypeAdapter(Moment).validate_python(value, context={"zone": zone_of(root)})
    except ValidationError:
        return None


def _board_masses(file: ChargeFile) -> dict[str, tuple[float, float]]:
    """Return oven-dry and green mass of each board of a charge, by tag [g]."""
    found = {}
    for board in file.record.at(("boards",)) or []:
        try:
            sections = [
                (Mass.parse(one["green"]).value, Mass.parse(one["oven_dry"]).value)
                for one in board["sections"]
            ]
            green = Mass.parse(board["green_mass"]).value
            found[str(board["id"])] = (
                green * sum(dry for _, dry in sections) / sum(wet for wet, _ in sections),
                green,
            )
        except (KeyError, TypeError, ZeroDivisionError, PydanticCustomError):
            continue  # a board that is not complete yet
    return found


def first_of_each(problems: list[Problem]) -> Iterator[Problem]:
    """Yield each kind of problem in a column once, with the number of cells."""
    alike: dict[tuple[int, str, str], list[Problem]] = {}
    for one in problems:
        alike.setdefault((one.place.column, one.why, one.instead), []).append(one)
    for first, *others in alike.values():
        yield (
            replace(
                first,
                what=f"{first.what} (and {len(others)} more such cell{'s' if len(others) > 1 else ''})",
            )
            if others
            else first
        )


def _without(document: Document, text: str, key: str) -> str:
    """Return a record's text without one of its keys and everything below it."""
    if not isinstance(document.value, dict) or key not in document.value:
        return text
    lines = text.split("\n")
    first = document.key_place(key).line - 1
    after = [document.key_place(other).line - 1 for other in document.value]
    end = min((line for line in after if line > first), default=len(lines))
    return "\n".join(lines[:first] + lines[end:])


def _fits(root: Path, name: str, text: str, before: str) -> None:
    """Raise the problems that the import introduced; older ones are left to `check`."""
    zone = zone_of(root)
    known = {(one.what, one.why) for one in _wrong(name, before, zone)}
    if wrong := [one for one in _wrong(name, text, zone) if (one.what, one.why) not in known]:
        raise RecordProblems(wrong)


def _wrong(name: str, text: str, zone: ZoneInfo) -> tuple[Problem, ...]:
    try:
        validate(parse_yaml(text.encode(), name), Charge, zone=zone)
    except RecordProblems as error:
        return tuple(one for one in error.problems if not one.absent)
    return ()
