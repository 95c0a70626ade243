"""Read, review, publish: a mill folder to a site.

A build looks at which files changed, runs what rests on them, and changes the site over whole at
the end; see `kilnfolio.incremental`. A build that is stopped leaves the old site as it was and
what it made for the next one to go on from.
"""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from kilnfolio.incremental.inputs import Stamps, note_changes, stamps
from kilnfolio.incremental.store import Store, pack
from kilnfolio.incremental.tree import ASIDE, TEMPLATES, StrangeSiteError, Tree
from kilnfolio.runtime.code_version import code_digests, code_stamps
from kilnfolio.runtime.errors import PublicationRefusedError, SealBrokenError, SiteInUseError

if TYPE_CHECKING:
    import datetime as dt
    from concurrent.futures import Executor

    from kilnfolio.archive.entries import LotEntry
    from kilnfolio.archive.keys import Keys
    from kilnfolio.incremental.engine import Desk
    from kilnfolio.records.folder import MillFolder
    from kilnfolio.review.dossier import Dossier, LotDossier
    from kilnfolio.review.running import Running

#: What is being made, how much of it is done, how much there is.
Tell = Callable[[str, int, int], None]


def _silent(_what: str, _done: int, _total: int) -> None:
    """Tell nobody."""


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
    """Pages of the site."""
    pdfs: int = 0
    """PDFs of the site."""
    made: int = 0
    """Things made in this run; 0 where nothing had changed."""
    broken: list[str] = field(default_factory=list)
    """Charges and lots whose own files are not as sealed: their pages show what was sealed."""
    warnings: list[str] = field(default_factory=list)


def review_folder(root: Path, only: str | Sequence[str] | None = None) -> Reviewed:
    """Read a mill folder and review its charges and lots.

    Charges and lots that are as they were sealed are not reviewed again: their sealed reviews
    serve, whatever became of limits, species, schedules and kilns since.

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
    from kilnfolio.archive.standing import read_sealed_mill
    from kilnfolio.records.problems import Problem, RecordProblems
    from kilnfolio.review.review import review_charge
    from kilnfolio.review.running import review_open_charges

    mill = read_sealed_mill(root)
    folder = mill.folder
    dossiers: dict[str, Dossier] = {}
    problems: list[Problem] = []
    wanted = [only] if isinstance(only, str) else folder.charges if only is None else only
    running = review_open_charges(
        folder, folder.open_charges if only is None else wanted, problems)
    for charge_id in wanted:
        if charge_id in folder.open_charges:
            continue
        if charge_id in mill.dossiers:
            dossiers[charge_id] = mill.dossiers[charge_id]
            continue
        try:
            dossiers[charge_id] = review_charge(folder, charge_id)
        except RecordProblems as error:
            problems.extend(error.problems)
    if problems:
        raise RecordProblems(problems)
    lots = {lot_id: mill.review_lot(lot_id, dossiers)
            for lot_id, lot in folder.lots.items()
            if all(pack.charge in dossiers for pack in lot.record.packs)}
    return Reviewed(folder, dossiers, lots, running)


def build_site(root: Path, out: Path, *, workers: int | None = None, pdfs: bool = True,
               fresh: bool = False, cluster: str = "", tell: Tell = _silent) -> Report:
    """Build every edition of a mill folder, or bring it up to date.

    Parameters
    ----------
    root : Path
        The folder that holds ``content/`` and ``schedules/``.
    out : Path
        Where the editions go: ``out/mill``, ``out/customer`` and ``out/auditor``.
    workers : int, optional
        Processes that share the work; the number of processors by default.
    pdfs : bool
        Print the PDFs that are missing or out of date. Without, such PDFs are left out of the site
        and no page leads to one that is not there.
    fresh : bool
        Make everything again, whatever was made before.
    cluster : str
        Address of the scheduler of a Dask cluster that prints the PDFs; this machine without.
    tell : callable
        Takes what is being made, how much of it is done, and how much there is.

    Returns
    -------
    Report

    Raises
    ------
    RecordProblems
        The records, or the handbook's chapters, have problems; the site stays as it was.
    PublicationRefusedError
        A page lacks the safety wording; the site stays as it was.
    SiteInUseError
        Another build is writing this site.
    OSError
        The disk is full, or gives something back wrong; the site stays as it was.
    """
    _refuse_other_folder(root)
    out = out.resolve()
    order = _Order(root.resolve(), out, workers or os.cpu_count() or 1, cluster, pdfs, tell)
    with _locked(out):
        if fresh:
            shutil.rmtree(out / ASIDE, ignore_errors=True)
        try:
            with closing(_Site(order)) as site:
                return site.bring_up_to_date()
        except sqlite3.OperationalError as error:
            raise _disk_error(error, out) from error


@contextmanager
def site_at_hand(root: Path, out: Path, edition: str, tell: Tell = _silent
                 ) -> Iterator[Callable[[Collection[tuple[str, str]]], Report]]:
    """Keep a site of one edition at hand, to be brought up to date again and again.

    No PDFs are printed.

    Parameters
    ----------
    root, out, tell
        As for `build_site`.
    edition : str
        The edition that is wanted.

    Yields
    ------
    callable
        Brings the site up to date. Takes tasks, by kind and name, that may wait until it is called
        without them.

    Raises
    ------
    SiteInUseError
        Another process keeps this site at hand.
    """
    _refuse_other_folder(root)
    out = out.resolve()
    order = _Order(root.resolve(), out, os.cpu_count() or 1, "", False, tell, edition)
    with _locked(out), closing(_Site(order)) as site:
        yield site.bring_up_to_date


def _refuse_other_folder(root: Path) -> None:
    if not (root / "content").is_dir():
        from kilnfolio.records.folder import refuse_other_folder

        refuse_other_folder(root)


#: Less free space than this, and what a build notes does not fit [bytes].
_TOO_LITTLE = 1_000_000


def _disk_error(error: sqlite3.OperationalError, out: Path) -> Exception:
    """Return the system's error where the disk is the reason; else the error itself."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code not in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return error
    full = code == sqlite3.SQLITE_FULL or shutil.disk_usage(out).free < _TOO_LITTLE
    number = errno.ENOSPC if full else errno.EIO
    return OSError(number, os.strerror(number), str(out))


