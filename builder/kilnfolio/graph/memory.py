"""A graph in memory: computes values on demand, for a command, the audit or a test."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kilnfolio.graph.codec import UnreadableError, decode
from kilnfolio.graph.derived import (
    AbsentError,
    BlockedError,
    Bound,
    Derived,
    Group,
    NotMadeError,
    NoValueError,
    Step,
    Table,
)
from kilnfolio.graph.graph import (
    Graph,
    Member,
    cell_of,
    check_fills,
    entry_cell,
    group_cell,
)
from kilnfolio.graph.inputs import Index, changed_inputs, listed, stamps
from kilnfolio.graph.states import Stamps
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from kilnfolio.graph.kept import Kept


@dataclass
class _Made:
    """A computed value, or the error instead."""

    token: int
    reads: set[str]
    value: Any = None
    absent: bool = False
    reasons: tuple[Any, ...] | None = None
    causes: tuple[Any, ...] = ()
    """The reasons of the values that failed first: its own, or those of values it reads."""
    joined: set[Member] = field(default_factory=set)
    encoded: bytes | None = None
    """The value as a build stored it, until it is first read."""


class MemoryGraph(Graph):
    """Values computed on demand and kept as long as the graph exists.

    Parameters
    ----------
    folder : Path
        The folder of the inputs.
    index : Index
        Sorts the names of its files into lists.
    options : mapping, optional
        Options that values may read.
    files : mapping of str to Path, optional
        The input files by name, if they are not in `folder`.
    proposed : mapping of str to bytes, optional
        Bytes to use in place of the files' own, by name.
    bound : mapping of str to callable, optional
        As for `Graph`.
    kept : Kept, optional
        The values of a build of the same folder with the same functions bound.
    """

    def __init__(
        self,
        folder: Path,
        index: Index,
        options: Mapping[str, Any] | None = None,
        files: Mapping[str, Path] | None = None,
        proposed: Mapping[str, bytes] | None = None,
        bound: Bound | None = None,
        kept: Kept | None = None,
    ):
        super().__init__(folder, index, bound)
        self._files, self._proposed = files, dict(proposed or {})
        self._options, self._kept = dict(options or {}), kept
        self._versions: dict[str, int] = {}
        self._stamps: Stamps | None = None
        self._lists: dict[str, dict[str, tuple[str, ...]]] = {}
        self._made: dict[str, _Made] = {}
        self._readers: defaultdict[str, set[str]] = defaultdict(set)
        self._running: list[str] = []
        self._joined: defaultdict[str, set[tuple[str, str]]] = defaultdict(set)
        self._filled: set[str] = set()
        """Groups that every value that may join them was computed for."""
        self._from_build: set[str] = set()
        """Cells that a build computed. What lies between them and the files is not known here."""
        self._complete: set[str] = set()
        """Derived values that were computed for all their keys."""
        self._tokens = count(1)

    def file(self, name: str) -> Path:
        """See `Graph.file`."""
        path = super().file(name)
        return path if self._files is None else self._files.get(name, path)

    def proposed(self, name: str) -> bytes | None:
        """See `Graph.proposed`."""
        return self._proposed.get(name)

    def propose(self, name: str, raw: bytes) -> None:
        """Treat a file as if it held these bytes from now on; forget what was computed from it."""
        self._proposed[name] = raw
        self._versions[name] = self._versions.get(name, 0) + 1
        self._compare()
        self._drop({f"file:{name}"})

    def refresh(self) -> bool:
        """Check the files again; forget what was computed from those that changed."""
        before, self._stamps = self._stamps, None
        if before is None:
            return False
        now = self._now()
        touched = {name for name in before.keys() | now.keys() if before.get(name) != now.get(name)}
        if not touched:
            return False
        stale = changed_inputs(before, now, self.index, touched)
        self._drop(stale)
        return True

    # --- values -----------------------------------------------------------------------------------

    def get(self, value: Derived[Any], key: str) -> Any:
        """See `Graph.get`."""
        made = self._compute(value, key)
        self._note(cell_of(value, key))
        if made.absent:
            raise AbsentError(cell_of(value, key))
        if made.reasons is not None:
            raise BlockedError(cell_of(value, key), made.causes)
        if made.encoded is not None:
            self._decode(made, value, key)
        return made.value

    def has(self, value: Derived[Any], key: str) -> bool:
        """See `Graph.has`."""
        made = self._compute(value, key)
        self._note(cell_of(value, key))
        return not made.absent

    def entry(self, table: Table[Any], name: str, default: Any) -> Any:
        """See `Graph.entry`."""
        made = self._compute(table, "")
        self._note(cell_of(table, ""))
        if made.reasons is not None:
            raise BlockedError(entry_cell(table, name), made.causes)
        return made.value.get(name, default)

    def members(self, group: Group, key: str, *, newest_first: bool = False) -> tuple[str, ...]:
        """See `Graph.members`."""
        found = sorted(
            ((sort, name) for sort, name in self._fill(group, key)), reverse=newest_first
        )
        return tuple(name for _, name in found)

    def last(self, group: Group, key: str) -> str | None:
        """See `Graph.last`."""
        return max((sort for sort, _ in self._fill(group, key)), default=None)

    def made_file(self, path: str) -> Path:
        """See `Graph.made_file`."""
        raise RuntimeError(f"{path}: a graph in memory writes no files")

    def failures(self, plan: Sequence[Step]) -> tuple[Any, ...]:
        """Compute every value of a plan; return the problems of their inputs, in order.

        Each tuple holds values that are computed together, key by key.
        """
        reasons: list[Any] = []
        for together in plan:
            keys = [self._keys(value) for value in together]
            for key in sorted(set().union(*keys)):
                for value, those in zip(together, keys, strict=True):
                    if key in those:
                        reasons += self._compute(value, key).reasons or ()
            self._complete.update(value.name for value in together)
        return tuple(reasons)

    def reasons(self, value: Derived[Any], key: str) -> tuple[Any, ...]:
        """Return the problems of the inputs of one value; none if only a value it reads failed."""
        return self._compute(value, key).reasons or ()

    def failures_below(self, values: Iterable[tuple[Derived[Any], str]]) -> tuple[Any, ...]:
        """Compute some values; return the problems of the inputs of every value computed so far."""
        for value, key in values:
            self._compute(value, key)
        return tuple(reason for made in self._made.values() for reason in made.reasons or ())

    # --- within -----------------------------------------------------------------------------------

    def _keys(self, value: Derived[Any]) -> set[str]:
        try:
            return set(value.keys(self))
        except BlockedError:
            return set()

    def _compute(self, value: Derived[Any], key: str) -> _Made:
        cell = cell_of(value, key)
        if cell in self._made:
            return self._made[cell]
        if cell in self._running:
            way = " → ".join([*self._running[self._running.index(cell) :], cell])
            raise RuntimeError(f"a value needs itself: {way}")
        self._running.append(cell)
        try:
            made = self._taken(value, key) or self._call(value, key)
        finally:
            self._running.pop()
        check_fills(value, made.joined)
        self._made[cell] = made
        for read in made.reads:
            self._readers[read].add(cell)
        for group, sort, name in made.joined:
            self._joined[group].add((sort, name))
        return made

    def _taken(self, value: Derived[Any], key: str) -> _Made | None:
        """Return a value that a build computed, if nothing it depends on has changed since."""
        self._now()
        if self._kept is None or isinstance(value, Table) or value.jobs:
            return None
        kept = self._kept.look(value.name, key)
        if kept is None:
            return None
        self._from_build.add(cell_of(value, key))
        return _Made(
            next(self._tokens), set(kept.reads), joined=set(kept.joined), encoded=kept.encoded
        )

    def _decode(self, made: _Made, value: Derived[Any], key: str) -> None:
        """Decode a value that a build computed; compute it anew if it cannot be decoded."""
        assert made.encoded is not None
        try:
            made.value = decode(made.encoded)
        except UnreadableError:
            again = self._call(value, key)
            made.value, made.absent = again.value, again.absent
            made.reasons, made.causes = again.reasons, again.causes
        made.encoded = None

    def _call(self, value: Derived[Any], key: str) -> _Made:
        with self.noting() as frame:
            try:
                found = value.compute(self, key)
            except NoValueError:
                return _Made(next(self._tokens), frame.reads, absent=True)
            except NotMadeError as error:
                causes = error.causes if isinstance(error, BlockedError) else error.reasons
                return _Made(next(self._tokens), frame.reads, reasons=error.reasons, causes=causes)
        return _Made(next(self._tokens), frame.reads, found, joined=frame.joined)

    def _fill(self, group: Group, key: str) -> set[tuple[str, str]]:
        """Return the members of a group, after computing every value that may join it."""
        cell = group_cell(group, key)
        self._note(cell)
        if cell not in self._filled:
            with self.noting():  # `refresh` empties every group when any file changes
                for value in group.filled_by:
                    if value.name not in self._complete:
                        for name in sorted(self._keys(value)):
                            if group.may_join is None or group.may_join(self, name, key):
                                self._compute(value, name)
            self._filled.add(cell)
        return self._joined[cell]

    def _now(self) -> Stamps:
        if self._stamps is None:
            self._stamps = (
                stamps(self.folder, self.index)
                if self._files is None
                else dict.fromkeys(self._files, "")
            )
            self._lists = listed(self._stamps, self.index)
            self._compare()
        return self._stamps

    def _compare(self) -> None:
        if self._kept is not None and self._stamps is not None:
            self._kept.compare(self._stamps, self._proposed)

    def _input(self, cell: str) -> Any:
        self._note(cell)
        kind, _, name = cell.partition(":")
        if kind == "option":
            return self._options.get(name)
        self._now()
        noun, _, one = name.partition("/")
        found = self._lists.get(noun, {})
        return found.get(one) if one else found

    def _token(self, cell: str) -> object:
        kind, _, name = cell.partition(":")
        if kind == "file":
            return self._now().get(name), self._versions.get(name)
        if kind == "tree":
            return tuple(
                sorted(
                    (path, stamp)
                    for path, stamp in self._now().items()
                    if path.startswith(name + "/")
                )
            )
        if kind in ("index", "option"):
            return repr(self._input_quietly(cell))
        made = self._made.get(cell)
        return made.token if made else None

    def _input_quietly(self, cell: str) -> Any:
        with self.noting():
            return self._input(cell)

    def _drop(self, stale: set[str]) -> None:
        """Forget changed inputs and all that depends on them, groups included.

        A file that joined no group before may join one now.
        """
        groups = {cell for cell in self._readers if cell.startswith("group:")}
        self._forget(stale | groups | self._from_build)
        self._filled.clear()
        self._complete.clear()

    def _forget(self, cells: set[str]) -> None:
        waiting = list(cells)
        while waiting:
            cell = waiting.pop()
            self._made.pop(cell, None)
            waiting += self._readers.pop(cell, ())
        self._from_build &= self._made.keys()
        self._joined.clear()
        for made in self._made.values():
            for group, sort, name in made.joined:
                self._joined[group].add((sort, name))
