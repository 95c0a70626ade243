"""The record of one lot as a PDF of one A4 page: what the customer's page says, for the files.

It is made to PDF/A-3b (ISO 19005-3) with the record attached as data.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from jinja2 import Environment

from kilnfolio.publish.charts.paper import for_paper
from kilnfolio.publish.pages.customer import LIMITS, CustomerLot
from kilnfolio.publish.printing import Attached, pdf_of


def lot_pdf(env: Environment, view: CustomerLot) -> tuple[bytes, list[str]]:
    """Set a lot's record.

    Parameters
    ----------
    env : Environment
        From `templating.environment`.
    view : CustomerLot
        What a customer may see of the lot; the PDF holds nothing else.

    Returns
    -------
    tuple of bytes and list of str
        The PDF, and what WeasyPrint complained of.
    """
    pdf, warnings, pages = _set(env, view, close=False)
    if pages > 1:
        pdf, warnings, pages = _set(env, view, close=True)
    if pages > 1:
        warnings = [*warnings, f"the record of lot {view.lot} takes {pages} pages, not one"]
    return pdf, warnings


def _set(env: Environment, view: CustomerLot, *, close: bool) -> tuple[bytes, list[str], int]:
    """Set the record and count its pages; `close` sets it in smaller type, where much is said."""
    html = env.get_template("lot_record.html").render(view=view, limits=LIMITS, close=close)
    pages: list[int] = []
    pdf, warnings = pdf_of(
        for_paper(html),
        "record.css",
        finisher=lambda document, _pdf: pages.append(len(document.pages)),
        attached=_attached(view),
    )
    return pdf, warnings, pages[0]


def _attached(view: CustomerLot) -> list[Attached]:
    """Return the record as data, which makes the PDF one for archives."""
    if view.served is None:
        return []
    issued = dt.datetime.combine(view.issued, dt.time(), dt.UTC)
    about = f"The record of lot {view.lot} as data, of which the seal is the SHA-256"
    return [Attached("record.json", view.served.text.encode(), about, issued)]


def write_lot_pdf(env: Environment, view: CustomerLot, out_path: Path) -> list[str]:
    """Write a lot's record.

    Parameters
    ----------
    env, view
        As for `lot_pdf`.
    out_path : Path
        Where the PDF is written.

    Returns
    -------
    list of str
        WeasyPrint's warnings.
    """
    pdf, warnings = lot_pdf(env, view)
    out_path.write_bytes(pdf)
    return warnings
