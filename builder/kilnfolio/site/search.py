"""The search index, written as a script file so that it also loads from ``file://``.

Charges and lots grow without limit and are not in it; search finds them in the registers' own
files (`pages.rows`).

The index holds plain text, which the page splits into words (``assets/search.js``), so that one
tokenizer serves both texts and queries.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from html import unescape

from kilnfolio.handbook.chapter import Manuscript
from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering.interface import interface
from kilnfolio.rendering.languages import SEALED
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import regional_format
from kilnfolio.runtime.values import dataclass

#: Path of the index in the mill edition.
INDEX_PATH = "assets/search-index.js"

#: Kinds of result, with the heading of each.
HEADINGS: dict[str, str] = {
    "chapter": "Handbook",
    "term": "Glossary",
    "calculator": "Calculators",
    "species": "Species",
    "schedule": "Schedules",
    "charge": "Charges",
    "lot": "Lots",
    "kiln": "Kilns",
    "trend": "Trends and comparisons",
    "check": "Checks",
    "limit": "Limits",
    "source": "Sources",
    "record": "Records",
    "guide": "Guide",
}

#: Kinds that search finds in the registers' files.
_ROWS = frozenset({"charge", "lot"})

#: Start of the line of a page's text that lists other names of a species, or a schedule's code.
_OTHER_NAMES = re.compile(r"^(?:Also called|Code) (.*)\.$", re.MULTILINE)

#: The first line of a species page's text: trade name, then scientific name.
_SCIENTIFIC_NAME = re.compile(r"[^\n]+, ([^,\n]+)\.$", re.MULTILINE)

#: Kinds of page that are indexed section by section.
_SECTIONED = {
    "chapter": "chapter",
    "glossary": "term",
    "calculators": "calculator",
    "guide": "guide",
}


@dataclass(frozen=True)
class Entry:
    """One search result."""

    title: str
    kind: str
    address: str
    within: str
    """For a section, the title of its page; empty for a page."""
    also: str
    """Other names."""
    text: str


def search_index(pages: Iterable[Page], synonyms: Mapping[str, Iterable[str]] | None = None) -> str:
    """Return the index as a script file.

    Parameters
    ----------
    pages : iterable of Page
        Pages of the mill edition; those without text are left out.
    synonyms : mapping of str to iterable of str, optional
        For a word, the handbook's words it may stand for; see `synonyms_of`.
    """
    return index_of([entry for page in pages for entry in entries_of(page)], synonyms)


def index_of(
    entries: Iterable[Entry],
    synonyms: Mapping[str, Iterable[str]] | None = None,
    tag: str = SEALED,
) -> str:
    """Return entries as a script file, in the language `tag`; see `search_index`."""
    meanings = {word: sorted(found) for word, found in sorted((synonyms or {}).items())}
    headings = HEADINGS
    if tag != SEALED:
        headings = {kind: interface(tag).say(words) for kind, words in HEADINGS.items()}
        entries = [_in_language(entry, tag) for entry in entries]
    data = {
        "headings": headings,
        "synonyms": meanings,
        "entries": [
            [entry.title, entry.kind, entry.address, entry.within, entry.also, entry.text]
            for entry in entries
        ],
    }
    # "</" would end the script element if the file is written into a page
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":")).replace("</", "<\\/")
    return f"window.KILNFOLIO_SEARCH={text};\n"


def _in_language(entry: Entry, tag: str) -> Entry:
    """Return an entry as its page says it; a title is found in English too.

    Sections are read from pages that are in the language already.
    """
    if entry.kind in _SECTIONED.values():
        return entry
    spoken = interface(tag)
    title = spoken.say(entry.title)
    text = "\n".join(spoken.language.figures(spoken.say(line)) for line in entry.text.split("\n"))
    also = entry.also if title == entry.title else f"{entry.also} {entry.title}".strip()
    return replace(entry, title=title, also=also, text=text)


def entries_of(page: Page) -> Iterator[Entry]:
    """Yield the entries of a page: the page itself, or each section of a chapter."""
    if not page.text:
        return
    if page.kind in _SECTIONED:
        yield from _sections(page, _SECTIONED[page.kind])
    elif page.kind in HEADINGS.keys() - _ROWS:
        names = [_SCIENTIFIC_NAME.match(page.text)] if page.kind == "species" else []
        names.append(_OTHER_NAMES.search(page.text))
        also = ", ".join(name[1] for name in names if name)
        yield Entry(page.title, page.kind, page.path, "", also, page.text)


def synonyms_of(folder: MillFolder, manuscript: Manuscript | None) -> Mapping[str, set[str]]:
    """Return, for each synonym, the names this handbook uses, from the glossary and the species.

    If headings use a regional word, that word and the handbook's are synonyms of each other.

    Parameters
    ----------
    folder : MillFolder
        The mill, for its species and region.
    manuscript : Manuscript, optional
        The handbook, for its glossary.
    """
    found: dict[str, set[str]] = {}
    pairs = [(term.term, term.also) for term in manuscript.terms.values()] if manuscript else []
    pairs += [
        (located.record.trade_name, located.record.also_called)
        for located in folder.species.values()
    ]
    for name, others in pairs:
        for other in others:
            if other.casefold() != name.casefold():
                found.setdefault(other.casefold(), set()).add(name.casefold())
    for ours, theirs in regional_format(folder.mill.record).words.items():
        found.setdefault(ours, set()).add(theirs)
        found.setdefault(theirs, set()).add(ours)
    return found


def _sections(page: Page, kind: str) -> Iterator[Entry]:
    for section in _read_sections(_NOT_SEARCHED.sub("", page.html)):
        text = " ".join("".join(section.words).split())
        if section.anchor in _NOT_FOUND or (section.anchor and not text):
            continue
        title = " ".join("".join(section.title).split()) or page.title
        address = page.path + (f"#{section.anchor}" if section.anchor else "")
        within = page.title if section.anchor and kind in ("chapter", "guide") else ""
        also = _also(kind, text)
        lead = "" if section.anchor else page.summary
        if not section.anchor and kind == "term":
            continue
        yield Entry(title, kind, address, within, also, " ".join(filter(None, (lead, text))))


def _also(kind: str, text: str) -> str:
    """Return other names of a section: a glossary term's, from its text; "calculator", of one."""
    if kind == "calculator":
        return "calculator"
    return text.partition("Also called: ")[2].partition(".")[0] if kind == "term" else ""


