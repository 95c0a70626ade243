"""What a sheet brings, put beside what a charge's record holds already.

What is new is added where it belongs, in the record's own text, comments and all. What the record
has in the same words or the same value is left. What differs is a conflict, named with both values:
nothing that stands is ever changed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter, ValidationError

from kilnfolio.records.charge import Board, Section, Survey, Weighing
from kilnfolio.records.model import Record
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.quantities import Quantity
from kilnfolio.records.yaml_source import Document, parse_yaml

Path = tuple[str | int, ...]
_WEIGHINGS, _BOARDS, _SURVEY = (
    TypeAdapter(list[Weighing]), TypeAdapter(list[Board]), TypeAdapter(Survey))


@dataclass
class Merge:
    """A record's text while a sheet is put into it.

    Attributes
    ----------
    document : Document
        The record as it stands.
    lines : list of str
        Its text.
    sheet : str
        The sheet, as conflicts name it.
    edits : list
        Line from 0, how many lines it replaces, and the new ones; none overlap.
    added : list of str
        What is new, as a dry run shows it.
    new, same : int
        Values that are new, and values that stand already.
    conflicts : list of Problem
        Values that differ.
    """

    document: Document
    lines: list[str]
    sheet: str
    edits: list[tuple[int, int, list[str]]] = field(default_factory=list)
    added: list[str] = field(default_factory=list)
    new: int = 0
    same: int = 0
    conflicts: list[Problem] = field(default_factory=list)

    @property
    def text(self) -> str:
        """The record's text with what is new."""
        lines = list(self.lines)
        for start, count, new in sorted(self.edits, key=lambda edit: edit[0], reverse=True):
            lines[start: start + count] = new
        return "\n".join(lines)

    def compare(self, path: Path, what: str, old: object, new: object) -> None:
        """Keep a conflict where a value that stands is another in the sheet."""
        if _same(old, new):
            self.same += 1
            return
        words = ".".join(map(str, path))
        self.conflicts.append(Problem(
            self.document.place(*path), what,
            f"the record says {_words(old)}, and {self.sheet} says {_words(new)}",
            "If the sheet is right, write its value here and under corrections: {field: "
            f"{words}, old: {_words(old)}, new: {_words(new)}, reason: …, by: …, at: …}}; if the "
            "record is right, mend the sheet"))

    def add_items(self, path: Path, before: int, items: Sequence[Sequence[str]]) -> None:
        """Add items to the list at a path, before one of its items or at its end.

        Raises
        ------
        RecordProblems
            The list is written in one line.
        """
        length = len(_at(self.document.value, path))
        first = self.document.place(*path, 0)
        before_it = self.lines[first.line - 1][: first.column - 1]
        dash = before_it.find("-")
        if before_it.strip() != "-":
            raise RecordProblems([Problem(
                self.document.key_place(*path), f"the list of {path[-1]} is written in one line",
                "nothing can be added to it for you",
                "Begin each item on a line of its own with '- '")])
        line = self.document.place(*path, before).line - 1 if before < length else \
            self._end(self.document.place(*path, length - 1).line, dash)
        new = [" " * dash + text for item in items for text in item]
        self.edits.append((line, 0, new))
        self.added += [f"  {text}" for item in items for text in item]

    def add_keys(self, path: Path, items: Mapping[str, str]) -> None:
        """Add keys to the mapping at a path, whichever way it is written."""
        last = self.document.key_place(*path, list(_at(self.document.value, path))[-1])
        if last.line != self.document.key_place(*path).line:
            self.edits.append((last.line, 0, [
                " " * (last.column - 1) + f"{key}: {value}" for key, value in items.items()]))
            return
        line = self.lines[last.line - 1]
        close = line.index("}", last.column)
        more = "".join(f", {key}: {value}" for key, value in items.items())
        self.edits.append((last.line - 1, 1, [line[:close] + more + line[close:]]))

    def _end(self, line: int, dash: int) -> int:
        """Return the line, from 0, after the item that begins just above `line`."""
        end = line
        for number in range(line, len(self.lines)):
            text = self.lines[number]
            if not text.strip() or text.lstrip().startswith("#"):
                continue
            if len(text) - len(text.lstrip()) <= dash:
                break
            end = number + 1
        return end


def merge(document: Document, text: str, key: str, part: str, sheet: str, zone: ZoneInfo) -> Merge:
    """Put a part of a charge, as text, into a record that has that part already.

    Parameters
    ----------
    document : Document
        The record.
    text : str
        Its text.
    key : {"weighings", "boards", "survey"}
        The part.
    part : str
        What the sheet brings, as the record would hold it.
    sheet : str
        The sheet, as conflicts name it.
    zone : ZoneInfo
        The mill's zone.

    Raises
    ------
    RecordProblems
        Values differ, or what stands cannot be read.
    """
    merging = Merge(document, text.split("\n"), sheet)
    brought = parse_yaml(part.encode(), sheet)
    adapter, put = _PARTS[key]
    try:
        old = adapter.validate_python(document.value[key], context={"zone": zone})
    except ValidationError:
        raise RecordProblems([Problem(
            document.key_place(key), f"the {key} that stand here cannot be read",
            "nothing can be added to them", "Mend them first; 'kilnfolio check' names what")
        ]) from None
    put(merging, old, adapter.validate_python(brought.value[key], context={"zone": zone}),
        brought, part.split("\n"))
    if merging.conflicts:
        raise RecordProblems(merging.conflicts)
    return merging


