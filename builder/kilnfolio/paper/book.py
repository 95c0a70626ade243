"""The handbook as a PDF: the same chapters, laid out by WeasyPrint as a book.

The index's page numbers are known only after the rest has been laid out, so the index is laid out
last, with consecutive pages as ranges, and appended.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from pathlib import Path

import weasyprint
from jinja2 import Environment

from kilnfolio.charts.paper import for_paper
from kilnfolio.handbook.chapter import ChapterFile
from kilnfolio.handbook.index import book_index, by_letter
from kilnfolio.handbook.pages import cautions_of, sources_of
from kilnfolio.handbook.rendered import Contents, Listed
from kilnfolio.paper.archival import VARIANT, finished
from kilnfolio.paper.printing import Press, collector_paused, logged_warnings, press_of
from kilnfolio.records.build_date import build_date
from kilnfolio.records.problems import RecordProblems
from kilnfolio.runtime.files import write_whole
from kilnfolio.runtime.values import dataclass

#: Path in the mill edition, and the style sheets.
PATH = "handbook.pdf"
CSS = ("book.css",)

_INDEX = re.compile(r'(<section class="index">\s*<h1[^>]*>.*?</h1>)(.*?)(</section>)', re.DOTALL)
_BODY = re.compile(r"(<body[^>]*>)(.*)(</body>)", re.DOTALL)
_RUNNING = re.compile(r'<p class="(?:deferral|invented)">.*?</p>')
#: Patterns for the places of an index line, and for one of them.
_PLACES = re.compile(r'<span class="places">(.*?)</span>')
_MAIN = ' class="main"'
_PLACE = re.compile(rf'<a({_MAIN})? href="#([^"]+)"></a>')


def book_html(contents: Contents, env: Environment) -> str:
    """Return the whole book as one HTML document.

    Parameters
    ----------
    contents : Contents
        The chapters, compiled for the book.
    env : Environment
        From `templating.environment`.

    Raises
    ------
    RecordProblems
        If a chapter has problems.
    """
    from kilnfolio import __version__

    if problems := contents.problems:
        raise RecordProblems(problems)
    manuscript = contents.manuscript
    cited = [identity for body in contents.bodies.values() for identity in body.cited]
    lines, marked = book_index(contents)
    html = env.get_template("handbook/book.html").render(
        parts=_parts(contents),
        chapters=[
            (chapter, contents.bodies[chapter.slug], cautions_of(contents, chapter))
            for chapter in manuscript.chapters
        ],
        text=marked,
        lists=list(_lists(contents)),
        known_terms=manuscript.terms,
        sources=sources_of(contents, cited),
        letters=by_letter(lines),
        glossary=by_letter(
            sorted(manuscript.terms.values(), key=lambda term: term.term.casefold())
        ),
        edition=build_date(contents.setting.folder, manuscript.latest),
        version=__version__,
        here="",
        root="",
    )
    return for_paper(html)


def _parts(contents: Contents) -> dict[str, tuple[str, str, list[ChapterFile]]]:
    """Return the parts of the book by their first chapter: number, name, chapters."""
    parts: list[tuple[str, list[ChapterFile]]] = []
    for chapter in contents.manuscript.chapters:
        if chapter.record.part:
            parts.append((chapter.record.part, []))
        if parts and chapter.record.number:
            parts[-1][1].append(chapter)
    return {
        chapters[0].slug: (_roman(number), name, chapters)
        for number, (name, chapters) in enumerate(parts, 1)
        if chapters
    }


def _roman(number: int) -> str:
    text = "I" * number
    for long, short in (("IIIII", "V"), ("IIII", "IV"), ("VV", "X"), ("VIV", "IX")):
        text = text.replace(long, short)
    return text


def _lists(contents: Contents) -> Iterator[tuple[str, list[Listed]]]:
    listed = [
        one
        for chapter in contents.manuscript.chapters
        for one in contents.bodies[chapter.slug].listed
    ]
    for title, kind in (("Tables", "table"), ("Figures", "figure")):
        if found := [one for one in listed if one.kind == kind]:
            yield title, found


# --- printing -------------------------------------------------------------------------------------


def book_pdf(html: str, css: tuple[str, ...] = CSS) -> tuple[bytes, list[str]]:
    """Return a book as a PDF, and WeasyPrint's warnings.

    Parameters
    ----------
    html : str
        From `book_html`.
    css : tuple of str
        Style sheets in the assets folder; later ones override earlier ones.
    """
    with logged_warnings() as warnings, collector_paused():
        bound = _bound(*press_of(html, css))
        pdf = bound.write_pdf(pdf_tags=True, pdf_variant=VARIANT, finisher=finished())
    return pdf, warnings


def write_book(html: str, out_path: Path, css: tuple[str, ...] = CSS) -> list[str]:
    """Write a book as a PDF and return WeasyPrint's warnings; see `book_pdf`."""
    pdf, warnings = book_pdf(html, css)
    write_whole(out_path, pdf)
    return warnings


