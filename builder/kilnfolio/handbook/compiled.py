"""Rendered chapters, each kept by itself: a change renders only the chapters that read it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from typing import Literal

from kilnfolio.graph.derived import derived, inline
from kilnfolio.graph.graph import Graph
from kilnfolio.handbook.body import ChapterBuilder
from kilnfolio.handbook.chapter import ChapterFile, Manuscript, read_manuscript
from kilnfolio.handbook.rendered import Body, Contents
from kilnfolio.handbook.setting import Setting
from kilnfolio.records.folder import MillFolder, mill_of
from kilnfolio.records.problems import Problem

Target = Literal["site", "book"]


@inline("manuscript", keep=1)
def manuscript(graph: Graph, _: str) -> tuple[Manuscript, tuple[Problem, ...]]:
    """Return the handbook's chapters, and the problems of those that could not be read."""
    graph.tree("content/handbook")
    found, problems = read_manuscript(graph.folder)
    return found, tuple(problems)


@cache
def registered_checks() -> Mapping[str, object]:
    """Return the registry of checks by slug."""
    from kilnfolio.review import checks, findings

    del checks  # imported to register every check
    return {check.slug: check for check in findings.CHECKS.values()}


# --- one chapter ----------------------------------------------------------------------------------


def chapter_key(slug: str, tag: str = "") -> str:
    """Return the key of a chapter, or of its translation into a language."""
    return f"{tag}/{slug}" if tag else slug


def revision_key(chapter: ChapterFile) -> str:
    """Return the key of an earlier revision of a chapter."""
    return f"{chapter.slug}@{chapter.record.revision}"


def chapters_of_site(graph: Graph) -> Iterator[str]:
    """Yield the keys of the chapters that have a page."""
    found = manuscript(graph)[0]
    yield from found.by_slug
    for tag, chapters in found.translations.items():
        yield from (chapter_key(slug, tag) for slug in chapters)


def _of_site(graph: Graph) -> Iterator[str]:
    yield from chapters_of_site(graph)
    for older in manuscript(graph)[0].superseded.values():
        yield from map(revision_key, older)


def _of_book(graph: Graph) -> Iterator[str]:
    yield from manuscript(graph)[0].by_slug


@derived("site chapter", keys=_of_site, batch=4)
def site_chapter(graph: Graph, key: str) -> Body:
    """Return a chapter as its page prints it; an earlier revision with today's library."""
    return _body(graph, "site", key)


@derived("book chapter", keys=_of_book, option="pdfs", batch=4)
def book_chapter(graph: Graph, key: str) -> Body:
    """Return a chapter as the printed book has it."""
    return _body(graph, "book", key)


_CHAPTERS = {"site": site_chapter, "book": book_chapter}


def _body(graph: Graph, target: Target, key: str) -> Body:
    tag, _, name = key.rpartition("/")
    slug, _, revision = name.partition("@")
    setting = _setting(mill_of(graph), target, tag)
    chapter = setting.manuscript.by_slug[slug]
    if revision:
        older = setting.manuscript.superseded[slug]
        chapter = next(one for one in older if str(one.record.revision) == revision)
    return ChapterBuilder(setting, chapter).build()


def _setting(folder: MillFolder, target: Target, tag: str = "") -> Setting:
    written = manuscript(folder.graph)[0]
    setting = Setting(folder, written, target, registered_checks())
    if not tag:
        return setting
    return replace(setting, manuscript=written.in_language(tag), language=tag, english=written)


# --- all chapters ---------------------------------------------------------------------------------


class _Bodies(Mapping[str, Body]):
    """Rendered chapters by address, each read when asked for."""

    def __init__(self, graph: Graph, target: Target, tag: str, slugs: tuple[str, ...]):
        self._graph, self._chapter = graph, _CHAPTERS[target]
        self._tag, self._slugs = tag, dict.fromkeys(slugs)

    def __getitem__(self, slug: str) -> Body:
        if slug not in self._slugs:
            raise KeyError(slug)
        return self._chapter(self._graph, chapter_key(slug, self._tag))

    def __iter__(self) -> Iterator[str]:
        return iter(self._slugs)

    def __len__(self) -> int:
        return len(self._slugs)


def compile_handbook(folder: MillFolder, target: Target) -> Contents:
    """Return the chapters for the site or for the book; each is rendered when it is asked for."""
    graph = folder.graph
    written, problems = manuscript(graph)
    translations = {
        tag: Contents(
            _setting(folder, target, tag), _Bodies(graph, target, tag, tuple(chapters)), problems
        )
        for tag, chapters in (written.translations.items() if target == "site" else ())
    }
    return Contents(
        _setting(folder, target),
        _Bodies(graph, target, "", tuple(written.by_slug)),
        problems,
        translations,
    )
