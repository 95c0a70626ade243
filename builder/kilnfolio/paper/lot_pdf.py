"""The record of a lot as a PDF of one A4 page, with the contents of the customer's page.

It conforms to PDF/A-3b (ISO 19005-3), with the record attached as data.
"""

from __future__ import annotations

import datetime as dt
import math
import re

from jinja2 import Environment
from weasyprint import Document

from kilnfolio.charts.paper import for_paper
from kilnfolio.paper.codes import with_code, without_code
from kilnfolio.paper.printing import (
    Attached,
    archival_pdf,
    collector_paused,
    laid_out,
    logged_warnings,
)
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.pages.customer import LIMITS, CustomerLot

_STYLE = ("record.css",)


@dataclass(frozen=True)
class LotSheet:
    """Everything the PDF of a lot is made from."""

    lot: str
    html: str
    """The document, without the QR code."""
    code: str
    """The path of the code."""
    attached: tuple[Attached, ...]

    @property
    def close(self) -> str:
        """The document in smaller type, used if it would not fit the page."""
        return self.html.replace("<body>", '<body class="close">', 1)


def lot_sheet(env: Environment, view: CustomerLot) -> LotSheet:
    """Return the contents of the PDF of a lot's record.

    Parameters
    ----------
    env : Environment
        From `templating.environment`.
    view : CustomerLot
        The lot as its customer may see it; the PDF holds nothing else.
    """
    return LotSheet(view.record.lot, *without_code(lot_html(env, view)), tuple(_attached(view)))


#: Attributes by which the page's scripts find the facts; a span without them is only its text.
_FACT = re.compile(r"<(?:d[dt]|span|t[dh]|thead|caption)\b[^<>]*>")
_KNOWN_BY = re.compile(r' data-(?:words|verbatim|record="[^"]*")(?=[ >])')
_TEXT = re.compile(r"<span>([^<]*)</span>")


def lot_html(env: Environment, view: CustomerLot) -> str:
    """Return the document of a lot's record, with no more elements than paper needs."""
    html = env.get_template("lot_record.html").render(view=view, limits=LIMITS)
    html = _FACT.sub(lambda tag: _KNOWN_BY.sub("", tag[0]), html)
    return for_paper(_TEXT.sub(r"\1", html))


#: A record of at least this many characters, drawings apart, seldom fits its page in the usual type.
_LONG = 4_100
_DRAWING = re.compile(r"<svg.*?</svg>", re.DOTALL)
#: Where the last heading of a record in smaller type stands this low, the usual type has no room:
#: it needs a sixth more, and fits up to 717 px at most (`tests/paper/test_lot_pdf.py`) [px].
_NO_ROOM = 800.0


def print_sheet(sheet: LotSheet) -> tuple[bytes, list[str]]:
    """Return a lot's record as a PDF, and WeasyPrint's warnings."""
    with collector_paused():
        document, warnings = _fitted(sheet)
        with logged_warnings() as of_writing:
            pdf = archival_pdf(document, with_code(sheet.code), attached=sheet.attached)
    warnings = [*warnings, *of_writing]
    pages = len(document.pages)
    if pages > 1:
        warnings.append(f"the record of lot {sheet.lot} takes {pages} pages, not one")
    return pdf, warnings


_LaidOut = tuple[Document, list[str]]


def _fitted(sheet: LotSheet) -> _LaidOut:
    """Lay a record out in the usual type if that fits the page, and in smaller type if not."""
    long = len(_DRAWING.sub("", sheet.html)) >= _LONG
    close = _laid_out(sheet.close) if long else None
    if close and _last_heading(close[0]) >= _NO_ROOM:
        return close
    usual = _laid_out(sheet.html)
    return usual if len(usual[0].pages) == 1 else close or _laid_out(sheet.close)


def _laid_out(html: str) -> _LaidOut:
    with logged_warnings() as warnings:
        return laid_out(html, _STYLE), warnings


def _last_heading(document: Document) -> float:
    """Return how low the last heading stands [px]; endlessly low if there is a second page."""
    if len(document.pages) > 1:
        return math.inf
    return max((y for _, _, (_, y), _ in document.pages[0].bookmarks), default=0.0)


def lot_pdf(env: Environment, view: CustomerLot) -> tuple[bytes, list[str]]:
    """Return the PDF of a lot's record; see `lot_sheet` and `print_sheet`."""
    return print_sheet(lot_sheet(env, view))


def _attached(view: CustomerLot) -> list[Attached]:
    """Return the record as an attached data file."""
    issued = dt.datetime.combine(view.record.issued, dt.time(), dt.UTC)
    about = f"The record of lot {view.record.lot} as data, of which the seal is the SHA-256"
    return [Attached("record.json", view.served.text.encode(), about, issued)]