@dataclass(frozen=True)
class _Order:
    """What `build_site` was asked for."""

    root: Path
    out: Path
    workers: int
    cluster: str
    pdfs: bool
    tell: Tell
    edition: str = ""
    """The one edition that is wanted; every edition where empty."""


class _Site:
    """A site being worked on, with what its tasks keep for each other from one run to the next."""

    _desk: Desk

    def __init__(self, order: _Order):
        self._order = order
        # the code this process runs: what is saved of it later is for the next process
        self._code_stamps = code_stamps()
        self._store = self._open()

    def close(self) -> None:
        self._store.close()

    def bring_up_to_date(self, postponed: Collection[tuple[str, str]] = ()) -> Report:
        try:
            return self._run(postponed)
        except StrangeSiteError:
            self._store.close()
            shutil.rmtree(self._order.out / ASIDE)
            self.__dict__.pop("_desk", None)
            self._store = self._open()
            return self._run(postponed)

    def _open(self) -> Store:
        return Store(self._order.out / ASIDE / "store.sqlite")

    def _run(self, postponed: Collection[tuple[str, str]]) -> Report:
        store, tree = self._store, Tree(self._order.out, self._store)
        changed = self._changed(stamps(self._order.root))
        made = self._make(tree, postponed) if changed else 0
        broken = [words for _, words in store.members("broken")]
        if changed:
            store.keep("settled", not postponed)
            tree.publish()
        return Report(store.count_files(".html"), store.count_files(".pdf"), made, broken,
                      [words for _, words in store.members("warnings")])

    def _changed(self, now: Stamps) -> bool:
        """Note everything a build depends on; return whether there is anything to do."""
        store, order = self._store, self._order
        epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
        settings = (order.root, order.pdfs, order.edition, epoch, self._code_stamps)
        if store.note("settings") == settings and store.note("stamps") == now \
                and store.note("settled"):
            return False
        store.keep("settled", False)
        for name, value in (("pdfs", True if order.pdfs else None),
                            ("epoch", int(epoch) if epoch.isdigit() else None)):
            store.set_input(f"option:{name}", None if value is None else repr(value).encode(),
                            pack(value))
        for name, digest in self._code_digests.items():
            if store.set_input(f"code:{name}", digest):
                shutil.rmtree(order.out / TEMPLATES, ignore_errors=True)
        (order.out / TEMPLATES).mkdir(exist_ok=True)
        note_changes(store, order.root, now)
        store.keep("settings", settings)
        store.commit()
        return True

    @cached_property
    def _code_digests(self) -> dict[str, bytes]:
        return code_digests()

    def _make(self, tree: Tree, postponed: Collection[tuple[str, str]]) -> int:
        """Run what is stale; return how many tasks that were."""
        from kilnfolio.incremental.engine import Desk, Run
        from kilnfolio.incremental.tasks import KINDS

        order = self._order
        kinds = {name: kind for name, kind in KINDS.items()
                 if not (order.edition and kind.edition) or kind.edition == order.edition}
        if "_desk" not in self.__dict__:
            self._desk = Desk(order.root, order.out, self._store)
        with _pool(order.workers) as pool, _printers(order.cluster) as printers:
            run = Run(self._desk, tree, kinds, pool, printers or pool, order.tell, _lacking,
                      postponed)
            run.all()
        if run.refused:
            raise PublicationRefusedError(run.refused)
        return run.done


def _lacking(path: str, data: bytes) -> str:
    """Return why a page may not be published: it lacks the safety wording.

    Seals are looked at apart, and a field off the customer's list cannot be read at all.
    """
    from kilnfolio.rendering.safety import SAFETY
    from kilnfolio.review.findings import Publication, run_checks

    if not path.endswith(".html") or path.startswith("auditor/bags/") or SAFETY.encode() in data:
        return ""
    findings = run_checks(Publication(differences=(), without_wording=[path], beyond_list=()))
    return " ".join(finding.message for finding in findings if finding.outcome == "fail")


