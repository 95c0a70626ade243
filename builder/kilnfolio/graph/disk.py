"""A graph on disk: reads the values a build has computed, and records which value read which."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from kilnfolio.graph.codec import decode, encode, size_in_memory
from kilnfolio.graph.derived import (
    AbsentError,
    BlockedError,
    Bound,
    Derived,
    Group,
    Job,
    NotMadeError,
    NoValueError,
    Table,
)
from kilnfolio.graph.graph import (
    Frame,
    Graph,
    cell_of,
    check_fills,
    entry_cell,
    group_cell,
)
from kilnfolio.graph.inputs import Index
from kilnfolio.graph.states import STAGING
from kilnfolio.graph.store import Done, Store
from kilnfolio.runtime.values import dataclass

#: Size of the cache of decoded values in memory [bytes]; those of 100 charges and 1,000 lots fit.
_CACHE_SIZE = 150_000_000
#: What each takes beside the value: its cell, digest and place in the order of use [bytes].
_CACHE_ENTRY = 400


@dataclass(frozen=True)
class Failed:
    """A value that could not be computed."""

    value: str
    key: str
    reasons: tuple[Any, ...] = ()

    @property
    def cell(self) -> str:
        """Return the name under which the value would be stored."""
        return f"{self.value}:{self.key}"


@dataclass(frozen=True)
class Started:
    """A value whose job runs in another process."""

    value: Derived[Any]
    key: str
    reads: frozenset[str]
    job: Job
    result: Any
    """The future of what its call returns."""


class DiskGraph(Graph):
    """Values kept in a store from one build to the next.

    Nothing is computed on demand: `compute` runs one function, which reads only values that the
    plan put before it.

    Parameters
    ----------
    folder : Path
        The folder of the inputs.
    index : Index
        Sorts the names of its files into lists.
    out : Path
        The folder of the site.
    store : Store
        The values computed so far.
    bound : mapping of str to callable, optional
        As for `Graph`.
    """

    def __init__(
        self, folder: Path, index: Index, out: Path, store: Store, bound: Bound | None = None
    ):
        super().__init__(folder, index, bound)
        self.out, self.store = out, store
        self.failed: frozenset[str] = frozenset()
        """Cells of values that could not be computed in this run."""
        self.partly = False
        """Whether this run leaves values out that others may need."""
        self.fresh: dict[str, Any] = {}
        """Values computed just now that the store does not hold yet."""
        self._values: OrderedDict[str, tuple[bytes, Any, int]] = OrderedDict()
        self._size = 0
        self._groups: dict[tuple[str, bool], tuple[str, ...]] = {}

    def compute(
        self, value: Derived[Any], key: str, call: Callable[[Job], Any] | None = None
    ) -> Done | Failed | Started:
        """Compute one value.

        Parameters
        ----------
        value, key
            The derived value and its key.
        call : callable, optional
            Takes a job and returns a future of its result; by default the job runs in this process.
        """
        with self.noting() as frame:
            self._note(f"code:{value.code}")
            try:
                made = value.compute(self, key)
            except NoValueError:
                return Done(value.name, key, frozenset(frame.reads))
            except NotMadeError as error:
                return Failed(value.name, key, error.reasons)
            except AbsentError:
                if self.failed or self.partly:
                    return Failed(value.name, key)
                raise
        if isinstance(made, Job):
            started = Started(value, key, frozenset(frame.reads), made, None)
            if not made.paths:
                return finish_job(started, None)
            if call is not None:
                return Started(value, key, started.reads, made, call(made))
            return finish_job(started, made.call(*made.arguments))
        done = _as_done(value, key, frame, made)
        self.fresh[cell_of(value, key)] = made
        if not isinstance(value, Table):
            for cell, (digest, encoded) in done.cells.items():
                self._cache(cell, digest, made, size_in_memory(encoded or b""))
        return done

    # --- reading ----------------------------------------------------------------------------------

    def get(self, value: Derived[Any], key: str) -> Any:
        """See `Graph.get`."""
        cell = cell_of(value, key)
        self._note(cell)
        if cell in self.fresh:
            return self.fresh[cell]
        if cell in self.failed:
            raise BlockedError(cell)
        found = self._value(cell)
        if found is None:
            raise AbsentError(cell)
        return found[0]

    def has(self, value: Derived[Any], key: str) -> bool:
        """See `Graph.has`."""
        cell = cell_of(value, key)
        self._note(cell)
        return cell in self.fresh or cell in self.failed or self.store.digest(cell) is not None

    def entry(self, table: Table[Any], name: str, default: Any) -> Any:
        """See `Graph.entry`."""
        cell = entry_cell(table, name)
        self._note(cell)
        if cell_of(table, "") in self.failed:
            raise BlockedError(cell)
        found = self._value(cell)
        return default if found is None else found[0]

    def members(self, group: Group, key: str, *, newest_first: bool = False) -> tuple[str, ...]:
        """See `Graph.members`."""
        cell = group_cell(group, key)
        self._note(cell)
        kept = (cell, newest_first)
        if kept not in self._groups:
            self._groups[kept] = self.store.members(cell, newest_first=newest_first)
        return self._groups[kept]

    def last(self, group: Group, key: str) -> str | None:
        """See `Graph.last`."""
        cell = group_cell(group, key)
        self._note(cell)
        return self.store.last(cell)

    def made_file(self, path: str) -> Path:
        """See `Graph.made_file`."""
        return self.out / STAGING / path

    def forget(self) -> None:
        """Forget the groups that were read: values stored since may have joined them."""
        self._groups.clear()

    # --- within -----------------------------------------------------------------------------------

    def _value(self, cell: str) -> tuple[Any] | None:
        """Return the value of a cell in a tuple of one; None if there is no such cell."""
        digest = self.store.digest(cell)
        if digest is None:
            return None
        cached = self._values.get(cell)
        if cached and cached[0] == digest:
            self._values.move_to_end(cell)
            return (cached[1],)
        encoded = self.store.value(cell)
        if encoded is None:
            return None
        value = decode(encoded)
        self._cache(cell, digest, value, size_in_memory(encoded))
        return (value,)

    def _cache(self, cell: str, digest: bytes, value: Any, size: int) -> None:
        size += _CACHE_ENTRY
        old = self._values.pop(cell, None)
        self._size += size - (old[2] if old else 0)
        self._values[cell] = (digest, value, size)
        while self._size > _CACHE_SIZE and len(self._values) > 1:
            _, (_, _, gone) = self._values.popitem(last=False)
            self._size -= gone

    def _input(self, cell: str) -> Any:
        self._note(cell)
        found = self._value(cell)
        return None if found is None else found[0]

    def _token(self, cell: str) -> object:
        return self.store.digest(cell)


def finish_job(started: Started, result: tuple[bytes, list[str]] | None) -> Done:
    """Return the value of a finish_job job: the digest of its bytes, with its files."""
    if result is None:
        return Done(started.value.name, started.key, started.reads)
    data, warnings = result
    joined = {(group_cell(started.job.warnings, ""), started.key, words) for words in warnings}
    joined |= {(group_cell(group, key), name, name) for group, key, name in started.job.joins}
    frame = Frame(set(started.reads), joined, dict.fromkeys(started.job.paths, data))
    return _as_done(started.value, started.key, frame, hashlib.sha256(data).hexdigest())


def _as_done(value: Derived[Any], key: str, frame: Frame, made: Any) -> Done:
    check_fills(value, frame.joined)
    cells = {} if made is None and not value.keep_none else {cell_of(value, key): made}
    if isinstance(value, Table):
        cells = {entry_cell(value, name): one for name, one in made.items()}
        cells[cell_of(value, key)] = None
    encoded = {cell: encode(one) for cell, one in cells.items()}
    return Done(
        value.name,
        key,
        frozenset(frame.reads),
        {cell: (hashlib.sha256(one).digest(), one) for cell, one in encoded.items()},
        frozenset(frame.joined),
        frame.files,
    )
