"""Brings a site up to date with its mill folder."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Callable, Collection, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kilnfolio.graph.codec import UnreadableError, decode, encode
from kilnfolio.graph.inputs import note_changes, stamps
from kilnfolio.graph.states import STAGING, Stamps
from kilnfolio.graph.store import Store
from kilnfolio.graph.tree import Damage, StrangeSiteError, Tree
from kilnfolio.pipeline.at_rest import note_at_rest
from kilnfolio.pipeline.built import EDITIONS, STORE, settings_of
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.runtime.cluster_address import NO_CLUSTER, Cluster
from kilnfolio.runtime.code_version import code_digests, code_stamps
from kilnfolio.runtime.environment import environment_options
from kilnfolio.runtime.errors import PublicationRefusedError, SiteInUseError
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from kilnfolio.graph.disk import DiskGraph
    from kilnfolio.graph.inputs import Index

#: The editions that a web server must be able to read.
PUBLIC = ("customer",)
#: Most files that a warning names; the others are counted.
_MOST_NAMED = 3
#: Reports progress: a label, the number done, and the total.
Tell = Callable[[str, int, int], None]


def _silent(_what: str, _done: int, _total: int) -> None:
    """Report no progress."""


@dataclass
class Report:
    """What a build did."""

    pages: int = 0
    """Pages of the site."""
    pdfs: int = 0
    """PDFs of the site."""
    made: int = 0
    """Tasks run in this build; 0 if nothing had changed."""
    broken: list[str] = field(default_factory=list)
    """Charges and lots whose own files no longer match the seal; their pages show what was
    sealed."""
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
        Number of processes; by default one for each processor.
    pdfs : bool
        Print the PDFs that are missing or out of date. If False, such PDFs are left out of the
        site, and no page links to them.
    fresh : bool
        Rebuild everything, not only what changed.
    cluster : Cluster
        The Dask cluster that prints the PDFs and, in a first build, makes the rest; by default this
        machine does.
    tell : callable
        Reports progress; takes a label, the number done and the total.

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
        The disk is full or faulty; the site stays as it was.
    """
    _refuse_other_folder(root)
    out = out.resolve()
    options = _Options(root.resolve(), out, workers or os.cpu_count() or 1, cluster, pdfs, tell)
    with _locked(out):
        if fresh:
            shutil.rmtree(out / STAGING, ignore_errors=True)
        with closing(_Site(options)) as site:
            return site.bring_up_to_date()


@dataclass(frozen=True)
class First:
    """What to bring up to date before all else.

    Attributes
    ----------
    keys : frozenset of str
        Keys of values; see `graph.run.Run`.
    pages : frozenset of str
        Pages by their paths below the site.
    """

    keys: frozenset[str]
    pages: frozenset[str]


#: Brings a site up to date; see `open_site`.
Rebuild = Callable[[Collection[tuple[str, str]], First | None], Report]


@contextmanager
def open_site(root: Path, out: Path, edition: str, tell: Tell = _silent) -> Iterator[Rebuild]:
    """Keep a site of one edition open, to be rebuilt again and again.

    No PDFs are printed.

    Parameters
    ----------
    root, out, tell
        As for `build_site`.
    edition : str
        The edition to build.

    Yields
    ------
    callable
        Brings the site up to date. Takes tasks (value and key) to postpone until it is called
        without them, and a `First` to bring only that up to date, from what all else was.

    Raises
    ------
    SiteInUseError
        Another process keeps this site open.
    """
    _refuse_other_folder(root)
    out = out.resolve()
    options = _Options(root.resolve(), out, os.cpu_count() or 1, NO_CLUSTER, False, tell, edition)
    with _locked(out), closing(_Site(options)) as site:
        yield site.bring_up_to_date


def _refuse_other_folder(root: Path) -> None:
    if not (root / "content").is_dir():
        from kilnfolio.records.folder import refuse_other_folder

        refuse_other_folder(root)


#: With less free space than this, the store of a build does not fit [bytes].
_STORE_SPACE = 1_000_000


