"""The mill's files, and which of them changed since the last build.

A file is looked at again only when the time it was saved, its size or its place on the disk is
another: then its bytes are read, and only other bytes count as a change.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable
from pathlib import Path

from kilnfolio.incremental.store import Store, pack
from kilnfolio.records.homes import HOMES, strays

#: The mill's trees. A build reads nothing else of the folder.
TREES = ("content", "schedules", "keys")
#: Trees whose files are read together; who reads one depends on every file in it.
WHOLE = ("content/handbook", "content/ledger", "content/demo-keys", "keys")

Stamps = dict[str, tuple[int, int, int]]


def stamps(root: Path) -> Stamps:
    """Return when each file was saved [ns], its size and its place, by its name from the root."""
    found: Stamps = {}
    waiting = [tree for tree in TREES if (root / tree).is_dir()]
    while waiting:
        folder = waiting.pop()
        with os.scandir(root / folder) as entries:
            for entry in entries:
                name = f"{folder}/{entry.name}"
                if entry.is_dir():
                    waiting.append(name)
                else:
                    try:
                        state = entry.stat()
                    except OSError:
                        continue  # removed while we looked, or a link that leads nowhere
                    found[name] = (state.st_mtime_ns, state.st_size, state.st_ino)
    return found


def note_changes(store: Store, root: Path, now: Stamps) -> None:
    """Set the cells of the files that changed, and of the lists they stand in.

    Parameters
    ----------
    store : Store
        What the last build kept.
    root : Path
        The mill folder.
    now : dict
        From `stamps`.
    """
    kept: Stamps | None = store.note("stamps")
    before = kept or {}
    changed = [name for name, stamp in now.items() if before.get(name) != stamp]
    gone = [name for name in before if name not in now]
    moved = [name for name in changed if store.set_input(f"file:{name}", _digest(root / name))]
    moved += [name for name in gone if store.set_input(f"file:{name}", None)]
    if kept is None or now.keys() != before.keys():
        for noun, paths in listed(now).items():
            store.set_input(f"names:{noun}", _of(paths), pack(paths))
        _one(store, "misplaced", list(strays(now)))
    for tree in WHOLE:
        if any(name.startswith(tree + "/") for name in moved):
            _one(store, f"tree:{tree}", store.digests(f"file:{tree}/"))
    store.keep("stamps", now)


def listed(names: Iterable[str]) -> dict[str, dict[str, tuple[str, ...]]]:
    """Return the files of each noun's records by the record's name.

    One name should have one file; of earlier revisions it has several.
    """
    found: dict[str, dict[str, tuple[str, ...]]] = {noun: {} for noun in HOMES}
    for name in sorted(names):
        for noun, pattern in HOMES.items():
            if match := pattern.fullmatch(name):
                found[noun][match[1]] = (*found[noun].get(match[1], ()), name)
                break
    return {noun: dict(sorted(paths.items())) for noun, paths in found.items()}


def _one(store: Store, cell: str, value: object) -> None:
    store.set_input(cell, _of(value), pack(value))


def _of(value: object) -> bytes:
    return hashlib.sha256(repr(value).encode()).digest()


def _digest(path: Path) -> bytes:
    try:
        return hashlib.sha256(path.read_bytes()).digest()
    except OSError as error:  # it is there and cannot be read: who reads it will say so
        return f"unreadable: {error.strerror}".encode()
