"""A rendered chapter, and the interface that directives use while it is rendered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Literal, Protocol

from markupsafe import Markup

from kilnfolio.handbook.chapter import ChapterFile, Manuscript
from kilnfolio.handbook.examples import WorkedSteps
from kilnfolio.handbook.setting import Setting
from kilnfolio.records.problems import Place, Problem
from kilnfolio.runtime.values import dataclass

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
    """A place that the index refers to."""

    term: str
    sub: str
    anchor: str
    """Anchor within the chapter; 'top' for the whole chapter."""


@dataclass(frozen=True)
class Answer:
    """The answer to a practice problem, printed at the back of the book."""

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
    """The start of its caption, short enough for a line."""
    what: str = ""
    """The kind of a computed table."""


@dataclass
class Body:
    """A rendered chapter."""

    html: Markup = NOTHING
    headings: list[Heading] = field(default_factory=list)
    index: list[IndexEntry] = field(default_factory=list)
    cited: list[str] = field(default_factory=list)
    answers: list[Answer] = field(default_factory=list)
    listed: list[Listed] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True)
class Contents:
    """Every rendered chapter, before it becomes pages or a book."""

    setting: Setting
    bodies: Mapping[str, Body]
    unread: tuple[Problem, ...]
    """Problems of the chapters that could not be read."""
    translations: Mapping[str, Contents] = field(default_factory=dict)
    """The handbook in other languages, by tag; `bodies` holds the translated chapters only."""

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Every problem of every chapter, in order; renders them all."""
        found = set(self.unread)
        for contents in (self, *self.translations.values()):
            for body in contents.bodies.values():
                found.update(body.problems)
        return tuple(sorted(found))

    @property
    def manuscript(self) -> Manuscript:
        """The chapters as written."""
        return self.setting.manuscript


class Builder(Protocol):
    """The interface that a directive uses of the chapter being rendered."""

    setting: Setting
    chapter: ChapterFile
    body: Body

    @property
    def file(self) -> str:
        """The chapter's file."""

    def problem(self, problem: Problem) -> None:
        """Record a problem."""

    def number(self, kind: str) -> str:
        """Return the next number of a kind such as tables, as in 6.2."""

    def anchor(self, name: str, place: Place) -> str:
        """Return the id of an element of this chapter; report a name that is already taken."""

    def caption(
        self,
        kind: Literal["table", "figure"],
        number: str,
        anchor: str,
        text: str,
        place: Place,
        what: str = "",
    ) -> Markup:
        """Render the caption of a table or figure, and add it to the list of them."""

    def prose(self, text: str, place: Place, board: WorkedSteps | None = None) -> Markup:
        """Render the prose of a directive, filling placeholders from its board."""

    def line(self, text: str, place: Place, board: WorkedSteps | None = None) -> Markup:
        """Render prose of a single paragraph, without the paragraph element."""

    def cite_row(self, citation: str, status: str) -> Markup:
        """Return a citation of a table's row, adding its publication to the list of sources."""
