"""Values computed on machines that have neither the folder nor the store: each keeps a copy of both.

Before a step each copy gets what has changed: at first the input files, then the cells and groups
that were computed meanwhile. Private folders stay here. A worker that was started later has no copy,
says so, and gets everything.
"""

from __future__ import annotations

import hashlib
import secrets
import tempfile
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from functools import partial
from pathlib import Path, PurePosixPath
from typing import Any, Protocol

from kilnfolio.graph.codec import UnreadableError, decode, encode
from kilnfolio.graph.derived import Table
from kilnfolio.graph.disk import Failed
from kilnfolio.graph.graph import cell_of, check_fills, entry_cell
from kilnfolio.graph.inputs import stamps
from kilnfolio.graph.plan import Plan
from kilnfolio.graph.sharing import Place, Result, Task, run_batch
from kilnfolio.graph.store import Done, Store
from kilnfolio.runtime.errors import WorkersUnreachableError
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass

#: Bytes sent at a time.
_AT_A_TIME = 8_000_000
#: How often a batch may meet workers without a copy.
_MOST_LOST = 10

#: Begins the name of a file; those of cells and groups begin in other ways.
_INPUT = "input:"

Item = tuple[str, Any]
"""A file, cell or group, and its bytes; digest and value; or members."""


class Machines(Protocol):
    """Workers elsewhere; what they return is data: None, numbers, text, bytes, lists, mappings.

    Attributes
    ----------
    count : int
        How many they are.
    """

    count: int

    def submit(self, fn: Callable[..., Any], /, *args: Any) -> Future[Any]:
        """Have one of them call a function."""

    def everywhere(self, fn: Callable[..., Any], *args: Any, only: str = "") -> dict[str, Any]:
        """Have each of them call a function, or only one; return the results by worker."""


class AwayTeam:
    """Workers elsewhere; see `Team`.

    Parameters
    ----------
    machines : Machines
        The workers.
    plan : Plan
        What they compute.
    folder : Path
        The folder of the inputs.
    editions : collection of str
        The folders that values may write to.
    """

    beside_us = False

    def __init__(self, machines: Machines, plan: Plan, folder: Path, editions: Collection[str]):
        self.count = machines.count
        self._machines, self._plan, self._editions = machines, plan, frozenset(editions)
        self._folder, self._values = folder, plan.values
        self._name, self._state = secrets.token_hex(8), 0

    @property
    def ready(self) -> bool:
        """See `Team.ready`."""
        return True

    def show(self, store: Store) -> None:
        """See `Team.show`."""
        self._state += 1
        if self._state == 1:
            self._send(self._everything(store), first=True)
        else:
            self._send(store.copied(sorted(store.touched or ())))
        store.commit()
        store.touched = set()

    def compute(self, tasks: Sequence[Task], failed: frozenset[str], store: Store) -> _Asked:
        """See `Team.compute`."""
        ask = partial(
            self._machines.submit,
            run_away,
            self._name,
            self._state,
            self._plan.where,
            tasks,
            failed,
        )
        asked = ask()
        return _Asked(asked.done, partial(self._answer, ask, asked, tasks, store))

    def close(self) -> None:
        """Have the copies removed."""
        self._machines.everywhere(forget, self._name)

    # --- within -----------------------------------------------------------------------------------

    def _answer(
        self,
        ask: Callable[[], Future[Any]],
        asked: Future[Any],
        tasks: Sequence[Task],
        store: Store,
    ) -> list[Result]:
        for _ in range(_MOST_LOST):
            answer = asked.result()
            if answer is not None:
                return self._checked(answer, tasks)
            for worker, state in self._machines.everywhere(state_of, self._name).items():
                if state != self._state:
                    self._send(self._everything(store), first=True, only=worker)
            asked = ask()
        raise WorkersUnreachableError("the workers of the cluster start anew again and again")

    def _everything(self, store: Store) -> Iterator[Item]:
        private = tuple(f"{folder}/" for folder in self._plan.index.private)
        for name in stamps(self._folder, self._plan.index):
            if not name.startswith(private):
                yield f"{_INPUT}{name}", read_file(self._folder / name)
        yield from store.copied(store.names())

    def _send(self, items: Iterable[Item], *, first: bool = False, only: str = "") -> None:
        sent: dict[str, Any] = {}
        size = 0
        for name, found in items:
            sent[name] = found
            size += len(name) + len(found if isinstance(found, bytes) else repr(found))
            if size >= _AT_A_TIME:
                self._machines.everywhere(keep, self._name, 0, first, sent, only=only)
                sent, size, first = {}, 0, False
        self._machines.everywhere(keep, self._name, self._state, first, sent, only=only)

    def _checked(self, answer: Any, tasks: Sequence[Task]) -> list[Result]:
        """Return what a worker computed; it must be what it was asked for, and data."""
        asked = {(name, key) for key, names in tasks for name in names}
        try:
            return [self._result(one, asked) for one in answer]
        except (ValueError, TypeError, LookupError, UnreadableError, RuntimeError) as error:
            raise WorkersUnreachableError(
                f"a worker of the cluster sent what it was not asked for ({error}); find out who "
                "changed that machine"
            ) from None

    def _result(self, one: Mapping[str, Any], asked: Collection[tuple[str, str]]) -> Result:
        name, key = str(one["value"]), str(one["key"])
        if (name, key) not in asked:
            raise ValueError(f"{name}:{key}")
        if "reasons" in one:
            return Failed(name, key, decode(one["reasons"]))
        value, cells, files = self._values[name], dict(one["cells"]), dict(one["files"])
        if any(type(data) is not bytes for data in (*cells.values(), *files.values())):
            raise TypeError(f"no bytes in {name}:{key}")
        entries = (entry_cell(value, ""),) if isinstance(value, Table) else ()
        for cell in cells:
            if cell != cell_of(value, key) and not cell.startswith(entries):
                raise ValueError(cell)
        for path in files:
            parts = PurePosixPath(path).parts
            if parts[0] not in self._editions or ".." in parts:
                raise ValueError(path)
        joined = frozenset((cell, sort, member) for cell, sort, member in one["joined"])
        check_fills(value, joined)
        return Done(
            name,
            key,
            frozenset(map(str, one["reads"])),
            {cell: (hashlib.sha256(data).digest(), data) for cell, data in cells.items()},
            joined,
            files,
        )


