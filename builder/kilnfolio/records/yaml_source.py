"""Reads YAML as plain values, keeping the place of each.

Only the core of YAML is accepted: mappings, lists and scalars. Tags, anchors, aliases, merge keys
and duplicate keys are refused, because a record must mean the same to a person as to the program.
Scalars follow the YAML 1.2 core schema [1]_ (``no`` is text, ``12:30`` is not a number in base
sixty), except numbers that no mill writes: those with leading zeros (a board may be tagged 007),
octal or hexadecimal ones, and infinities remain text.

References
----------
.. [1] YAML Ain't Markup Language, version 1.2.2, 2021, section 10.3.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import yaml

from kilnfolio.graph.codec import Late
from kilnfolio.records.problems import Place, Problem, RecordProblems, cannot_read
from kilnfolio.runtime.files import TooLargeError, read_whole
from kilnfolio.runtime.values import dataclass

#: The largest YAML file read [bytes]. A charge with a year of hand weighings is a fifth of this;
#: machine-made series belong in the logger's own file.
MAX_BYTES = 512 * 1024
#: Number of problems after which the rest of a file is not examined.
MAX_PROBLEMS = 100
#: The deepest nesting accepted; the deepest record has seven levels.
MAX_DEPTH = 40

_Path = tuple[str | int, ...]
#: Line and column, from 1: what YAML calls a mark.
Mark = tuple[int, int]

_INT = re.compile(r"[-+]?(0|[1-9][0-9]*)")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|(0|[1-9][0-9]*)(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
#: Characters allowed in YAML, section 5.1; a byte-order mark is removed before.
_NOT_TEXT = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_CORE_TAGS = {
    f"tag:yaml.org,2002:{kind}"
    for kind in ("str", "int", "float", "bool", "null", "timestamp", "map", "seq", "value", "merge")
}


_MERGE = "tag:yaml.org,2002:merge"
_TAGS = {
    yaml.ScalarNode: "tag:yaml.org,2002:str",
    yaml.SequenceNode: "tag:yaml.org,2002:seq",
    yaml.MappingNode: "tag:yaml.org,2002:map",
}


class _Loader(yaml.CSafeLoader):
    """Looks at no plain text but merge keys: `_plain` says what a text is."""

    def resolve(
        self, kind: type[yaml.Node], value: str | None, implicit: tuple[bool, bool] | bool
    ) -> str:
        """Return the tag of a node without one."""
        if value == "<<" and isinstance(implicit, tuple) and implicit[0]:
            return _MERGE
        return _TAGS[kind]


class WrittenFloat(float):
    """A number that remembers how it was written: ``12.50`` says more than 12.5."""

    def __init__(self, text: str):
        self.text = text

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Document(Late):
    """A parsed file: its plain value and the mark of every value and key in it."""

    file: str
    value: Any
    marks: dict[_Path, Mark]
    key_marks: dict[_Path, Mark]

    def stored(self) -> Any:
        """See `Late`."""
        lines = (
            [[*mark, *path] for path, mark in marks.items()]
            for marks in (self.marks, self.key_marks)
        )
        return [self.file, self.value, *lines]

    @staticmethod
    def restored(stored: Any) -> dict[str, Any]:
        """See `Late`."""
        file, value, *tables = stored
        marks, key_marks = (
            {tuple(path): (line, column) for line, column, *path in lines} for lines in tables
        )
        return {"file": file, "value": value, "marks": marks, "key_marks": key_marks}

    def place(self, *path: str | int) -> Place:
        """Return the place of `path`, or of its nearest existing parent."""
        while path and path not in self.marks:
            path = path[:-1]
        return Place(self.file, *self.marks.get(path, (1, 1)))

    def key_place(self, *path: str | int) -> Place:
        """Return where the key at `path` is written."""
        mark = self.key_marks.get(path)
        return Place(self.file, *mark) if mark else self.place(*path)


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
    return parse_yaml(yaml_bytes(path, shown_as), shown_as)


def yaml_bytes(path: Path, shown_as: str) -> bytes:
    """Return the bytes of one YAML file; see `read_yaml`."""
    try:
        return read_whole(path, MAX_BYTES)
    except TooLargeError as error:
        raise _refuse(
            shown_as,
            f"the file has {error.size:,} bytes",
            f"a record may have at most {MAX_BYTES:,}",
            "Keep long series in the logger's own file and name it in the record",
        ) from None
    except OSError as error:
        raise RecordProblems([cannot_read(shown_as, error)]) from None


def parse_yaml(raw: bytes, shown_as: str) -> Document:
    """Parse the bytes of one YAML file; see `read_yaml`."""
    text = _decode(raw, shown_as)
    try:
        node = yaml.compose(text, Loader=_Loader)
    except yaml.YAMLError as error:
        raise RecordProblems([_syntax_problem(error, text, shown_as)]) from None
    builder = _Builder(shown_as, text)
    value = None if node is None else builder.build(node, ())
    if builder.problems:
        raise RecordProblems(builder.problems)
    return Document(shown_as, value, builder.marks, builder.key_marks)


def _refuse(file: str, what: str, why: str, instead: str = "") -> RecordProblems:
    return RecordProblems([Problem(Place(file), what, why, instead)])


def _decode(raw: bytes, shown_as: str) -> str:
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        line = before.count(b"\n") + 1
        column = error.start - before.rfind(b"\n")
        raise RecordProblems(
            [
                Problem(
                    Place(shown_as, line, column),
                    f"byte 0x{raw[error.start]:02x} is not UTF-8",
                    "records are read as UTF-8 text",
                    "Save the file again with the encoding UTF-8",
                )
            ]
        ) from None
    if bad := _NOT_TEXT.search(text):
        before_it = text[: bad.start()]
        raise RecordProblems(
            [
                Problem(
                    Place(shown_as, before_it.count("\n") + 1, bad.start() - before_it.rfind("\n")),
                    f"the character U+{ord(bad[0]):04X}",
                    "a record is text without control characters",
                    "Delete it, or copy the file again if it is damaged",
                )
            ]
        )
    return text


#: What YAML 1.1 counts as the end of a line.
_YAML_BREAK = re.compile("\r\n|[\r\n\x85\u2028\u2029]")


def _syntax_problem(error: yaml.YAMLError, text: str, shown_as: str) -> Problem:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    place = Place(shown_as, mark.line + 1, mark.column + 1) if mark else Place(shown_as)
    said = str(getattr(error, "problem", None) or error)
    lines = _YAML_BREAK.split(text)
    if place.line > len(lines):  # the parser counts one line more at the end
        place = Place(shown_as, len(lines), len(lines[-1]) + 1)
    line = lines[place.line - 1]
    if "\t" in line[: len(line) - len(line.lstrip())]:
        return Problem(
            place,
            "a tab indents this line",
            "YAML indents with spaces only",
            "Replace the tab by spaces",
        )
    if "mapping values are not allowed" in said:
        return _colon_problem(place, lines)
    began = getattr(error, "context_mark", None) or mark
    start = Place(shown_as, began.line + 1, began.column + 1) if began else place
    if "could not find expected ':'" in said:
        if glued := _GLUED.match(lines[start.line - 1] if start.line <= len(lines) else ""):
            return _missing_space_problem(start.file, start.line, glued.end(1) + 1, glued[0])
        return Problem(
            start,
            "this line has no ': '",
            "every line here is 'key: value'",
            "Add ': ' after the key, or indent the line if the text above goes on in it",
        )
    if "cannot start any token" in said and line[place.column - 1 : place.column] == "%":
        return Problem(
            place,
            "'%' begins a value",
            "YAML keeps that character for itself",
            "Write the number first, as in '12 %', or put the text in quotes",
        )
    if "cannot start any token" in said:
        return Problem(
            place,
            f"'{line[place.column - 1 : place.column]}' begins a value",
            "YAML keeps that character for itself",
            'Put the text in quotes, as in note: "@ 07:10"',
        )
    if "expected key" in said and line[: place.column - 1].rstrip().endswith(("'", '"')):
        return Problem(
            place,
            "text goes on after the closing quote",
            "the quote ends the value",
            'Put the other kind of quote around the whole, as in "it\'s dry"',
        )
    for said_by_yaml, (at_start, what, why, instead) in _SYNTAX.items():
        if said_by_yaml in said:
            return Problem(start if at_start else place, what, why, instead)
    return Problem(
        place,
        "this is not YAML",
        said.rstrip("."),
        "Look at the line above too: the slip may stand there",
    )


#: Messages of the parser in plain words: whether the place is where the broken part began, then
#: what, why and instead.
_SYNTAX: dict[str, tuple[bool, str, str, str]] = {
    "another document": (
        False,
        "a second '---' begins another document",
        "a file holds one record",
        "Move it to a file of its own",
    ),
    "nesting depth": (
        False,
        "nested too deep",
        f"a record has at most {MAX_DEPTH} levels",
        "Check for brackets that never close",
    ),
    "expected alphabetic or numeric": (
        False,
        "'*' or '&' stands alone",
        "YAML keeps these characters for itself",
        'Put the text in quotes, as in "* see note"',
    ),
    "undefined alias": (
        False,
        "'*' starts an alias",
        "aliases are not taken in records",
        'Put the text in quotes, as in "* see note"',
    ),
    "expected ',' or ']'": (
        True,
        "'[' opens a list that does not end",
        "every '[' needs its ']'",
        "Close it with ']', or put the text in quotes",
    ),
    "expected ',' or '}'": (
        True,
        "'{' opens a mapping that does not end",
        "every '{' needs its '}'",
        "Close it with '}', or put the text in quotes",
    ),
    "unexpected end of stream": (
        True,
        "a quote opens and does not end",
        "the file ends first",
        "Close the quote",
    ),
    "expected <document start>": (
        False,
        "this line begins left of the first line",
        "lines that belong together begin in the same column",
        "Begin every key of the record in the first column",
    ),
    "block sequence entries": (
        False,
        "'- ' begins a list in the middle of a line",
        "a list stands below its key",
        "Put each '- ' on a line of its own, or the text in quotes",
    ),
    "expected key": (
        False,
        "this line does not fit the lines above",
        "lines that belong together begin in the same column",
        "Indent it as far as its neighbours",
    ),
    "expected '-' indicator": (
        False,
        "this line does not fit the list above",
        "items of a list begin with '- ' in the same column",
        "Indent it as far as its neighbours",
    ),
}


#: A key with its value directly after the colon, as in 1:8.49 lb.
_GLUED = re.compile(
    r"""\s*(?:- )?["']?([\w-]+)["']?:[-+]?\d+(?:[.,]\d+)? ?"""
    r"(?:k?g|lb|oz|%|°[CF]|mm)(?!\w)"
)


