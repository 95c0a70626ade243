"""What a sheet brings to a charge: read, put into its text, and checked before it is written."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from zoneinfo import ZoneInfo

from pydantic_core import PydanticCustomError

from kilnfolio.adopt.logs import zone_of
from kilnfolio.adopt.merging import merge
from kilnfolio.adopt.record_file import ChargeFile
from kilnfolio.adopt.sheets.headings import find_table
from kilnfolio.adopt.sheets.table import Kind, Options, refusal
from kilnfolio.adopt.sheets.weighings import board_tags
from kilnfolio.records.charge import Charge
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.quantities import Mass
from kilnfolio.records.sheet_words import roles
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import Document, parse_yaml


@dataclass(frozen=True)
class SheetImport:
    """What a sheet brings to a charge.

    Attributes
    ----------
    file : ChargeFile
        The charge's record, edited and not yet written.
    part : str
        What is new in it, as the record holds it; empty where the charge has all of it.
    same : int
        Values of the sheet that the charge has already.
    sheet : str
        The sheet's name.
    unused : tuple of str
        What of the sheet is not used: columns and rows, a sentence each.
    read_as : tuple of str
        How each column is read, a sentence each.
    proposed : tuple of str
        HEADING=ROLE of each column that was read by what it holds, for a person to confirm.
    headings : tuple of str
        The headings, by which a sheet of this kind is known again.
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
    """Read a sheet and put what is new in it into a charge's text; nothing is written.

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
        What the sheet leaves open.

    Raises
    ------
    RecordProblems
        A cell cannot be read, the charge says otherwise, or it would not be read with the part.
    """
    file = ChargeFile.open(root, charge)
    name, document, text = file.name, file.record.document, file.record.text
    table = find_table(path, kind, options, board_tags(document), _board_masses(file))
    table.leave_out_totals()
    part = kind.make(table, document)
    if table.problems:
        raise RecordProblems(_first_of_each(table.problems))
    if "\n" not in part.rstrip("\n"):
        raise refusal(
            path.name,
            f"the sheet holds no {kind.words}",
            "below its headings no row could be told",
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
            continue  # a board that is still being written
    return found


def _first_of_each(problems: list[Problem]) -> Iterator[Problem]:
    """Yield what is wrong in the same way in many cells of a column once, with how often."""
    alike: dict[tuple[int, str, str], list[Problem]] = {}
    for one in problems:
        alike.setdefault((one.place.column, one.why, one.instead), []).append(one)
    for first, *others in alike.values():
        yield (
            replace(first, what=f"{first.what} (and {len(others)} more such cells)")
            if others
            else first
        )


def _without(document: Document, text: str, key: str) -> str:
    """Return a record's text without one of its keys and all that stands below it."""
    if not isinstance(document.value, dict) or key not in document.value:
        return text
    lines = text.split("\n")
    first = document.key_place(key).line - 1
    after = [document.key_place(other).line - 1 for other in document.value]
    end = min((line for line in after if line > first), default=len(lines))
    return "\n".join(lines[:first] + lines[end:])


def _fits(root: Path, name: str, text: str, before: str) -> None:
    """Raise what is wrong now and was not before; what was wrong before stays for `check`."""
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
