"""What files are like without reading them: by this alone a build knows that it has nothing to do.

Only the standard library is needed here, as importing more would take longer than asking the system
for the state of every file.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

#: The folder beside the editions that holds their staging copies and the store.
STAGING = ".staging"

Stamps = dict[str, str]
"""The state of each file by its name; see `stamp`."""


def input_stamps(folder: Path, folders: Iterable[str]) -> Stamps:
    """Return the state of every file below some folders of a folder."""
    found: Stamps = {}
    waiting = [name for name in folders if (folder / name).is_dir()]
    linked: set[str] = set()
    while waiting:
        at = waiting.pop()
        with _Entries(f"{folder}/{at}") as entries:
            for entry in entries:
                name = f"{at}/{entry.name}"
                if entry.is_dir():
                    if entry.is_symlink():  # a link to a folder above would recurse for ever
                        real = os.path.realpath(folder / name)
                        if real in linked or (folder / at).resolve().is_relative_to(real):
                            continue
                        linked.add(real)
                    waiting.append(name)
                    continue
                try:
                    state = entry.stat()
                except OSError:
                    continue  # removed meanwhile, or a broken link
                found[as_text(name)] = stamp(state)
    return found


def site_stamps(out: Path, editions: Iterable[str]) -> Stamps:
    """Return the state of every file of a site, by its path below it."""
    found: Stamps = {}
    waiting = list(editions)
    while waiting:
        folder = waiting.pop()
        with _Entries(f"{out}/{folder}") as entries:
            for entry in entries:
                path = f"{folder}/{entry.name}"
                if entry.is_dir(follow_symlinks=False):
                    waiting.append(path)
                else:
                    found[as_text(path)] = stamp(entry.stat(follow_symlinks=False))
    return found


def as_text(name: str) -> str:
    r"""Return a file's name, bytes that are not UTF-8 written out, as in ``caf\xe9.jpg``.

    No file has that name, so none is read by it; a record with such a name is refused.
    """
    if name.isascii():
        return name
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


class _Entries:
    """What a folder holds: asked for by the folder's handle, a file is found sooner than by its path."""

    def __init__(self, folder: str):
        self._handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)

    def __enter__(self) -> Iterator[os.DirEntry[str]]:
        self._entries = os.scandir(self._handle)
        return self._entries

    def __exit__(self, *_: object) -> None:
        self._entries.close()
        os.close(self._handle)


def stamp(state: os.stat_result) -> str:
    """Return inode, size [bytes], and times of change of data and entry [ns] of a file.

    The time of its entry (ctime) cannot be set back, as a copy with its times does.
    """
    return f"{state.st_ino} {state.st_size} {state.st_mtime_ns} {state.st_ctime_ns}"
