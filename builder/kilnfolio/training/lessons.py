"""Lesson paths: reading, demonstration, exercises and test, and the exam papers."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from kilnfolio.handbook.cautions import HANDBOOK
from kilnfolio.handbook.chapter import Manuscript
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.model import Located, Name, Record, Slug, Text
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import read_yaml
from kilnfolio.rendering.regional import regional_format
from kilnfolio.review.limits import limit_table
from kilnfolio.runtime.values import dataclass
from kilnfolio.training.kinds import by_topic
from kilnfolio.training.problem import KINDS, make_problem
from kilnfolio.training.problem import Problem as Exercise

#: The file of lesson paths.
LESSONS = f"{HANDBOOK}/lessons.yaml"
#: First seed of exam papers, beyond all that the practice page can show.
_FIRST_SEED = 1 << 30


class Exam(Record):
    """The test at the end of a path."""

    problems: Annotated[int, Field(ge=1, le=40)]
    """Number of problems on the paper."""
    minutes: Annotated[int, Field(ge=5, le=480)]
    """Minutes allowed."""
    pass_marks: Annotated[int, Field(ge=1, le=100)]
    """Percentage of marks needed to pass."""


class Lesson(Record):
    """A lesson path."""

    id: Slug
    """Its address."""
    title: Name
    """As printed."""
    who: Literal["beginner", "operator", "customer-facing"]
    """Who it is for."""
    length: Literal["one hour", "one day", "one week"]
    """How long it takes."""
    outcomes: Annotated[list[Text], Field(min_length=1)]
    """What trainees can do afterwards."""
    reading: Annotated[list[Name], Field(min_length=1)]
    """Chapters by address; with '#' and an anchor for a single section."""
    demonstration: Text
    """What the trainer shows."""
    exercises: Annotated[list[Slug], Field(min_length=1)]
    """Kinds of practice problem."""
    test: Exam
    """The test at the end."""


class Lessons(Record):
    """``content/handbook/lessons.yaml``."""

    format: Literal[1]
    """The record format."""
    paths: Annotated[list[Lesson], Field(min_length=1)]
    """The paths, in order."""


def read_lessons(root: Path, manuscript: Manuscript) -> tuple[Lesson, ...]:
    """Read the lesson paths of a mill folder; None if it has no such file.

    Raises
    ------
    RecordProblems
        All problems with their lines, such as a chapter, section or exercise that does not exist.
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
    by_topic()  # each module registers its kinds of problem
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


# --- the paper ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Question:
    """A problem of an exam paper, with its marks."""

    number: int
    exercise: Exercise
    marks: int
    """One mark for each step of the working, and one for the result with its unit."""


@dataclass(frozen=True)
class Paper:
    """An exam paper."""

    lesson: Lesson
    seed: int
    questions: tuple[Question, ...]

    @property
    def marks(self) -> int:
        """Total marks."""
        return sum(question.marks for question in self.questions)

    @property
    def pass_marks(self) -> int:
        """Marks needed to pass, rounded up."""
        return -(-self.marks * self.lesson.test.pass_marks // 100)


def exam(folder: MillFolder, lesson: Lesson, seed: int) -> Paper:
    """Return the exam paper of a path; the same path and seed give the same paper.

    Parameters
    ----------
    folder : MillFolder
        The mill, for the limits that problems use.
    lesson : Lesson
        The path. Its exercises come in order, and again with other numbers if needed.
    seed : int
        Seed of the numbers, from 0.
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
