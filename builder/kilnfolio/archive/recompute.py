"""Reviews a sealed charge again from the sealed files.

The files are copied to a temporary folder, so that nothing but what the entry names can affect the
result, and nothing is written beside what is audited.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import field
from pathlib import Path
from typing import Any

from kilnfolio.archive.canonical import canonical, read_json, sha256
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.entries import Entry, SealedFile
from kilnfolio.archive.places import KEPT
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.kinds import is_own_code
from kilnfolio.records.problems import RecordProblems
from kilnfolio.review.own_code import load
from kilnfolio.review.review import review_charge
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass


@dataclass
class Gathered:
    """The files of an entry, and those that are not as sealed."""

    files: dict[str, bytes] = field(default_factory=dict)
    differences: list[Difference] = field(default_factory=list)


def gather(root: Path, entry: Entry, *, is_last: bool, closed: bool) -> Gathered:
    """Return the files of an entry.

    Parameters
    ----------
    root : Path
        A mill folder, or the ``data`` folder of a bag.
    entry : Entry
        The seal.
    is_last : bool
        Whether it is the last entry of its charge. Then a changed file is used as it is, so that
        the numbers it changes are reported.
    closed : bool
        Whether nothing in `root` may have changed since, as in a bag. In a mill folder a file
        shared with other charges may change; then the kept copy is used.
    """
    gathered = Gathered()
    for file in entry.files:
        present, kept = _bytes(root / file.path), _bytes(root / KEPT / file.sha256)
        kept = kept if kept is not None and sha256(kept) == file.sha256 else None
        same = present is not None and sha256(present) == file.sha256
        if kept is None and (not closed or not (same or is_last)):
            gathered.differences.append(
                Difference(
                    kind="kept-file-missing",
                    where=(KEPT / file.sha256).as_posix(),
                    sealed=file.sha256,
                    what=f"the copy of {file.path} that was sealed is not there, or is not that copy",
                )
            )
        used = present if same else kept
        if is_last and not same and (closed or entry.is_own(file.path)):
            gathered.differences.append(
                _difference(
                    file, present, f"it is not the file that was sealed ({file.size} bytes then)"
                )
            )
            used = kept if present is None else present
        if used is not None:
            gathered.files[file.path] = used
    return gathered


def _bytes(path: Path) -> bytes | None:
    try:
        return read_file(path)
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError):
        return None


def _difference(file: SealedFile, present: bytes | None, what: str) -> Difference:
    if present is None:
        return Difference(
            kind="file-missing",
            where=file.path,
            sealed=file.sha256,
            what="it was sealed and is not there",
        )
    return Difference(
        kind="file-changed", where=file.path, what=what, sealed=file.sha256, found=sha256(present)
    )


@contextmanager
def temporary_mill(files: Mapping[str, bytes]) -> Iterator[MillFolder]:
    """Read a mill folder made of these files alone.

    Raises
    ------
    RecordProblems
        They cannot be read.
    """
    with tempfile.TemporaryDirectory(prefix="kilnfolio-") as name:
        for path, data in files.items():
            place = Path(name) / path
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(data)
        yield checked_mill(Path(name))


def review_again(
    files: Mapping[str, bytes], charge: str, *, run_own: bool = False
) -> dict[str, Any] | list[Difference]:
    """Return the dossier of a charge computed from these files, as plain JSON values.

    Parameters
    ----------
    files : mapping of str to bytes
        The files by path.
    charge : str
        The charge.
    run_own : bool
        Whether to run the mill's own checks among the files. They are somebody else's code.

    Returns
    -------
    dict or list of Difference
        The dossier, or the reasons why there is none.
    """
    try:
        own = {path: data for path, data in files.items() if is_own_code(path)}
        with temporary_mill(files) as folder:
            checks = load(own) if run_own else None
            found: dict[str, Any] = read_json(canonical(review_charge(folder, charge, checks)))
            return found
    except RecordProblems as error:
        return [
            Difference(kind="record-unreadable", where=str(problem.place), what=str(problem))
            for problem in error.problems
        ]
    except Exception as error:  # any failure on possibly altered files is a finding
        return [
            Difference(
                kind="not-recomputed",
                where=charge,
                what=f"the review of these files ended with {type(error).__name__}: {error}",
            )
        ]
