"""YAML text to plain values, keeping the place of each.

Only the plain core of YAML is taken: mappings, lists and scalars. Tags, anchors, aliases, merge
keys and duplicate keys are refused, because a record must mean the same to a person reading it
as to the program. Scalars follow the YAML 1.2 core schema [1]_ (``no`` is a word, ``12:30`` is
not a number in base sixty).

References
----------
.. [1] YAML Ain't Markup Language, version 1.2.2, 2021, section 10.3.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from kilnfolio.records.problems import Place, Problem, RecordProblems

#: The largest YAML file read [bytes]. A year of hand weighings is under a tenth of this;
#: machine-made series belong in the logger's own file.
MAX_BYTES = 2 * 1024 * 1024
#: The deepest nesting taken; the deepest record has seven levels.
MAX_DEPTH = 40

_Path = tuple[str | int, ...]

_INT = re.compile(r"[-+]?(0|[1-9][0-9]*)")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|(0|[1-9][0-9]*)(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_CORE_TAGS = {f"tag:yaml.org,2002:{kind}" for kind in
              ("str", "int", "float", "bool", "null", "timestamp", "map", "seq", "value")}


@dataclass(frozen=True)
class Document:
    """A parsed file: its plain value and the place of every key and value in it."""

    file: str
    value: Any
    places: dict[_Path, Place]
    key_places: dict[_Path, Place]

    def place(self, *path: str | int) -> Place:
        """Return where `path` stands, or the nearest thing above it that does stand."""
        while path and path not in self.places:
            path = path[:-1]
        return self.places.get(path, Place(self.file))

    def key_place(self, *path: str | int) -> Place:
        """Return where the key at `path` is written."""
        return self.key_places.get(path) or self.place(*path)


def read_yaml(path: Path, shown_as: str) -> Document:
    """Read one YAML file.

    Parameters
    ----------
    path : Path
        The file.
    shown_as : str
        The name used in messages, relative to the mill folder.

    Returns
    -------
    Document

    Raises
    ------
    RecordProblems
        The file is too large, not UTF-8, not YAML, or uses a refused feature.
    """
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise _refuse(shown_as, f"the file has {size:,} bytes",
                          f"a record may have at most {MAX_BYTES:,}",
                          "Keep long series in the logger's own file and name it in the record")
        raw = path.read_bytes()
    except OSError as error:
        raise _refuse(shown_as, "the file cannot be read",
                      (error.strerror or str(error)).lower()) from None
    return parse_yaml(raw, shown_as)


def parse_yaml(raw: bytes, shown_as: str) -> Document:
    """Parse the bytes of one YAML file; see `read_yaml`."""
    text = _decode(raw, shown_as)
    try:
        node = yaml.compose(text, Loader=yaml.CSafeLoader)
    except yaml.YAMLError as error:
        raise RecordProblems([_syntax_problem(error, text, shown_as)]) from None
    except (ValueError, RecursionError) as error:
        raise _refuse(shown_as, "the file is not YAML", str(error)) from None
    builder = _Builder(shown_as)
    value = None if node is None else builder.build(node, ())
    if builder.problems:
        raise RecordProblems(builder.problems)
    return Document(shown_as, value, builder.places, builder.key_places)


def _refuse(file: str, what: str, why: str, instead: str = "") -> RecordProblems:
    return RecordProblems([Problem(Place(file), what, why, instead)])


def _decode(raw: bytes, shown_as: str) -> str:
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        line = before.count(b"\n") + 1
        column = error.start - before.rfind(b"\n")
        raise RecordProblems([Problem(
            Place(shown_as, line, column),
            f"byte 0x{raw[error.start]:02x} is not UTF-8",
            "records are read as UTF-8 text",
            "Save the file again with the encoding UTF-8")]) from None


def _syntax_problem(error: yaml.YAMLError, text: str, shown_as: str) -> Problem:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    place = Place(shown_as, mark.line + 1, mark.column + 1) if mark else Place(shown_as)
    said = str(getattr(error, "problem", None) or error)
    line = text.splitlines()[place.line - 1] if place.line <= text.count("\n") + 1 and text else ""
    if "\t" in line[: len(line) - len(line.lstrip())] or "'\\t'" in said:
        return Problem(place, "a tab indents this line", "YAML indents with spaces only",
                       "Replace the tab by spaces")
    if "mapping values are not allowed" in said:
        return Problem(place, "a second ':' on this line", "YAML takes it for another key",
                       'Put the text in quotes, as in note: "wick: changed"')
    if "single document" in said or "another document" in said:
        return Problem(place, "a second '---' begins another document",
                       "a file holds one record", "Move it to a file of its own")
    if "nesting depth" in said:
        return Problem(place, "nested too deep", f"a record has at most {MAX_DEPTH} levels", "")
    if "undefined alias" in said:
        return Problem(place, "'*' starts an alias", "aliases are not taken in records",
                       'Put the text in quotes, as in "* see note"')
    return Problem(place, "this is not YAML", said.rstrip("."), "")


class _Builder:
    """Walks composed nodes once, building values and noting places."""

    def __init__(self, file: str):
        self.file = file
        self.places: dict[_Path, Place] = {}
        self.key_places: dict[_Path, Place] = {}
        self.problems: list[Problem] = []
        self._seen: set[int] = set()

    def build(self, node: yaml.Node, path: _Path) -> Any:
        place = Place(self.file, node.start_mark.line + 1, node.start_mark.column + 1)
        self.places[path] = place
        if id(node) in self._seen:
            return self._problem(place, "an alias (*) repeats another part",
                                 "aliases are not taken in records", "Write the value out")
        self._seen.add(id(node))
        if node.tag not in _CORE_TAGS and node.tag != "tag:yaml.org,2002:merge":
            return self._problem(place, f"the tag {node.tag!r}", "tags are not taken in records",
                                 "Remove the tag")
        if len(path) > MAX_DEPTH:
            return self._problem(place, "nested too deep",
                                 f"a record has at most {MAX_DEPTH} levels", "")
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, path)
        if isinstance(node, yaml.SequenceNode):
            return [self.build(item, (*path, index)) for index, item in enumerate(node.value)]
        return _scalar(node)

    def _mapping(self, node: yaml.MappingNode, path: _Path) -> dict[str, Any]:
        mapping: dict[str, Any] = {}
        for key_node, value_node in node.value:
            key_place = Place(self.file, key_node.start_mark.line + 1,
                              key_node.start_mark.column + 1)
            if not isinstance(key_node, yaml.ScalarNode):
                self._problem(key_place, "a list or mapping is used as a key",
                              "a key is a word", "")
                continue
            key = str(key_node.value)
            if key_node.tag == "tag:yaml.org,2002:merge":
                self._problem(key_place, "'<<' merges another mapping",
                              "merge keys are not taken in records", "Write the keys out")
                continue
            if key in mapping:
                self._problem(key_place, f"the key '{key}' stands twice",
                              f"it is already at line {self.key_places[(*path, key)].line}",
                              "Keep one of them")
                continue
            self.key_places[(*path, key)] = key_place
            mapping[key] = self.build(value_node, (*path, key))
        return mapping

    def _problem(self, place: Place, what: str, why: str, instead: str) -> None:
        self.problems.append(Problem(place, what, why, instead))


def _scalar(node: yaml.ScalarNode) -> Any:
    text = node.value
    if node.style:  # quoted or block text; the C loader gives "" for a plain scalar
        return text
    if text in ("", "~", "null"):
        return None
    if text in ("true", "false"):
        return text == "true"
    if _INT.fullmatch(text):
        return int(text) if len(text) <= 18 else text
    if _FLOAT.fullmatch(text):
        return float(text)
    return text