def _bound(html: str, style: Press) -> weasyprint.Document:
    """Return the pages of a book; those of the index are laid out after all others."""
    if not _INDEX.search(html):
        return style.lay_out(html, pdf_variant=VARIANT)
    # at first the index is only its heading, so that the contents can name its page
    text = style.lay_out(_INDEX.sub(r"\1\3", html), pdf_variant=VARIANT)
    *pages, _ = text.pages
    index = style.lay_out(
        _index_alone(html, page_numbers(text)), css=_begun_at(len(pages) + 1), pdf_variant=VARIANT
    )
    return text.copy([*pages, *index.pages])


def page_numbers(document: weasyprint.Document) -> dict[str, int]:
    """Return the page of each anchor, counted from 1."""
    return {
        anchor: number for number, page in enumerate(document.pages, 1) for anchor in page.anchors
    }


def _begun_at(number: int) -> str:
    """Return rules that start a document at a page number, on its side of the book."""
    side = "right" if number % 2 else "left"
    return f"@page :first {{ counter-reset: page {number} }} html {{ break-before: {side} }}"


def _index_alone(html: str, numbers: Mapping[str, int]) -> str:
    """Return the document with only its running content and the index."""
    index, body = _INDEX.search(html), _BODY.search(html)
    assert index is not None
    assert body is not None
    running = "".join(_RUNNING.findall(body[2]))
    lines = _PLACES.sub(lambda places: _ranges(places[1], numbers), index[0])
    return html[: body.end(1)] + running + lines + html[body.start(3) :]


def _ranges(places: str, numbers: Mapping[str, int]) -> str:
    """Return the pages of an index line, with consecutive pages as ranges."""
    found: dict[int, tuple[bool, str]] = {}
    for main, anchor in _PLACE.findall(places):
        if number := numbers.get(anchor):
            known = found.get(number, (False, anchor))
            found[number] = (known[0] or bool(main), known[1])
    return ", ".join(
        f'<a{_MAIN if run.main else ""} href="#{run.anchor}">{run}</a>' for run in page_runs(found)
    )


@dataclass(frozen=True)
class Run:
    """Consecutive pages."""

    first: int
    last: int
    main: bool
    anchor: str
    """Anchor on the first page."""

    def __str__(self) -> str:
        """Return the pages as printed in the index."""
        return f"{self.first}–{self.last}" if self.last > self.first else str(self.first)


def page_runs(pages: Mapping[int, tuple[bool, str]]) -> Iterable[Run]:
    """Yield runs of consecutive pages that are all main entries or all not."""
    numbered = list(enumerate(sorted(pages)))
    for (main, _), run in groupby(numbered, lambda one: (pages[one[1]][0], one[1] - one[0])):
        numbers = [number for _, number in run]
        yield Run(numbers[0], numbers[-1], main, pages[numbers[0]][1])
