"""Records, keys and the lines of the ledger: each whole on the disk, or not there at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from kilnfolio.runtime import files
from kilnfolio.runtime.files import sync_folder


def write_whole(path: Path, data: bytes, mode: int = 0o644) -> None:
    """Write a file that everybody may read, in a folder that is made where there is none."""
    path.parent.mkdir(parents=True, exist_ok=True)
    files.write_whole(path, data, mode)


def write_secret(path: Path, data: bytes) -> None:
    """Write a file that only its owner may read, whole or not at all, in a folder of that kind.

    Raises
    ------
    FileExistsError
        There is one already; it is never written over.
    """
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        _fill(handle, data, 0o600)
    except BaseException:
        path.unlink()
        raise
    sync_folder(path.parent)


def _fill(handle: int, data: bytes, mode: int) -> None:
    with os.fdopen(handle, "wb") as file:
        os.fchmod(file.fileno(), mode)
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


@contextlib.contextmanager
def opened_for_adding(path: Path) -> Iterator[int]:
    """Open a file that is only ever added to, and hold it against other writers.

    The lock belongs to the process: when it is killed, the lock goes with it.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    new = not path.exists()
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
    try:
        if new:
            sync_folder(path.parent)
        _lock(handle)
        yield handle
    finally:
        os.close(handle)


def _lock(handle: int) -> None:
    try:
        import fcntl
    except ImportError:  # not on this system: two seals at once are then the mill's to avoid
        return
    fcntl.flock(handle, fcntl.LOCK_EX)


def read_all(handle: int) -> bytes:
    """Return the bytes of an open file from its beginning."""
    os.lseek(handle, 0, os.SEEK_SET)
    parts = []
    while part := os.read(handle, 1 << 20):
        parts.append(part)
    return b"".join(parts)


def add(handle: int, data: bytes) -> None:
    """Add bytes at the end of an open file and wait until the disk has them."""
    view = memoryview(data)
    while view:
        view = view[os.write(handle, view) :]
    os.fsync(handle)


def add_line(path: Path, line: bytes) -> None:
    """Add a line to a file and wait until the disk has it; a line cut short before is taken off."""
    with opened_for_adding(path) as handle:
        raw = read_all(handle)
        if torn := len(raw) - (raw.rfind(b"\n") + 1):
            os.ftruncate(handle, len(raw) - torn)
        add(handle, line + b"\n")