#: Sections about the chapter itself, not about drying.
_NOT_FOUND = frozenset({"sources", "changes"})


#: Drawings, tables of figures and scripts: most of a page's elements, and none of its words.
_NOT_SEARCHED = re.compile(r"<(svg|td|script|style)\b.*?</\1>", re.DOTALL)


@dataclass
class _Section:
    anchor: str
    title: list[str]
    words: list[str]


#: A tag of a page, by its slash, name and attributes, or a comment; pages escape what is no tag.
_TAG = re.compile(r"<(?:(/?)([a-z]\w*)([^>]*)|!(?:--.*?--|[^>]*))>", re.DOTALL)
_ID, _CLASS = (re.compile(rf'\s{name}="([^"]*)"') for name in ("id", "class"))
#: Elements after which a word ends.
_ENDS = frozenset({"p", "li", "dd", "dt", "tr", "h4", "summary", "figcaption", "caption", "th"})


def _attribute(pattern: re.Pattern[str], attributes: str) -> str:
    found = pattern.search(attributes)
    return found[1] if found else ""


class _SectionReader:
    """Splits a chapter's text into sections, one for each heading or term with an anchor."""

    def __init__(self) -> None:
        self.sections = [_Section("", [], [])]
        self._skipped: list[str] = []
        self._inside = False
        self._heading = ""
        self._anchor = ""
        self._problem = False

    def begin(self, tag: str, attributes: str) -> None:
        """Go into an element."""
        if self._skipped:
            if tag == self._skipped[-1]:
                self._skipped.append(tag)
        elif (
            tag == "nav"
            or ("headerlink" in attributes and "headerlink" in _attribute(_CLASS, attributes))
            or (tag == "details" and self._problem)
        ):
            self._skipped.append(tag)
        elif tag == "section":
            self._problem = _attribute(_CLASS, attributes) == "problem"
        elif tag == "main":
            self._inside = True
        elif tag == "h1":
            self._heading = tag
        elif tag == "div":
            self._anchor = _attribute(_ID, attributes)
        elif tag in ("h2", "h3", "dfn"):
            own = _attribute(_ID, attributes)
            if self._anchor if tag == "dfn" else own:
                self.sections.append(_Section(own or self._anchor, [], []))
                self._heading = tag

    def end(self, tag: str) -> None:
        """Leave an element."""
        if self._skipped:
            if tag == self._skipped[-1]:
                self._skipped.pop()
        elif tag == "section":
            self._problem = False
        elif tag == "main":
            self._inside = False
        elif tag == self._heading:
            self._heading = ""
        elif tag in _ENDS:
            self.sections[-1].words.append("\n")

    def read(self, text: str) -> None:
        """Take the text between two tags."""
        if self._inside and not self._skipped:
            section = self.sections[-1]
            (section.title if self._heading else section.words).append(unescape(text))


def _read_sections(html: str) -> list[_Section]:
    """Return the sections of a page; Python's own reader of HTML takes three times as long."""
    reader, done = _SectionReader(), 0
    for found in _TAG.finditer(html):
        if done < found.start():
            reader.read(html[done : found.start()])
        done = found.end()
        slash, tag, attributes = found.groups()
        if slash:
            reader.end(tag)
        elif tag:
            reader.begin(tag, attributes)
            if attributes.endswith("/"):
                reader.end(tag)
    return reader.sections
