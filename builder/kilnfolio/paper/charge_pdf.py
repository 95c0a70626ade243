"""The record of a sealed charge as a PDF for archives, with the contents of the auditor's page.

It conforms to PDF/A-3b (ISO 19005-3), with the sealed dossier attached as data.
"""

from __future__ import annotations

import datetime as dt
from typing import cast

from kilnfolio.archive.entries import Entry
from kilnfolio.charts.paper import for_paper
from kilnfolio.paper.printing import Attached, pdf_of
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.dossier import Dossier
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.audit import audit_values, record_path
from kilnfolio.site.sealed import Seals
from kilnfolio.site.seals import SealView, seal_view


@dataclass(frozen=True)
class ChargeRecord:
    """Everything the PDF of a charge is made from."""

    charge: str
    html: str
    """The document."""
    dossier: bytes
    """The sealed dossier, as canonical JSON."""
    sealed: dt.datetime
    """When it was sealed."""


@dataclass(frozen=True)
class _OneSeal:
    """The seals a printed record knows: those of its own charge."""

    view: SealView
    demo_keys: frozenset[str]

    def of_charge(self, _: str) -> SealView:
        return self.view


def charge_record(
    folder: MillFolder, dossier: bytes, entries: tuple[Entry, ...], demo: frozenset[str]
) -> ChargeRecord:
    """Return the contents of a sealed charge's PDF, made only from what its seal covers.

    Parameters
    ----------
    folder : MillFolder
        The records as sealed.
    dossier : bytes
        The sealed dossier, as canonical JSON.
    entries : tuple of Entry
        The charge's entries, oldest first.
    demo : frozenset of str
        Public keys that are the demonstration's.
    """
    last = entries[-1]
    number = last.charge
    context = SiteContext(folder.graph, "auditor").as_of(
        folder, Dossier.model_validate_json(dossier)
    )
    context.seals = cast("Seals", _OneSeal(seal_view(entries, demo, charge=number), demo))
    html = context.env.get_template("audit_record.html").render(
        here=record_path(number),
        root="",
        title=f"Charge {number}",
        summary="",
        robots="",
        crumbs=(),
        **audit_values(context, folder.charges[number].record),
    )
    return ChargeRecord(number, html, dossier, last.at)


def record_again(
    folder: MillFolder, dossier: bytes, entries: tuple[Entry, ...], demo: frozenset[str]
) -> dict[str, bytes]:
    """Rebuild the record from the contents of a bag; see `charge_record`."""
    return {"record.pdf": charge_pdf(charge_record(folder, dossier, entries, demo))[0]}


def charge_pdf(record: ChargeRecord) -> tuple[bytes, list[str]]:
    """Return the record of a charge as a PDF, and WeasyPrint's warnings."""
    about = f"The sealed dossier of charge {record.charge}"
    return pdf_of(
        for_paper(record.html),
        ("record.css", "audit.css"),
        attached=[Attached("dossier.json", record.dossier, about, record.sealed)],
    )
