"""Read, review, publish: a mill folder to a site.

Steps, as the log names them: read · review · render · write · print. Everything is made in a new
folder beside the old site and swapped in whole at the end, so that a build that is stopped leaves
the old site as it was.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from kilnfolio.records.folder import MillFolder, read_mill_folder
from kilnfolio.records.mill import Mill
from kilnfolio.records.moment import build_date
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.review.dossier import Dossier, LotDossier

if TYPE_CHECKING:
    from kilnfolio.publish.charge_pdf import ChargeRecord
    from kilnfolio.publish.pages.customer import CustomerLot
    from kilnfolio.publish.practice.drills import Drill
    from kilnfolio.review.running import Running
    from kilnfolio.sealing import Sealed

Say = Callable[[str], None]
EDITIONS = ("mill", "customer", "auditor")


class PublicationRefusedError(Exception):
    """A check of what is about to be published refuses it; `reasons` name each page."""

    def __init__(self, reasons: Sequence[str]):
        self.reasons = tuple(reasons)
        super().__init__("\n".join(reasons))


@dataclass(frozen=True)
class Reviewed:
    """A mill folder and what the review says of it."""

    folder: MillFolder
    dossiers: Mapping[str, Dossier]
    lots: Mapping[str, LotDossier]
    running: Mapping[str, Running] = field(default_factory=dict)
    """Charges that are not yet complete."""


@dataclass
class Report:
    """What a build did."""

    pages: int = 0
    pdfs: int = 0
    warnings: list[str] = field(default_factory=list)


def review_folder(root: Path, only: str | Sequence[str] | None = None) -> Reviewed:
    """Read a mill folder and review its charges and lots.

    Parameters
    ----------
    root : Path
        The folder that holds ``content/`` and ``schedules/``.
    only : str or sequence of str, optional
        Review this charge alone, or these.

    Raises
    ------
    RecordProblems
        Every problem in every file, logger files included.
    """
    from kilnfolio.review.review import review_charge, review_lot
    from kilnfolio.review.running import review_open_charges

    folder = read_mill_folder(root)
    dossiers: dict[str, Dossier] = {}
    problems: list[Problem] = []
    wanted = [only] if isinstance(only, str) else folder.charges if only is None else only
    running = review_open_charges(
        folder, folder.open_charges if only is None else wanted, problems)
    for charge_id in wanted:
        if charge_id in folder.open_charges:
            continue
        try:
            dossiers[charge_id] = review_charge(folder, charge_id)
        except RecordProblems as error:
            problems.extend(error.problems)
    if problems:
        raise RecordProblems(problems)
    lots = {lot_id: review_lot(folder, lot_id, dossiers) for lot_id, lot in folder.lots.items()
            if all(pack.charge in dossiers for pack in lot.record.packs)}
    return Reviewed(folder, dossiers, lots, running)


def build_site(root: Path, out: Path, *, workers: int | None = None, pdfs: bool = True,
               say: Say = lambda _: None) -> Report:
    """Build every edition of a mill folder.

    Parameters
    ----------
    root : Path
        The folder that holds ``content/`` and ``schedules/``.
    out : Path
        Where the editions go: ``out/mill``, ``out/customer`` and ``out/auditor``.
    workers : int, optional
        Processes that print PDFs; the number of processors by default.
    pdfs : bool
        Print the PDFs; a site without them leads to none.
    say : callable
        Takes a line of progress.

    Returns
    -------
    Report

    Raises
    ------
    RecordProblems
        The records, or the handbook's chapters, have problems; nothing is written.
    SealBrokenError
        A sealed record is not as it was sealed; nothing is written.
    PublicationRefusedError
        A page lacks the safety wording; nothing is written.
    """
    from kilnfolio.sealing import sealed_state

    say("1 read and review")
    reviewed, report = review_folder(root), Report()
    tokens = lot_tokens(reviewed.folder, report)
    sealed = sealed_state(reviewed.folder, reviewed.dossiers, reviewed.lots, current(tokens))
    sealed.refuse_changes()
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".new-", dir=out) as name:
        _make(reviewed, sealed, tokens, Path(name), (workers or os.cpu_count() or 1) * pdfs, say,
              report)
        say("5 swap")
        for edition in EDITIONS:
            swap_in(Path(name) / edition, out / edition)
    return report


def _make(reviewed: Reviewed, sealed: Sealed, tokens: Mapping[str, Sequence[str]], new: Path,
          workers: int, say: Say, report: Report) -> None:
    """Write every edition into a new folder; without PDFs where there are no `workers`."""
    from kilnfolio.auditor import auditor_pages, write_bags
    from kilnfolio.publish.pages.holdings import Holdings
    from kilnfolio.publish.practice.drills import make_drills
    from kilnfolio.publish.static import copy_assets
    from kilnfolio.publish.templating import environment

    say("2 render")
    addresses, pdfs = current(tokens), workers > 0
    folder = reviewed.folder
    drills = make_drills(folder, Holdings(
        folder, reviewed.dossiers, {}, environment(folder.mill.record), {},
        build_date(folder).date()).lines)
    pages = {"mill": _mill_pages(reviewed, sealed, addresses, drills, pdfs=pdfs),
             "customer": _customer_pages(reviewed, sealed, addresses, pdfs=pdfs),
             "auditor": auditor_pages(reviewed.folder, reviewed.dossiers, sealed,
                                      build_date(reviewed.folder).date(), pdfs=pdfs)}
    _refuse_without_wording(pages)
    say("3 write")
    for edition in EDITIONS:
        (new / edition).mkdir()
        copy_assets(new / edition, edition)
        for path, text in pages[edition].items():
            target = new / edition / path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_text(text, encoding="utf-8", newline="\n")
            report.pages += path.endswith(".html")
    if pdfs:
        say("4 print PDFs")
        _print_pdfs(reviewed, sealed, addresses, drills, new, workers, report)
    _serve_older_labels(tokens, new / "customer")
    write_bags(reviewed.folder, sealed, new / "auditor")


def _refuse_without_wording(pages: Mapping[str, Mapping[str, str]]) -> None:
    """Put what is about to be published to the checks of publication.

    Seals were looked at before anything was made, and a field off the customer's list cannot be
    read at all; what is left to see is the wording on each page.
    """
    from kilnfolio.publish.safety import SAFETY
    from kilnfolio.review.findings import Publication, run_checks

    lacking = [f"{edition}/{path}" for edition, made in pages.items()
               for path, text in made.items() if path.endswith(".html") and SAFETY not in text]
    findings = run_checks(Publication(differences=(), without_wording=lacking, beyond_list=()))
    refused = [finding.message for finding in findings if finding.outcome == "refused"]
    if refused:
        raise PublicationRefusedError(refused)


def lot_tokens(folder: MillFolder, report: Report) -> dict[str, tuple[str, ...]]:
    """Return the addresses of each lot, the current one first.

    None, with a warning, where the mill has no key for them.
    """
    from kilnfolio.archive.tokens import KEY_FILE, lot_token, read_token_keys

    keys = read_token_keys(folder.root, invented=folder.mill.record.invented)
    if not keys:
        report.warnings.append(
            f"no customer edition: {KEY_FILE} is missing, and without it the address of a lot "
            "could be guessed; make it with 'kilnfolio new keys' and keep a copy in the mill's "
            "safe")
    return {lot_id: tuple(lot_token(lot_id, key) for key in keys)
            for lot_id in folder.lots if keys}


def current(tokens: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Return the address each lot has now."""
    return {lot_id: addresses[0] for lot_id, addresses in tokens.items()}


