"""The auditor edition: a page and a bag for every charge, to be hosted or handed over apart.

Its bags hold the raw record as it was written, supplier and notes included, because that is what is
under audit. Customers and orders are not, and are left out.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from pathlib import Path

from kilnfolio.archive.bag import ABOUT, BAGS, about_bags, write_bag
from kilnfolio.archive.ledger import dossier_path
from kilnfolio.publish.charge_pdf import ChargeRecord
from kilnfolio.publish.pages import render_auditor
from kilnfolio.publish.pages.audit import MENU, audit_values, record_path
from kilnfolio.publish.pages.holdings import ALL, Holdings
from kilnfolio.publish.safety import SAFETY
from kilnfolio.publish.series import series_files
from kilnfolio.publish.templating import environment
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.review import review_lot
from kilnfolio.sealing import Sealed

#: Where the PDF record lies in a bag.
RECORD_IN_BAG = "record.pdf"


def _holdings(folder: MillFolder, dossiers: Mapping[str, Dossier], sealed: Sealed, day: dt.date,
              *, pdfs: bool = True) -> Holdings:
    lots = {lot_id: review_lot(folder, lot_id, dossiers) for lot_id in sealed.lots}
    env = environment(folder.mill.record, menu=MENU, pdfs=pdfs)
    env.globals.update(searchable=False, foot=())
    return Holdings(folder, dossiers, lots, env, {}, day, sealed.pages(folder))


def auditor_pages(folder: MillFolder, dossiers: Mapping[str, Dossier], sealed: Sealed, day: dt.date,
                  *, pdfs: bool = True) -> dict[str, str]:
    """Return the pages and tables of the auditor edition by path.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    dossiers : mapping of str to Dossier
        The reviews of its charges.
    sealed : Sealed
        How they stand against the ledger.
    day : date
        The date pages print.
    pdfs : bool
        Whether the edition holds the PDF of each record.
    """
    holdings = _holdings(folder, dossiers, sealed, day, pdfs=pdfs)
    return {**{page.path: page.html for page in render_auditor(holdings)},
            **series_files(dossiers.values())}


def charge_records(folder: MillFolder, dossiers: Mapping[str, Dossier], sealed: Sealed,
                   day: dt.date) -> Iterator[ChargeRecord]:
    """Yield what the PDF of each sealed charge is made of."""
    holdings = _holdings(folder, dossiers, sealed, day)
    for number in holdings.charges[ALL]:
        charge = folder.charges[number].record
        entries = sealed.charges[charge.id].entries
        if entries:
            html = holdings.env.get_template("audit_record.html").render(
                here=record_path(charge.id), root="", title=f"Charge {charge.id}", summary="",
                robots="", crumbs=(), **audit_values(holdings, charge))
            data = (folder.root / dossier_path(charge.id, len(entries))).read_bytes()
            yield ChargeRecord(charge.id, record_path(charge.id), html, data, entries[-1].at)


def write_bags(folder: MillFolder, sealed: Sealed, out: Path) -> list[Path]:
    """Write the bag of every sealed charge into the auditor edition, and what they are.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    sealed : Sealed
        How its charges stand.
    out : Path
        The edition, its PDF records printed already.
    """
    (out / BAGS).mkdir(parents=True, exist_ok=True)
    (out / BAGS / ABOUT).write_text(
        about_bags([name for name, stands in sealed.charges.items() if stands.entries], SAFETY),
        encoding="utf-8", newline="\n")
    bags = []
    for charge, stands in sealed.charges.items():
        if stands.entries:
            pdf = out / record_path(charge)
            extra = {RECORD_IN_BAG: pdf.read_bytes()} if pdf.is_file() else {}
            bags.append(write_bag(folder.root, charge, out / BAGS, notice=SAFETY, extra=extra))
    return bags