#: SQLite errors whose cause is the disk or another program, not the file.
_CAUSED_ELSEWHERE = (
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_BUSY,
    sqlite3.SQLITE_LOCKED,
    sqlite3.SQLITE_NOMEM,
    sqlite3.SQLITE_INTERRUPT,
)
#: What reading a store with damaged rows can raise.
_BAD_ROWS = (UnreadableError, LookupError, TypeError, ValueError, AttributeError, AssertionError)


def _caused_elsewhere(error: Exception) -> bool:
    """Return whether the disk or another program is the cause, not the content of the file."""
    code: int = getattr(error, "sqlite_errorcode", 0)
    return code & 0xFF in _CAUSED_ELSEWHERE and code != sqlite3.SQLITE_IOERR_SHORT_READ


def _disk_error(error: sqlite3.DatabaseError, out: Path) -> Exception:
    """Return the system's error if the disk is the cause; else the error itself."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code not in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return error
    full = code == sqlite3.SQLITE_FULL or shutil.disk_usage(out).free < _STORE_SPACE
    number = errno.ENOSPC if full else errno.EIO
    return OSError(number, os.strerror(number), str(out))


@dataclass(frozen=True)
class _Options:
    """The arguments of `build_site`."""

    root: Path
    out: Path
    workers: int
    cluster: Cluster
    pdfs: bool
    tell: Tell
    edition: str = ""
    """The only edition to build; empty for all."""


class _Site:
    """A site being built, with the store and graph that it keeps from one run to the next."""

    _graph: DiskGraph

    def __init__(self, options: _Options):
        self._options = options
        # taken now: code saved later is for the next process
        self._code_stamps = code_stamps()
        self._store: Store | None = None

    def close(self) -> None:
        if self._store:
            with suppress(sqlite3.Error):
                self._store.close()
        self._store = None

    def bring_up_to_date(
        self, postponed: Collection[tuple[str, str]] = (), first: First | None = None
    ) -> Report:
        """Build; if the store of earlier builds is unusable, delete it and build anew."""
        if first is not None:
            # what it needs may have changed as well: then it is made when all is
            with suppress(StrangeSiteError, sqlite3.DatabaseError, *_BAD_ROWS):
                return self._run(postponed, first)
            return Report()
        staging = self._options.out / STAGING
        kept = staging.exists()
        if kept and not staging.is_dir():
            self._delete_store()
        try:
            return self._run(postponed)
        except StrangeSiteError:
            self._delete_store()
            return self._run(postponed)
        except (sqlite3.DatabaseError, *_BAD_ROWS) as error:
            if isinstance(error, sqlite3.DatabaseError) and _caused_elsewhere(error):
                raise _disk_error(error, self._options.out) from error
            if not kept:
                raise
            words = (
                f"what earlier builds noted in {STAGING} could not be read "
                f"({type(error).__name__}), so everything was made again"
            )
        self._delete_store()
        report = self._run(postponed)
        report.warnings.insert(0, words)
        return report

    def _delete_store(self) -> None:
        """Delete the store and staging of earlier builds."""
        self.close()
        self.__dict__.pop("_graph", None)
        staging = self._options.out / STAGING
        shutil.rmtree(staging) if staging.is_dir() else staging.unlink(missing_ok=True)

    def _open_store(self) -> Store:
        if self._store is None:
            self._store = Store(self._options.out / STORE)
        return self._store

    def _run(self, postponed: Collection[tuple[str, str]], first: First | None = None) -> Report:
        options, store = self._options, self._open_store()
        tree = Tree(options.out, store, EDITIONS, PUBLIC)
        damage = tree.damage() if first is None else Damage()
        store.forget_files([*damage.gone, *damage.changed])
        settings = settings_of(options.root, options.pdfs, options.edition, self._code_stamps)
        inputs = stamps(options.root, _index())
        changed = self._changed(store, settings, inputs) or damage.gone or damage.changed
        made = self._run_tasks(tree, postponed, first) if changed else 0
        broken = list(store.members("group:broken:"))
        if changed:
            store.keep("settled", not postponed and first is None)
            tree.publish()
        else:
            store.commit()
        warnings = [
            *_damage_warnings(damage),
            *_cluster_warnings(options.cluster),
            *store.members("group:warnings:"),
        ]
        pages, pdfs = store.count_files(".html"), store.count_files(".pdf")
        if not (options.edition or broken or warnings):
            folders = _index().folders
            note_at_rest(options.out, (pages, pdfs), settings, folders, inputs, store.stamps())
        return Report(pages, pdfs, made, broken, warnings)

    def _changed(self, store: Store, settings: tuple[Any, ...], now: Stamps) -> bool:
        """Record everything a build depends on; return whether there is anything to do."""
        options = self._options
        before = store.note("settings")
        if before == settings and store.note("stamps") == now and store.note("settled"):
            return False
        store.keep("settled", False)
        for name, value in {
            "pdfs": True if options.pdfs else None,
            **environment_options(),
        }.items():
            store.set_input(
                f"option:{name}", None if value is None else repr(value).encode(), encode(value)
            )
        if before is None or before[-1] != self._code_stamps:
            for name, digest in code_digests().items():
                store.set_input(f"code:{name}", digest)
        note_changes(store, options.root, _index(), now)
        store.keep("settings", settings)
        store.commit()
        return True

    def _run_tasks(
        self, tree: Tree, postponed: Collection[tuple[str, str]], first: First | None
    ) -> int:
        """Run the stale tasks; return how many there were."""
        from kilnfolio.pipeline.teams import teams

        options, store = self._options, self._open_store()
        charges = store.value("index:charge")
        with teams(options.root, tree, options.workers, options.cluster) as shared:
            if charges and len(decode(charges)) >= _MANY_CHARGES:
                shared.prepare()
            from kilnfolio.graph.disk import DiskGraph
            from kilnfolio.graph.run import Run
            from kilnfolio.pipeline.manifests import write_manifests
            from kilnfolio.pipeline.plan import PLAN
            from kilnfolio.records.problems import RecordProblems

            wanted = {*first.keys, *map(store.written_for, first.pages)} if first else None
            if "_graph" not in self.__dict__:
                self._graph = DiskGraph(options.root, PLAN.index, options.out, store, PLAN.bound)
            run = Run(
                self._graph,
                tree,
                PLAN,
                options.edition,
                shared.team,
                shared.printers,
                options.tell,
                _missing_wording,
                postponed,
                wanted,
            )
            problems = run.all()
        if problems:
            raise RecordProblems(problems)
        if run.refused:
            raise PublicationRefusedError(run.refused)
        if not options.edition:
            write_manifests(options.root, store, tree)
        return run.done


def _damage_warnings(damage: Damage) -> Iterator[str]:
    """Yield a warning for each way in which the site differs from what the last build left."""
    for paths, what in (
        (damage.gone, "were gone from the site and were made again"),
        (
            damage.changed,
            "were not as they were built, and were made again: find out who writes into the site",
        ),
        (
            damage.strange,
            "are in the site but no build wrote them: look at them, and remove what is not yours",
        ),
    ):
        if paths:
            more = f" and {len(paths) - _MOST_NAMED} more" if len(paths) > _MOST_NAMED else ""
            yield f"these files {what}: {', '.join(paths[:_MOST_NAMED])}{more}"


def _cluster_warnings(where: Cluster) -> Iterator[str]:
    if where.open_to_all:
        yield (
            f"whoever can reach {where.address} or its workers can run programs on all of them "
            "and here; give the machines certificates, and --cluster-tls"
        )


def _index() -> Index:
    from kilnfolio.records.kinds import INDEX

    return INDEX


def _missing_wording(path: str, data: bytes) -> str:
    """Return why a page may not be published (it lacks the safety wording), or "".

    Seals are checked elsewhere, and a customer page cannot read a field that is not on its list.
    """
    if not path.endswith(".html") or path.startswith(_SOURCES) or SAFETY.encode() in data:
        return ""
    from kilnfolio.review.findings import Publication
    from kilnfolio.review.running import run_checks

    findings = run_checks(Publication(differences=(), without_wording=[path], beyond_list=()))
    return " ".join(finding.message for finding in findings if finding.outcome == "fail")


#: Charges in a first build from which on it is sure to need processes, so they start at once.
_MANY_CHARGES = 10
#: Folders of sealed and source files; they hold no pages.
_SOURCES = ("auditor/bags/", "auditor/as-built/")


@contextmanager
def _locked(out: Path) -> Iterator[None]:
    """Keep other builds from writing the same site meanwhile."""
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
