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
import hashlib
import os
import shutil
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
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
    public : tuple of str
        Those that a web server gives to everybody, whoever built them.
    """

    def __init__(
        self, out: Path, store: Store, editions: tuple[str, ...], public: tuple[str, ...] = ()
    ):
        self.out, self.store, self.editions, self.public = out, store, editions, public
        self.staging = out / STAGING
        self._recover()

    def intact(self) -> bool:
        """Return whether the editions served are those of the last build."""
        served: dict[str, int] | None = self.store.note("served")
        return served is not None and all(
            _place(self.out / edition) == served[edition] for edition in self.editions
        )

    def write(self, path: str, data: bytes) -> None:
        """Write a file in staging; the one that is served keeps its bytes."""
        target = self.staging / path
        try:
            target.unlink(missing_ok=True)
            target.write_bytes(data)
        except FileNotFoundError:
            self._make_folder(target.parent)
            target.write_bytes(data)
        if path.partition("/")[0] in self.public:
            target.chmod(0o644)

    def _make_folder(self, folder: Path) -> None:
        """Make a folder of staging and those above it."""
        missing = [one for one in (folder, *folder.parents) if not one.exists()]
        for one in reversed(missing):
            one.mkdir(exist_ok=True)
            inside = one.relative_to(self.staging).parts if self.staging in one.parents else ()
            if inside and inside[0] in self.public:
                one.chmod(0o755)

    def remove(self, paths: Iterable[str]) -> None:
        """Remove files from staging, and the folders they leave empty."""
        for path in paths:
            _remove(self.staging, path)

    def publish(self) -> None:
        """Put what is staged in the place of what is served, then bring the other level."""
        for edition in self.editions:
            self._make_folder(self.staging / edition)
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
        stamped = {}
        for path in self.store.pending():
            _remove(self.staging, path)
            if (self.out / path).exists():
                self._make_folder((self.staging / path).parent)
                _link(self.out / path, self.staging / path)
                stamped[path] = _stamp((self.out / path).stat())
        self.store.stamp(stamped)
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
                self._make_folder(self.staging / edition)
            self.store.keep("staged", self._staged())
            self.store.commit()
            return
        if self.store.note("changing over"):
            self._change_over()
            staged = self.store.note("staged")
        # before a first build has ended nothing is served, and staging holds what it made
        begun = self.store.note("served") is None
        if not (begun or self.intact()) or any(
            _place(self.staging / edition) != staged[edition] for edition in self.editions
        ):
            raise StrangeSiteError

    # --- what became of the site since ------------------------------------------------------------

    def damage(self) -> Damage:
        """Return which files of the site are gone, were changed, or are none of it.

        A file is read again only where the system says that it was written to, renamed or linked
        since: its size, and the times of its last change and of the last change to its entry. The
        latter cannot be set back.
        """
        if self.store.note("served") is None:
            return Damage()
        known = self.store.stamps()
        seen, again, changed, strange = set(), {}, [], []
        for edition in self.editions:
            for path, state in _files(self.out, edition):
                if path not in known:
                    strange.append(path)
                    continue
                seen.add(path)
                stamp = _stamp(state)
                if known[path] == stamp:
                    continue
                wanted = self.store.file_digest(path)
                if all(_digest(home / path) == wanted for home in (self.out, self.staging)):
                    again[path] = stamp
                else:
                    changed.append(path)
        self.store.stamp(again)
        return Damage(sorted(known.keys() - seen), sorted(changed), sorted(strange))


@dataclass(frozen=True)
class Damage:
    """Files of a site that are not as the last build left them, by their paths below the site."""

    gone: Sequence[str] = ()
    changed: Sequence[str] = ()
    strange: Sequence[str] = ()
    """Those that no build wrote."""


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
        code: int = library.renameat2(
            at_current_folder, os.fsencode(first), at_current_folder, os.fsencode(second), exchange
        )
        return code == 0
    return False


def _place(folder: Path) -> int | None:
    """Return what tells a folder from any other, whatever its name; None where it is not there."""
    try:
        return folder.stat().st_ino
    except OSError:
        return None


def _files(out: Path, folder: str) -> Iterator[tuple[str, os.stat_result]]:
    """Yield the files below a folder with what the system says of each."""
    waiting = [folder]
    while waiting:
        folder = waiting.pop()
        with os.scandir(out / folder) as entries:
            for entry in entries:
                if entry.is_dir(follow_symlinks=False):
                    waiting.append(f"{folder}/{entry.name}")
                else:
                    yield f"{folder}/{entry.name}", entry.stat(follow_symlinks=False)


def _stamp(state: os.stat_result) -> str:
    return f"{state.st_ino} {state.st_size} {state.st_mtime_ns} {state.st_ctime_ns}"


def _digest(path: Path) -> bytes | None:
    """Return the digest of a file of the site; None where there is none, or a link in its place."""
    try:
        return None if path.is_symlink() else hashlib.sha256(path.read_bytes()).digest()
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
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)
