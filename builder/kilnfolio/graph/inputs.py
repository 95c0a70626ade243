"""The files of a folder: their state on disk, and the lists they are sorted into."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from kilnfolio.graph.codec import encode
from kilnfolio.graph.states import Stamps, input_stamps
from kilnfolio.runtime.files import open_regular
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from kilnfolio.graph.store import Store


@dataclass(frozen=True)
class Index:
    """Which files of a folder are inputs, and how their names are sorted into lists.

    Attributes
    ----------
    folders : tuple of str
        The folders whose files are inputs; no other may be read.
    trees : tuple of str
        Folders that are also inputs as a whole.
    entry : callable
        Takes a path; returns the list that the file belongs to and its name there, or None.
    private : tuple of str, optional
        Folders of which nothing leaves this computer.
    """

    folders: tuple[str, ...]
    trees: tuple[str, ...]
    entry: Callable[[str], tuple[str, str] | None]
    private: tuple[str, ...] = ()


def stamps(folder: Path, index: Index) -> Stamps:
    """Return the state of every input file."""
    return input_stamps(folder, index.folders)


def listed(names: Iterable[str], index: Index) -> dict[str, dict[str, tuple[str, ...]]]:
    """Return the files of each list by name; a name may have several."""
    found: dict[str, dict[str, tuple[str, ...]]] = {}
    for path in sorted(names):
        if entry := index.entry(path):
            kind, name = entry
            paths = found.setdefault(kind, {})
            paths[name] = (*paths.get(name, ()), path)
    return {kind: dict(sorted(paths.items())) for kind, paths in found.items()}


def changed_inputs(then: Stamps, now: Stamps, index: Index, touched: set[str]) -> set[str]:
    """Return the cells of the inputs that are other than they were.

    Parameters
    ----------
    then, now : mapping
        The state of every input file.
    index : Index
        Sorts their names into lists.
    touched : set of str
        The files that are other than they were.
    """
    if not touched:
        return set()
    found = {f"file:{name}" for name in touched}
    found |= {
        f"tree:{tree}"
        for tree in index.trees
        if any(name.startswith(tree + "/") for name in touched)
    }
    if then.keys() == now.keys():
        return found
    before, after = listed(then, index), listed(now, index)
    for kind in before.keys() | after.keys():
        old, new = before.get(kind, {}), after.get(kind, {})
        if old != new:
            found.add(f"index:{kind}")
            found |= {
                f"index:{kind}/{name}"
                for name in old.keys() | new.keys()
                if old.get(name) != new.get(name)
            }
    return found


def note_changes(store: Store, folder: Path, index: Index, now: Stamps) -> None:
    """Update the inputs that changed since the stamps in the store.

    A file counts as changed if its bytes differ; they are read again only if its stamp differs.
    """
    kept: Stamps | None = store.note("stamps")
    before = kept or {}
    changed = [name for name, stamp in now.items() if before.get(name) != stamp]
    gone = [name for name in before if name not in now]
    moved = [name for name in changed if store.set_input(f"file:{name}", _digest(folder / name))]
    moved += [name for name in gone if store.set_input(f"file:{name}", None)]
    if kept is None or gone or any(name not in before for name in changed):
        _list_again(store, index, now, {*changed, *gone})
    for tree in index.trees:
        if any(name.startswith(tree + "/") for name in moved):
            _set(store, f"tree:{tree}", store.digests(f"file:{tree}/"))
    store.keep("stamps", now)


def _list_again(store: Store, index: Index, now: Stamps, touched: Iterable[str]) -> None:
    lists = listed(now, index)
    kinds: set[str] = set(store.note("lists") or ())
    for kind in sorted(kinds | lists.keys()):
        _set(store, f"index:{kind}", lists.get(kind, {}))
    for kind, name in sorted({entry for path in touched if (entry := index.entry(path))}):
        paths = lists.get(kind, {}).get(name)
        if paths is None:
            store.set_input(f"index:{kind}/{name}", None)
        else:
            _set(store, f"index:{kind}/{name}", paths)
    store.keep("lists", tuple(sorted(kinds | lists.keys())))


def _set(store: Store, cell: str, value: object) -> None:
    encoded = encode(value)
    store.set_input(cell, hashlib.sha256(encoded).digest(), encoded)


def _digest(path: Path) -> bytes:
    try:
        with open_regular(path) as file:
            return hashlib.file_digest(file, "sha256").digest()
    except OSError as error:  # it cannot be read; the value that needs it will report that
        return f"unreadable: {error.strerror}".encode()
