"""Record formats: what changed from each to the next, and how an older record is read.

Every record says its own format, because a record must stand alone, as in a bag. A record of an
older format is read as it lies: its keys and words are taken for today's, and keep their places.
Nothing has to be rewritten, and a sealed record must not be: the seal binds its bytes. `upgraded`
gives the text of today's format, for those who want their records in one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from kilnfolio.records.yaml_source import Document, parse_yaml

#: The record format this version writes, and every one it reads.
FORMAT = 1
FORMATS = tuple(range(FORMAT + 1))

Path = tuple[str | int, ...]
#: A path with "*" for any item of a list.
Pattern = tuple[str, ...]


@dataclass(frozen=True)
class Rename:
    """A key that was called otherwise."""

    old: Pattern
    new: str

    @property
    def words(self) -> str:
        """The change in words."""
        return f"{'.'.join(self.old)} is called {self.new}"


@dataclass(frozen=True)
class Reword:
    """A value that was written in other words."""

    at: Pattern
    meant: Mapping[str, str]

    @property
    def words(self) -> str:
        """The change in words."""
        return f"{'.'.join(self.at)}: " + ", ".join(
            f"'{old}' is written '{new}'" for old, new in self.meant.items()
        )


#: By the format it leads from, then by kind of record; paths are those of that format, the deeper
#: first.
#: Format 0 is that of the drafts, before the first release.
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
    """Return the format a record says it has; -1 where it says none."""
    written = document.value.get("format") if isinstance(document.value, dict) else None
    return written if type(written) is int else -1


def current(document: Document, kind: str) -> Document:
    """Return a record of an older format as one of today's.

    Parameters
    ----------
    document : Document
        What was parsed.
    kind : str
        The kind of record, as in ``charge``.

    Returns
    -------
    Document
        The same document where its format is today's, or none this version knows.
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
    """Return the text of an older record in today's format; comments and layout stay.

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
            # a word written with escapes stays, and then the new text does not say the same
            if lines[line].startswith(old, column):
                lines[line] = lines[line][:column] + new + lines[line][column + len(old) :]
        text = "\n".join(lines)
    return text


def words_of_changes(written: int, kind: str) -> list[str]:
    """Return what changed since a format, for a kind of record, in words."""
    return [
        change.words
        for number in range(written, FORMAT)
        for change in CHANGES[number].get(kind, ())
    ]


def _pattern(change: Rename | Reword) -> Pattern:
    return change.old if isinstance(change, Rename) else change.at


def matching(value: Any, pattern: Pattern, path: Path = ()) -> Iterator[Path]:
    """Yield the path of everything that stands at a pattern."""
    if not pattern:
        yield path
    elif pattern[0] == "*" and isinstance(value, list):
        for index, item in enumerate(value):
            yield from matching(item, pattern[1:], (*path, index))
    elif isinstance(value, dict) and pattern[0] in value:
        yield from matching(value[pattern[0]], pattern[1:], (*path, pattern[0]))


def _renamed(document: Document, path: Path, new: str) -> Document:
    """Return a document with a key called otherwise, every place below it kept."""
    *above, old = path
    if (*above, new) in document.places:
        return document  # both stand: the old one is refused as unknown
    value = _with(
        document.value,
        tuple(above),
        lambda mapping: {new if key == old else key: item for key, item in mapping.items()},
    )
    return replace(
        document,
        value=value,
        places=_moved(document.places, path, new),
        key_places=_moved(document.key_places, path, new),
    )


def _moved(places: Mapping[Path, Any], path: Path, new: str) -> dict[Path, Any]:
    length = len(path)
    return {
        (*path[:-1], new, *key[length:]) if key[:length] == path else key: place
        for key, place in places.items()
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
    """Return a document whose corrections call a key as it is called now."""
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
    """Yield line and column from 0, what stands there, and what takes its place."""
    for path in matching(document.value, _pattern(change)):
        if isinstance(change, Rename):
            place = document.key_place(*path)
            if (*path[:-1], change.new) not in document.places:
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
    """Return plain values with one mapping, at a path, changed."""
    if not path:
        return change(value)
    copy: Any = list(value) if isinstance(value, list) else dict(value)
    copy[path[0]] = _with(value[path[0]], path[1:], change)
    return copy
