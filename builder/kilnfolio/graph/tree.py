"""The site as it is served, and the staging copy that the next build works on.

Every edition lies on the disk twice: once as it is served and once in staging, sharing every file
by a hard link. A build changes the staging copy and then exchanges the two names in one step, so
that a reader sees the old edition or the new one, whole; then the old one is brought level.
Unchanged files are neither written nor copied nor linked again, so the cost is that of the change
alone. A manifest of files would do the same for a server of our own, but a site must open from a
plain folder.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

from kilnfolio.graph.store import Store

#: The folder beside the editions that holds their staging copies and the store.
STAGING = ".staging"
#: The folder of compiled templates: of this version of the code alone.
TEMPLATES = f"{STAGING}/templates"


class Tree:
    """The editions below a folder, and their staging copies.

    Parameters
    ----------
    out : Path
        The folder of the editions.
    store : Store
        What it should hold.
    editions : tuple of str
        Their names.
    """

    def __init__(self, out: Path, store: Store, editions: tuple[str, ...]):
        self.out, self.store, self.editions = out, store, editions
        self.staging = out / STAGING
        self._recover()

    def intact(self) -> bool:
        """Return whether the editions served are those of the last build."""
        served: dict[str, int] | None = self.store.note("served")
        return served is not None and all(
            _place(self.out / edition) == served[edition] for edition in self.editions)

    def write(self, path: str, data: bytes) -> None:
        """Write a file in staging; the one that is served keeps its bytes."""
        target = self.staging / path
        try:
            target.unlink(missing_ok=True)
            target.write_bytes(data)
        except FileNotFoundError:
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data)

    def remove(self, paths: Iterable[str]) -> None:
        """Remove files from staging, and the folders they leave empty."""
        for path in paths:
            _remove(self.staging, path)

    def publish(self) -> None:
        """Put what is staged in the place of what is served, then bring the other level."""
        for edition in self.editions:
            (self.staging / edition).mkdir(parents=True, exist_ok=True)
        self.store.keep("served", self._staged())
        self.store.keep("changing over", True)
        self.store.commit()  # from here on the build stands: what is cut short is finished later
        self._change_over()

    def _change_over(self) -> None:
        served: dict[str, int] = self.store.note("served")
        for edition in self.editions:
            if _place(self.staging / edition) == served[edition]:
                swap(self.staging / edition, self.out / edition)
        self._level()
        self.store.keep("changing over", False)
        self.store.commit()

    def _level(self) -> None:
        """Give the staging copy what it lacks of what is served."""
        for path in self.store.pending():
            _remove(self.staging, path)
            _link(self.out / path, self.staging / path)
        self.store.clear_pending()
        self.store.keep("staged", self._staged())

    def _staged(self) -> dict[str, int | None]:
        return {edition: _place(self.staging / edition) for edition in self.editions}

    def _recover(self) -> None:
        """Finish what a build that was stopped had begun, or begin where there is nothing."""
        staged: dict[str, int] | None = self.store.note("staged")
        if staged is None:
            for edition in self.editions:
                shutil.rmtree(self.staging / edition, ignore_errors=True)
                (self.staging / edition).mkdir(parents=True)
            self.store.keep("staged", self._staged())
            self.store.commit()
            return
        if self.store.note("changing over"):
            self._change_over()
            staged = self.store.note("staged")
        # before a first build has ended nothing is served, and staging holds what it made
        begun = self.store.note("served") is None
        if not (begun or self.intact()) or any(
                _place(self.staging / edition) != staged[edition] for edition in self.editions):
            raise StrangeSiteError


class StrangeSiteError(Exception):
    """What lies there is not what the last build put there, so the store says nothing of it."""


def swap(new: Path, old: Path) -> None:
    """Exchange two folders, or put one where there is none.

    On Linux the two names are exchanged in one step, so that a reader sees the old folder or the
    new one and never half of each. Elsewhere the old one is moved aside first.
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
    """Exchange two names by renameat2(2); False where the system cannot."""
    import ctypes

    at_current_folder, exchange = -100, 2
    with contextlib.suppress(OSError, AttributeError):
        library = ctypes.CDLL(None, use_errno=True)
        code: int = library.renameat2(at_current_folder, os.fsencode(first), at_current_folder,
                                      os.fsencode(second), exchange)
        return code == 0
    return False


def _place(folder: Path) -> int | None:
    """Return what tells a folder from any other, whatever its name; None where it is not there."""
    try:
        return folder.stat().st_ino
    except OSError:
        return None


def _remove(home: Path, path: str) -> None:
    with contextlib.suppress(FileNotFoundError):
        (home / path).unlink()
    parts: Sequence[Path] = (home / path).relative_to(home).parents[:-2]
    for folder in parts:
        with contextlib.suppress(OSError):  # it still holds something
            (home / folder).rmdir()
            continue
        break


def _link(source: Path, target: Path) -> None:
    """Share a file, where it is still there; copy it where the disk cannot share."""
    if not source.exists():
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)
