"""Read, review, publish: a mill folder to a site.

Steps, as the log names them: read · review · render · write · print. Everything is made in a new
folder beside the old site and swapped in whole at the end, so that a build that is stopped leaves
the old site as it was.
"""

from __future__ import annotations

import contextlib
import ctypes
import datetime as dt
import os
import shutil
import tempfile
from collections.abc import Callable, Mapping
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from kilnfolio.records.folder import MillFolder, latest_moment, read_mill_folder
from kilnfolio.records.mill import Mill
from kilnfolio.records.problems import RecordProblems
from kilnfolio.review.dossier import Dossier, LotDossier

if TYPE_CHECKING:
    from kilnfolio.publish.pages.customer import CustomerLot

Say = Callable[[str], None]
EDITIONS = ("mill", "customer")


@dataclass(frozen=True)
class Reviewed:
    """A mill folder and what the review says of it."""

    folder: MillFolder
    dossiers: Mapping[str, Dossier]
    lots: Mapping[str, LotDossier]


@dataclass
class Report:
    """What a build did."""

    pages: int = 0
    pdfs: int = 0
    warnings: list[str] = field(default_factory=list)


def review_folder(root: Path, only: str | None = None) -> Reviewed:
    """Read a mill folder and review its charges and lots.

    Parameters
    ----------
    root : Path
        The folder that holds ``content/`` and ``schedules/``.
    only : str, optional
        Review this charge alone.

    Raises
    ------
    RecordProblems
        Every problem in every file, logger files included.
    """
    from kilnfolio.review.review import review_charge, review_lot

    folder = read_mill_folder(root)
    dossiers, problems = {}, []
    for charge_id in [only] if only else folder.charges:
        try:
            dossiers[charge_id] = review_charge(folder, charge_id)
        except RecordProblems as error:
            problems.extend(error.problems)
    if problems:
        raise RecordProblems(problems)
    lots = {lot_id: review_lot(folder, lot_id, dossiers) for lot_id, lot in folder.lots.items()
            if all(pack.charge in dossiers for pack in lot.record.packs)}
    return Reviewed(folder, dossiers, lots)


def build_site(root: Path, out: Path, *, workers: int | None = None, say: Say = lambda _: None
               ) -> Report:
    """Build every edition of a mill folder.

    Parameters
    ----------
    root : Path
        The folder that holds ``content/`` and ``schedules/``.
    out : Path
        Where the editions go: ``out/mill`` and ``out/customer``.
    workers : int, optional
        Processes that print PDFs; the number of processors by default.
    say : callable
        Takes a line of progress.

    Returns
    -------
    Report

    Raises
    ------
    RecordProblems
        The records, or the handbook's chapters, have problems; nothing is written.
    """
    say("1 read and review")
    reviewed = review_folder(root)
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".new-", dir=out) as name:
        report = _make(reviewed, Path(name), workers or os.cpu_count() or 1, say)
        say("5 swap")
        for edition in EDITIONS:
            swap_in(Path(name) / edition, out / edition)
    return report


def build_date(folder: MillFolder) -> dt.datetime:
    """Return the date pages print: SOURCE_DATE_EPOCH where set, else the newest moment on record.

    Never the clock's: the same records give the same bytes.
    """
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    zone = folder.mill.record.zone
    if epoch and epoch.isdigit():
        return dt.datetime.fromtimestamp(int(epoch), zone)
    return latest_moment(folder)


def _make(reviewed: Reviewed, new: Path, workers: int, say: Say) -> Report:
    """Write every edition into a new folder."""
    from kilnfolio.publish.static import copy_assets

    folder, report = reviewed.folder, Report()
    tokens = lot_tokens(folder, report)
    say("2 render")
    pages = {"mill": _mill_pages(reviewed, tokens), "customer": _customer_pages(reviewed, tokens)}
    say("3 write")
    for edition in EDITIONS:
        (new / edition).mkdir()
        copy_assets(new / edition, scripts=edition == "mill")
        for path, text in pages[edition].items():
            target = new / edition / path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_text(text, encoding="utf-8", newline="\n")
            report.pages += path.endswith(".html")
    say(f"4 print {len(reviewed.lots) + 1} PDFs")
    _print_pdfs(reviewed, tokens, new, workers, report)
    return report


