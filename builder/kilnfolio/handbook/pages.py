"""The pages of the handbook: every chapter, the glossary, the index, the contents."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.handbook.body import ChapterBuilder
from kilnfolio.handbook.chapter import (
    Caution,
    ChapterFile,
    read_manuscript,
)
from kilnfolio.handbook.index import by_letter, index_lines, sort_key
from kilnfolio.handbook.rendered import Contents
from kilnfolio.handbook.revisions import blocks_of, compare
from kilnfolio.handbook.setting import Setting
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.sourced import Publication
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.templating import render


def render_handbook(
    folder: MillFolder, env: Environment, *, checks: Mapping[str, object] | None = None
) -> Iterator[Page]:
    """Render the handbook of the mill edition.

    Parameters
    ----------
    folder : MillFolder
        The mill's records; chapters are read from its ``content/handbook``.
    env : Environment
        From `templating.environment`.
    checks : Mapping, optional
        The catalogue of checks by slug; by default the registry's.

    Yields
    ------
    Page
        The contents, every chapter, the glossary, the index of terms.

    Raises
    ------
    RecordProblems
        All problems of all chapters.
    """
    contents = compile_handbook(folder, "site", checks=checks)
    if contents.problems:
        raise RecordProblems(contents.problems)
    yield _front(env, contents)
    for place, chapter in enumerate(contents.manuscript.chapters):
        yield _chapter(env, contents, place, chapter)
        if chapter.slug in contents.manuscript.superseded:
            yield _changes(env, contents, chapter)
    yield _index(env, contents)


def compile_handbook(
    folder: MillFolder,
    target: str,
    *,
    checks: Mapping[str, object] | None = None,
    in_book: frozenset[str] = frozenset(),
) -> Contents:
    """Render every chapter for the site or for the book, collecting every problem."""
    if checks is None:
        checks = registered_checks()
    manuscript, problems = read_manuscript(folder.root)
    setting = Setting(folder, manuscript, "book" if target == "book" else "site", checks, in_book)
    bodies = {
        chapter.slug: ChapterBuilder(setting, chapter).build() for chapter in manuscript.chapters
    }
    for body in bodies.values():
        problems += body.problems
    return Contents(setting, bodies, tuple(sorted(set(problems))))


def registered_checks() -> Mapping[str, object]:
    """Return the registry of checks by slug."""
    from kilnfolio.review import checks, findings

    del checks  # imported to register every check
    return {check.slug: check for check in findings.CHECKS.values()}


# --- pages ----------------------------------------------------------------------------------------


def _front(env: Environment, contents: Contents) -> Page:
    path = routes.chapter("index")
    summary = (
        f"The drying handbook of {contents.setting.folder.mill.record.name}: "
        f"{len(contents.manuscript.chapters)} chapters."
    )
    html = render(
        env,
        "handbook/contents.html",
        path,
        title="Handbook",
        summary=summary,
        chapters=contents.manuscript.chapters,
        bodies=contents.bodies,
    )
    return Page(path, html, "Handbook", "chapter", "", summary)


def _chapter(env: Environment, contents: Contents, place: int, chapter: ChapterFile) -> Page:
    body, record = contents.bodies[chapter.slug], chapter.record
    path = routes.chapter(chapter.slug)
    chapters = contents.manuscript.chapters
    html = render(
        env,
        "handbook/chapter.html",
        path,
        title=record.title,
        summary=record.summary,
        crumbs=(
            ("Handbook", routes.chapter("index")),
            *([(f"Chapter {record.number}", "")] if record.number else []),
        ),
        chapter=record,
        body=body,
        chapters=chapters,
        cautions=cautions_of(contents, chapter),
        sources=sources_of(contents, body.cited),
        letters=by_letter(sorted(record.terms, key=lambda term: sort_key(term.term))),
        known_terms=contents.manuscript.terms,
        before=chapters[place - 1] if place else None,
        after=chapters[place + 1] if place + 1 < len(chapters) else None,
        compared=routes.changes("handbook", chapter.slug)
        if chapter.slug in contents.manuscript.superseded
        else "",
    )
    words = [
        plain_words(body.html),
        *(" ".join((term.term, *term.also, term.definition)) for term in record.terms),
    ]
    kind = "glossary" if record.terms else "chapter"
    return Page(path, html, record.title, kind, " ".join(words), record.summary)


def _changes(env: Environment, contents: Contents, chapter: ChapterFile) -> Page:
    """Return the page that compares a chapter's revisions.

    Earlier revisions are rendered with today's library, so that only what somebody wrote differs.
    References in them that no longer exist are not reported.
    """
    older = contents.manuscript.superseded[chapter.slug]
    revisions = [chapter, *older]
    texts = [
        blocks_of(contents.bodies[chapter.slug].html),
        *(blocks_of(ChapterBuilder(contents.setting, one).build().html) for one in older),
    ]
    comparisons = [
        (
            before.record,
            after.record,
            next(
                (one for one in after.record.changes if one.revision == after.record.revision), None
            ),
            list(compare(old, new)),
        )
        for after, before, new, old in zip(revisions, revisions[1:], texts, texts[1:], strict=False)
    ]
    path, target = routes.changes("handbook", chapter.slug), routes.chapter(chapter.slug)
    title = f"Revisions of {chapter.title}"
    summary = f"{len(revisions)} revisions, each beside the one before it."
    html = render(
        env,
        "handbook/changes.html",
        path,
        title=title,
        summary=summary,
        crumbs=(("Handbook", routes.chapter("index")), (chapter.title, target)),
        chapter=chapter.record,
        target=target,
        comparisons=comparisons,
    )
    return Page(path, html, title, "changes", "", summary)


def _index(env: Environment, contents: Contents) -> Page:
    path = routes.chapter("index-of-terms")
    lines = index_lines(contents, here="index-of-terms")
    html = render(
        env,
        "handbook/index_of_terms.html",
        path,
        title="Index",
        summary="Where each term is treated in the handbook.",
        crumbs=(("Handbook", routes.chapter("index")),),
        letters=by_letter(lines),
        chapters=contents.manuscript.chapters,
    )
    return Page(path, html, "Index", "index", "", "Where each term is treated in the handbook.")


# --- what pages and book share --------------------------------------------------------------------


def cautions_of(contents: Contents, chapter: ChapterFile) -> list[tuple[str, Caution]]:
    """Return the cautions of a chapter."""
    known = contents.manuscript.cautions
    return [(key, known[key]) for key in chapter.record.cautions if key in known]


def sources_of(contents: Contents, cited: Iterable[str]) -> list[tuple[str, Publication]]:
    """Return the publications cited, by their short form."""
    known = contents.setting.publications
    found = [(identity, known[identity]) for identity in dict.fromkeys(cited) if identity in known]
    return sorted(found, key=lambda pair: pair[1].short.casefold())


def plain_words(html: Markup) -> str:
    """Return the text of a page without markup and drawings."""
    bare = re.sub(r"<svg\b.*?</svg>", " ", str(html), flags=re.DOTALL)
    bare = re.sub(r"(</(?:p|h\d|td|th|li|tr|caption|summary|figcaption)>)", r" \1", bare)
    return " ".join(Markup(bare).striptags().split())
