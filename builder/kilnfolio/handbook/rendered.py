"""A chapter rendered: what a build makes of it, and what a directive may use while it is made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, Protocol

from markupsafe import Markup

from kilnfolio.handbook.chapter import ChapterFile, Manuscript
from kilnfolio.handbook.examples import Board
from kilnfolio.handbook.setting import Setting
from kilnfolio.records.problems import Place, Problem

#: No markup.
NOTHING = Markup("")


@dataclass(frozen=True)
class Heading:
    """A heading within a chapter."""

    id: str
    text: str
    level: int


@dataclass(frozen=True)
class IndexEntry:
    """A place the back-of-book index points at."""

    term: str
    sub: str
    anchor: str
    """Within the chapter's page; 'top' for the chapter as a whole."""


@dataclass(frozen=True)
class Answer:
    """The answer to a practice problem, for the back of the book."""

    number: str
    id: str
    html: Markup


@dataclass(frozen=True)
class Listed:
    """A table or figure, for the lists at the front of the book."""

    kind: Literal["table", "figure"]
    number: str
    anchor: str
    title: str
    """The beginning of its caption, to stand on a line."""
    what: str = ""
    """The kind of a computed table."""


@dataclass
class Body:
    """A chapter rendered."""

    html: Markup = NOTHING
    headings: list[Heading] = field(default_factory=list)
    index: list[IndexEntry] = field(default_factory=list)
    cited: list[str] = field(default_factory=list)
    answers: list[Answer] = field(default_factory=list)
    listed: list[Listed] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True)
class Contents:
    """Every chapter rendered, before it is put into pages or a book."""

    setting: Setting
    bodies: Mapping[str, Body]
    problems: tuple[Problem, ...]

    @property
    def manuscript(self) -> Manuscript:
        """The chapters as written."""
        return self.setting.manuscript


class Builder(Protocol):
    """What a directive may use of the chapter that is being rendered."""

    setting: Setting
    chapter: ChapterFile
    body: Body

    @property
    def file(self) -> str:
        """The chapter's file."""

    def problem(self, problem: Problem) -> None:
        """Keep a problem."""

    def number(self, kind: str) -> str:
        """Return the next number of a kind of thing, as in 6.2."""

    def anchor(self, name: str, place: Place) -> str:
        """Return the id for a thing of this chapter, refusing one that is taken."""

    def caption(
        self,
        kind: Literal["table", "figure"],
        number: str,
        anchor: str,
        text: str,
        place: Place,
        what: str = "",
    ) -> Markup:
        """Render the caption of a table or figure, and keep it for the list of them."""

    def prose(self, text: str, place: Place, board: Board | None = None) -> Markup:
        """Render the prose of a directive, with placeholders from its board."""

    def line(self, text: str, place: Place, board: Board | None = None) -> Markup:
        """Render prose that stands in one paragraph, without the paragraph."""

    def cite_row(self, citation: str, status: str) -> Markup:
        """Return a citation of a table's row, keeping its publication for the list of sources."""
