"""Runs what is stale, in the order of the kinds, in this process or in several."""

from __future__ import annotations

import hashlib
import os
import time
from collections import OrderedDict, deque
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from kilnfolio.incremental.store import Done, Member, Store, pack, unpack
from kilnfolio.incremental.tree import Tree
from kilnfolio.records.problems import Problem, RecordProblems

#: Packed bytes of values a process keeps at hand; unpacked they are about ten times as many.
_AT_HAND = 3_000_000
#: Batches of tasks that are worth starting other processes for, which takes them two seconds.
_WORTH_SHARING = 4
#: Tasks that are worth a line of progress.
_WORTH_TELLING = 10
#: Tasks begun before the first of them is waited for: the handbook is first, and long.
_AHEAD = 64
#: Seconds of work that a stop may cost.
_COMMITTED_EVERY = 2.0


@dataclass(frozen=True)
class Made:
    """What a task made."""

    cells: Mapping[str, Any] = field(default_factory=dict)
    members: Iterable[Member] = ()
    files: Mapping[str, bytes | str] = field(default_factory=dict)
    """Files of the site, by path below its folder."""
    digests: Mapping[str, bytes] = field(default_factory=dict)
    """Of cells that are told apart otherwise than by their value."""


@dataclass(frozen=True)
class Job:
    """The long part of a task: a function of its arguments alone, for a process anywhere."""

    call: Callable[..., tuple[bytes, list[str]]]
    arguments: tuple[Any, ...]
    paths: Sequence[str]
    """Where what it returns is written; where there is none, it is not called."""


@dataclass(frozen=True)
class Kind:
    """Tasks that do the same for different things."""

    name: str
    names: Callable[[Desk], Iterable[str]]
    """Which there are; what it reads is noted too."""
    run: Callable[[Desk, str], Made | Job]
    reading: bool = False
    """It reads the mill's records: where one has problems, nothing is made of them."""
    shared: int = 0
    """Tasks handed to another process at a time; 0: they are done here."""
    option: str = ""
    """A switch of the build without which it is not run."""
    finish: Callable[[str, Iterable[str], bytes, Iterable[str]], Made] | None = None
    """Where tasks are jobs: what one made, by its name, paths, and what its call returned."""
    words: str = ""
    """What is made, as progress is told; nothing is told of kinds without."""
    edition: str = ""
    """The edition that alone it is for; where that is not wanted, it is not run."""


@dataclass(frozen=True)
class Failed:
    """A task that could not be done, because of the records it reads."""

    kind: str
    name: str
    problems: tuple[Problem, ...] = ()
    """None where it lacks what a failed task would have made."""


class MissingError(KeyError):
    """A cell that was asked for is not there."""


class Desk:
    """Where a task asks for what it needs, and where that is noted.

    Parameters
    ----------
    root : Path
        The mill folder.
    out : Path
        The folder of the editions.
    store : Store
        What was made so far.
    """

    def __init__(self, root: Path, out: Path, store: Store):
        self.root, self.out, self.store = root, out, store
        self.unread: frozenset[str] = frozenset()
        self.pdfs: tuple[str, ...] = ()
        """The PDFs the page being made leads to, where they are there."""
        self._read: set[str] = set()
        self._own: dict[str, Any] = {}
        self._values: OrderedDict[str, tuple[bytes, Any, int]] = OrderedDict()
        self._size = 0
        self._groups: dict[tuple[str, bool], tuple[str, ...]] = {}
        self.kept: dict[str, Any] = {}
        """What tasks of this process keep for each other, as templates; keyed by what it is of."""

    @contextmanager
    def task(self) -> Iterator[set[str]]:
        """Begin to note what is read."""
        self._read, self._own = set(), {}
        yield self._read

    def get(self, cell: str) -> Any:
        """Return the value of a cell.

        Raises
        ------
        MissingError
            There is no such cell.
        """
        if cell in self._own:
            return self._own[cell]
        self._read.add(cell)
        digest = self.store.digest(cell)
        if digest is None:
            raise MissingError(cell)
        at_hand = self._values.get(cell)
        if at_hand and at_hand[0] == digest:
            self._values.move_to_end(cell)
            return at_hand[1]
        packed = self.store.value(cell)
        if packed is None:
            raise MissingError(cell)
        value = unpack(packed)
        self._hold(cell, digest, value, len(packed))
        return value

    def has(self, cell: str) -> bool:
        """Return whether there is such a cell; for a file, whether it is there."""
        if cell in self._own:
            return True
        self._read.add(cell)
        return self.store.digest(cell) is not None

    def digest(self, cell: str) -> bytes | None:
        """Return the digest of a cell that is read anyway."""
        self._read.add(cell)
        return self.store.digest(cell)

    def group(self, group: str, *, newest_first: bool = False) -> tuple[str, ...]:
        """Return the names in a group, in order."""
        self._read.add(f"group:{group}")
        key = (group, newest_first)
        if key not in self._groups:
            self._groups[key] = tuple(
                name for _, name in self.store.members(group, newest_first=newest_first))
        return self._groups[key]

    def last(self, group: str) -> str | None:
        """Return the last of what a group is sorted by; None where it is empty."""
        self._read.add(f"group:{group}")
        return self.store.last(group)

    def lay_out(self, cell: str, value: Any) -> None:
        """Let the task that is making a cell read it as others will."""
        self._own[cell] = value

    def forget_groups(self) -> None:
        """Look groups up again: they may have changed."""
        self._groups.clear()

    def _hold(self, cell: str, digest: bytes, value: Any, size: int) -> None:
        old = self._values.pop(cell, None)
        self._size += size - (old[2] if old else 0)
        self._values[cell] = (digest, value, size)
        while self._size > _AT_HAND and len(self._values) > 1:
            _, (_, _, gone) = self._values.popitem(last=False)
            self._size -= gone


