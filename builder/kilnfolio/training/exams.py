"""Exam papers in the mill edition, and the release of their keys.

A paper listed in ``content/handbook/exams.yaml`` is a page of the mill edition. Its answers are on a
page of their own, which is made only once the record says who released the key: until then the site
holds none of them, in no page, script or search entry.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Literal

from jinja2 import Environment
from pydantic import Field

from kilnfolio.handbook.cautions import HANDBOOK
from kilnfolio.handbook.compiled import manuscript
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.model import Located, Name, Record, Slug
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml, yaml_bytes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.templating import render
from kilnfolio.runtime.values import dataclass
from kilnfolio.training.lessons import Lesson, Paper, exam, read_lessons

#: The file of published papers.
EXAMS = f"{HANDBOOK}/exams.yaml"


class Release(Record):
    """The release of a key."""

    by: Name
    """The trainer who released it."""
    on: dt.date
    """The day."""


class PublishedExam(Record):
    """A paper in the mill edition."""

    path: Slug
    """The lesson path it tests."""
    seed: Annotated[int, Field(ge=0, le=999_999)]
    """The seed of its numbers."""
    released: Release | None = None
    """Given once the key may be read; without it the mill edition has no answers."""


class Exams(Record):
    """``content/handbook/exams.yaml``."""

    format: Literal[1]
    """The record format."""
    exams: list[PublishedExam]
    """The papers, in order."""


def read_exams(root: Path, lessons: Sequence[Lesson]) -> tuple[PublishedExam, ...]:
    """Read the published papers of a mill folder; none if it has no such file.

    Raises
    ------
    RecordProblems
        All problems with their lines, such as a lesson path that does not exist.
    """
    if not (root / EXAMS).is_file():
        return ()
    return parse_exams(yaml_bytes(root / EXAMS, EXAMS), lessons)


def parse_exams(raw: bytes, lessons: Sequence[Lesson]) -> tuple[PublishedExam, ...]:
    """Return the published papers in a file; see `read_exams`."""
    located = validate(parse_yaml(raw, EXAMS), Exams)
    problems = list(_problems(located, {lesson.id for lesson in lessons}))
    if problems:
        raise RecordProblems(problems)
    return tuple(located.record.exams)


def _problems(located: Located[Exams], known: set[str]) -> Iterator[Problem]:
    seen: set[tuple[str, int]] = set()
    for place, one in enumerate(located.record.exams):
        at = located.document.place("exams", place, "path")
        if one.path not in known:
            yield Problem(
                at,
                f"path '{one.path}'",
                "there is no lesson path of this name",
                f"Known ones: {', '.join(sorted(known)) or 'none'}",
            )
        if (one.path, one.seed) in seen:
            yield Problem(
                at,
                f"the paper {one.path}, seed {one.seed}",
                "it is listed twice",
                "Remove one of them",
            )
        seen.add((one.path, one.seed))


@dataclass(frozen=True)
class PaperLink:
    """A published paper as the page of lesson paths lists it."""

    seed: int
    target: str
    key: str
    """Address of the key; empty until it is released."""
    released: Release | None


def published(folder: MillFolder, lessons: Sequence[Lesson]) -> dict[str, list[PaperLink]]:
    """Return the published papers of each lesson path."""
    found: dict[str, list[PaperLink]] = {}
    for one in read_exams(folder.root, lessons):
        key = _address(one, "-key") if one.released else ""
        link = PaperLink(one.seed, _address(one), key, one.released)
        found.setdefault(one.path, []).append(link)
    return found


def _address(one: PublishedExam, end: str = "") -> str:
    return f"exams/{one.path}-{one.seed}{end}.html"


def render_exams(folder: MillFolder, env: Environment) -> Iterator[Page]:
    """Yield the page of each published paper, and of each released key.

    Parameters
    ----------
    folder : MillFolder
        The mill, for its lesson paths and limits.
    env : Environment
        From `templating.environment`.
    """
    lessons = read_lessons(folder.root, manuscript(folder.graph)[0])
    by_id = {lesson.id: lesson for lesson in lessons}
    for one in read_exams(folder.root, lessons):
        paper = exam(folder, by_id[one.path], one.seed)
        yield _page(env, one, paper, answers=False)
        if one.released:
            yield _page(env, one, paper, answers=True)


def _page(env: Environment, one: PublishedExam, paper: Paper, *, answers: bool) -> Page:
    path = _address(one, "-key" if answers else "")
    title = f"{'Key to the exam' if answers else 'Exam'}: {paper.lesson.title}, paper {one.seed}"
    summary = f"{len(paper.questions)} problems, {paper.lesson.test.minutes} minutes."
    html = render(
        env,
        "exercises/exam_page.html",
        path,
        title=title,
        summary=summary,
        paper=paper,
        answers=answers,
        released=one.released,
    )
    text = " ".join(question.exercise.kind.title for question in paper.questions)
    return Page(path, html, title, "practice", text, summary)
