"""What the last build of a site has computed, for a command that computes in memory.

A value is taken from the build's store where nothing it was computed from is other than it was
then: not its files, not the code, not another value below it. Whatever is in doubt is computed.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Collection, Iterable
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from kilnfolio.graph.codec import UnreadableError, decode
from kilnfolio.graph.inputs import Index, changed_inputs
from kilnfolio.graph.states import Stamps
from kilnfolio.graph.store import FORMAT
from kilnfolio.runtime.values import dataclass

#: Kinds of cell that no task computes.
_INPUTS = frozenset({"file", "tree", "index", "code"})


@dataclass(frozen=True)
class KeptValue:
    """A value as a build kept it.

    Attributes
    ----------
    encoded : bytes
        The value, still to be decoded.
    reads : frozenset of str
        The cells it was computed from.
    joined : frozenset of (str, str, str)
        Groups, and what it joined to them.
    """

    encoded: bytes
    reads: frozenset[str]
    joined: frozenset[tuple[str, str, str]]


class Kept:
    """The store of a build, read only.

    Parameters
    ----------
    path : Path
        The store; there need not be one.
    holds : callable
        Takes the settings that the build noted; returns whether what it computed holds as long as
        its inputs are the same.
    options : collection of str
        The options that are then as they were.
    index : Index
        Sorts the names of the files into lists.
    """

    def __init__(
        self,
        path: Path,
        holds: Callable[[Any], bool],
        options: Collection[str],
        index: Index,
    ):
        self._index, self._holds, self._options = index, holds, frozenset(options)
        self._db: sqlite3.Connection | None = None
        self._changed: set[str] = set()
        self._fresh: dict[int, bool] = {}
        if path.is_file():
            with suppress(sqlite3.DatabaseError):
                where = f"{path.absolute().as_uri()}?mode=ro"
                self._db = sqlite3.connect(where, uri=True, isolation_level=None)

    def close(self) -> None:
        """Use it no more."""
        if self._db is not None:
            self._db.close()
        self._db = None

    def compare(self, now: Stamps, proposed: Iterable[str]) -> None:
        """Find out what changed since the build.

        Parameters
        ----------
        now : mapping
            The state of every input file.
        proposed : iterable of str
            Files that are read as if they held something else.
        """
        self._fresh.clear()
        try:
            then = self._note("stamps") if self._usable() else None
        except (sqlite3.DatabaseError, UnreadableError):
            then = None
        if then is None:
            self.close()
            return
        touched = {name for name in then.keys() | now.keys() if then.get(name) != now.get(name)}
        self._changed = changed_inputs(then, now, self._index, touched | set(proposed))

    def look(self, value: str, key: str) -> KeptValue | None:
        """Return a value as the build kept it; None where it has to be computed."""
        if self._db is None:
            return None
        try:
            return self._look(value, key)
        except sqlite3.DatabaseError:
            self.close()
            return None

    # --- within -----------------------------------------------------------------------------------

    def _usable(self) -> bool:
        if self._db is None:
            return False
        # one state of the store for all questions, though a build may be writing to it
        if self._db.in_transaction:
            self._db.rollback()
        self._db.execute("BEGIN")
        ((form,),) = self._ask("PRAGMA user_version")
        return bool(form == FORMAT and self._holds(self._note("settings")))

    def _note(self, name: str) -> Any:
        row = self._ask("SELECT value FROM note WHERE name = ?", name)
        return decode(row[0][0]) if row else None

    def _ask(self, question: str, *values: object) -> list[tuple[Any, ...]]:
        assert self._db is not None
        with closing(self._db.execute(question, values)) as found:
            return found.fetchall()

    def _look(self, value: str, key: str) -> KeptValue | None:
        found = self._ask("SELECT id FROM task WHERE value = ? AND key = ?", value, key)
        cell = self._ask("SELECT value FROM cell WHERE name = ?", f"{value}:{key}")
        if not found or not cell or cell[0][0] is None or not self._is_fresh(found[0][0]):
            return None
        (task,) = found[0]
        return KeptValue(
            cell[0][0],
            frozenset(name for _, name, _ in self._reads(task)),
            frozenset(self._ask("SELECT cell, sort, name FROM member WHERE task = ?", task)),
        )

    def _reads(self, task: int) -> list[tuple[Any, ...]]:
        return self._ask(
            "SELECT cell.id, cell.name, cell.task FROM read JOIN cell ON cell.id = read.cell "
            "WHERE read.task = ?",
            task,
        )

    def _is_fresh(self, task: int) -> bool:
        """Return whether a task would give today what it gave the build."""
        if task not in self._fresh:
            self._fresh[task] = False  # should it ever come back here: in doubt
            ((stale,),) = self._ask("SELECT stale FROM task WHERE id = ?", task)
            self._fresh[task] = not stale and all(
                self._is_same(name, made_by) for _, name, made_by in self._reads(task)
            )
        return self._fresh[task]

    def _is_same(self, cell: str, made_by: int | None) -> bool:
        kind, _, key = cell.partition(":")
        if kind == "option":
            return key in self._options
        if kind in _INPUTS:
            return cell not in self._changed
        if kind == "group":  # whoever joins it may be another
            return not self._changed
        if made_by is not None:
            return self._is_fresh(made_by)
        # there was no such value: so it stays while what would make it, or its keys, are the same
        table, _, entry = cell.partition("/")
        value, key = (table, "") if entry and ":" not in table else (kind, key)
        task = self._ask("SELECT id FROM task WHERE value = ? AND key = ?", value, key) or (
            self._ask("SELECT id FROM task WHERE value = ? AND key = ''", f"keys of {value}")
        )
        return bool(task) and self._is_fresh(task[0][0])