@dataclass(frozen=True)
class _Asked:
    """See `sharing.Asked`."""

    done: Callable[[], bool]
    result: Callable[[], list[Result]]


# --- there ----------------------------------------------------------------------------------------


@dataclass
class _Copy:
    """The copy of a worker, in a folder that is removed with it."""

    folder: tempfile.TemporaryDirectory[str]
    state: int = 0

    @property
    def path(self) -> Path:
        return Path(self.folder.name)


_COPIES: dict[str, _Copy] = {}


def state_of(name: str) -> int:
    """Return the state of this worker's copy; 0 if it has none."""
    return _COPIES[name].state if name in _COPIES else 0


def forget(name: str) -> None:
    """Remove this worker's copy."""
    if name in _COPIES:
        _COPIES.pop(name).folder.cleanup()


def keep(name: str, state: int, first: bool, sent: Mapping[str, Any]) -> None:
    """Bring this worker's copy up to date; `state` is 0 until all of a state has come."""
    if first:
        forget(name)
        _COPIES[name] = _Copy(tempfile.TemporaryDirectory(prefix="kilnfolio-"))
    if name not in _COPIES:
        return  # it missed the beginning
    copy = _COPIES[name]
    copy.state = state
    store = Store(copy.path / "store.sqlite")
    for cell, found in sent.items():
        if cell.startswith(_INPUT):
            path = copy.path / "inputs" / cell.removeprefix(_INPUT)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(found)
        else:
            store.copy(cell, found)
    store.commit()
    store.close()


def run_away(
    name: str, state: int, plan: str, tasks: Sequence[Task], failed: frozenset[str]
) -> list[dict[str, Any]] | None:
    """Compute some values on a worker; None if its copy is not in this state."""
    if state_of(name) != state:
        return None
    at = _COPIES[name].path
    place = Place(plan, at / "inputs", at / "site", at / "store.sqlite", away=True)
    return [_plain(one) for one in run_batch(place, state, tasks, failed)]


def _plain(one: Result) -> dict[str, Any]:
    if isinstance(one, Failed):
        return {"value": one.value, "key": one.key, "reasons": encode(one.reasons)}
    return {
        "value": one.value,
        "key": one.key,
        "reads": sorted(one.reads),
        "cells": {cell: encoded for cell, (_, encoded) in one.cells.items()},
        "joined": sorted(one.joined),
        "files": dict(one.files),
    }
