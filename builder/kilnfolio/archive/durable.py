"""Durable files: records, keys and lines of the ledger, complete on the disk or not there."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from kilnfolio.runtime import files
from kilnfolio.runtime.files import need_file, sync_folder


def write_whole(path: Path, data: bytes, mode: int = 0o644) -> None:
    """Write a file that everybody may read, making its folder if it is missing."""
    path.parent.mkdir(parents=True, exist_ok=True)
    files.write_whole(path, data, mode)


def write_secret(path: Path, data: bytes) -> None:
    """Write a file that only its owner may read, atomically, in a folder with the same permissions.

    Raises
    ------
    FileExistsError
        It exists already; it is never overwritten.
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
    """Open an append-only file, and lock it against other writers.

    The lock belongs to the process and is released when the process ends.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    new = not path.exists()
    flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_NONBLOCK", 0)
    handle = os.open(path, flags, 0o644)
    try:
        need_file(handle, path)
        if new:
            sync_folder(path.parent)
        _lock(handle)
        yield handle
    finally:
        os.close(handle)


def _lock(handle: int) -> None:
    try:
        import fcntl
    except ImportError:  # not supported on this system: the mill must not seal twice at once
        return
    fcntl.flock(handle, fcntl.LOCK_EX)


def read_all(handle: int) -> bytes:
    """Return the whole content of an open file."""
    os.lseek(handle, 0, os.SEEK_SET)
    parts = []
    while part := os.read(handle, 1 << 20):
        parts.append(part)
    return b"".join(parts)


def add(handle: int, data: bytes) -> None:
    """Append bytes to an open file and wait until they are on the disk."""
    view = memoryview(data)
    while view:
        view = view[os.write(handle, view) :]
    os.fsync(handle)


def add_line(path: Path, line: bytes) -> None:
    """Append a line to a file and wait until it is on the disk; first remove an incomplete line."""
    with opened_for_adding(path) as handle:
        raw = read_all(handle)
        if torn := len(raw) - (raw.rfind(b"\n") + 1):
            os.ftruncate(handle, len(raw) - torn)
        add(handle, line + b"\n")
