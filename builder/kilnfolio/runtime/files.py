"""Atomic writes, and reads with a size limit.

What people keep is flushed to the disk before it takes its place: records, keys, the ledger, bags,
exports. A site is not, for the next build notices what is damaged and makes it again.

Whenever the machine stops, either the old file or the new one is there. A full disk, a kill or a
power cut never leaves half a file; and where the system supports unnamed files (Linux), it leaves
no temporary file either.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import stat
from pathlib import Path

TYPE_CHECKING = False  # saves importing typing, to keep commands fast
if TYPE_CHECKING:
    from collections.abc import Iterator


class TooLargeError(Exception):
    """A file exceeds the size limit; `size` is a lower bound on its size [bytes]."""

    def __init__(self, size: int):
        super().__init__(f"it has {size:,} bytes")
        self.size = size


def read_whole(path: Path, limit: int) -> bytes:
    """Read a file of unknown origin.

    Parameters
    ----------
    path : Path
        The file.
    limit : int
        The largest size accepted [bytes].

    Raises
    ------
    OSError
        It cannot be read, or is a pipe or a device, which might never end.
    TooLargeError
        It is larger than `limit`; no more than that is ever held in memory.
    """
    with open_regular(path) as file:
        size = os.fstat(file.fileno()).st_size
        # Python sets aside as much as it is asked to read, which would be the whole limit
        data = b"" if size > limit else file.read(size + 1)
        if len(data) > size:  # the file has grown, or did not tell its size
            data += file.read(limit - size)
    if max(size, len(data)) > limit:
        raise TooLargeError(max(size, len(data)))
    return data


def read_file(path: Path) -> bytes:
    """Read a file of a mill, a site or a bag, whatever its size.

    Raises
    ------
    OSError
        The file cannot be read, or is a pipe or a device, which might never end.
    """
    with open_regular(path) as file:
        return file.read()


def read_text(path: Path, encoding: str = "utf-8", errors: str = "strict") -> str:
    """Read a file like `read_file`, as text with line feeds as line ends."""
    with io.TextIOWrapper(open_regular(path), encoding, errors) as file:
        return file.read()


def open_regular(path: Path) -> io.BufferedReader:
    """Open a file for reading; `read_file` describes what is refused."""
    # opening a pipe that nobody writes to would block for ever
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        need_file(handle, path)
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def need_file(handle: int, path: Path) -> None:
    """Raise OSError where what was opened is a folder, a pipe or a device."""
    mode = os.fstat(handle).st_mode
    if not stat.S_ISREG(mode):
        raise _no_file(mode, path)


def _no_file(mode: int, path: Path) -> OSError:
    if stat.S_ISDIR(mode):
        return IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    return OSError(errno.EINVAL, "it is a pipe or a device, and no file", str(path))


def write_whole(path: Path, data: bytes, mode: int | None = None) -> None:
    """Write a file, or replace it, atomically.

    Parameters
    ----------
    path : Path
        The file. Its folder must exist.
    data : bytes
        Its whole content.
    mode : int, optional
        Permission bits; by default those of the file it replaces, or what the umask allows.

    Raises
    ------
    OSError
        The disk is full or the file may not be written, or `path` is a pipe or a device.
    """
    with contextlib.suppress(FileNotFoundError):
        state = path.stat()
        if not stat.S_ISREG(state.st_mode):  # the system's own, as /dev/null
            raise _no_file(state.st_mode, path)
        mode = state.st_mode & 0o7777 if mode is None else mode
    with naming(path):
        handle, name = _open_new(path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            if mode is not None:
                os.fchmod(file.fileno(), mode)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
            if not name:
                name = f"{path.parent}/.new-{os.getpid()}-{file.fileno()}"
                # given dir_fd, Python calls linkat(2), which follows the link in /proc; both paths
                # are absolute, so the folder itself is not used
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


@contextlib.contextmanager
def naming(path: Path) -> Iterator[None]:
    """Make an error about a temporary file name the file that was to be written.

    Parameters
    ----------
    path : Path
        That file or folder. If its folder does not exist, the error names the folder.

    Raises
    ------
    OSError
        Whatever is raised within, with the other name.
    """
    try:
        yield
    except OSError as error:
        error.filename = str(path if path.parent.is_dir() else path.parent)
        raise


def _open_new(folder: Path) -> tuple[int, str]:
    """Open a file for writing, unnamed if the system supports it; return it and its name."""
    if hasattr(os, "O_TMPFILE") and os.access("/proc/self/fd", os.X_OK):
        with contextlib.suppress(OSError):  # not every file system supports it
            return os.open(folder, os.O_TMPFILE | os.O_WRONLY, 0o666), ""
    import tempfile  # with shutil and what unpacks archives, which few commands need

    handle, name = tempfile.mkstemp(prefix=".new-", dir=folder)
    umask = os.umask(0)
    os.umask(umask)
    Path(name).chmod(0o666 & ~umask)
    return handle, name


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries to the disk."""
    with contextlib.suppress(OSError):  # some systems and network shares cannot
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def sync_tree(path: Path) -> None:
    """Flush a file, or a folder and everything in it, to the disk."""
    for below in path.rglob("*"):
        if not below.is_dir():
            with open_regular(below) as file:
                os.fsync(file.fileno())
    for folder in (path, *filter(Path.is_dir, path.rglob("*"))):
        sync_folder(folder)
