"""The index of terms, for the site and for the printed book."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, TypeVar

from markupsafe import Markup

from kilnfolio.handbook.chapter import ChapterFile, Term
from kilnfolio.handbook.rendered import IndexEntry
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Contents

#: The start of a block of running text in a chapter.
_BLOCK = re.compile(r"<(?:p|h[2-4]|li|dd)(?: [^>]*)?>")


@dataclass(frozen=True)
class IndexPlace:
    """A place that the index links to."""

    words: str
    """The words of the link, on a page of the site."""
    address: str
    main: bool = False
    """True in a chapter that lists the term among its index terms."""


@dataclass(frozen=True)
class IndexLine:
    """A term of the index and its places."""

    term: str
    places: tuple[IndexPlace, ...]
    subs: tuple[IndexLine, ...] = ()
    """Sub-entries."""


#: A line of the index or an entry of the glossary.
L = TypeVar("L", IndexLine, Term)
_Places = Callable[[ChapterFile, IndexEntry], Iterator[IndexPlace]]


def index_lines(contents: Contents, here: str) -> list[IndexLine]:
    """Return the index of all chapters for a page of the site, `here`.

    A term that a chapter lists for the whole chapter leads to its start.
    """

    def places(chapter: ChapterFile, entry: IndexEntry) -> Iterator[IndexPlace]:
        anchor = "" if entry.anchor == "top" else entry.anchor
        yield IndexPlace(chapter.heading, contents.setting.chapter(chapter.slug, anchor, here))

    return _lines(contents, places)


def book_index(contents: Contents) -> tuple[list[IndexLine], dict[str, Markup]]:
    """Return the index of the book, and every chapter with anchors at the places it refers to.

    A term that a chapter lists for the whole chapter leads to each paragraph of it that contains
    the term; consecutive pages become a range once page numbers are known.
    """
    marked: dict[str, Markup] = {}
    found: dict[tuple[str, str], list[str]] = {}
    for chapter in contents.manuscript.chapters:
        terms = [e.term for e in contents.bodies[chapter.slug].index if e.anchor == "top"]
        html, places_of = _marked(contents.bodies[chapter.slug].html, chapter.slug, terms)
        marked[chapter.slug] = html
        found |= {(chapter.slug, term): places for term, places in places_of.items()}

    def places(chapter: ChapterFile, entry: IndexEntry) -> Iterator[IndexPlace]:
        main = any(entry.term.casefold() == _term(name).casefold() for name in chapter.record.index)
        anchors = [f"{chapter.slug}--{entry.anchor}"]
        if entry.anchor == "top":
            anchors = found.get((chapter.slug, entry.term)) or anchors
        for anchor in anchors:
            yield IndexPlace("", f"#{anchor}", main)

    return _lines(contents, places), marked


def _marked(html: Markup, slug: str, terms: Sequence[str]) -> tuple[Markup, dict[str, list[str]]]:
    """Add an anchor to every block that contains one of the terms; return the anchors by term."""
    patterns = {term: _pattern(term) for term in terms}
    places: dict[str, list[str]] = {}
    parts, end, text = [], 0, str(html)
    starts = [*_BLOCK.finditer(text)]
    for number, start in enumerate(starts, 1):
        upto = starts[number].start() if number < len(starts) else len(text)
        words = Markup(text[start.end() : upto]).striptags()
        holds = [term for term, pattern in patterns.items() if pattern.search(words)]
        for term in holds:
            places.setdefault(term, []).append(f"{slug}--at-{number}")
        if holds:
            parts += [text[end : start.end()], f'<span id="{slug}--at-{number}"></span>']
            end = start.end()
    return Markup("".join([*parts, text[end:]])), places


def _pattern(term: str) -> re.Pattern[str]:
    """Return a pattern that finds a term in running text: singular or plural, any case."""
    words = [re.escape(word) for word in re.sub(r"e?s$", "", term).split()]
    return re.compile(r"\b" + r"\s+".join(words) + r"(?:e?s)?\b", re.IGNORECASE)


def _term(text: str) -> str:
    return text.partition("!")[0].strip()


def _lines(contents: Contents, places: _Places) -> list[IndexLine]:
    """Return the sorted index of all chapters, with sub-entries under their terms."""
    found: dict[str, dict[str, list[IndexPlace]]] = {}
    spelling: dict[str, str] = {}
    for chapter in contents.manuscript.chapters:
        entries = contents.bodies[chapter.slug].index
        closer = {(entry.term.casefold(), entry.sub) for entry in entries if entry.anchor != "top"}
        for entry in entries:
            key = entry.term.casefold()
            # an entry that starts with a capital is still the same term
            spelling[key] = max(entry.term, spelling.get(key, ""))
            if entry.anchor == "top" and (key, entry.sub) in closer:
                continue  # a place within the chapter is more precise than the chapter
            found.setdefault(key, {}).setdefault(entry.sub, []).extend(places(chapter, entry))
    return [_line(spelling[key], found[key]) for key in sorted(found, key=sort_key)]


def _line(term: str, places: Mapping[str, list[IndexPlace]]) -> IndexLine:
    subs = [IndexLine(sub, tuple(places[sub])) for sub in sorted(places, key=sort_key) if sub]
    return IndexLine(term, tuple(places.get("", ())), tuple(subs))


def by_letter(lines: Sequence[L]) -> list[tuple[str, list[L]]]:
    """Return lines of the index, or glossary entries, grouped by first letter."""
    groups: dict[str, list[L]] = {}
    for line in lines:
        groups.setdefault(sort_key(line.term)[:1].upper(), []).append(line)
    return list(groups.items())


def sort_key(term: str) -> str:
    """Return a sort key without accents and quotation marks."""
    bare = unicodedata.normalize("NFKD", term).casefold()
    return "".join(c for c in bare if not unicodedata.combining(c)).lstrip("‘’'\" ")