def _put_weighings(merging: Merge, old: list[Weighing], new: list[Weighing], brought: Document,
                   lines: list[str]) -> None:
    for number, weighing in enumerate(new):
        there = next((index for index, one in enumerate(old) if one.at == weighing.at), None)
        if there is None:
            before = sum(one.at < weighing.at for one in old)
            merging.add_items(("weighings",), before, [_item(brought, lines, ("weighings",),
                                                            number)])
            merging.new += len(weighing.masses)
            continue
        stands, path, lacking = old[there], ("weighings", there), {}
        when = f"{weighing.at:%Y-%m-%d %H:%M}"
        for tag, mass in weighing.masses.items():
            if tag in stands.masses:
                merging.compare((*path, "masses", tag), f"board {tag} at {when}",
                                stands.masses[tag], mass)
            else:
                lacking[tag] = mass.entered
        if weighing.by and stands.by:
            merging.compare((*path, "by"), f"who weighed at {when}", stands.by, weighing.by)
        if lacking:
            merging.add_keys((*path, "masses"), lacking)
            masses = ", ".join(f"{tag}: {mass}" for tag, mass in lacking.items())
            merging.added += [f"  - at: {weighing.at:%Y-%m-%dT%H:%M}  # stands already",
                              f"    masses: {{{masses}}}"]
            merging.new += len(lacking)


def _put_boards(merging: Merge, old: list[Board], new: list[Board], brought: Document,
                lines: list[str]) -> None:
    for number, board in enumerate(new):
        there = next((index for index, one in enumerate(old) if one.id == board.id), None)
        if there is None:
            merging.add_items(("boards",), len(old), [_item(brought, lines, ("boards",), number)])
            merging.new += 1
            continue
        stands = old[there]
        for key, words in (("green_mass", "mass"), ("weighed_at", "time"), ("by", "weigher")):
            merging.compare(("boards", there, key), f"{words} of board {board.id}",
                            getattr(stands, key), getattr(board, key))
        sections = {section.id: index for index, section in enumerate(stands.sections)}
        for section in board.sections:
            if section.id in sections:
                _compare_section(merging, stands, ("boards", there, "sections",
                                                   sections[section.id]), section)
            else:
                merging.conflicts.append(Problem(
                    merging.document.place("boards", there, "sections"),
                    f"section {section.id} of board {board.id}", f"{merging.sheet} has it, and the "
                    "record does not", "If it was cut with the others, add a line '- {id: "
                    f"{section.id}, green: {section.green.entered}, oven_dry: "
                    f"{section.oven_dry.entered}}}' here"))


def _compare_section(merging: Merge, board: Board, path: Path, new: Section) -> None:
    old = board.sections[int(path[-1])]
    for key in ("green", "oven_dry"):
        merging.compare((*path, key), f"{key.replace('_', '-')} mass of section {new.id}",
                        getattr(old, key), getattr(new, key))


def _put_survey(merging: Merge, old: Survey, new: Survey, brought: Document,
                lines: list[str]) -> None:
    for key in brought.value["survey"]:
        if key != "readings":
            merging.compare(("survey", key), f"{key.replace('_', ' ')} of the survey",
                            getattr(old, key), getattr(new, key))
    for number, (one, other) in enumerate(zip(old.readings, new.readings, strict=False)):
        for key in ("mc", "pack", "position"):
            merging.compare(("survey", "readings", number, key), f"{key} of reading {number + 1}",
                            getattr(one, key), getattr(other, key))
    more = range(len(old.readings), len(new.readings))
    if more:
        merging.add_items(("survey", "readings"), len(old.readings), [
            _item(brought, lines, ("survey", "readings"), number) for number in more])
        merging.new += len(more)


#: By the key of the charge: how the part is read, and how it is put in.
_PARTS: Mapping[str, tuple[TypeAdapter[Any], Callable[..., None]]] = {
    "weighings": (_WEIGHINGS, _put_weighings), "boards": (_BOARDS, _put_boards),
    "survey": (_SURVEY, _put_survey)}


def _item(brought: Document, lines: list[str], path: Path, number: int) -> list[str]:
    """Return the lines of one item of a list, its dash in the first column."""
    first = brought.place(*path, number)
    items = len(_at(brought.value, path))
    end = brought.place(*path, number + 1).line - 1 if number + 1 < items else len(lines)
    dash = lines[first.line - 1].index("-")
    return [text[dash:] for text in lines[first.line - 1: end] if text]


def _at(value: Any, path: Path) -> Any:
    for part in path:
        value = value[part]
    return value


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


