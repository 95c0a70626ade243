"""HTML to PDF, for every PDF of the site.

WeasyPrint may only read files of the assets folder. Its warnings are returned, so that a strict
build can fail on them. The same inputs give the same bytes.
"""

from __future__ import annotations

import datetime as dt
import gc
import io
import logging
import re
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from importlib import resources
from multiprocessing.util import get_temp_dir
from pathlib import Path
from urllib.parse import unquote, urlsplit
from xml.etree import ElementTree

import weasyprint
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher

from kilnfolio.charts.paper import filled, paper_sheet
from kilnfolio.paper.archival import VARIANT, finished
from kilnfolio.runtime.values import dataclass

ASSETS = Path(str(resources.files("kilnfolio.site") / "assets"))


class RefusedAddressError(ValueError):
    """A document refers to a file outside the assets folder."""


class _Fonts(FontConfiguration):
    """Typefaces in a folder that is removed with the process that started this one, at the latest.

    WeasyPrint's own is removed only when Python forgets this object, and a worker that ends does not.
    """

    def __init__(self) -> None:
        super().__init__()
        self._folder = Path(tempfile.mkdtemp(prefix="typefaces-", dir=get_temp_dir()))


class Press:
    """Lays out documents in one style, so that pages of several can be joined in one PDF.

    Parameters
    ----------
    css : tuple of str
        The style sheets in the assets folder, the later ones over the earlier.
    own : str
        The mill's own style sheet, which overrides those.
    """

    def __init__(self, css: tuple[str, ...], own: str = ""):
        self._fonts = _Fonts()
        rules = "\n".join(map(paper_sheet, css))
        self._sheet = weasyprint.CSS(
            # filled in once, not for each element; a mill's own style sheet may set other values
            string=f"{rules}\n{own}" if own else filled(rules),
            base_url=_BASE,
            url_fetcher=_FETCHER,
            font_config=self._fonts,
        )

    def lay_out(self, html: str, css: str = "", **options: object) -> weasyprint.Document:
        """Lay out a document whose addresses are relative to the assets folder.

        Parameters
        ----------
        html : str
            The document.
        css : str
            The document's own rules, which override the style.
        **options : object
            Passed to WeasyPrint.
        """
        document = _parsed(_alone(html))
        sheets = [self._sheet, *([weasyprint.CSS(string=css)] if css else [])]
        laid_out = document.render(
            font_config=self._fonts, stylesheets=sheets, pdf_tags=True, **options
        )
        for page in laid_out.pages:
            # WeasyPrint repeats a link for each part inside it; a reader would meet it three times
            page.links = [link for link in page.links if link[-1].element_tag == "a"]
        return laid_out


@cache
def press(*css: str, own: str = "") -> Press:
    """Return the press of a style, cached because reading its sheets and fonts takes 0.18 s."""
    return Press(css, own)


#: The mill's own style sheet within a document; see `rendering.own`.
_OWN = re.compile(r'<style class="own">(.*?)</style>\n?', re.DOTALL)


def press_of(html: str, css: Sequence[str]) -> tuple[str, Press]:
    """Return a document without the mill's own style sheet, and a press that includes it."""
    found = _OWN.search(html)
    return _OWN.sub("", html, count=1), press(*css, own=found[1] if found else "")


@contextmanager
def collector_paused() -> Iterator[None]:
    """Pause the garbage collector, which takes a fifth of the layout time and finds little.

    The boxes of a document refer to each other; those of the last one, still young, are freed first.
    """
    was_on = gc.isenabled()
    if was_on:
        gc.collect(0)
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def pdf_of(
    html: str,
    css: str | Sequence[str] = "book.css",
    *,
    finisher: Callable[..., None] | None = None,
    attached: Sequence[Attached] = (),
) -> tuple[bytes, list[str]]:
    """Return a document as PDF/A-3b that also conforms to PDF/UA-1; see `paper.archival`.

    Parameters
    ----------
    html : str
        The document; addresses in it are relative to the assets folder.
    css : str
        Style sheet in the assets folder, or several; later ones override earlier ones.
    finisher : callable, optional
        Called with WeasyPrint's document and PDF before the PDF is written.
    attached : sequence of Attached
        Files to attach.

    Returns
    -------
    tuple of bytes and list of str
        The PDF, and WeasyPrint's warnings.
    """
    with logged_warnings() as warnings, collector_paused():
        pdf = archival_pdf(
            laid_out(html, [css] if isinstance(css, str) else css), finisher, attached
        )
    return pdf, warnings


