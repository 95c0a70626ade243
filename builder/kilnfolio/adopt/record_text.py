"""Edits a YAML record as text; comments, order and style of everything else stay as they are.

Each edit splices the text at a position from the parser. The same edit is made to the plain values,
and the new text must parse to exactly those; otherwise the edit is refused.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import yaml

from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.yaml_source import Document, parse_yaml

Path = tuple[str | int, ...]
#: Longer items of a list are written on several lines.
_ONE_LINE = 88


class RecordText:
    """A record being edited.

    Parameters
    ----------
    text : str
        Its YAML, with line feeds as line ends.
    file : str
        Its name in messages.
    order : sequence of str
        The order of the record's keys, for inserting a new one; see `put`.

    Raises
    ------
    RecordProblems
        The text cannot be parsed.
    """

    def __init__(self, text: str, file: str, order: Sequence[str] = ()):
        self.file = file
        self.order = list(order)
        self._set(text)

    def _set(self, text: str) -> None:
        self.document: Document = parse_yaml(text.encode(), self.file)
        self.text = text
        self.root: yaml.Node | None = yaml.compose(text, Loader=yaml.CSafeLoader)

    @property
    def value(self) -> Any:
        """The record as plain values."""
        return self.document.value

    def at(self, path: Path) -> Any:
        """Return the plain value at a path; None if there is none."""
        value = self.value
        for part in path:
            try:
                value = value[part]
            except (KeyError, IndexError, TypeError):
                return None
        return value

    def restore(self, text: str) -> None:
        """Go back to an earlier text of this record."""
        if text != self.text:
            self._set(text)

    # --- edits ------------------------------------------------------------------------------------

    def insert(self, path: Path, index: int, item: Any) -> None:
        """Insert an item into the list at a path; the list is made if it is missing."""
        if not self.at(path):
            self.put(path, [item])
            return
        node = self._node(path)
        assert isinstance(node, yaml.SequenceNode)
        if node.flow_style:
            self._splice_flow(
                node.value, index, _flow(item), path, lambda at: at.insert(index, item)
            )
            return
        column = node.start_mark.column
        beside = node.value[min(index, len(node.value) - 1)]
        alike = isinstance(beside, yaml.MappingNode) and beside.flow_style
        lines = [
            " " * column + line for line in ([f"- {_flow(item)}"] if alike else item_lines(item))
        ]
        if index < len(node.value):
            line = self._dash_line(node.value[index], column)
            while index and self._is_comment(line - 1):  # a comment above an item belongs to it
                line -= 1
        else:
            line = _last_line(node) + 1
        self._lines_in(line, lines, path, lambda at: at.insert(index, item))

    def put(self, path: Path, value: Any) -> None:
        """Set the value of a key, replacing the old one or adding the key."""
        *above, key = path
        mapping = self.at(tuple(above))
        if not isinstance(mapping, dict) or isinstance(key, int) or key in mapping:
            self._replace(path, value)
        else:
            self._add_key(tuple(above), str(key), value)

    def remove(self, key: str) -> None:
        """Remove a key of the record with everything below it."""
        if key not in (self.value or {}):
            return
        key_node, node = self._key_node((key,)), self._node((key,))
        first, last = key_node.start_mark.line, _last_line(node, key_node)
        text = self.text[: self._line_start(first)] + self.text[self._line_start(last + 1) :]
        self._checked(text, (), lambda record: record.pop(key))

    def _replace(self, path: Path, value: Any) -> None:
        """Replace a value; a list or mapping only if nothing is lost."""
        *above, key = path
        node = self._node(path)

        def change(at: Any) -> None:
            at[key] = value

        if isinstance(value, (dict, list)) and not self._in_flow(tuple(above)):
            if isinstance(node, (yaml.MappingNode, yaml.SequenceNode)) and node.value:
                raise self._refused(path)
            key_node = self._key_node(path)
            line = key_node.start_mark.line
            indent = key_node.start_mark.column
            start, end = _span(node)
            rest = self.text[end : self._line_end(line)]
            head = self.text[self._line_start(line) : start].rstrip()
            new = [
                head + (f" {rest.strip()}" if rest.strip() else ""),
                *(" " * indent + text for text in nested_lines(value)),
            ]
            text = (
                self.text[: self._line_start(line)]
                + "\n".join(new)
                + self.text[self._line_end(line) :]
            )
            self._checked(text, tuple(above), change)
            return
        start, end = _span(node)
        space = " " if start and self.text[start - 1] == ":" else ""
        text = self.text[:start] + space + _flow(value) + self.text[end:]
        self._checked(text, tuple(above), change)

    def _add_key(self, path: Path, key: str, value: Any) -> None:
        node = self._node(path)
        assert isinstance(node, yaml.MappingNode)

        def change(at: Any) -> None:
            at[key] = value

        if node.flow_style:
            children = [child for _, child in node.value]
            self._splice_flow(children, len(children), f"{_key(key)}: {_flow(value)}", path, change)
            return
        before = self._key_before(node, key) if not path else node.value[-1]
        indent = " " * node.start_mark.column
        lines = [f"{indent}{line}" for line in entry_lines(key, value)]
        line = _last_line(before[1], before[0]) + 1 if before else node.start_mark.line
        self._lines_in(line, lines, path, change)

    def _key_before(self, node: yaml.MappingNode, key: str) -> tuple[yaml.Node, yaml.Node] | None:
        """Return the entry after which a new key of the record is inserted."""
        if key not in self.order:
            return node.value[-1]  # type: ignore[no-any-return]
        rank = {name: number for number, name in enumerate(self.order)}
        earlier = [entry for entry in node.value if rank.get(entry[0].value, -1) < rank[key]]
        return earlier[-1] if earlier else None

    # --- splices ----------------------------------------------------------------------------------

    def _lines_in(self, line: int, lines: list[str], path: Path, change: Any) -> None:
        start = self._line_start(line)
        before = self.text[:start]
        if before and not before.endswith("\n"):
            before += "\n"
        self._checked(before + "\n".join(lines) + "\n" + self.text[start:], path, change)

    def _splice_flow(
        self, children: list[yaml.Node], index: int, words: str, path: Path, change: Any
    ) -> None:
        if index < len(children):
            place, words = children[index].start_mark.index, f"{words}, "
        elif children:
            place, words = children[-1].end_mark.index, f", {words}"
        else:
            place = self._node(path).start_mark.index + 1
        self._checked(self.text[:place] + words + self.text[place:], path, change)

    def _checked(self, text: str, path: Path, change: Any) -> None:
        """Accept the new text if it parses to the values changed in the same way."""
        wanted = copy.deepcopy(self.value)
        inner = wanted
        for part in path:
            inner = inner[part]
        change(inner)
        try:
            same = _plain(parse_yaml(text.encode(), self.file).value) == _plain(wanted)
        except RecordProblems:
            same = False
        if not same:
            raise self._refused(path)
        self._set(text)

    def _refused(self, path: Path) -> RecordProblems:
        words = ".".join(map(str, path)) or "the record"
        return RecordProblems(
            [
                Problem(
                    self.document.key_place(*path),
                    words,
                    "it is written in a form this program cannot "
                    "change without touching more than it should",
                    "Make this change in an editor",
                )
            ]
        )

    # --- places -----------------------------------------------------------------------------------

    def _node(self, path: Path) -> yaml.Node:
        node = self.root
        assert node is not None
        for part in path:
            node = (
                node.value[part]
                if isinstance(node, yaml.SequenceNode)
                else next(child for key, child in node.value if key.value == part)
            )
        return node

    def _key_node(self, path: Path) -> yaml.Node:
        above = self._node(path[:-1])
        assert isinstance(above, yaml.MappingNode)
        found: yaml.Node = next(key for key, _ in above.value if key.value == path[-1])
        return found

    def _in_flow(self, path: Path) -> bool:
        return any(
            getattr(self._node(path[:end]), "flow_style", False) for end in range(len(path) + 1)
        )

    def _line_start(self, line: int) -> int:
        place = 0
        for _ in range(line):
            found = self.text.find("\n", place)
            if found < 0:
                return len(self.text)
            place = found + 1
        return place

    def _line_end(self, line: int) -> int:
        found = self.text.find("\n", self._line_start(line))
        return len(self.text) if found < 0 else found

    def _line(self, line: int) -> str:
        return self.text[self._line_start(line) : self._line_end(line)]

    def _is_comment(self, line: int) -> bool:
        return line >= 0 and self._line(line).lstrip().startswith("#")

    def _dash_line(self, item: yaml.Node, column: int) -> int:
        line = item.start_mark.line
        while self._line(line)[column : column + 1] != "-":
            line -= 1
        return line


def _span(node: yaml.Node) -> tuple[int, int]:
    """Return where a value begins and ends, without a final line break."""
    return node.start_mark.index, node.end_mark.index - (
        1 if getattr(node, "style", None) in ("|", ">") else 0
    )


def _last_line(node: yaml.Node, key: yaml.Node | None = None) -> int:
    """Return the last line of a node, counted from 0; comments below it do not count."""
    if (
        isinstance(node, (yaml.MappingNode, yaml.SequenceNode))
        and node.value
        and not node.flow_style
    ):
        last = node.value[-1]
        return _last_line(last[1], last[0]) if isinstance(last, tuple) else _last_line(last)
    end: int = node.end_mark.line
    if getattr(node, "style", None) in ("|", ">") or (
        node.end_mark.column == 0 and end > node.start_mark.line
    ):
        end -= 1
    if (
        isinstance(node, yaml.ScalarNode)
        and node.value == ""
        and key is not None
        and not node.style
    ):
        end = key.end_mark.line
    return end


# --- values as YAML -------------------------------------------------------------------------------


def scalar(text: str) -> str:
    """Return text as a YAML scalar: plain if that parses to the same text, else quoted."""
    try:
        if (
            not set(text) & set(",[]{}")
            and text.strip()
            and parse_yaml(f"a: {text}\n".encode(), "").value == {"a": text}
            and parse_yaml(f"{{a: {text}}}\n".encode(), "").value == {"a": text}
        ):
            return text
    except RecordProblems:
        pass
    return json.dumps(text, ensure_ascii=False)


def _key(text: str) -> str:
    try:
        if not set(text) & set(",[]{}") and parse_yaml(f"{{{text}: 1}}\n".encode(), "").value == {
            text: 1
        }:
            return text
    except RecordProblems:
        pass
    return json.dumps(text, ensure_ascii=False)


def _flow(value: Any) -> str:
    """Return a value on one line (flow style)."""
    if isinstance(value, Mapping):
        return (
            "{" + ", ".join(f"{_key(str(key))}: {_flow(one)}" for key, one in value.items()) + "}"
        )
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(_flow, value)) + "]"
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    return scalar(value) if isinstance(value, str) else str(value)


def _flat(value: Any) -> bool:
    return not isinstance(value, (Mapping, list)) or not value


def entry_lines(key: str, value: Any) -> Iterator[str]:
    """Yield the lines of a key and its value, not indented."""
    line = f"{_key(key)}: {_flow(value)}"
    short = (
        isinstance(value, Mapping) and all(map(_flat, value.values())) and len(line) <= _ONE_LINE
    )
    if _flat(value) or short:
        yield line
    else:
        yield f"{_key(key)}:"
        yield from nested_lines(value)


def nested_lines(value: Any) -> Iterator[str]:
    """Yield the lines of a value below its key, indented by two."""
    if isinstance(value, Mapping):
        for key, one in value.items():
            yield from (f"  {line}" for line in entry_lines(str(key), one))
    else:
        for item in value:
            yield from (f"  {line}" for line in item_lines(item))


def item_lines(item: Any) -> list[str]:
    """Return the lines of an item of a list, with its dash in the first column."""
    line = f"- {_flow(item)}"
    short = len(line) <= _ONE_LINE
    if not isinstance(item, Mapping) or (short and all(map(_flat, item.values()))):
        return [line]
    lines = [line for key, one in item.items() for line in entry_lines(str(key), one)]
    return [f"- {lines[0]}", *(f"  {one}" for one in lines[1:])]


def _plain(value: Any) -> Any:
    """Return values for comparison, with numbers as they are written."""
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    return str(value) if isinstance(value, float) else value