def _missing_space_problem(file: str, line: int, column: int, amount: str = "") -> Problem:
    """Return the problem of a key with its value directly after the colon."""
    return Problem(
        Place(file, line, column),
        "no space after the ':'",
        "YAML takes the whole line for text",
        "Write 'key: value' with a space"
        + (", and a point before the decimals" if "," in amount else ""),
    )


def _colon_problem(place: Place, lines: list[str]) -> Problem:
    """Return why a ':' is misplaced: no space after one above, indentation, or one too many."""
    line = lines[place.line - 1]
    above = next(
        (number for number in range(place.line - 1, 0, -1) if lines[number - 1].strip()), 0
    )
    before = lines[above - 1] if above else ""
    if glued := (
        _GLUED.match(before) or re.match(r"\s*(?:- )?([A-Za-z_][\w-]*):(?=[^\s/])", before)
    ):
        return _missing_space_problem(place.file, above, glued.end(1) + 1, glued[0])
    if above and not line[:1].isspace() and not re.search(r":(\s|$)", before):
        return Problem(
            Place(place.file, above),
            "this line has no ': '",
            "every line here is 'key: value'",
            "Write its key, then ': '",
        )
    if above and ":" not in line[: place.column - 1]:
        return Problem(
            place,
            "this line is indented deeper than the one above",
            "lines that belong together begin in the same column",
            "Indent it as far as its neighbours",
        )
    return Problem(
        place,
        "a second ':' on this line",
        "YAML takes it for another key",
        'Put the text in quotes, as in note: "wick: changed"',
    )


