"""Parsing of a chapter before Markdown: directives are split off and mistakes refused."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from kilnfolio.records.problems import Place, Problem
from kilnfolio.runtime.values import dataclass

_OPEN = re.compile(r"^:::\s*([\w-]+)\s*$")
_CLOSE = re.compile(r"^:::\s*$")
_CODE = re.compile(r"(`+)(?!`).+?(?<!`)\1(?!`)", re.DOTALL)
#: An inline form, as in ``{q: 25 mm}`` or ``{index: stickers!spacing}``.
FORM = re.compile(r"\{([a-z]+):\s*([^{}]*?)\s*\}")
_LINK = re.compile(r"\]\(\s*<?([^)\s>]*)>?(?:\s+[\"'][^)]*[\"'])?\s*\)")
_TAG = re.compile(r"<(?=[A-Za-z/!?])(?!(?:https?|mailto):)")
_IMAGE = re.compile(r"!\[")
_ATTRIBUTES = re.compile(r"\{:?[^{}\n]*=[^{}\n]*\}")


@dataclass(frozen=True)
class Prose:
    """Lines of Markdown."""

    text: str
    line: int
    """Number of its first line in the file."""


@dataclass(frozen=True)
class Block:
    """A fenced directive."""

    name: str
    text: str
    """Its options, in YAML."""
    line: int
    """Number of the line that opens it."""


def split(
    lines: Sequence[str], first_line: int, file: str
) -> tuple[list[Prose | Block], list[Problem]]:
    """Split a text into prose and directives."""
    parts: list[Prose | Block] = []
    problems: list[Problem] = []
    start, index = 0, 0
    while index < len(lines):
        opened = _OPEN.match(lines[index])
        if not opened:
            if _CLOSE.match(lines[index]):
                problems.append(
                    Problem(
                        Place(file, first_line + index),
                        "':::' closes nothing",
                        "no directive is open here",
                        "Remove the line",
                    )
                )
                lines = [*lines[:index], "", *lines[index + 1 :]]
            index += 1
            continue
        end = next(
            (
                i
                for i in range(index + 1, len(lines))
                if _CLOSE.match(lines[i]) or _OPEN.match(lines[i])
            ),
            len(lines),
        )
        parts.append(Prose("\n".join(lines[start:index]), first_line + start))
        if end == len(lines) or _OPEN.match(lines[end]):
            problems.append(
                Problem(
                    Place(file, first_line + index),
                    f"the directive '{opened[1]}' is not closed",
                    "it ends with a line of ':::'",
                    "Add ':::' on a line of its own",
                )
            )
            index = start = end
            continue
        parts.append(Block(opened[1], "\n".join(lines[index + 1 : end]), first_line + index))
        index = start = end + 1
    parts.append(Prose("\n".join(lines[start:]), first_line + start))
    return parts, problems


class PlaceFinder:
    """Maps the characters of a prose to places in its file."""

    def __init__(self, prose: Prose, file: str):
        self.prose, self.file = prose, file
        self.code = [match.span() for match in _CODE.finditer(prose.text)]

    def place(self, position: int) -> Place:
        """Return the place of a character."""
        before = self.prose.text[:position]
        return Place(self.file, self.prose.line + before.count("\n"), position - before.rfind("\n"))

    def in_code(self, position: int) -> bool:
        """Whether a character is between backticks."""
        return any(start <= position < end for start, end in self.code)

    def matches(self, pattern: re.Pattern[str]) -> Iterator[re.Match[str]]:
        """Yield the matches of a pattern that are outside code."""
        return (
            match for match in pattern.finditer(self.prose.text) if not self.in_code(match.start())
        )

    def links(self) -> Iterator[tuple[str, Place]]:
        """Yield the target and place of every link."""
        return ((match[1], self.place(match.start(1))) for match in self.matches(_LINK))

    def refused(self) -> Iterator[Problem]:
        """Yield a problem for everything a chapter may not contain."""
        for match in self.matches(_TAG):
            yield Problem(
                self.place(match.start()),
                f"'{self.prose.text[match.start() : match.start() + 20].split()[0]}'",
                "HTML is not taken in a chapter",
                "Write Markdown, or put it in `backticks`",
            )
        for match in self.matches(_IMAGE):
            yield Problem(
                self.place(match.start()),
                "an image",
                "drawings come by the directive",
                "Write '::: figure' with name, caption and alt",
            )
        for match in self.matches(_ATTRIBUTES):
            if not FORM.match(match[0]):
                yield Problem(
                    self.place(match.start()),
                    f"'{match[0]}'",
                    "attributes are not taken in a chapter",
                    "Only an anchor may stand here, as in {#stickers}",
                )