def laid_out(html: str, css: Sequence[str]) -> weasyprint.Document:
    """Lay a document out for an archival PDF; see `pdf_of`."""
    html, style = press_of(html, css)
    return style.lay_out(html, pdf_variant=VARIANT)


def archival_pdf(
    document: weasyprint.Document,
    finisher: Callable[..., None] | None = None,
    attached: Sequence[Attached] = (),
) -> bytes:
    """Write a document that was laid out for it as an archival PDF; see `pdf_of`."""
    pdf: bytes = document.write_pdf(
        finisher=finished(finisher),
        pdf_tags=True,
        pdf_variant=VARIANT,
        attachments=[_attachment(item) for item in attached] or None,
    )
    return pdf


#: What HTML has and XML has not: elements without an end, and the line at the beginning.
_EMPTY = re.compile(r"<(meta|link|br|hr|img|col|wbr)\b([^<>]*?)/?>")
_DOCTYPE = re.compile(r"\s*<!doctype html>", re.IGNORECASE)


class _Parsed(weasyprint.HTML):
    """A document that is also well-formed XML, as ours are; see `_parsed`."""

    def __init__(self, html: str):
        root = ElementTree.fromstring(_EMPTY.sub(r"<\1\2/>", _DOCTYPE.sub("", html, count=1)))
        self.base_url, self.url_fetcher, self.media_type = _BASE, _FETCHER, "print"
        wrapper = weasyprint.cssselect2.ElementWrapper
        self.wrapper_element = wrapper.from_html_root(root, content_language=None)
        self.etree_element = self.wrapper_element.etree_element


def _parsed(html: str) -> weasyprint.HTML:
    """Parse a document, as XML if it can be: 25 times as fast, which is 8 % of a lot's PDF."""
    try:
        return _Parsed(html)
    except ElementTree.ParseError:
        return _parsed_as_html(html)


def _parsed_as_html(html: str) -> weasyprint.HTML:
    return weasyprint.HTML(string=html, base_url=_BASE, url_fetcher=_FETCHER)


#: A link to another page of the site, which a reader of a PDF does not have.
_TO_A_PAGE = re.compile(r'(<a\b[^>]*?)\s+href="(?!#|https?:|mailto:)[^"]*"')


def _alone(html: str) -> str:
    """Return a document without links to pages of the site, which would reveal local folders."""
    return _TO_A_PAGE.sub(r"\1", html)


@dataclass(frozen=True)
class Attached:
    """A file attached to a PDF."""

    name: str
    data: bytes
    about: str
    at: dt.datetime
    """Its date; not the present time, so that the same record gives the same bytes."""


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
    """Fetches only files of the assets folder, and pictures and fonts in data URLs."""

    def fetch(self, url: str, headers: dict[str, str] | None = None) -> object:
        """Fetch a file; WeasyPrint reports a refusal as a warning and continues without it.

        Raises
        ------
        RefusedAddressError
            If the address is not a file of the assets folder.
        """
        if not _WRITTEN_OUT.match(url):
            refuse_all_but_assets(url)
        return super().fetch(url, headers)


#: Data URLs of a mill's logo or fonts, in its style sheet for PDFs.
_WRITTEN_OUT = re.compile(r"data:(image/(svg\+xml|png)|font/(woff2?|ttf|otf));base64,")
_BASE, _FETCHER = ASSETS.as_uri() + "/", AssetsOnly()


def refuse_all_but_assets(url: str) -> None:
    """Raise if an address is not a file of the assets folder.

    Raises
    ------
    RefusedAddressError
        If it is not.
    """
    parts = urlsplit(url)
    path = Path(unquote(parts.path)).resolve()
    if parts.scheme != "file" or parts.netloc or not path.is_relative_to(ASSETS.resolve()):
        raise RefusedAddressError(f"{url} is not a file of the assets folder")


@contextmanager
def logged_warnings() -> Iterator[list[str]]:
    """Collect messages of the weasyprint logger at warning level and above."""
    messages: list[str] = []

    class Keep(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            messages.append(record.getMessage())

    logger, handler = logging.getLogger("weasyprint"), Keep(logging.WARNING)
    before = logger.propagate, logger.level
    logger.addHandler(handler)
    logger.setLevel(logging.WARNING)
    logger.propagate = False
    try:
        yield messages
    finally:
        logger.removeHandler(handler)
        logger.propagate, logger.level = before[0], before[1]
