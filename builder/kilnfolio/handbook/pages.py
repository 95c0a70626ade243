"""The pages of the handbook: every chapter, the glossary, the index, the contents."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.graph.derived import AbsentError, NotMadeError
from kilnfolio.handbook.cautions import Caution
from kilnfolio.handbook.chapter import Chapter, ChapterFile
from kilnfolio.handbook.compiled import (
    chapters_of_site,
    compile_handbook,
    revision_key,
    site_chapter,
)
from kilnfolio.handbook.index import by_letter, index_lines, sort_key
from kilnfolio.handbook.rendered import Contents
from kilnfolio.handbook.revisions import blocks_of, compare
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.sourced import Publication
from kilnfolio.rendering import routes
from kilnfolio.rendering.languages import SEALED, language
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.templating import render
from kilnfolio.runtime.values import dataclass


def render_handbook(folder: MillFolder, env: Environment) -> Iterator[Page]:
    """Render the handbook of the mill edition.

    Parameters
    ----------
    folder : MillFolder
        The mill's records; chapters are read from its ``content/handbook``.
    env : Environment
        From `templating.environment`.

    Yields
    ------
    Page
        The contents, every chapter, the glossary, the index of terms.

    Raises
    ------
    RecordProblems
        All problems of all chapters.
    """
    yield from render_contents(folder, env)
    for key in chapters_of_site(folder.graph):
        yield from render_chapter(folder, env, key)


def render_contents(folder: MillFolder, env: Environment) -> Iterator[Page]:
    """Render the pages that are about all chapters: contents in each language, and the index.

    Raises
    ------
    RecordProblems
        All problems of all chapters.
    """
    contents = compile_handbook(folder, "site")
    if problems := contents.problems:
        raise RecordProblems(problems)
    yield _front(env, contents)
    yield _index(env, contents)
    for translation in contents.translations.values():
        yield _front(env, translation)


def render_chapter(folder: MillFolder, env: Environment, key: str) -> Iterator[Page]:
    """Render the page of a chapter, and the one that compares its revisions if it has several.

    Parameters
    ----------
    folder, env
        As for `render_handbook`.
    key : str
        One of `chapters_of_site`.

    Raises
    ------
    AbsentError
        If there is no such chapter.
    NotMadeError
        If it has problems; `render_contents` reports them.
    """
    if key not in set(chapters_of_site(folder.graph)):
        raise AbsentError(key)
    tag, _, slug = key.rpartition("/")
    contents = compile_handbook(folder, "site")
    if tag:
        contents = contents.translations[tag]
    if contents.bodies[slug].problems:
        raise NotMadeError
    chapters = contents.manuscript.chapters
    place = next(i for i, chapter in enumerate(chapters) if chapter.slug == slug)
    yield _chapter(env, contents, place, chapters[place])
    if not tag and slug in contents.manuscript.superseded:
        yield _changes(env, contents, chapters[place])


# --- pages ----------------------------------------------------------------------------------------


def _front(env: Environment, contents: Contents) -> Page:
    path = routes.chapter(_front_address(contents.setting.language))
    own = contents.setting.folder.mill.record.language
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
        chapters=_chapter_lines(contents.translations.get(own, contents)),
        bodies=contents.bodies,
        **_languages(contents, ""),
    )
    return Page(path, html, "Handbook", "chapter", "", summary)


@dataclass(frozen=True)
class ChapterLine:
    """A chapter as lists of chapters print it."""

    record: Chapter
    address: str
    """Its page in the folder of the handbook."""
    slug: str
    language: str
    """Its language; "" for the language of the other pages."""
    fallback: bool
    """Whether it stands in English because it is not translated."""

    @property
    def heading(self) -> str:
        """Its number and title."""
        number = self.record.number
        return f"{number} {self.record.title}" if number else str(self.record.title)


def _chapter_lines(contents: Contents) -> list[ChapterLine]:
    """Return the chapters as a page in a language lists them."""
    setting = contents.setting
    tag, own = setting.language, setting.folder.mill.record.language

    def line(chapter: ChapterFile) -> ChapterLine:
        written = tag if tag and chapter.slug in contents.bodies else SEALED
        return ChapterLine(
            chapter.record,
            f"{setting.address(chapter.slug)}.html",
            chapter.slug,
            written if written != own else "",
            written == SEALED and (tag or own) != SEALED,
        )

    return [line(chapter) for chapter in setting.manuscript.chapters]


def _front_address(tag: str) -> str:
    return f"index.{tag}" if tag else "index"


def _languages(contents: Contents, slug: str) -> dict[str, Any]:
    """Return what a page says of its language and of the others: of the contents, or a chapter."""
    setting = contents.setting
    given = [
        tag
        for tag, chapters in setting.manuscript.translations.items()
        if not slug or slug in chapters
    ]
    suffix = {tag: f".{tag}" if tag != SEALED else "" for tag in (SEALED, *given)}
    here = setting.language or SEALED
    return {
        "written_in": setting.language,
        "languages": [
            (tag, language(tag).name, f"{slug or 'index'}{suffix[tag]}.html")
            for tag in suffix
            if tag != here and given
        ],
    }


def _chapter(env: Environment, contents: Contents, place: int, chapter: ChapterFile) -> Page:
    body, record = contents.bodies[chapter.slug], chapter.record
    path = routes.chapter(contents.setting.address(chapter.slug))
    chapters = _chapter_lines(contents)
    tag = contents.setting.language
    original = contents.setting.original(chapter.slug)
    html = render(
        env,
        "handbook/chapter.html",
        path,
        title=record.title,
        summary=record.summary,
        crumbs=(
            ("Handbook", routes.chapter(_front_address(tag))),
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
        if chapter.slug in contents.manuscript.superseded and not tag
        else "",
        behind=original.revision if original and original.revision > record.revision else 0,
        **_languages(contents, chapter.slug),
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
    graph = contents.setting.folder.graph
    revisions = [chapter, *older]
    texts = [
        blocks_of(contents.bodies[chapter.slug].html),
        *(blocks_of(site_chapter(graph, revision_key(one)).html) for one in older),
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
        chapters=_chapter_lines(contents),
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
