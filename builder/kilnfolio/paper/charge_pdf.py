"""The record of a sealed charge as a PDF for archives: what the auditor's page says, on paper.

It is made to PDF/A-3b (ISO 19005-3), with the sealed dossier attached as data.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from kilnfolio.charts.paper import for_paper
from kilnfolio.paper.printing import Attached, pdf_of
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.audit import audit_values, record_path


@dataclass(frozen=True)
class ChargeRecord:
    """Everything the PDF of one charge is made of."""

    charge: str
    html: str
    """The document."""
    dossier: bytes
    """The sealed dossier, as canonical JSON."""
    sealed: dt.datetime
    """When."""


def charge_record(holdings: SiteContext, number: str, dossier: bytes, sealed: dt.datetime
                  ) -> ChargeRecord:
    """Return what the PDF of a sealed charge is made of.

    Parameters
    ----------
    holdings : SiteContext
        Of the auditor edition.
    number : str
        The charge.
    dossier : bytes
        The sealed dossier, as canonical JSON.
    sealed : datetime
        When.
    """
    html = holdings.env.get_template("audit_record.html").render(
        here=record_path(number), root="", title=f"Charge {number}", summary="", robots="",
        crumbs=(), **audit_values(holdings, holdings.folder.charges[number].record))
    return ChargeRecord(number, html, dossier, sealed)


def charge_pdf(record: ChargeRecord) -> tuple[bytes, list[str]]:
    """Return the record of a charge as a PDF, and WeasyPrint's warnings."""
    about = f"The sealed dossier of charge {record.charge}"
    return pdf_of(for_paper(record.html), ("record.css", "audit.css"), attached=[
        Attached("dossier.json", record.dossier, about, record.sealed)])
