"""The page of lesson paths."""

from __future__ import annotations

from collections.abc import Sequence

from jinja2 import Environment

from kilnfolio.handbook.chapter import Manuscript
from kilnfolio.handbook.compiled import manuscript
from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.templating import render
from kilnfolio.runtime.values import dataclass
from kilnfolio.training.exams import PaperLink, published
from kilnfolio.training.lessons import Lesson, read_lessons
from kilnfolio.training.problem import KINDS

#: Path of the page in the edition.
PATH = "lessons.html"


@dataclass(frozen=True)
class Linked:
    """A link."""

    words: str
    target: str


@dataclass(frozen=True)
class PathView:
    """A lesson path as the page prints it."""

    lesson: Lesson
    reading: Sequence[Linked]
    exercises: Sequence[Linked]
    papers: Sequence[PaperLink]
    """Papers published in this edition."""


def path_views(folder: MillFolder) -> list[PathView]:
    """Return every lesson path of a mill, with its links."""
    written = manuscript(folder.graph)[0]
    lessons = read_lessons(folder.root, written)
    papers = published(folder, lessons)
    return [
        PathView(
            lesson,
            [
                Linked(_reading_words(written, reading), routes.chapter(*reading.split("#", 1)))
                for reading in lesson.reading
            ],
            [Linked(KINDS[kind].title, f"practice.html#{kind}") for kind in lesson.exercises],
            papers.get(lesson.id, ()),
        )
        for lesson in lessons
    ]


def _reading_words(written: Manuscript, reading: str) -> str:
    slug, _, anchor = reading.partition("#")
    title = written.by_slug[slug].title
    return f"{title}, {anchor.replace('-', ' ')}" if anchor else title


def render_lessons(folder: MillFolder, env: Environment) -> Page:
    """Return the page of lesson paths.

    Parameters
    ----------
    folder : MillFolder
        The mill, for its handbook and problems.
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