def _serve_older_labels(tokens: Mapping[str, Sequence[str]], customer: Path) -> None:
    """Serve each record at the addresses of older keys too: labels printed with them still lead."""
    for now, *older in tokens.values():
        for address in older:
            if (customer / now).is_dir():
                shutil.copytree(customer / now, customer / address)


def _mill_pages(reviewed: Reviewed, sealed: Sealed, tokens: Mapping[str, str],
                drills: Sequence[Drill], *, pdfs: bool) -> dict[str, str]:
    from kilnfolio.publish.calculators import render_calculators
    from kilnfolio.publish.handbook.chapter import read_manuscript
    from kilnfolio.publish.handbook.pages import render_handbook
    from kilnfolio.publish.pages import render_pages
    from kilnfolio.publish.practice.pages import (
        NUMBERS_PATH,
        practice_numbers,
        render_drills,
        render_practice,
    )
    from kilnfolio.publish.search import INDEX_PATH, search_index, synonyms_of
    from kilnfolio.publish.series import series_files
    from kilnfolio.publish.templating import environment

    folder = reviewed.folder
    env = environment(folder.mill.record, pdfs=pdfs)
    handbook = [*render_handbook(folder, env), render_calculators(folder, env),
                render_practice(folder, env),
                render_drills(drills, env)]
    manuscript = read_manuscript(folder.root)[0]
    pages = [*handbook, *render_pages(folder, reviewed.dossiers, reviewed.lots, env, tokens,
                                      build_date(folder).date(), manuscript=manuscript,
                                      handbook=handbook, seals=sealed.pages(folder),
                                      running=reviewed.running)]
    index = search_index(pages, synonyms_of(folder, manuscript))
    return {**{page.path: page.html for page in pages}, INDEX_PATH: index,
            NUMBERS_PATH: practice_numbers(folder),
            **series_files(reviewed.dossiers.values())}


