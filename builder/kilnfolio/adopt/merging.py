"""Merges the values of a sheet into a charge's record.

New values are added where they belong. Values that the record already has, however written, are
skipped. A different value is a conflict, reported with both: existing values are never changed.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter, ValidationError

from kilnfolio.adopt.record_file import ChargeFile
from kilnfolio.adopt.record_text import Path, RecordText, item_lines
from kilnfolio.records.charge import Board, McRound, Section, Survey, Weighing
from kilnfolio.records.model import Record
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.quantities import Quantity
from kilnfolio.records.validation import is_mark
from kilnfolio.records.yaml_source import Document

_WEIGHINGS, _ROUNDS, _BOARDS, _SURVEY = (
    TypeAdapter(list[Weighing]),
    TypeAdapter(list[McRound]),
    TypeAdapter(list[Board]),
    TypeAdapter(Survey),
)


@dataclass
class Merge:
    """A record into which a sheet is being merged.

    Attributes
    ----------
    file : ChargeFile
        The record, edited in place.
    before : Document
        The record before the merge, for the places of conflicts.
    sheet : str
        The sheet's name in conflicts.
    added : list of str
        The new parts, as a dry run shows them.
    new, same : int
        Number of new values, and of values the record already has.
    conflicts : list of Problem
        Values that differ.
    """

    file: ChargeFile
    sheet: str
    before: Document = field(init=False)
    added: list[str] = field(default_factory=list)
    new: int = 0
    same: int = 0
    conflicts: list[Problem] = field(default_factory=list)

    @property
    def record(self) -> RecordText:
        """The record's text."""
        return self.file.record

    def __post_init__(self) -> None:
        self.before = self.record.document

    @property
    def number(self) -> str:
        """The charge's number."""
        return self.file.name.rsplit("/", 2)[-2]

    def compare(self, path: Path, what: str, old: object, new: object) -> None:
        """Record a conflict if the record's value and the sheet's differ."""
        if _same(old, new):
            self.same += 1
            return
        words = ".".join(map(str, path))
        self.conflicts.append(
            Problem(
                self.before.place(*path),
                what,
                f"the record says {_words(old)}, and {self.sheet} says {_words(new)}",
                f"If the sheet is right: kilnfolio correct {self.number} {words} '{_words(new)}' "
                "--reason …; if the record is right, mend the sheet",
            )
        )

    def add(self, path: Path, index: int, item: Any) -> None:
        """Insert an item into the list at a path, before this index."""
        self.file.insert(path, index, item)
        self.added += [f"  {line}" for line in item_lines(item)]


def merge(file: ChargeFile, key: str, brought: Document, zone: ZoneInfo) -> Merge:
    """Merge a part of a charge into a record that already has that part.

    Parameters
    ----------
    file : ChargeFile
        The record, edited in place.
    key : {"weighings", "mc_rounds", "boards", "survey"}
        The part.
    brought : Document
        The sheet's values in the form of the record; its file is the sheet.
    zone : ZoneInfo
        The mill's zone.

    Raises
    ------
    RecordProblems
        Values differ, or the record's own cannot be read.
    """
    merging, record = Merge(file, brought.file), file.record
    adapter, put = _PARTS[key]
    recorded, incoming = copy.deepcopy((record.value[key], brought.value[key]))
    if key == "boards":
        _fill_in_oven_dry(merging, recorded, incoming)
    try:
        old = adapter.validate_python(recorded, context={"zone": zone})
    except ValidationError:
        raise RecordProblems(
            [
                Problem(
                    record.document.key_place(key),
                    f"the {key} in this record cannot be read",
                    "nothing can be added to them",
                    "Mend them first; 'kilnfolio check' names what",
                )
            ]
        ) from None
    put(
        merging,
        old,
        adapter.validate_python(incoming, context={"zone": zone}),
        brought.value[key],
    )
    if merging.conflicts:
        raise RecordProblems(merging.conflicts)
    return merging


def _put_rounds(
    merging: Merge,
    old: Sequence[Weighing | McRound],
    new: Sequence[Weighing | McRound],
    brought: list[Any],
) -> None:
    """Put rounds of masses, or of MC, between those that stand, oldest first."""
    of_mc = any(isinstance(one, McRound) for one in new)
    key, inner, done = ("mc_rounds", "mc", "took") if of_mc else ("weighings", "masses", "weighed")
    rounds: list[tuple[Any, int | None]] = [(one.at, number) for number, one in enumerate(old)]
    for brought_round, item in zip(new, brought, strict=True):
        at, values = brought_round.at, getattr(brought_round, inner)
        there = next((place for place, one in enumerate(rounds) if one[0] == at), None)
        if there is None:
            before = sum(earlier < at for earlier, _ in rounds)
            merging.add((key,), before, item)
            rounds.insert(before, (at, None))
            merging.new += len(values)
            continue
        number = rounds[there][1]
        if number is None:
            continue  # from the sheet, which has each round only once
        stands, lacking = old[number], {}
        when = f"{at:%Y-%m-%d %H:%M}"
        for tag, value in values.items():
            if tag in (known := getattr(stands, inner)):
                merging.compare(
                    (key, number, inner, tag), f"board {tag} at {when}", known[tag], value
                )
            else:
                lacking[tag] = value.entered
        if brought_round.by and stands.by:
            merging.compare(
                (key, number, "by"), f"who {done} it at {when}", stands.by, brought_round.by
            )
        for tag, words in lacking.items():
            merging.record.put((key, there, inner, tag), words)
        if lacking:
            words = ", ".join(f"{tag}: {value}" for tag, value in lacking.items())
            merging.added += [
                f"  - at: {at:%Y-%m-%dT%H:%M}  # already in the record",
                f"    {inner}: {{{words}}}",
            ]
            merging.new += len(lacking)


