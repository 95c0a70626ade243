"""Files written whole, and files from anywhere read up to a limit.

Whenever the machine stops, the old file is there or the new one. Neither a full disk nor a kill nor
a power cut leaves half a file, and where the system can hold a file that has no name yet (Linux),
no scrap of one either.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import stat
import tempfile
from pathlib import Path


class TooLargeError(Exception):
    """A file has more bytes than are read of it: so many at least, in `size`."""

    def __init__(self, size: int):
        super().__init__(f"it has {size:,} bytes")
        self.size = size


def read_whole(path: Path, most: int) -> bytes:
    """Read a file that somebody else may have put there.

    Parameters
    ----------
    path : Path
        The file.
    most : int
        The most bytes it may have.

    Raises
    ------
    OSError
        It cannot be read, or is a pipe or a device, which might never come to an end.
    TooLargeError
        It has more bytes than `most`; no more of it is kept in memory.
    """
    with opened(path) as file:
        size = os.fstat(file.fileno()).st_size
        data = b"" if size > most else file.read(most + 1)
    if max(size, len(data)) > most:
        raise TooLargeError(max(size, len(data)))
    return data


def opened(path: Path) -> io.BufferedReader:
    """Open a file to be read; see `read_whole`, which says what is refused."""
    # a pipe that nobody writes to would hold the program for ever
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        kind = stat.S_IFMT(os.fstat(handle).st_mode)
        if kind == stat.S_IFDIR:
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
        if kind != stat.S_IFREG:
            raise OSError(errno.EINVAL, "it is a pipe or a device, and no file", str(path))
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def write_whole(path: Path, data: bytes, mode: int | None = None) -> None:
    """Write a file, or put another in its place.

    Parameters
    ----------
    path : Path
        The file. Its folder is there already.
    data : bytes
        All of it.
    mode : int, optional
        Who may read it; by default as the file that is there, or as the person's umask has it.
    """
    if mode is None and path.exists():
        mode = path.stat().st_mode & 0o7777
    handle, name = _begun(path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            if mode is not None:
                os.fchmod(file.fileno(), mode)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
            if not name:
                name = f"{path.parent}/.new-{os.getpid()}-{file.fileno()}"
                # a folder's handle makes Python call linkat(2), which follows the first name;
                # both names are given so that the handle is not looked at
                os.link(
                    f"/proc/self/fd/{file.fileno()}",
                    Path(name).absolute(),
                    src_dir_fd=file.fileno(),
                )
        Path(name).replace(path)
    except BaseException:
        if name:
            Path(name).unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def _begun(folder: Path) -> tuple[int, str]:
    """Open a file to be written, without a name where the system can; return it and its name."""
    if hasattr(os, "O_TMPFILE") and os.access("/proc/self/fd", os.X_OK):
        with contextlib.suppress(OSError):  # not on every file system
            return os.open(folder, os.O_TMPFILE | os.O_WRONLY, 0o666), ""
    handle, name = tempfile.mkstemp(prefix=".new-", dir=folder)
    umask = os.umask(0)
    os.umask(umask)
    Path(name).chmod(0o666 & ~umask)
    return handle, name


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable."""
    with contextlib.suppress(OSError):  # a system or a share that cannot
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
