"""Lesson paths: what to read, show, work and be tested on, and the paper of the test."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from jinja2 import Environment
from pydantic import Field

from kilnfolio.handbook.chapter import HANDBOOK, Manuscript, read_manuscript
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.model import Located, Name, Record, Slug, Text
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import read_yaml
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import regional_format
from kilnfolio.rendering.templating import render
from kilnfolio.review.limits import limit_table
from kilnfolio.training.kinds import by_topic
from kilnfolio.training.problem import KINDS, make_problem
from kilnfolio.training.problem import Problem as Exercise

#: The file of the paths, and the page.
LESSONS = f"{HANDBOOK}/lessons.yaml"
PATH = "lessons.html"
#: Exam papers take numbers from seeds the page of problems never shows.
_FIRST_SEED = 1000


class Exam(Record):
    """The test at the end of a path."""

    problems: Annotated[int, Field(ge=1, le=40)]
    """How many problems the paper has."""
    minutes: Annotated[int, Field(ge=5, le=480)]
    """Time for it."""
    pass_marks: Annotated[int, Field(ge=1, le=100)]
    """Marks of a hundred that pass."""


class Lesson(Record):
    """One path."""

    id: Slug
    """Its address."""
    title: Name
    """As printed."""
    who: Literal["beginner", "operator", "customer-facing"]
    """Whom it is for."""
    length: Literal["one hour", "one day", "one week"]
    """How long it takes."""
    outcomes: Annotated[list[Text], Field(min_length=1)]
    """What they can do afterwards."""
    reading: Annotated[list[Name], Field(min_length=1)]
    """Chapters by address, each with '#' and a section where only that is meant."""
    demonstration: Text
    """What to show."""
    exercises: Annotated[list[Slug], Field(min_length=1)]
    """Kinds of practice problems."""
    test: Exam
    """The test."""


class Lessons(Record):
    """``content/handbook/lessons.yaml``."""

    format: Literal[1]
    """The record format."""
    paths: Annotated[list[Lesson], Field(min_length=1)]
    """In order."""


def read_lessons(root: Path, manuscript: Manuscript) -> tuple[Lesson, ...]:
    """Read the lesson paths of a mill folder; none where it has no file of them.

    Raises
    ------
    RecordProblems
        Everything that is wrong, with the lines: a chapter, section or exercise that is not there.
    """
    if not (root / LESSONS).is_file():
        return ()
    located = validate(read_yaml(root / LESSONS, LESSONS), Lessons)
    problems = list(_problems(located, manuscript))
    if problems:
        raise RecordProblems(problems)
    return tuple(located.record.paths)


def _problems(located: Located[Lessons], manuscript: Manuscript) -> Iterator[Problem]:
    document = located.document
    by_topic()  # each module registers its kinds
    for place, lesson in enumerate(located.record.paths):
        for position, reading in enumerate(lesson.reading):
            slug, _, anchor = reading.partition("#")
            chapter = manuscript.by_slug.get(slug)
            at = document.place("paths", place, "reading", position)
            if chapter is None:
                yield Problem(
                    at,
                    f"reading '{reading}'",
                    "there is no chapter of this address",
                    _near(slug, manuscript.by_slug),
                )
            elif anchor and anchor not in chapter.anchors:
                yield Problem(
                    at,
                    f"reading '{reading}'",
                    "the chapter has no such section",
                    _near(anchor, dict.fromkeys(chapter.anchors)),
                )
        for position, kind in enumerate(lesson.exercises):
            if kind not in KINDS:
                yield Problem(
                    document.place("paths", place, "exercises", position),
                    f"exercise '{kind}'",
                    "there is no problem of this kind",
                    _near(kind, KINDS),
                )


def _near(name: str, known: Mapping[str, object]) -> str:
    near = difflib.get_close_matches(name, list(known), n=1, cutoff=0.5)
    return f"Did you mean '{near[0]}'?" if near else ""


# --- the page -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Linked:
    """Words that lead somewhere."""

    words: str
    target: str


@dataclass(frozen=True)
class PathView:
    """A path as the page prints it."""

    lesson: Lesson
    reading: Sequence[Linked]
    exercises: Sequence[Linked]


def path_views(folder: MillFolder) -> list[PathView]:
    """Return every path of a mill with its links."""
    manuscript = read_manuscript(folder.root)[0]
    return [
        PathView(
            lesson,
            [
                Linked(_reading_words(manuscript, reading), routes.chapter(*reading.split("#", 1)))
                for reading in lesson.reading
            ],
            [Linked(KINDS[kind].title, f"practice.html#{kind}") for kind in lesson.exercises],
        )
        for lesson in read_lessons(folder.root, manuscript)
    ]


def _reading_words(manuscript: Manuscript, reading: str) -> str:
    slug, _, anchor = reading.partition("#")
    title = manuscript.by_slug[slug].title
    return f"{title}, {anchor.replace('-', ' ')}" if anchor else title


def render_lessons(folder: MillFolder, env: Environment) -> Page:
    """Return the page of lesson paths.

    Parameters
    ----------
    folder : MillFolder
        Whose handbook and problems they use.
    env : Environment
        From `templating.environment`.
    """
    views = path_views(folder)
    summary = (
        f"{len(views)} lesson paths, an hour, a day or a week long: outcomes, reading, "
        "demonstration, exercises and a test."
    )
    html = render(
        env, "exercises/lessons.html", PATH, title="Lesson paths", summary=summary, views=views
    )
    text = " ".join(f"{view.lesson.title}. {' '.join(view.lesson.outcomes)}" for view in views)
    return Page(PATH, html, "Lesson paths", "practice", text, summary)


# --- the paper ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Question:
    """A problem of an exam, with its marks."""

    number: int
    exercise: Exercise
    marks: int
    """One for each step of the sum, and one for the result with its unit."""


@dataclass(frozen=True)
class Paper:
    """An exam."""

    lesson: Lesson
    seed: int
    questions: tuple[Question, ...]

    @property
    def marks(self) -> int:
        """Marks in all."""
        return sum(question.marks for question in self.questions)

    @property
    def pass_marks(self) -> int:
        """Marks that pass, rounded up."""
        return -(-self.marks * self.lesson.test.pass_marks // 100)


def exam(folder: MillFolder, lesson: Lesson, seed: int) -> Paper:
    """Return the exam of a path: the same path and seed give the same paper.

    Parameters
    ----------
    folder : MillFolder
        Whose limits the problems use.
    lesson : Lesson
        The path; its exercises are asked in order, and again with other numbers if needed.
    seed : int
        From 0; another seed gives other numbers.
    """
    limits, regional = limit_table(folder), regional_format(folder.mill.record)
    by_topic()
    questions = []
    for place in range(lesson.test.problems):
        kind = KINDS[lesson.exercises[place % len(lesson.exercises)]]
        turn = place // len(lesson.exercises)
        made = make_problem(kind, _FIRST_SEED + 100 * seed + turn, limits, regional)
        questions.append(Question(place + 1, made, len(made.steps) + 1))
    return Paper(lesson, seed, tuple(questions))
