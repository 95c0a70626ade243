"""Brings a site up to date with its mill folder."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Callable, Collection, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from kilnfolio.graph.codec import UnreadableError, encode
from kilnfolio.graph.inputs import Stamps, note_changes, stamps
from kilnfolio.graph.store import Store
from kilnfolio.graph.tree import STAGING, TEMPLATES, Damage, StrangeSiteError, Tree
from kilnfolio.runtime.cluster import NO_CLUSTER, Cluster
from kilnfolio.runtime.code_version import code_digests, code_stamps
from kilnfolio.runtime.errors import PublicationRefusedError, SiteInUseError

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from kilnfolio.graph.disk import DiskGraph
    from kilnfolio.graph.inputs import Index

#: The editions of a site, and those that a web server gives to everybody.
EDITIONS = ("mill", "customer", "auditor")
PUBLIC = ("customer",)
#: Files that a warning names; more are counted.
_NAMED = 3
#: What is being made, how much of it is done, how much there is.
Tell = Callable[[str, int, int], None]


def _silent(_what: str, _done: int, _total: int) -> None:
    """Tell nobody."""


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


def build_site(
    root: Path,
    out: Path,
    *,
    workers: int | None = None,
    pdfs: bool = True,
    fresh: bool = False,
    cluster: Cluster = NO_CLUSTER,
    tell: Tell = _silent,
) -> Report:
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
    cluster : Cluster
        The Dask cluster that prints the PDFs; this machine without.
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
            shutil.rmtree(out / STAGING, ignore_errors=True)
        with closing(_Site(order)) as site:
            return site.bring_up_to_date()


@contextmanager
def site_at_hand(
    root: Path, out: Path, edition: str, tell: Tell = _silent
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
    order = _Order(root.resolve(), out, os.cpu_count() or 1, NO_CLUSTER, False, tell, edition)
    with _locked(out), closing(_Site(order)) as site:
        yield site.bring_up_to_date


def _refuse_other_folder(root: Path) -> None:
    if not (root / "content").is_dir():
        from kilnfolio.records.folder import refuse_other_folder

        refuse_other_folder(root)


#: Less free space than this, and what a build notes does not fit [bytes].
_TOO_LITTLE = 1_000_000


#: What SQLite says of a disk, or of another program, and not of the file.
_NOT_OF_THE_FILE = (
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_BUSY,
    sqlite3.SQLITE_LOCKED,
    sqlite3.SQLITE_NOMEM,
    sqlite3.SQLITE_INTERRUPT,
)
#: What a store gives whose rows are others than were put there.
_BAD_ROWS = (UnreadableError, LookupError, TypeError, ValueError, AttributeError, AssertionError)


def _of_the_disk(error: Exception) -> bool:
    """Return whether the disk is the reason, and not what the file holds."""
    code: int = getattr(error, "sqlite_errorcode", 0)
    return code & 0xFF in _NOT_OF_THE_FILE and code != sqlite3.SQLITE_IOERR_SHORT_READ


def _disk_error(error: sqlite3.DatabaseError, out: Path) -> Exception:
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
    cluster: Cluster
    pdfs: bool
    tell: Tell
    edition: str = ""
    """The one edition that is wanted; every edition where empty."""


class _Site:
    """A site being worked on, with what its tasks keep for each other from one run to the next."""

    _graph: DiskGraph

    def __init__(self, order: _Order):
        self._order = order
        # the code this process runs: what is saved of it later is for the next process
        self._code_stamps = code_stamps()
        self._store: Store | None = None

    def close(self) -> None:
        if self._store:
            with suppress(sqlite3.Error):
                self._store.close()
        self._store = None

    def bring_up_to_date(self, postponed: Collection[tuple[str, str]] = ()) -> Report:
        """Build; where what earlier builds noted cannot be used, drop it and build anew."""
        staging = self._order.out / STAGING
        kept = staging.exists()
        if kept and not staging.is_dir():
            self._drop()
        try:
            return self._run(postponed)
        except StrangeSiteError:
            self._drop()
            return self._run(postponed)
        except (sqlite3.DatabaseError, *_BAD_ROWS) as error:
            if isinstance(error, sqlite3.DatabaseError) and _of_the_disk(error):
                raise _disk_error(error, self._order.out) from error
            if not kept:
                raise
            words = (
                f"what earlier builds noted in {STAGING} could not be read "
                f"({type(error).__name__}), so everything was made again"
            )
        self._drop()
        report = self._run(postponed)
        report.warnings.insert(0, words)
        return report

    def _drop(self) -> None:
        """Remove what earlier builds noted."""
        self.close()
        self.__dict__.pop("_graph", None)
        staging = self._order.out / STAGING
        shutil.rmtree(staging) if staging.is_dir() else staging.unlink(missing_ok=True)

    def _opened(self) -> Store:
        if self._store is None:
            self._store = Store(self._order.out / STAGING / "store.sqlite")
        return self._store

    def _run(self, postponed: Collection[tuple[str, str]]) -> Report:
        store = self._opened()
        tree = Tree(self._order.out, store, EDITIONS, PUBLIC)
        damage = tree.damage()
        store.lose([*damage.gone, *damage.changed])
        changed = (
            self._changed(store, stamps(self._order.root, _index()))
            or damage.gone
            or damage.changed
        )
        made = self._make(tree, postponed) if changed else 0
        broken = list(store.members("group:broken:"))
        if changed:
            store.keep("settled", not postponed)
            tree.publish()
        else:
            store.commit()
        return Report(
            store.count_files(".html"),
            store.count_files(".pdf"),
            made,
            broken,
            [*_told(damage), *_open_way(self._order.cluster), *store.members("group:warnings:")],
        )

    def _changed(self, store: Store, now: Stamps) -> bool:
        """Note everything a build depends on; return whether there is anything to do."""
        order = self._order
        epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
        settings = (order.root, order.pdfs, order.edition, epoch, self._code_stamps)
        if (
            store.note("settings") == settings
            and store.note("stamps") == now
            and store.note("settled")
        ):
            return False
        store.keep("settled", False)
        for name, value in (
            ("pdfs", True if order.pdfs else None),
            ("epoch", int(epoch) if epoch.isdigit() else None),
        ):
            store.set_input(
                f"option:{name}", None if value is None else repr(value).encode(), encode(value)
            )
        for name, digest in self._code_digests.items():
            if store.set_input(f"code:{name}", digest):
                shutil.rmtree(order.out / TEMPLATES, ignore_errors=True)
        (order.out / TEMPLATES).mkdir(exist_ok=True)
        note_changes(store, order.root, _index(), now)
        store.keep("settings", settings)
        store.commit()
        return True

    @cached_property
    def _code_digests(self) -> dict[str, bytes]:
        return code_digests()

    def _make(self, tree: Tree, postponed: Collection[tuple[str, str]]) -> int:
        """Run what is stale; return how many tasks that were."""
        from kilnfolio.graph.disk import DiskGraph
        from kilnfolio.graph.run import Run
        from kilnfolio.pipeline.manifests import write_manifests
        from kilnfolio.pipeline.plan import PLAN
        from kilnfolio.records.problems import RecordProblems

        order = self._order
        if "_graph" not in self.__dict__:
            self._graph = DiskGraph(order.root, PLAN.index, order.out, self._opened(), PLAN.bound)
        with _pool(order.workers) as pool, _printers(order.cluster) as printers:
            run = Run(
                self._graph,
                tree,
                PLAN,
                order.edition,
                pool,
                printers or pool,
                order.tell,
                _lacking,
                postponed,
            )
            problems = run.all()
        if problems:
            raise RecordProblems(problems)
        if run.refused:
            raise PublicationRefusedError(run.refused)
        if not order.edition:
            write_manifests(order.root, self._opened(), tree)
        return run.done


def _told(damage: Damage) -> Iterator[str]:
    """Yield a sentence on each way in which a site is not as the last build left it."""
    for paths, what in (
        (damage.gone, "were gone from the site and were made again"),
        (
            damage.changed,
            "were not as they were built, and were made again: find out who writes into the site",
        ),
        (
            damage.strange,
            "lie in the site and no build wrote them: look at them, and remove what is not yours",
        ),
    ):
        if paths:
            more = f" and {len(paths) - _NAMED} more" if len(paths) > _NAMED else ""
            yield f"these files {what}: {', '.join(paths[:_NAMED])}{more}"


def _open_way(where: Cluster) -> Iterator[str]:
    if where.open_to_all:
        yield (
            f"whoever can reach {where.address} or its workers can run programs on all of them "
            "and here; give the machines certificates, and --cluster-tls"
        )


def _index() -> Index:
    from kilnfolio.records.kinds import INDEX

    return INDEX


def _lacking(path: str, data: bytes) -> str:
    """Return why a page may not be published: it lacks the safety wording.

    Seals are looked at apart, and a field off the customer's list cannot be read at all.
    """
    from kilnfolio.rendering.safety import SAFETY
    from kilnfolio.review.findings import Publication, run_checks

    if not path.endswith(".html") or path.startswith(_SOURCES) or SAFETY.encode() in data:
        return ""
    findings = run_checks(Publication(differences=(), without_wording=[path], beyond_list=()))
    return " ".join(finding.message for finding in findings if finding.outcome == "fail")


#: Folders of what records and pages are made from; they hold no pages.
_SOURCES = ("auditor/bags/", "auditor/as-built/")
#: Modules that worker processes need, imported once by the server they fork from.
_PRELOAD = ("kilnfolio.pipeline.plan", "kilnfolio.paper.printing")


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
def _printers(where: Cluster) -> Iterator[Callable[[], Executor | None] | None]:
    """Give the workers of a cluster, where there is one; None where there is not."""
    if not where.address:
        yield None
        return
    from kilnfolio.runtime.cluster import cluster

    with cluster(where) as executor:
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
