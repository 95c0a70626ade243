"""Records as YAML that people can read and edit: a round of weighings is one line."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

#: Text that needs no quotes: no special characters, nothing YAML would read as another type.
_PLAIN = re.compile(r"(?![-?%@`!&*|>'\" #~])(?:[^:#\[\]{},\"'\n]|:(?=\S))*[^:#\[\]{},\"'\s]")
_NUMBER = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_WORDS = {"true", "false", "null", "~"}
#: Line width of folded text.
WIDTH = 100


class Line(dict):
    """A mapping written on one line."""


def dump(record: dict[str, Any], heading: str = "") -> str:
    """Return a record as YAML text.

    Parameters
    ----------
    record : dict
        Plain values; a `Line`, or a list of scalars, is written on one line.
    heading : str
        Comment lines to put first.
    """
    lines = [f"# {line}" for line in heading.splitlines()]
    lines.extend(_block(record, 0))
    return "\n".join(lines) + "\n"


def _block(mapping: dict[str, Any], depth: int) -> Iterator[str]:
    pad = "  " * depth
    for key, value in mapping.items():
        if value is None or value == [] or value == {}:
            continue
        head = f"{pad}{_scalar(key)}:"
        if isinstance(value, dict) and not isinstance(value, Line):
            yield head
            yield from _block(value, depth + 1)
        elif isinstance(value, list) and any(isinstance(item, dict) for item in value):
            yield head
            for item in value:
                yield from _item(item, depth + 1)
        elif isinstance(value, str) and len(value) + len(head) > WIDTH:
            yield f"{head} >-"
            yield from (f"{pad}  {line}" for line in _wrapped(value, WIDTH - len(pad) - 2))
        else:
            yield f"{head} {_flow(value)}"


def _item(item: dict[str, Any], depth: int) -> Iterator[str]:
    pad = "  " * depth
    if isinstance(item, Line):
        yield f"{pad}- {_flow(item)}"
        return
    first = True
    for line in _block(item, depth + 1):
        yield f"{pad}- {line[len(pad) + 2 :]}" if first else line
        first = False


def _flow(value: Any) -> str:
    if isinstance(value, dict):
        return (
            "{"
            + ", ".join(
                f"{_scalar(key)}: {_flow(item)}" for key, item in value.items() if item is not None
            )
            + "}"
        )
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_flow(item) for item in value) + "]"
    return _scalar(value)


def _scalar(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    text = str(value)
    if _PLAIN.fullmatch(text) and text not in _WORDS and not _NUMBER.fullmatch(text):
        return text
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _wrapped(text: str, width: int) -> Iterator[str]:
    line = ""
    for word in text.split():
        if line and len(line) + 1 + len(word) > width:
            yield line
            line = word
        else:
            line = f"{line} {word}".strip()
    yield line
