"""Files written whole: whenever the machine stops, the old file is there or the new one.

Neither a full disk nor a kill nor a power cut leaves half a file, and where the system can hold a
file that has no name yet (Linux), no scrap of one either.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path


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
