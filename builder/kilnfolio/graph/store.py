"""Every value of a graph and what it was computed from, in one SQLite file beside the site.

All of it can be computed again from the inputs: the file may be deleted at any time, and is deleted
when its schema version differs.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import field
from pathlib import Path
from typing import Any

from kilnfolio.graph.codec import decode, encode
from kilnfolio.runtime.values import dataclass

#: Version of the schema; raise it when the tables or the form of values change.
FORMAT = 5
#: Cells whose row and digest are remembered.
_CACHED = 20_000
#: States of a task: what it made is current; it must run again; it has never run.
_CURRENT, _STALE, _NEW = 0, 1, 2

_TABLES = """
CREATE TABLE note (name TEXT PRIMARY KEY, value BLOB) WITHOUT ROWID;
CREATE TABLE task (id INTEGER PRIMARY KEY, value TEXT, key TEXT, stale INTEGER,
                   UNIQUE (value, key));
CREATE INDEX task_stale ON task (value) WHERE stale;
CREATE TABLE cell (id INTEGER PRIMARY KEY, name TEXT UNIQUE, digest BLOB, value BLOB, task INTEGER);
CREATE INDEX cell_task ON cell (task);
CREATE TABLE read (task INTEGER, cell INTEGER, PRIMARY KEY (task, cell)) WITHOUT ROWID;
CREATE INDEX read_cell ON read (cell);
CREATE TABLE member (cell TEXT, sort TEXT, name TEXT, task INTEGER);
CREATE INDEX member_cell ON member (cell, sort);
CREATE INDEX member_task ON member (task);
CREATE TABLE file (path TEXT PRIMARY KEY, digest BLOB, task INTEGER, stamp TEXT) WITHOUT ROWID;
CREATE INDEX file_task ON file (task);
CREATE TABLE pending (path TEXT PRIMARY KEY) WITHOUT ROWID;
"""

Member = tuple[str, str, str]
"""Cell of a group, what it is sorted by, and the name in it."""


@dataclass(frozen=True)
class Done:
    """What a task (one derived value for one key) computed, read and joined."""

    value: str
    key: str
    reads: frozenset[str]
    cells: Mapping[str, tuple[bytes, bytes | None]] = field(default_factory=dict)
    """Digest of each cell, and its value encoded."""
    joined: frozenset[Member] = frozenset()
    files: Mapping[str, bytes] = field(default_factory=dict)
    """What it writes, by path below the site."""


@dataclass(frozen=True)
class _Held:
    """What the store holds of a task: nothing before it has run."""

    cells: frozenset[str] = frozenset()
    members: frozenset[Member] = frozenset()
    reads: frozenset[int] = frozenset()
    files: Mapping[str, bytes | None] = field(default_factory=dict)


_NOTHING = _Held()


class _Rows(dict[str, int]):
    """The row of each cell or group; a cell that has only been read gets one too."""

    def __init__(self, db: sqlite3.Connection):
        super().__init__()
        self._db = db

    def __missing__(self, name: str) -> int:
        row = self._db.execute("SELECT id FROM cell WHERE name = ?", (name,)).fetchone()
        if row is None:
            made = self._db.execute("INSERT INTO cell (name) VALUES (?)", (name,))
            row = (made.lastrowid,)
        _make_room(self)
        self[name] = row[0]
        return self[name]


class Store:
    """The tables and their queries.

    Parameters
    ----------
    path : Path
        The file; made if it is missing, and replaced if its schema version differs.
    """

    def __init__(self, path: Path):
        path.parent.mkdir(parents=True, exist_ok=True)
        self.path = path
        self.db = self._open()
        if self.db.execute("PRAGMA user_version").fetchone()[0] != FORMAT:
            self.db.close()
            for name in (path, *path.parent.glob(f"{path.name}-*")):
                name.unlink(missing_ok=True)
            self.db = self._open()
            self.db.executescript(_TABLES)
            self.db.execute(f"PRAGMA user_version = {FORMAT}")
            self.db.commit()
        self._rows = _Rows(self.db)
        self._digests: dict[str, bytes | None] = {}
        self.touched: set[str] | None = None
        """Cells and groups changed since somebody began to collect them here."""

    def _open(self) -> sqlite3.Connection:
        for path in (self.path, *self.path.parent.glob(f"{self.path.name}-*")):
            if path.exists() and not path.is_file():  # a pipe, which SQLite takes for a bad disk
                raise sqlite3.DatabaseError(f"{path} is no file")
        db = sqlite3.connect(self.path, timeout=60.0)
        try:
            db.execute("PRAGMA journal_mode = WAL")
            # what a power cut loses is computed again; a killed process loses nothing
            db.execute("PRAGMA synchronous = OFF")
            db.execute("PRAGMA cache_size = -8000")
        except sqlite3.Error:  # such as a full disk
            db.close()
            raise
        return db

    def close(self) -> None:
        """Close the file."""
        self.db.close()

    def commit(self) -> None:
        """Commit what was put, so that other processes see it."""
        self.db.commit()

    # --- notes ------------------------------------------------------------------------------------

    def note(self, name: str) -> Any:
        """Return a note by its name; None if there is none."""
        row = self.db.execute("SELECT value FROM note WHERE name = ?", (name,)).fetchone()
        return None if row is None else decode(row[0])

    def keep(self, name: str, value: Any) -> None:
        """Keep a note under a name."""
        self.db.execute("INSERT OR REPLACE INTO note VALUES (?, ?)", (name, encode(value)))

    # --- cells and groups -------------------------------------------------------------------------

    def digest(self, cell: str) -> bytes | None:
        """Return the digest of a cell; None if there is no such cell."""
        if cell not in self._digests:
            row = self.db.execute("SELECT digest FROM cell WHERE name = ?", (cell,)).fetchone()
            _make_room(self._digests)
            self._digests[cell] = row[0] if row else None
        return self._digests[cell]

    def forget(self) -> None:
        """Forget what was read: another process, or a full disk, may have changed it."""
        self._digests.clear()
        self._rows.clear()

    def value(self, cell: str) -> bytes | None:
        """Return the encoded value of a cell; None if it is not stored."""
        row = self.db.execute("SELECT value FROM cell WHERE name = ?", (cell,)).fetchone()
        return row[0] if row else None

    def members(self, group: str, *, newest_first: bool = False) -> tuple[str, ...]:
        """Return the names in a group, in order."""
        way = "DESC" if newest_first else "ASC"
        return tuple(
            name
            for _, name in self.db.execute(
                "SELECT DISTINCT sort, name FROM member WHERE cell = ? "
                f"ORDER BY sort {way}, name {way}",
                (group,),
            )
        )

    def last(self, group: str) -> str | None:
        """Return the highest sort key in a group; None if it is empty."""
        found: str | None = self.db.execute(
            "SELECT max(sort) FROM member WHERE cell = ?", (group,)
        ).fetchone()[0]
        return found

    def digests(self, beginning: str) -> tuple[tuple[str, str], ...]:
        """Return the cells whose name has this prefix, each with its digest."""
        return tuple(
            (name, digest.hex())
            for name, digest in self.db.execute(
                "SELECT name, digest FROM cell WHERE name >= ? AND name < ? AND digest IS NOT NULL "
                "ORDER BY name",
                (beginning, beginning + "\U0010ffff"),
            )
        )

    def set_input(self, cell: str, digest: bytes | None, value: bytes | None = None) -> bool:
        """Set the cell of an input; if it changed, mark its readers as stale and return True."""
        if self.digest(cell) == digest:
            return False
        self._put_cell(cell, digest, value, None)
        self._mark_readers([cell])
        return True

    # --- copies ---------------------------------------------------------------------------------

    def names(self) -> list[str]:
        """Return the names of all cells and groups."""
        return [
            name
            for (name,) in self.db.execute("SELECT name FROM cell UNION SELECT cell FROM member")
        ]

    def copied(self, names: Iterable[str]) -> Iterator[tuple[str, Any]]:
        """Yield cells and groups, each with what `copy` takes."""
        for name in names:
            if name.startswith("group:"):
                found = self.db.execute(
                    "SELECT DISTINCT sort, name FROM member WHERE cell = ?", (name,)
                ).fetchall()
                yield name, [list(row) for row in found]
            else:
                row = self.db.execute(
                    "SELECT digest, value FROM cell WHERE name = ?", (name,)
                ).fetchone()
                yield name, list(row or (None, None))

    def copy(self, name: str, found: Any) -> None:
        """Put a cell or group that was copied from another store."""
        if name.startswith("group:"):
            self.db.execute("DELETE FROM member WHERE cell = ?", (name,))
            self.db.executemany(
                "INSERT INTO member (cell, sort, name) VALUES (?, ?, ?)",
                [(name, *row) for row in found],
            )
        else:
            digest, value = found
            self._put_cell(name, digest, value, None)

    # --- tasks ------------------------------------------------------------------------------------

    def keys(self, value: str) -> set[str]:
        """Return the keys of a value."""
        return {row[0] for row in self.db.execute("SELECT key FROM task WHERE value = ?", (value,))}

    def stale(self, value: str, *, made: bool = False) -> list[str]:
        """Return the stale keys of a value, sorted; with `made`, only those with a stored value."""
        with_cells = "AND EXISTS (SELECT 1 FROM cell WHERE cell.task = task.id)" if made else ""
        return sorted(
            row[0]
            for row in self.db.execute(
                f"SELECT key FROM task WHERE value = ? AND stale {with_cells}", (value,)
            )
        )

    def add(self, value: str, keys: Iterable[str]) -> None:
        """Add tasks that are still to run."""
        self.db.executemany(
            "INSERT OR IGNORE INTO task (value, key, stale) VALUES (?, ?, ?)",
            [(value, key, _NEW) for key in keys],
        )

    def drop(self, value: str, key: str) -> list[str]:
        """Remove a task and everything it made; return the files to delete."""
        gone = self.withdraw(value, key)
        task, _ = self._task(value, key)
        self.db.execute("DELETE FROM read WHERE task = ?", (task,))
        self.db.execute("DELETE FROM task WHERE id = ?", (task,))
        return gone

    def withdraw(self, value: str, key: str) -> list[str]:
        """Withdraw everything a task made but keep the task; return the files to delete."""
        task, held = self._task(value, key)
        for cell in held.cells:
            self._put_cell(cell, None, None, None)
        groups = self._regroup(task, held.members, frozenset())
        self.db.execute("DELETE FROM file WHERE task = ?", (task,))
        self._note_pending(held.files)
        self._mark_readers([*held.cells, *groups])
        return list(held.files)

    def put(self, done: Done, digests: Mapping[str, bytes]) -> tuple[list[str], list[str]]:
        """Store what a task made, and mark tasks that read a changed cell as stale.

        Parameters
        ----------
        done : Done
            What the task made and read.
        digests : mapping of str to bytes
            The digest of each file it writes.

        Returns
        -------
        tuple of list of str
            The files to write, because they are new or changed, and those to delete.
        """
        task, held = self._task(done.value, done.key)
        changed = [cell for cell, (digest, _) in done.cells.items() if self.digest(cell) != digest]
        for cell in held.cells - done.cells.keys():
            self._put_cell(cell, None, None, None)
            changed.append(cell)
        for cell, (digest, value) in done.cells.items():
            self._put_cell(cell, digest, value, task)
        changed += self._regroup(task, held.members, done.joined)
        self._mark_readers(changed)
        self._set_reads(task, held.reads, done.reads)
        write = [path for path, digest in digests.items() if held.files.get(path) != digest]
        gone = [path for path in held.files if path not in digests]
        if gone:
            self.db.executemany(
                "DELETE FROM file WHERE path = ? AND task = ?", [(path, task) for path in gone]
            )
        if write:
            self.db.executemany(
                "INSERT OR REPLACE INTO file (path, digest, task) VALUES (?, ?, ?)",
                [(path, digests[path], task) for path in write],
            )
        gone = [path for path in gone if not self.has_file(path)]
        if write or gone:
            self._note_pending([*write, *gone])
        self.db.execute("UPDATE task SET stale = ? WHERE id = ?", (_CURRENT, task))
        return write, gone

    def has_file(self, path: str) -> bool:
        """Return whether a task writes this file."""
        return self.db.execute("SELECT 1 FROM file WHERE path = ?", (path,)).fetchone() is not None

    def written_for(self, path: str) -> str:
        """Return the key of the task that writes a file, or its cell if it has no key."""
        row = self.db.execute(
            "SELECT key, value FROM task WHERE id = (SELECT task FROM file WHERE path = ?)", (path,)
        ).fetchone()
        return row[0] or f"{row[1]}:" if row else ""

    # --- files of the site ------------------------------------------------------------------------

    def count_files(self, ending: str) -> int:
        """Return how many files of the site have this ending."""
        count: int = self.db.execute(
            "SELECT count(*) FROM file WHERE path LIKE ?", (f"%{ending}",)
        ).fetchone()[0]
        return count

    def pending(self) -> list[str]:
        """Return the files in which staging and the served site differ."""
        return [row[0] for row in self.db.execute("SELECT path FROM pending ORDER BY path")]

    def stamps(self) -> dict[str, str | None]:
        """Return the stamp of every file of the site when it was last seen intact."""
        return dict(self.db.execute("SELECT path, stamp FROM file"))

    def stamp(self, stamps: Mapping[str, str]) -> None:
        """Record the stamps of files of the site."""
        self.db.executemany(
            "UPDATE file SET stamp = ? WHERE path = ?",
            [(stamp, path) for path, stamp in stamps.items()],
        )

    def file_digest(self, path: str) -> bytes | None:
        """Return the digest of a file of the site; None if there is no such file."""
        row = self.db.execute("SELECT digest FROM file WHERE path = ?", (path,)).fetchone()
        return row[0] if row else None

    def file_digests(self, beginning: str) -> list[tuple[str, bytes]]:
        """Return the files whose path has this prefix, each with its digest."""
        return self.db.execute(
            "SELECT path, digest FROM file WHERE path >= ? AND path < ? AND digest IS NOT NULL "
            "ORDER BY path",
            (beginning, beginning + "\U0010ffff"),
        ).fetchall()

    def forget_files(self, paths: Iterable[str]) -> None:
        """Forget files of the site, and mark the tasks that wrote them as stale."""
        for path in paths:
            self.db.execute(
                "UPDATE task SET stale = ? WHERE id = (SELECT task FROM file WHERE path = ?)",
                (_STALE, path),
            )
            self.db.execute("UPDATE file SET digest = NULL, stamp = NULL WHERE path = ?", (path,))

    def clear_pending(self) -> None:
        """Record that staging and the served site are the same."""
        self.db.execute("DELETE FROM pending")

    # --- within -----------------------------------------------------------------------------------

    def _note_pending(self, paths: Iterable[str]) -> None:
        self.db.executemany("INSERT OR IGNORE INTO pending VALUES (?)", [(p,) for p in paths])

    def _task(self, value: str, key: str) -> tuple[int, _Held]:
        """Return the row of a task, and what is held of it."""
        task, state = self.db.execute(
            "SELECT id, stale FROM task WHERE value = ? AND key = ?", (value, key)
        ).fetchone()
        return task, _NOTHING if state == _NEW else self._held(task)

    def _held(self, task: int) -> _Held:
        def rows(question: str) -> sqlite3.Cursor:
            return self.db.execute(question, (task,))

        return _Held(
            frozenset(name for (name,) in rows("SELECT name FROM cell WHERE task = ?")),
            frozenset(rows("SELECT cell, sort, name FROM member WHERE task = ?")),
            frozenset(cell for (cell,) in rows("SELECT cell FROM read WHERE task = ?")),
            dict(rows("SELECT path, digest FROM file WHERE task = ?")),
        )

    def _put_cell(
        self, name: str, digest: bytes | None, value: bytes | None, task: int | None
    ) -> None:
        self._digests[name] = digest
        if self.touched is not None:
            self.touched.add(name)
        self.db.execute(
            "INSERT INTO cell (name, digest, value, task) VALUES (?, ?, ?, ?) "
            "ON CONFLICT (name) DO UPDATE "
            "SET digest = excluded.digest, value = excluded.value, task = excluded.task",
            (name, digest, value, task),
        )

    def _regroup(
        self, task: int, before: frozenset[Member], members: frozenset[Member]
    ) -> list[str]:
        """Replace the names a task has joined to groups; return the groups that changed."""
        if before == members:
            return []
        self.db.execute("DELETE FROM member WHERE task = ?", (task,))
        self.db.executemany(
            "INSERT INTO member VALUES (?, ?, ?, ?)", [(*member, task) for member in members]
        )
        groups = {cell for cell, _, _ in before ^ members}
        if self.touched is not None:
            self.touched |= groups
        return sorted(groups)

    def _set_reads(self, task: int, before: frozenset[int], read: frozenset[str]) -> None:
        now = {self._rows[name] for name in read}
        if before:
            self.db.executemany(
                "DELETE FROM read WHERE task = ? AND cell = ?",
                [(task, cell) for cell in before - now],
            )
        self.db.executemany(
            "INSERT INTO read VALUES (?, ?)", [(task, cell) for cell in sorted(now - before)]
        )

    def _mark_readers(self, cells: Iterable[str]) -> None:
        for cell in cells:
            self.db.execute(
                "UPDATE task SET stale = ? WHERE id IN (SELECT task FROM read WHERE cell = ?)",
                (_STALE, self._rows[cell]),
            )


def _make_room(cache: dict[str, Any]) -> None:
    if len(cache) > _CACHED:
        cache.clear()
