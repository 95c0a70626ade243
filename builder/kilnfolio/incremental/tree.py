"""The site as it is served, and its twin that the next build works on.

Every edition lies on the disk twice: once as it is served, and once aside, sharing every file by a
hard link. A build changes the twin and then exchanges the two names in one step, so that a reader
sees the old edition or the new one, whole; then the old one is brought level. What did not change
is neither written nor copied nor linked again, so the cost is that of the change alone, whatever
the size of the site. A manifest of files would have done the same for a server of our own, but a
site has to open from a plain folder.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

from kilnfolio.incremental.store import Store

EDITIONS = ("mill", "customer", "auditor")
#: The folder beside the editions that holds their twins and the store.
ASIDE = ".twin"
#: The folder of compiled templates: of this version of the code alone.
TEMPLATES = f"{ASIDE}/templates"


class Tree:
    """The editions below a folder, and their twins.

    Parameters
    ----------
    out : Path
        The folder of the editions.
    store : Store
        What it should hold.
    """

    def __init__(self, out: Path, store: Store):
        self.out, self.store = out, store
        self.aside = out / ASIDE
        self._recover()

    def intact(self) -> bool:
        """Return whether the editions served are those of the last build."""
        served: dict[str, int] | None = self.store.note("served")
        return served is not None and all(
            _place(self.out / edition) == served[edition] for edition in EDITIONS)

    def write(self, path: str, data: bytes) -> None:
        """Write a file of the twin; the one that is served keeps its bytes."""
        target = self.aside / path
        try:
            target.unlink(missing_ok=True)
            target.write_bytes(data)
        except FileNotFoundError:
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data)

    def remove(self, paths: Iterable[str]) -> None:
        """Remove files of the twin, and the folders they leave empty."""
        for path in paths:
            _remove(self.aside, path)

    def publish(self) -> None:
        """Put the twin in the place of what is served, then bring the other level."""
        for edition in EDITIONS:
            (self.aside / edition).mkdir(parents=True, exist_ok=True)
        self.store.keep("served", {edition: _place(self.aside / edition) for edition in EDITIONS})
        self.store.keep("changing over", True)
        self.store.commit()  # from here on the build stands: what is cut short is finished later
        self._change_over()

    def _change_over(self) -> None:
        served: dict[str, int] = self.store.note("served")
        for edition in EDITIONS:
            if _place(self.aside / edition) == served[edition]:
                swap(self.aside / edition, self.out / edition)
        self._level()
        self.store.keep("changing over", False)
        self.store.commit()

    def _level(self) -> None:
        """Give the twin what it lacks of what is served."""
        for path in self.store.pending():
            _remove(self.aside, path)
            _link(self.out / path, self.aside / path)
        self.store.clear_pending()
        self.store.keep("twins", {edition: _place(self.aside / edition) for edition in EDITIONS})

    def _recover(self) -> None:
        """Finish what a build that was stopped had begun, or begin where there is nothing."""
        twins: dict[str, int] | None = self.store.note("twins")
        if twins is None:
            for edition in EDITIONS:
                shutil.rmtree(self.aside / edition, ignore_errors=True)
                (self.aside / edition).mkdir(parents=True)
            self.store.keep("twins", {e: _place(self.aside / e) for e in EDITIONS})
            self.store.commit()
            return
        if self.store.note("changing over"):
            self._change_over()
            twins = self.store.note("twins")
        # before a first build has ended nothing is served, and the twin holds what it made
        begun = self.store.note("served") is None
        if not (begun or self.intact()) or any(
                _place(self.aside / edition) != twins[edition] for edition in EDITIONS):
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
