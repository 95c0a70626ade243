"""The site as it is served, and the staging copy that the next build works on.

Every edition is on disk twice: as it is served, and in staging, with every file shared by a hard
link. A build changes the staging copy and then exchanges the two folders in one step, so that a
reader sees either the old edition or the new one, complete; then the old one is synchronized.
Unchanged files are not written, copied or linked again, so the cost depends only on the size of the
change. A manifest of files would do the same for a server of our own, but a site must open from a
plain folder.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

from kilnfolio.graph.states import STAGING, site_stamps, stamp
from kilnfolio.graph.store import Store
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass


class Tree:
    """The editions below a folder, and their staging copies.

    Parameters
    ----------
    out : Path
        The folder of the editions.
    store : Store
        The store, which records what the editions should contain.
    editions : tuple of str
        Their names.
    public : tuple of str
        Editions that a web server must be able to read, whatever the umask.
    """

    def __init__(
        self, out: Path, store: Store, editions: tuple[str, ...], public: tuple[str, ...] = ()
    ):
        self.out, self.store, self.editions, self.public = out, store, editions, public
        self.staging = out / STAGING
        self._recover()

    def intact(self) -> bool:
        """Return whether the served editions are those of the last build."""
        served: dict[str, int] | None = self.store.note("served")
        return served is not None and all(
            _inode(self.out / edition) == served[edition] for edition in self.editions
        )

    def write(self, path: str, data: bytes) -> None:
        """Write a file in staging; the served one is not changed."""
        target = f"{self.staging}/{path}"
        public = path.partition("/")[0] in self.public
        try:
            _write_new(target, data, public)
        except FileExistsError:  # linked to the served one
            Path(target).unlink()
            _write_new(target, data, public)
        except FileNotFoundError:
            self._make_folder(Path(target).parent)
            _write_new(target, data, public)

    def _make_folder(self, folder: Path) -> None:
        """Make a folder in staging, with its parents."""
        try:
            folder.mkdir()
        except FileExistsError:
            return
        except FileNotFoundError:
            self._make_folder(folder.parent)
            folder.mkdir()
        inside = folder.relative_to(self.staging).parts if self.staging in folder.parents else ()
        if inside and inside[0] in self.public:
            folder.chmod(0o755)

    def remove(self, paths: Iterable[str]) -> None:
        """Remove files from staging, and folders left empty."""
        for path in paths:
            _remove(self.staging, path)

    def publish(self) -> None:
        """Exchange the staged and the served editions, then synchronize the staged one."""
        for edition in self.editions:
            self._make_folder(self.staging / edition)
        self.store.keep("served", self._staged())
        self.store.keep("changing over", True)
        self.store.commit()  # from here on, the next build finishes what is cut short
        self._exchange_editions()

    def _exchange_editions(self) -> None:
        served: dict[str, int] = self.store.note("served")
        for edition in self.editions:
            if _inode(self.staging / edition) == served[edition]:
                swap(self.staging / edition, self.out / edition)
        self._synchronize()
        self.store.keep("changing over", False)
        self.store.commit()

    def _synchronize(self) -> None:
        """Bring staging level with what is served."""
        stamped = {}
        for path in self.store.pending():
            served, staged = self.out / path, self.staging / path
            if not served.exists():
                _remove(self.staging, path)
                continue
            try:
                _link(served, staged)
            except FileExistsError:
                staged.unlink()
                _link(served, staged)
            except FileNotFoundError:
                self._make_folder(staged.parent)
                _link(served, staged)
            stamped[path] = stamp(served.stat())
        self.store.stamp(stamped)
        self.store.clear_pending()
        self.store.keep("staged", self._staged())

    def _staged(self) -> dict[str, int | None]:
        return {edition: _inode(self.staging / edition) for edition in self.editions}

    def _recover(self) -> None:
        """Finish what an interrupted build had begun, or prepare staging for a first build."""
        staged: dict[str, int] | None = self.store.note("staged")
        if staged is None:
            for edition in self.editions:
                shutil.rmtree(self.staging / edition, ignore_errors=True)
                self._make_folder(self.staging / edition)
            self.store.keep("staged", self._staged())
            self.store.commit()
            return
        if self.store.note("changing over"):
            self._exchange_editions()
            staged = self.store.note("staged")
        # until a first build ends nothing is served, and staging holds what it has made
        begun = self.store.note("served") is None
        if not (begun or self.intact()) or any(
            _inode(self.staging / edition) != staged[edition] for edition in self.editions
        ):
            raise StrangeSiteError

    # --- changes from outside ---------------------------------------------------------------------

    def damage(self) -> Damage:
        """Return the files of the site that are missing, changed or foreign.

        A file is read again only if its size, modification time or inode change time (ctime)
        differs, that is, if it was written, renamed or linked since. The ctime cannot be set back.
        """
        if self.store.note("served") is None:
            return Damage()
        known = self.store.stamps()
        now = site_stamps(self.out, self.editions)
        if now == known:
            return Damage()
        again, changed = {}, []
        for path in now.keys() & known.keys():
            if now[path] == known[path]:
                continue
            wanted = self.store.file_digest(path)
            if all(_digest(folder / path) == wanted for folder in (self.out, self.staging)):
                again[path] = now[path]
            else:
                changed.append(path)
        self.store.stamp(again)
        return Damage(
            sorted(known.keys() - now.keys()), sorted(changed), sorted(now.keys() - known.keys())
        )


@dataclass(frozen=True)
class Damage:
    """Files of a site that are not as the last build left them, as paths below the site."""

    gone: Sequence[str] = ()
    changed: Sequence[str] = ()
    strange: Sequence[str] = ()
    """Those that no build wrote."""


class StrangeSiteError(Exception):
    """The editions on disk are not those of the last build, so the store does not describe them."""


def swap(new: Path, old: Path) -> None:
    """Exchange two folders, or move one to a name that is free.

    On Linux the two names are exchanged atomically, so a reader sees either the old folder or the
    new one. Elsewhere the old one is moved aside first.
    """
    if not old.exists():
        new.rename(old)
        new.mkdir()
        return
    if not _exchange(new, old):
        moved = new.with_name(f"{new.name}.old")
        old.rename(moved)
        new.rename(old)
        moved.rename(new)


def _exchange(first: Path, second: Path) -> bool:
    """Exchange two names by renameat2(2); return False if the system cannot."""
    import ctypes

    at_current_folder, exchange = -100, 2
    with contextlib.suppress(OSError, AttributeError):
        library = ctypes.CDLL(None, use_errno=True)
        code: int = library.renameat2(
            at_current_folder, os.fsencode(first), at_current_folder, os.fsencode(second), exchange
        )
        return code == 0
    return False


def _inode(folder: Path) -> int | None:
    """Return a folder's inode number, which identifies it under any name; None if it is missing."""
    try:
        return folder.stat().st_ino
    except OSError:
        return None


def _digest(path: Path) -> bytes | None:
    """Return the digest of a file; None if it is missing or a symbolic link."""
    try:
        return None if path.is_symlink() else hashlib.sha256(read_file(path)).digest()
    except OSError:
        return None


def _remove(root: Path, path: str) -> None:
    with contextlib.suppress(FileNotFoundError):
        (root / path).unlink()
    parts: Sequence[Path] = (root / path).relative_to(root).parents[:-2]
    for folder in parts:
        with contextlib.suppress(OSError):  # it is not empty
            (root / folder).rmdir()
            continue
        break


def _write_new(target: str, data: bytes, public: bool) -> None:
    """Write a file that must not exist yet."""
    handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    with os.fdopen(handle, "wb") as file:
        if public:
            os.fchmod(handle, 0o644)
        file.write(data)


def _link(source: Path, target: Path) -> None:
    """Hard-link a file to a name that must be free; copy it if the disk cannot."""
    try:
        os.link(source, target)
    except (FileExistsError, FileNotFoundError):
        raise
    except OSError:
        shutil.copyfile(source, target)
