"""Record formats: the changes between versions, and how older records are read.

Every record states its format, because it must be readable alone, as in a bag. An older record is
read without rewriting the file: its keys and values are translated to the current format, and keep
their places. A sealed record must never be rewritten, as the seal binds its bytes. `upgraded`
returns the text in the current format, for mills that want all records in one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from kilnfolio.records.yaml_source import Document, Mark, parse_yaml
from kilnfolio.runtime.values import dataclass

#: The record format that this version writes, and all that it reads.
FORMAT = 1
FORMATS = tuple(range(FORMAT + 1))

Path = tuple[str | int, ...]
#: A path, with "*" for any item of a list.
Pattern = tuple[str, ...]


@dataclass(frozen=True)
class Rename:
    """A key that was renamed."""

    old: Pattern
    new: str

    @property
    def words(self) -> str:
        """The change in words."""
        return f"{'.'.join(self.old)} is called {self.new}"


@dataclass(frozen=True)
class Reword:
    """A value that was reworded."""

    at: Pattern
    meant: Mapping[str, str]

    @property
    def words(self) -> str:
        """The change in words."""
        return f"{'.'.join(self.at)}: " + ", ".join(
            f"'{old}' is written '{new}'" for old, new in self.meant.items()
        )


#: Changes by the format they lead from, then by kind of record. Paths are those of that format, the
#: deeper ones first. Format 0 was used by drafts before the first release.
CHANGES: Mapping[int, Mapping[str, tuple[Rename | Reword, ...]]] = {
    0: {
        "charge": (
            Rename(("weighings", "*", "when"), "at"),
            Rename(("sample_boards",), "boards"),
            Rename(("final_mc",), "target_mc"),
            Reword(("control_rule",), {"half": "wettest half", "wettest": "wettest board"}),
        ),
        "lot": (Rename(("order", "final_mc"), "target_mc"),),
        "mill": (Rename(("height",), "altitude"),),
    },
}


def format_of(document: Document) -> int:
    """Return the format that a record states; -1 if it states none."""
    written = document.value.get("format") if isinstance(document.value, dict) else None
    return written if type(written) is int else -1


def current(document: Document, kind: str) -> Document:
    """Return a record of an older format translated to the current one.

    Parameters
    ----------
    document : Document
        The parsed record.
    kind : str
        The kind of record, as in ``charge``.

    Returns
    -------
    Document
        The same document if its format is current or unknown to this version.
    """
    written = format_of(document)
    if written not in CHANGES:
        return document
    for number in range(written, FORMAT):
        for change in CHANGES[number].get(kind, ()):
            for path in list(matching(document.value, _pattern(change))):
                document = (
                    _renamed(document, path, change.new)
                    if isinstance(change, Rename)
                    else _reworded(document, path, change)
                )
            if isinstance(change, Rename):
                document = _corrections(document, change)
    return replace(document, value={**document.value, "format": FORMAT})


def upgraded(text: str, kind: str) -> str:
    """Return the text of an older record in the current format, keeping comments and layout.

    Parameters
    ----------
    text : str
        The record's text.
    kind : str
        The kind of record.
    """
    while (written := format_of(document := parse_yaml(text.encode(), ""))) in CHANGES:
        lines, place = text.split("\n"), document.place("format")
        edits = [(place.line - 1, place.column - 1, str(written), str(written + 1))]
        for change in CHANGES[written].get(kind, ()):
            edits += _edits(document, change, lines)
        for line, column, old, new in sorted(edits, reverse=True):
            # a word written with escapes is not found; the caller notices that the text still
            # differs
            if lines[line].startswith(old, column):
                lines[line] = lines[line][:column] + new + lines[line][column + len(old) :]
        text = "\n".join(lines)
    return text


def words_of_changes(written: int, kind: str) -> list[str]:
    """Return in words what changed since a format for a kind of record."""
    return [
        change.words
        for number in range(written, FORMAT)
        for change in CHANGES[number].get(kind, ())
    ]


def _pattern(change: Rename | Reword) -> Pattern:
    return change.old if isinstance(change, Rename) else change.at


def matching(value: Any, pattern: Pattern, path: Path = ()) -> Iterator[Path]:
    """Yield the path of everything that matches a pattern."""
    if not pattern:
        yield path
    elif pattern[0] == "*" and isinstance(value, list):
        for index, item in enumerate(value):
            yield from matching(item, pattern[1:], (*path, index))
    elif isinstance(value, dict) and pattern[0] in value:
        yield from matching(value[pattern[0]], pattern[1:], (*path, pattern[0]))


def _renamed(document: Document, path: Path, new: str) -> Document:
    """Return a document with a key renamed, keeping every place below it."""
    *above, old = path
    if (*above, new) in document.marks:
        return document  # both are there: the old one is refused as unknown
    value = _with(
        document.value,
        tuple(above),
        lambda mapping: {new if key == old else key: item for key, item in mapping.items()},
    )
    return replace(
        document,
        value=value,
        marks=_moved(document.marks, path, new),
        key_marks=_moved(document.key_marks, path, new),
    )


def _moved(marks: Mapping[Path, Mark], path: Path, new: str) -> dict[Path, Mark]:
    length = len(path)
    return {
        (*path[:-1], new, *key[length:]) if key[:length] == path else key: mark
        for key, mark in marks.items()
    }


def _reworded(document: Document, path: Path, change: Reword) -> Document:
    *above, key = path
    return replace(
        document,
        value=_with(
            document.value,
            tuple(above),
            lambda mapping: {
                **mapping,
                key: change.meant.get(mapping[key], mapping[key])
                if isinstance(mapping[key], str)
                else mapping[key],
            },
        ),
    )


def _corrections(document: Document, change: Rename) -> Document:
    """Return a document whose corrections use the new name of a key."""
    entries = document.value.get("corrections")
    if not isinstance(entries, list):
        return document
    return replace(
        document,
        value={
            **document.value,
            "corrections": [
                {**entry, "field": _field(str(entry["field"]), change)}
                if isinstance(entry, dict) and "field" in entry
                else entry
                for entry in entries
            ],
        },
    )


def _field(words: str, change: Rename) -> str:
    parts = words.split(".")
    length = len(change.old)
    if len(parts) >= length and all(
        mark in ("*", part) for mark, part in zip(change.old, parts, strict=False)
    ):
        parts[length - 1] = change.new
    return ".".join(parts)


def _edits(
    document: Document, change: Rename | Reword, lines: list[str]
) -> Iterator[tuple[int, int, str, str]]:
    """Yield line and column from 0, the old text there, and the new text."""
    for path in matching(document.value, _pattern(change)):
        if isinstance(change, Rename):
            place = document.key_place(*path)
            if (*path[:-1], change.new) not in document.marks:
                yield _in_quotes(lines, place.line - 1, place.column - 1, str(path[-1]), change.new)
        elif (said := _at(document.value, path)) in change.meant:
            place = document.place(*path)
            yield _in_quotes(lines, place.line - 1, place.column - 1, said, change.meant[said])
    if isinstance(change, Rename):
        for index, entry in enumerate(document.value.get("corrections") or []):
            field = str(entry.get("field"))
            if _field(field, change) != field:
                place = document.place("corrections", index, "field")
                yield _in_quotes(
                    lines, place.line - 1, place.column - 1, field, _field(field, change)
                )


def _in_quotes(
    lines: list[str], line: int, column: int, old: str, new: str
) -> tuple[int, int, str, str]:
    quote = re.match("[\"']?", lines[line][column:])
    return line, column + (len(quote[0]) if quote else 0), old, new


def _at(value: Any, path: Path) -> Any:
    for part in path:
        value = value[part]
    return value


def _with(value: Any, path: Path, change: Any) -> Any:
    """Return plain values with the mapping at one path changed."""
    if not path:
        return change(value)
    copy: Any = list(value) if isinstance(value, list) else dict(value)
    copy[path[0]] = _with(value[path[0]], path[1:], change)
    return copy