#: Modules that worker processes need, imported once by the server they fork from.
_PRELOAD = ("kilnfolio.incremental.tasks", "kilnfolio.paper.printing")


@contextmanager
def _pool(workers: int) -> Iterator[Callable[[], Executor | None]]:
    """Give the processes that share the work, made when they are first asked for."""
    made: list[Executor] = []

    def pool() -> Executor | None:
        from kilnfolio.runtime.workers import Workers

        if workers > 1 and not made:
            made.append(Workers(workers, _PRELOAD))
        return made[0] if made else None

    try:
        yield pool
    except BaseException:
        for one in made:
            one.shutdown(cancel_futures=True)
        raise
    for one in made:
        one.shutdown()


@contextmanager
def _printers(address: str) -> Iterator[Callable[[], Executor | None] | None]:
    """Give the workers of a cluster, where there is one; None where there is not."""
    if not address:
        yield None
        return
    from kilnfolio.runtime.workers import cluster

    with cluster(address) as executor:
        yield lambda: executor


@contextmanager
def _locked(out: Path) -> Iterator[None]:
    """Keep another build from writing the same site."""
    import fcntl

    out.mkdir(parents=True, exist_ok=True)
    folder = os.open(out, os.O_RDONLY)
    try:
        fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    except BlockingIOError:
        raise SiteInUseError([f"another build is writing {out}; wait until it has ended"]) from None
    finally:
        os.close(folder)


# --- addresses, labels ----------------------------------------------------------------------------

def lot_tokens(folder: MillFolder, report: Report) -> dict[str, tuple[str, ...]]:
    """Return the addresses of each lot, the current one first.

    None, with a warning, where the mill has no key for them.
    """
    from kilnfolio.archive.tokens import NO_KEY, lot_token, read_token_keys

    keys = read_token_keys(folder.root, invented=folder.mill.record.invented)
    if not keys:
        report.warnings.append(NO_KEY)
    return {lot_id: tuple(lot_token(lot_id, key) for key in keys)
            for lot_id in folder.lots if keys}


def current(tokens: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Return the address each lot has now."""
    return {lot_id: addresses[0] for lot_id, addresses in tokens.items()}


def enter_lot(reviewed: Reviewed, lot: str, by: str, keys: Keys, at: dt.datetime,
              reason: str | None = None) -> LotEntry:
    """Seal the record of a lot, or amend it where there is a reason.

    Parameters
    ----------
    reviewed : Reviewed
        The mill, the lot's charges at least.
    lot : str
        The lot.
    by, keys, at, reason
        As for `archive.lots.seal_lot`.
    """
    from kilnfolio.archive.canonical import canonical
    from kilnfolio.archive.lots import seal_lot
    from kilnfolio.archive.standing import standing
    from kilnfolio.site.lot_record import lot_record
    from kilnfolio.site.pages.customer import customer_lot

    folder, dossier = reviewed.folder, reviewed.lots[lot]
    record = canonical(lot_record(customer_lot(folder, lot, reviewed.dossiers, dossier, "")))
    charges = standing(folder.root, frozenset(dossier.charges), numbers=False).charges
    return seal_lot(folder, dossier, record, charges, by, keys, at, reason)


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
    from kilnfolio.archive.standing import broken_words, demo_keys, standing
    from kilnfolio.paper.label_sheets import labels_of, write_sheets
    from kilnfolio.rendering.regional import regional_format
    from kilnfolio.site.pages.customer import customer_lot, with_record
    from kilnfolio.site.seals import seal_view

    reviewed, report = review_folder(root), Report()
    folder = reviewed.folder
    tokens = current(lot_tokens(folder, report))
    stands = standing(root).lots
    wanted = list(lots) or [name for name in folder.lots if name in stands]
    reasons = [] if tokens else list(report.warnings)
    mill = folder.mill.record
    reasons += [f"{key} in content/mill.yaml is {value}, where nothing is: set it before a label "
                "is printed" for key, value in (("records_address", mill.records_address),
                                                ("email", mill.contact.email))
                if value.endswith(".invalid")]
    for name in wanted:
        if f"lot {name}" in folder.begun or name in folder.waiting_lots:
            reasons.append(f"lot {name} is not complete: 'kilnfolio check' names what is lacking")
        elif name not in folder.lots:
            reasons.append(f"there is no lot '{name}' in {root}")
        elif name not in stands:
            reasons.append(f"lot {name} is not sealed, and its label would bind nothing: kilnfolio "
                           f"seal {name} --by NAME")
        elif stands[name].differences:
            reasons.append(broken_words(stands[name], f"lot {name}"))
    if reasons or not wanted:
        raise SealBrokenError(reasons or ["no lot is sealed: kilnfolio seal LOT --by NAME"])
    demo, views = demo_keys(root), []
    for name in wanted:
        view = customer_lot(folder, name, reviewed.dossiers, reviewed.lots[name], tokens[name])
        views.append(with_record(view, stands[name].record.decode(),
                                 seal_view(stands[name].entries, demo)))
    regional = regional_format(mill)
    labels = [label for view in views for label in labels_of(view, regional)]
    return len(labels), write_sheets(labels, sheet, out, skip=skip)