def _fill_in_oven_dry(merging: Merge, recorded: list[Any], incoming: list[Any]) -> None:
    """Fill in oven-dry masses that the sheet has and the record lacks.

    A mass missing in `recorded` or `incoming` is copied from the other so that both can be parsed
    and compared; if both lack it, the green mass stands in for it.
    """
    places = {
        (board.get("id"), section.get("id")): ("boards", number, "sections", index, "oven_dry")
        for number, board in enumerate(recorded)
        for index, section in enumerate(board.get("sections") or ())
    }
    new = {
        (board.get("id"), section.get("id")): section
        for board in incoming
        for section in board.get("sections") or ()
    }
    for board in recorded:
        for section in board.get("sections") or ():
            name = (board.get("id"), section.get("id"))
            other = new.get(name, section)
            if not is_mark(section.get("oven_dry")):
                if is_mark(other.get("oven_dry")):
                    other["oven_dry"] = section["oven_dry"]
                continue
            if not is_mark(other.get("oven_dry")):
                merging.record.put(places[name], other["oven_dry"])
                merging.new += 1
                merging.added.append(f"  # section {name[1]}: oven_dry: {other['oven_dry']}")
            section["oven_dry"] = (
                section["green"] if is_mark(other.get("oven_dry")) else other["oven_dry"]
            )
    for section in new.values():
        if is_mark(section.get("oven_dry")):
            section["oven_dry"] = section["green"]


def _put_boards(merging: Merge, old: list[Board], new: list[Board], brought: list[Any]) -> None:
    added = 0
    for board, item in zip(new, brought, strict=True):
        there = next((index for index, one in enumerate(old) if one.id == board.id), None)
        if there is None:
            merging.add(("boards",), len(old) + added, item)
            added += 1
            merging.new += 1
            continue
        stands = old[there]
        for key, words in (("green_mass", "mass"), ("weighed_at", "time"), ("by", "weigher")):
            merging.compare(
                ("boards", there, key),
                f"{words} of board {board.id}",
                getattr(stands, key),
                getattr(board, key),
            )
        sections = {section.id: index for index, section in enumerate(stands.sections)}
        for section in board.sections:
            if section.id in sections:
                _compare_section(
                    merging, stands, ("boards", there, "sections", sections[section.id]), section
                )
            else:
                merging.conflicts.append(
                    Problem(
                        merging.before.place("boards", there, "sections"),
                        f"section {section.id} of board {board.id}",
                        f"{merging.sheet} has it, and the record does not",
                        "If it was cut with the others, add a line '- {id: "
                        f"{section.id}, green: {section.green.entered}, oven_dry: …}}' here, with its mass once it is out of the oven",
                    )
                )


def _compare_section(merging: Merge, board: Board, path: Path, new: Section) -> None:
    old = board.sections[int(path[-1])]
    for key in ("green", "oven_dry"):
        merging.compare(
            (*path, key),
            f"{key.replace('_', '-')} mass of section {new.id}",
            getattr(old, key),
            getattr(new, key),
        )


def _put_survey(merging: Merge, old: Survey, new: Survey, brought: Mapping[str, Any]) -> None:
    for key in brought:
        if key != "readings":
            merging.compare(
                ("survey", key),
                f"{key.replace('_', ' ')} of the survey",
                getattr(old, key),
                getattr(new, key),
            )
    for number, (one, other) in enumerate(zip(old.readings, new.readings, strict=False)):
        for key in ("mc", "pack", "position"):
            merging.compare(
                ("survey", "readings", number, key),
                f"{key} of reading {number + 1}",
                getattr(one, key),
                getattr(other, key),
            )
    for number in range(len(old.readings), len(new.readings)):
        merging.add(("survey", "readings"), number, brought["readings"][number])
        merging.new += 1


#: By key of the charge: the functions that read the part and merge it.
_PARTS: Mapping[str, tuple[TypeAdapter[Any], Callable[..., None]]] = {
    "weighings": (_WEIGHINGS, _put_rounds),
    "mc_rounds": (_ROUNDS, _put_rounds),
    "boards": (_BOARDS, _put_boards),
    "survey": (_SURVEY, _put_survey),
}


def _same(old: object, new: object) -> bool:
    if isinstance(old, Quantity) and isinstance(new, Quantity):
        return abs(old.value - new.value) <= 1e-9 * max(1.0, abs(old.value))
    return old == new


def _words(value: object) -> str:
    if isinstance(value, Quantity):
        return value.entered
    if isinstance(value, Record):
        return str(value)
    if isinstance(value, list):
        return ", ".join(map(str, value)) or "none"
    return "nothing" if value is None else re.sub(r":00([+-]\d\d:\d\d)?$", "", str(value))