def run_task(desk: Desk, kind: Kind, name: str, call: Callable[[Job], Any] | None = None
             ) -> Done | Failed | Begun:
    """Run one task.

    Parameters
    ----------
    desk : Desk
        Where it asks for what it needs.
    kind : Kind
        What it does.
    name : str
        For which thing.
    call : callable, optional
        Takes the long part of it, and returns what will be had of that; done here where absent.
    """
    with desk.task() as read:
        desk.has("code:review" if kind.reading else "code:all")
        try:
            made = kind.run(desk, name)
        except RecordProblems as error:
            return Failed(kind.name, name, error.problems)
        except MissingError:
            if desk.unread or kind.reading:
                return Failed(kind.name, name)
            raise
    if isinstance(made, Job):
        job, made = made, Made()
        if job.paths:
            if call is not None:
                return Begun(kind, name, frozenset(read), job, call(job))
            return finished(Begun(kind, name, frozenset(read), job), job.call(*job.arguments))
    return _done(kind, name, frozenset(read), made)


@dataclass(frozen=True)
class Begun:
    """A task whose long part is under way elsewhere."""

    kind: Kind
    name: str
    read: frozenset[str]
    job: Job
    result: Future[tuple[bytes, list[str]]] | None = None


def finished(begun: Begun, result: tuple[bytes, list[str]]) -> Done:
    """Return a task whose long part is done."""
    assert begun.kind.finish is not None
    made = begun.kind.finish(begun.name, begun.job.paths, *result)
    return _done(begun.kind, begun.name, begun.read, made)


def _done(kind: Kind, name: str, read: frozenset[str], made: Made) -> Done:
    cells = {cell: (made.digests.get(cell) or digest_of(value), pack(value))
             for cell, value in made.cells.items()}
    files = {path: data.encode() if isinstance(data, str) else data
             for path, data in made.files.items()}
    return Done(kind.name, name, read, cells, frozenset(made.members), files)


def digest_of(value: Any) -> bytes:
    """Return what tells a value from another: the same in every process."""
    text = value.model_dump_json() if hasattr(value, "model_dump_json") else repr(value)
    return hashlib.sha256(text.encode()).digest()


# --- in several processes -------------------------------------------------------------------------

_DESKS: dict[tuple[int, Path, Path], Desk] = {}


def run_batch(root: Path, out: Path, store: Path, kind: str, names: Sequence[str],
              unread: frozenset[str]) -> list[Done | Failed]:
    """Run some tasks of a kind in a process of their own, on what the store holds by now."""
    from kilnfolio.incremental.tasks import KINDS

    key = (os.getpid(), root, out)
    if key not in _DESKS:
        _DESKS.clear()
        _DESKS[key] = Desk(root, out, Store(store))
    desk = _DESKS[key]
    desk.unread = unread
    desk.forget_groups()
    made = [run_task(desk, KINDS[kind], name) for name in names]
    desk.store.db.rollback()
    return [one for one in made if not isinstance(one, Begun)]


# --- the run --------------------------------------------------------------------------------------