def _customer_pages(reviewed: Reviewed, sealed: Sealed, tokens: Mapping[str, str], *,
                    pdfs: bool) -> dict[str, str]:
    from kilnfolio.publish.lot_record import SCHEMA_PATH, record_schema
    from kilnfolio.publish.pages import render_customer
    from kilnfolio.publish.templating import environment

    env = environment(reviewed.folder.mill.record, menu=(), pdfs=pdfs)
    made = {page.path: page.html for page in render_customer(
        reviewed.folder, reviewed.dossiers, reviewed.lots, env, tokens, sealed.views)}
    records = {f"{token}/record.json": view.served.text
               for lot_id, token in tokens.items()
               if (view := sealed.views.get(lot_id)) is not None and view.served}
    return made | records | {SCHEMA_PATH: record_schema()}


def _print_pdfs(reviewed: Reviewed, sealed: Sealed, tokens: Mapping[str, str],
                drills: Sequence[Drill], new: Path, workers: int, report: Report) -> None:
    """Print the handbook, the booklets and the records, each in a process of the pool."""
    from kilnfolio.auditor import charge_records

    folder = reviewed.folder
    with executor(workers) as pool:
        jobs = [pool.submit(_print_book, html, new / "mill" / name, css)
                for name, html, css in _handbooks(folder)]
        jobs += [pool.submit(_print_booklet, html, new / "mill" / name)
                 for name, html in _booklets(reviewed.folder, drills).items()]
        jobs += [pool.submit(_print_lot, folder.mill.record, sealed.views[lot_id],
                             new / "customer" / token / "record.pdf")
                 for lot_id, token in tokens.items() if lot_id in sealed.views]
        jobs += [pool.submit(_print_charge, record, new / "auditor" / record.path)
                 for record in charge_records(folder, reviewed.dossiers, sealed,
                                              build_date(folder).date())]
        for job in jobs:
            report.warnings.extend(job.result())
    report.pdfs = len(jobs)


def _print_charge(record: ChargeRecord, path: Path) -> list[str]:
    from kilnfolio.publish.charge_pdf import write_charge_pdf

    return write_charge_pdf(record, path)


def _booklets(folder: MillFolder, drills: Sequence[Drill]) -> dict[str, str]:
    from kilnfolio.publish.practice.booklet import booklets
    from kilnfolio.publish.templating import environment

    return booklets(folder, environment(folder.mill.record), drills)