class _Builder:
    """Builds values from composed nodes in one pass, recording places."""

    def __init__(self, file: str, text: str):
        self.file = file
        self.text = text
        self.marks: dict[_Path, Mark] = {}
        self.key_marks: dict[_Path, Mark] = {}
        self.problems: list[Problem] = []
        self._seen: set[int] = set()
        self._core_only = not ("!" in text or "&" in text)
        """Whether there can be neither tags nor anchors, nor so aliases; most files are such."""

    def build(self, node: yaml.Node, path: _Path) -> Any:
        self.marks[path] = mark = _mark(node)
        if not self._core_only and self._refuse_more(node, mark):
            return None
        if len(path) > MAX_DEPTH:
            return self._problem(
                mark, "nested too deep", f"a record has at most {MAX_DEPTH} levels", ""
            )
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, path)
        if isinstance(node, yaml.SequenceNode):
            return [self.build(item, (*path, index)) for index, item in enumerate(node.value)]
        assert isinstance(node, yaml.ScalarNode)  # no other kind of node is left
        text = node.value
        if node.style:  # quoted or block text; the C loader gives "" for a plain scalar
            return text
        if ":" in text and (glued := _GLUED.match(text)) and self._stands_below(node):
            line, column = mark
            self.problems.append(
                _missing_space_problem(self.file, line, column + glued.end(1), glued[0])
            )
        return _plain(text)

    def _stands_below(self, node: yaml.Node) -> bool:
        """Return whether a value begins a new line, where a mapping would be."""
        start = node.start_mark.index
        return not self.text[start - node.start_mark.column : start].strip()

    def _mapping(self, node: yaml.MappingNode, path: _Path) -> dict[str, Any]:
        mapping: dict[str, Any] = {}
        for key_node, value_node in node.value:
            mark = _mark(key_node)
            if not isinstance(key_node, yaml.ScalarNode):
                self._problem(mark, "a list or mapping is used as a key", "a key is a word", "")
                continue
            key = str(key_node.value)
            inner = (*path, key)
            if not self._core_only and self._refuse_tags(key_node, mark):
                continue
            if key_node.tag == _MERGE:
                self._problem(
                    mark,
                    "'<<' merges another mapping",
                    "merge keys are not taken in records",
                    "Write the keys out",
                )
                continue
            if key in mapping:
                self._problem(
                    mark,
                    f"the key '{key}' stands twice",
                    f"it is already at line {self.key_marks[inner][0]}",
                    "Keep one of them",
                )
                continue
            self.key_marks[inner] = mark
            mapping[key] = self.build(value_node, inner)
            if node.flow_style and mapping[key] is None and self._alone(key_node, value_node):
                self._without_value(key_node, mark, mapping)
        return mapping

    def _alone(self, key: yaml.Node, value: yaml.Node) -> bool:
        """Return whether an entry in braces has no ':' at all."""
        rest = self.text[key.end_mark.index : key.end_mark.index + 200].lstrip()
        return value.start_mark.index == value.end_mark.index and rest[:1] in (",", "}")

    def _without_value(self, node: yaml.ScalarNode, mark: Mark, mapping: dict[str, Any]) -> None:
        """Record the problem of an entry in braces without a value, often due to an extra comma."""
        key, (line, column) = str(node.value), mark
        start = self.text[: node.start_mark.index]
        before = re.search(r"([^\s:,{]+) ?, ?$", start)
        decimals = re.match(r",(\d[^,}:]*)(?=[,}])", self.text[node.end_mark.index :][:60])
        if decimals and (both := re.fullmatch(r"([\w-]+):([-+]?\d+)", key)):
            self._problem(
                (line, column + both.end(1)),
                "no space after the ':', and a comma before the decimals",
                f"YAML takes '{key}' for a name, and the comma for the end of its value",
                f"Write '{both[1]}: {both[2]}.{decimals[1].strip()}'",
            )
        elif re.match(r"\d", key) and re.search(r"[{,]\s*[\w-]+:[-+]?\d+,$", start):
            pass  # these are the decimals of the entry before, which is reported
        elif glued := re.match(r"([^\s:]+):(?=\S)", key):
            self._problem(
                (line, column + glued.end(1)),
                "no space after the ':'",
                f"YAML takes '{key}' for a name",
                f"Write '{glued[1]}: {key[glued.end() :]}' with a space",
            )
        elif before and re.match(r"\d", key) and re.fullmatch(r".*?:?[-+]?\d+", before[1]):
            number = before[1].split(":")[-1]
            self._problem(
                mark,
                f"'{number},{key}'",
                "between braces a comma ends a value, so decimals have a point",
                f"Write '{number}.{key}'",
            )
        else:
            self._problem(
                mark,
                f"'{key}' has no value",
                "between braces every entry is 'key: value'",
                "Write its value, or put quotes around a value that holds a comma",
            )
        del mapping[key]

    def _refuse_more(self, node: yaml.Node, mark: Mark) -> bool:
        """Refuse a node that is repeated by an alias, or has a tag or an anchor."""
        if id(node) in self._seen:
            self._problem(
                mark,
                "an alias (*) repeats another part",
                "aliases are not taken in records",
                "Write the value out",
            )
            return True
        self._seen.add(id(node))
        return self._refuse_tags(node, mark)

    def _refuse_tags(self, node: yaml.Node, mark: Mark) -> bool:
        """Refuse a node with a tag or an anchor."""
        first = self.text[node.start_mark.index : node.start_mark.index + 1]
        if first not in ("!", "&") and node.tag in _CORE_TAGS:
            return False
        what, name = ("an anchor (&)", "anchors") if first == "&" else ("a tag (!)", "tags")
        self._problem(
            mark,
            what,
            f"{name} are not taken in records",
            f"Remove it, or put the text in quotes if '{first}' belongs to it",
        )
        return True

    def _problem(self, mark: Mark, what: str, why: str, instead: str) -> None:
        self.problems.append(Problem(Place(self.file, *mark), what, why, instead))
        if len(self.problems) >= MAX_PROBLEMS:
            raise RecordProblems(self.problems)


def _mark(node: yaml.Node) -> Mark:
    start = node.start_mark
    return start.line + 1, start.column + 1


#: What plain words mean.
_MEANT = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}


def _plain(text: str) -> Any:
    """Return the value of a plain scalar."""
    if text in _MEANT:
        return _MEANT[text]
    if text[0] not in "+-.0123456789":
        return text
    if _INT.fullmatch(text):
        return int(text) if len(text) <= 18 else text
    if _FLOAT.fullmatch(text):
        return WrittenFloat(text)
    return text
