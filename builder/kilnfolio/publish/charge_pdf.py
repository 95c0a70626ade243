"""The record of a sealed charge as a PDF for archives: what the auditor's page says, on paper.

It is made to PDF/A-3b (ISO 19005-3), with the sealed dossier attached as data.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from kilnfolio.publish.charts.paper import for_paper
from kilnfolio.publish.printing import Attached, pdf_of


@dataclass(frozen=True)
class ChargeRecord:
    """Everything the PDF of one charge is made of."""

    charge: str
    path: str
    """Where it stands in the auditor edition."""
    html: str
    """The document."""
    dossier: bytes
    """The sealed dossier, as canonical JSON."""
    sealed: dt.datetime
    """When."""


def write_charge_pdf(record: ChargeRecord, path: Path) -> list[str]:
    """Write the record of a charge.

    Parameters
    ----------
    record : ChargeRecord
        What it says.
    path : Path
        Where the PDF is written.

    Returns
    -------
    list of str
        WeasyPrint's warnings.
    """
    about = f"The sealed dossier of charge {record.charge}"
    pdf, warnings = pdf_of(for_paper(record.html), ("record.css", "audit.css"), attached=[
        Attached("dossier.json", record.dossier, about, record.sealed)])
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(pdf)
    return warnings