def lot_tokens(folder: MillFolder, report: Report) -> dict[str, str]:
    """Return the address of each lot; none, with a warning, where the mill has no key for them."""
    from kilnfolio.archive.tokens import KEY_FILE, lot_token, read_token_key

    key = read_token_key(folder.root, invented=folder.mill.record.invented)
    if key is None:
        report.warnings.append(
            f"no customer edition: {KEY_FILE} is missing, and without it the address of a lot could "
            "be guessed; make it with 'kilnfolio new keys' and keep a copy in the mill's safe")
        return {}
    return {lot_id: lot_token(lot_id, key) for lot_id in folder.lots}


def _mill_pages(reviewed: Reviewed, tokens: Mapping[str, str]) -> dict[str, str]:
    from kilnfolio.publish.calculators import render_calculators
    from kilnfolio.publish.handbook.chapter import read_manuscript
    from kilnfolio.publish.handbook.pages import render_handbook
    from kilnfolio.publish.pages import render_pages
    from kilnfolio.publish.search import INDEX_PATH, search_index, synonyms_of
    from kilnfolio.publish.templating import environment

    folder = reviewed.folder
    env = environment(folder.mill.record)
    handbook = [*render_handbook(folder, env), render_calculators(folder, env)]
    manuscript = read_manuscript(folder.root)[0]
    pages = [*handbook, *render_pages(folder, reviewed.dossiers, reviewed.lots, env, tokens,
                                      build_date(folder).date(), manuscript=manuscript,
                                      handbook=handbook)]
    index = search_index(pages, synonyms_of(folder, manuscript))
    return {**{page.path: page.html for page in pages}, INDEX_PATH: index}


def _customer_pages(reviewed: Reviewed, tokens: Mapping[str, str]) -> dict[str, str]:
    from kilnfolio.publish.pages import render_customer
    from kilnfolio.publish.templating import environment

    env = environment(reviewed.folder.mill.record, menu=())
    return {page.path: page.html for page in render_customer(
        reviewed.folder, reviewed.dossiers, reviewed.lots, env, tokens)}


def _print_pdfs(reviewed: Reviewed, tokens: Mapping[str, str], new: Path, workers: int,
                report: Report) -> None:
    """Print the handbook and the lots' records, each in a process of the pool."""
    from kilnfolio.publish.pages.customer import customer_lot

    folder = reviewed.folder
    views = {token: customer_lot(folder, lot_id, reviewed.dossiers, reviewed.lots[lot_id], token)
             for lot_id, token in tokens.items() if lot_id in reviewed.lots}
    with executor(workers) as pool:
        jobs = [pool.submit(_print_book, folder.root, new / "mill/handbook.pdf")]
        jobs += [pool.submit(_print_lot, folder.mill.record, view,
                             new / "customer" / token / "record.pdf")
                 for token, view in views.items()]
        for job in jobs:
            report.warnings.extend(job.result())
    report.pdfs = len(jobs)


def _print_book(root: Path, path: Path) -> list[str]:
    from kilnfolio.publish.book import write_book

    return write_book(read_mill_folder(root), path)


def _print_lot(mill: Mill, view: CustomerLot, path: Path) -> list[str]:
    from kilnfolio.publish.lot_pdf import write_lot_pdf
    from kilnfolio.publish.templating import environment

    return write_lot_pdf(environment(mill, menu=()), view, path)


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
        return library.renameat2(at_current_folder, os.fsencode(first), at_current_folder,
                                 os.fsencode(second), exchange) == 0
    return False


def executor(workers: int) -> Executor:
    """Return the executor that prints PDFs."""
    return ProcessPoolExecutor(workers)