def _print_booklet(html: str, path: Path) -> list[str]:
    from kilnfolio.publish.practice.booklet import write_booklet

    return write_booklet(html, path)


def _handbooks(folder: MillFolder) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Yield the handbook and its pocket edition: file, HTML and style sheets."""
    from kilnfolio.publish import book, pocket
    from kilnfolio.publish.handbook.pages import compile_handbook
    from kilnfolio.publish.templating import environment

    env, contents = environment(folder.mill.record), compile_handbook(folder, "book")
    yield book.PATH, book.book_html(folder, env, contents=contents), book.CSS
    yield pocket.PATH, pocket.pocket_html(contents, env), pocket.CSS


def _print_book(html: str, path: Path, css: tuple[str, ...]) -> list[str]:
    from kilnfolio.publish.book import write_book

    return write_book(html, path, css)


def _print_lot(mill: Mill, view: CustomerLot, path: Path) -> list[str]:
    from kilnfolio.publish.lot_pdf import write_lot_pdf
    from kilnfolio.publish.templating import environment

    return write_lot_pdf(environment(mill, menu=()), view, path)


def print_labels(root: Path, lots: Sequence[str], sheet: str, skip: int, out: Path
                 ) -> tuple[int, list[str]]:
    """Print a label for each pack of some sealed lots, or of all.

    Parameters
    ----------
    root : Path
        The mill folder.
    lots : sequence of str
        The lots; every sealed one where none is named.
    sheet : str
        Which sheet of `publish.label_sheets.SHEETS`.
    skip : int
        Labels already used on the first sheet.
    out : Path
        The PDF to write.

    Returns
    -------
    tuple of int and list of str
        Labels printed, and what there is to warn of.

    Raises
    ------
    SealBrokenError
        A lot is not there, not sealed, or not as it was sealed; or there is no key of addresses.
    """
    from kilnfolio.publish.label_sheets import labels_of, write_sheets
    from kilnfolio.sealing import SealBrokenError, sealed_state

    reviewed, report = review_folder(root), Report()
    tokens = current(lot_tokens(reviewed.folder, report))
    sealed = sealed_state(reviewed.folder, reviewed.dossiers, reviewed.lots, tokens)
    sealed.refuse_changes()
    wanted = list(lots) or [name for name, lot in sealed.lots.items() if lot.entries]
    reasons = [] if tokens else list(report.warnings)
    for name in wanted:
        if name not in sealed.lots:
            reasons.append(f"there is no lot '{name}' in {root}")
        elif not sealed.lots[name].entries:
            reasons.append(f"lot {name} is not sealed, and its label would bind nothing: kilnfolio "
                           f"seal {name} --by NAME")
    if reasons or not wanted:
        raise SealBrokenError(reasons or ["no lot is sealed: kilnfolio seal LOT --by NAME"])
    labels = [label for name in wanted for label in labels_of(sealed.views[name])]
    return len(labels), write_sheets(labels, sheet, out, skip=skip)


def swap_in(new: Path, old: Path) -> None:
    """Put a finished folder in the place of another, whole.

    On Linux the two names are exchanged in one step, so that a reader sees the old edition or the
    new one and never half of each. Elsewhere the old one is moved aside first.
    """
    if not old.exists():
        new.rename(old)
        return
    if not _exchange(new, old):
        aside = new.with_name(f"{new.name}.old")
        old.rename(aside)
        new.rename(old)
        new = aside
    shutil.rmtree(new)


def _exchange(first: Path, second: Path) -> bool:
    """Exchange two names by renameat2(2); False where the system cannot."""
    at_current_folder, exchange = -100, 2
    with contextlib.suppress(OSError, AttributeError):
        library = ctypes.CDLL(None, use_errno=True)
        code: int = library.renameat2(at_current_folder, os.fsencode(first), at_current_folder,
                                      os.fsencode(second), exchange)
        return code == 0
    return False


def executor(workers: int) -> Executor:
    """Return the executor that prints PDFs."""
    from kilnfolio.workers import Workers

    return Workers(workers)
