"""The handbook as a PDF: the same chapters, set by WeasyPrint as a book.

WeasyPrint may read the files of the assets folder and nothing else, and whatever it has to complain
of is collected: a strict build fails on it. The same inputs give the same bytes.
"""

from __future__ import annotations

import datetime as dt
import gc
import io
import logging
import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from urllib.parse import unquote, urlsplit

import weasyprint
from jinja2 import Environment
from markupsafe import Markup
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher

from kilnfolio.publish.charts.paper import for_paper, paper_sheet
from kilnfolio.publish.handbook.chapter import Manuscript
from kilnfolio.publish.handbook.pages import (
    by_letter,
    cautions_of,
    compile_handbook,
    index_lines,
    sources_of,
)
from kilnfolio.publish.templating import environment
from kilnfolio.records.folder import MillFolder, latest_moment
from kilnfolio.records.problems import RecordProblems

ASSETS = Path(str(resources.files("kilnfolio.publish") / "assets"))


class BookWarningsError(Exception):
    """What WeasyPrint complained of, in a strict build."""


class RefusedAddressError(ValueError):
    """A document asked for a file outside the assets folder."""


def write_book(
    folder: MillFolder,
    out_path: Path,
    *,
    appendices: Sequence[tuple[str, str]] = (),
    checks: Mapping[str, object] | None = None,
    strict: bool = False,
) -> list[str]:
    """Write the handbook as PDF.

    Parameters
    ----------
    folder : MillFolder
        The mill's records.
    out_path : Path
        Where the PDF is written.
    appendices : sequence of (str, str)
        Title and HTML of each appendix, such as the species sheets.
    checks : Mapping, optional
        The catalogue of checks by slug; the registry's where absent.
    strict : bool
        Raise on a warning.

    Returns
    -------
    list of str
        WeasyPrint's warnings.

    Raises
    ------
    RecordProblems
        A chapter has problems.
    BookWarningsError
        In a strict build, WeasyPrint warned.
    """
    html = book_html(folder, environment(folder.mill.record), appendices=appendices, checks=checks)
    pdf, warnings = pdf_of(html)
    if strict and warnings:
        raise BookWarningsError("\n".join(warnings))
    out_path.write_bytes(pdf)
    return warnings


def book_html(
    folder: MillFolder,
    env: Environment,
    *,
    appendices: Sequence[tuple[str, str]] = (),
    checks: Mapping[str, object] | None = None,
) -> str:
    """Return the whole book as one HTML document."""
    from kilnfolio import __version__

    anchors = frozenset(_anchors(appendices))
    contents = compile_handbook(folder, "book", checks=checks, in_book=anchors)
    if contents.problems:
        raise RecordProblems(contents.problems)
    manuscript = contents.manuscript
    cited = [identity for body in contents.bodies.values() for identity in body.cited]
    html = env.get_template("handbook/book.html").render(
        chapters=[
            (chapter, contents.bodies[chapter.slug], cautions_of(contents, chapter))
            for chapter in manuscript.chapters
        ],
        known_terms=manuscript.terms,
        sources=sources_of(contents, cited),
        letters=by_letter(index_lines(contents, here="")),
        glossary=by_letter(
            sorted(manuscript.terms.values(), key=lambda term: term.term.casefold())
        ),
        appendices=[
            (number, title, Markup(text)) for number, (title, text) in enumerate(appendices, 1)
        ],
        edition=_edition(folder, manuscript),
        version=__version__,
        here="",
        root="",
    )
    return for_paper(html)


def _anchors(appendices: Sequence[tuple[str, str]]) -> Iterator[str]:
    for _, text in appendices:
        yield from re.findall(r'\bid="([^"]+)"', text)