@dataclass
class Run:
    """One bringing up to date.

    Parameters
    ----------
    desk : Desk
        Of this process.
    tree : Tree
        The twin that files are written to.
    kinds : mapping of str to Kind
        In their order.
    pool : callable
        Returns an executor for tasks that can be shared; asked for when there are some.
    printers : callable
        The same for jobs, which need nothing of this machine.
    say : callable
        Takes the kind, the tasks done and the tasks there are.
    guard : callable
        Takes a path and its bytes before they are written, and returns why they may not be.
    postponed : collection of (str, str)
        Tasks, by kind and name, that are left as they are for a later run.
    """

    desk: Desk
    tree: Tree
    kinds: Mapping[str, Kind]
    pool: Callable[[], Executor | None]
    printers: Callable[[], Executor | None]
    say: Callable[[str, int, int], None]
    guard: Callable[[str, bytes], str]
    postponed: Collection[tuple[str, str]] = ()
    done: int = 0
    refused: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def all(self) -> None:
        """Run everything that is stale.

        Raises
        ------
        RecordProblems
            Records have problems; everything that does not rest on them was made, and is kept.
        """
        self.desk.unread = frozenset()
        try:
            for kind in self.kinds.values():
                if self.problems and not kind.reading:
                    break
                self._kind(kind)
        finally:
            self.desk.store.commit()
        if self.problems:
            raise RecordProblems(self.problems)

    def _kind(self, kind: Kind) -> None:
        store = self.desk.store
        self.desk.forget_groups()
        self._roll_call(kind)
        if kind.option and store.digest(f"option:{kind.option}") is None:
            for name in store.stale(kind.name, made=True):
                self.tree.remove(store.set_aside(kind.name, name))
            return
        names = [name for name in store.stale(kind.name)
                 if (kind.name, name) not in self.postponed]
        if not names:
            return
        self._tell(kind, 0, len(names))
        committed = time.monotonic()
        for count, result in enumerate(self._results(kind, names), 1):
            self._absorb(result)
            self._tell(kind, count, len(names))
            if time.monotonic() - committed > _COMMITTED_EVERY:
                store.commit()
                committed = time.monotonic()
        store.commit()

    def _tell(self, kind: Kind, done: int, total: int) -> None:
        if kind.words and total >= _WORTH_TELLING:
            self.say(kind.words, done, total)

    def _results(self, kind: Kind, names: Sequence[str]) -> Iterator[Done | Failed]:
        ask = self.printers if kind.finish else self.pool
        shared = kind.shared and len(names) >= _WORTH_SHARING * kind.shared
        pool = ask() if shared else None
        if pool and kind.finish:
            return self._handed_over(pool, kind, names)
        if pool:
            return self._shared(pool, kind, names)
        made = (run_task(self.desk, kind, name) for name in names)
        return (one for one in made if not isinstance(one, Begun))

    def _roll_call(self, kind: Kind) -> None:
        """Add the tasks that are new to a kind, and drop those that are no more."""
        store, call = self.desk.store, f"{kind.name}?"
        store.add(call, [""])
        if not store.stale(call):
            return
        with self.desk.task() as read:
            self.desk.has("code:all")
            try:
                wanted = set(kind.names(self.desk))
            except MissingError:
                return
        present = store.names(kind.name)
        for name in sorted(present - wanted):
            self.tree.remove(store.drop(kind.name, name))
        store.add(kind.name, sorted(wanted - present))
        store.put(Done(call, "", frozenset(read)), {})

    def _absorb(self, result: Done | Failed) -> None:
        if isinstance(result, Failed):
            self.problems.extend(result.problems)
            self.desk.unread |= {Path(result.name).parent.name if
                                 result.name.endswith("charge.yaml") else Path(result.name).stem}
            return
        refused = [self.guard(path, data) for path, data in result.files.items()]
        if any(refused):
            self.refused.extend(filter(None, refused))
            return
        digests = {path: hashlib.sha256(data).digest() for path, data in result.files.items()}
        write, gone = self.desk.store.put(result, digests)
        for path in write:
            self.tree.write(path, result.files[path])
        self.tree.remove(gone)
        self.done += 1

    def _shared(self, pool: Executor, kind: Kind, names: Sequence[str]
                ) -> Iterator[Done | Failed]:
        """Yield what other processes make, a few batches ahead of what is taken."""
        self.desk.store.commit()
        size = kind.shared
        batches = iter([names[at:at + size] for at in range(0, len(names), size)])
        waiting: OrderedDict[Future[list[Done | Failed]], None] = OrderedDict()

        def send() -> None:
            if batch := next(batches, None):
                waiting[pool.submit(run_batch, self.desk.root, self.desk.out,
                                    self.desk.store.path, kind.name, batch,
                                    self.desk.unread)] = None

        for _ in range(2 * (os.cpu_count() or 1) + 1):
            send()
        while waiting:
            future, _ = waiting.popitem(last=False)
            made = future.result()
            send()
            yield from made

    def _handed_over(self, pool: Executor, kind: Kind, names: Sequence[str]
                     ) -> Iterator[Done | Failed]:
        """Begin tasks here and yield them as other processes end their long parts, in order."""
        waiting: deque[Begun | Done | Failed] = deque()
        for name in names:
            waiting.append(run_task(
                self.desk, kind, name, lambda job: pool.submit(job.call, *job.arguments)))
            while len(waiting) > _AHEAD:
                yield _ended(waiting.popleft())
        while waiting:
            yield _ended(waiting.popleft())


def _ended(task: Begun | Done | Failed) -> Done | Failed:
    if isinstance(task, Begun):
        assert task.result is not None
        return finished(task, task.result.result())
    return task