def _edition(folder: MillFolder, manuscript: Manuscript) -> dt.datetime:
    """Return the moment of this edition: SOURCE_DATE_EPOCH, or the newest on record or approved."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    if epoch:
        return dt.datetime.fromtimestamp(int(epoch), dt.UTC)
    newest = latest_moment(folder)
    if manuscript.latest is None:
        return newest
    approved = dt.datetime.combine(manuscript.latest, dt.time(), folder.mill.record.zone)
    return max(newest, approved)


# --- WeasyPrint -----------------------------------------------------------------------------------


def pdf_of(
    html: str,
    css: str | Sequence[str] = "book.css",
    *,
    finisher: Callable[..., None] | None = None,
    attached: Sequence[Attached] = (),
) -> tuple[bytes, list[str]]:
    """Set a document as PDF.

    Parameters
    ----------
    html : str
        The document; addresses in it are relative to the assets folder.
    css : str
        The style sheet in the assets folder, or several, the later ones over the earlier.
    finisher : callable, optional
        Given WeasyPrint's document and PDF before they are written.
    attached : sequence of Attached
        Files that go with it; with any, the PDF is made to PDF/A-3b (ISO 19005-3).

    Returns
    -------
    tuple of bytes and list of str
        The PDF, and what WeasyPrint complained of.
    """
    with _complaints() as warnings, collector_paused():
        style = _style((css,) if isinstance(css, str) else tuple(css))
        document = weasyprint.HTML(string=html, base_url=_BASE, url_fetcher=_FETCHER)
        pdf = document.write_pdf(
            stylesheets=[style.sheet],
            font_config=style.fonts,
            pdf_tags=True,
            finisher=finisher,
            pdf_variant="pdf/a-3b" if attached else None,
            attachments=[_attachment(item) for item in attached] or None,
        )
    return pdf, warnings


@dataclass(frozen=True)
class _Style:
    """Style sheets read, with the fonts they name."""

    sheet: weasyprint.CSS
    fonts: FontConfiguration


@cache
def _style(names: tuple[str, ...]) -> _Style:
    """Read style sheets and fonts once for every document of this process: 0.18 s each time."""
    fonts, text = FontConfiguration(), "\n".join(paper_sheet(name) for name in names)
    return _Style(
        weasyprint.CSS(string=text, base_url=_BASE, url_fetcher=_FETCHER, font_config=fonts), fonts
    )


@contextmanager
def collector_paused() -> Iterator[None]:
    """Pause the cyclic collector, which costs a fifth of setting a document and finds little.

    What a document leaves behind is young, and goes at the first collection after it.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@dataclass(frozen=True)
class Attached:
    """A file that goes with a PDF."""

    name: str
    data: bytes
    about: str
    at: dt.datetime
    """Its date; never the clock's, so that the same record gives the same bytes."""


def _attachment(item: Attached) -> weasyprint.Attachment:
    return weasyprint.Attachment(
        file_obj=io.BytesIO(item.data),
        name=item.name,
        description=item.about,
        created=item.at,
        modified=item.at,
        relationship="Data",
    )


class AssetsOnly(URLFetcher):
    """Fetches files of the assets folder and nothing else."""

    def fetch(self, url: str, headers: dict[str, str] | None = None) -> object:
        """Fetch a file; WeasyPrint reports a refusal as a warning and goes on without it.

        Raises
        ------
        RefusedAddressError
            The address is not a file of the assets folder.
        """
        refuse_all_but_assets(url)
        return super().fetch(url, headers)


_BASE, _FETCHER = ASSETS.as_uri() + "/", AssetsOnly()


def refuse_all_but_assets(url: str) -> None:
    """Refuse an address that is not a file of the assets folder.

    Raises
    ------
    RefusedAddressError
        It is not.
    """
    parts = urlsplit(url)
    path = Path(unquote(parts.path)).resolve()
    if parts.scheme != "file" or parts.netloc or not path.is_relative_to(ASSETS.resolve()):
        raise RefusedAddressError(f"{url} is not a file of the assets folder")


@contextmanager
def _complaints() -> Iterator[list[str]]:
    """Collect what the weasyprint logger says at warning level and above."""
    said: list[str] = []

    class Keep(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            said.append(record.getMessage())

    logger, handler = logging.getLogger("weasyprint"), Keep(logging.WARNING)
    before = logger.propagate, logger.level
    logger.addHandler(handler)
    logger.setLevel(logging.WARNING)
    logger.propagate = False
    try:
        yield said
    finally:
        logger.removeHandler(handler)
        logger.propagate, logger.level = before[0], before[1]
