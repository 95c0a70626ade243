"""Seals and amends charges, and tells whether they still are as sealed.

A sealed record never changes. Errors found later are corrected in the charge's files, and an
amendment adds a new entry with its reason; the earlier record remains and can still be recomputed,
because every file behind it is kept beside the ledger.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Literal

from pydantic import TypeAdapter, ValidationError

from kilnfolio.archive.adding import MENDED_BY_ADDING, SealRefusedError, writing
from kilnfolio.archive.canonical import canonical, read_json, sha256
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.compare import Difference, compare
from kilnfolio.archive.durable import write_whole
from kilnfolio.archive.entries import Draft, Entry, SealedFile
from kilnfolio.archive.keyring import list_key
from kilnfolio.archive.keys import Keys
from kilnfolio.archive.ledger import Ledger, first_reason
from kilnfolio.archive.own import apart
from kilnfolio.archive.places import KEPT, dossier_path
from kilnfolio.archive.recompute import gather, review_again
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.model import Name, Text
from kilnfolio.review.dossier import Dossier, Input
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass


def seal(folder: MillFolder, dossier: Dossier, by: str, keys: Keys, at: dt.datetime) -> Entry:
    """Seal a charge.

    Parameters
    ----------
    folder : MillFolder
        The mill, read without problems.
    dossier : Dossier
        The review of the charge, made from these files.
    by : str
        Who seals.
    keys : Keys
        The mill's key.
    at : datetime
        When, with a zone.

    Raises
    ------
    SealRefusedError
        A failed check is not answered, the charge is already sealed, a file changed since it was
        reviewed, or the ledger has problems.
    UnusableKeyError
        The key is not listed as the mill's.
    """
    return _enter(folder, dossier, by, keys, at, None)


def amend(
    folder: MillFolder, dossier: Dossier, by: str, keys: Keys, at: dt.datetime, reason: str
) -> Entry:
    """Seal a changed charge again, amending its last entry.

    Parameters
    ----------
    folder, dossier, by, keys, at
        See `seal`.
    reason : str
        Why the record was changed; it is published.

    Raises
    ------
    SealRefusedError
        As in `seal`; also if the charge is not sealed, nothing changed, or no reason is given.
    """
    if not reason.strip():
        raise SealRefusedError("an amendment needs a reason: it is printed with the record")
    return _enter(folder, dossier, by, keys, at, reason.strip())


def _enter(
    folder: MillFolder, dossier: Dossier, by: str, keys: Keys, at: dt.datetime, reason: str | None
) -> Entry:
    check_words("by", by, Name)
    if reason is not None:
        check_words("reason", reason, Text)
    refused = [
        f"{finding.check} fails and is not answered: {finding.message}"
        for finding in dossier.findings
        if finding.outcome == "fail"
    ]
    if refused:
        raise SealRefusedError(*refused)
    if at.tzinfo is None:
        raise ValueError("at must have a zone")
    if at < dossier.ended:
        raise SealRefusedError(
            f"{at.isoformat()} is before the charge ended, {dossier.ended.isoformat()}; check the "
            "clock"
        )
    root, data = folder.root, canonical(dossier)
    at = at.replace(microsecond=0)
    with writing(root) as ledger:
        sealed = ledger.of_charge(dossier.charge)
        _may_enter(root, dossier, sealed, reason)
        ledger.refuse(at, keys)
        list_key(root, keys, at.date())
        draft = Draft(
            kind="seal" if reason is None else "amendment",
            charge=dossier.charge,
            dossier=sha256(data),
            inputs=keep(root, dossier.inputs),
            supporting=keep(root, _supporting(folder, dossier)),
            reason=reason,
            by=by.strip(),
            at=at,
        )
        write_whole(root / dossier_path(dossier.charge, len(sealed) + 1), data)
        return ledger.append(draft, keys)


def check_words(what: str, words: str, of: Any) -> None:
    """Refuse text that a record could not contain, such as a name with control characters."""
    try:
        TypeAdapter(of).validate_python(words.strip())
    except ValidationError as error:
        raise SealRefusedError(f"{what} {words!r}: {first_reason(error)}") from None


def _may_enter(root: Path, dossier: Dossier, sealed: tuple[Entry, ...], reason: str | None) -> None:
    charge = dossier.charge
    if reason is None and sealed:
        raise SealRefusedError(
            f"{charge} is sealed already, by {sealed[-1].by} on {sealed[-1].at:%Y-%m-%d}; a "
            f"changed record is amended: kilnfolio amend {charge} --reason '…' --by NAME"
        )
    if reason is not None and not sealed:
        raise SealRefusedError(
            f"{charge} is not sealed, so there is nothing to amend: kilnfolio "
            f"seal {charge} --by NAME"
        )
    if sealed and canonical(dossier) == read_file(root / dossier_path(charge, len(sealed))):
        raise SealRefusedError(f"{charge} is as it was sealed; there is nothing to amend")


# --- files ----------------------------------------------------------------------------------------


def keep(root: Path, files: Sequence[Input]) -> tuple[SealedFile, ...]:
    """Keep a copy of each file under its digest.

    Raises
    ------
    SealRefusedError
        A file is no longer the one that was reviewed.
    """
    sealed = []
    for file in files:
        raw = read_file(root / file.path)
        if sha256(raw) != file.sha256:
            raise SealRefusedError(f"{file.path} changed while it was being sealed; seal again")
        kept = root / KEPT / file.sha256
        if not kept.is_file() or sha256(read_file(kept)) != file.sha256:
            write_whole(kept, raw)
        sealed.append(SealedFile(path=file.path, sha256=file.sha256, size=len(raw)))
    return tuple(sealed)


def inputs_of(root: Path, names: Iterable[str]) -> tuple[Input, ...]:
    """Return files of a mill folder with their digests, in order of their names."""
    found = []
    for name in sorted(names):
        raw = read_file(root / name)
        found.append(Input(path=name, sha256=sha256(raw), size=len(raw)))
    return tuple(found)


def _supporting(folder: MillFolder, dossier: Dossier) -> tuple[Input, ...]:
    """Return the files that the inputs name and without which they cannot be read alone.

    They are the publications cited, and the species that the schedule and the limits name besides
    those of the charge.
    """
    charge = folder.charges[dossier.charge].record
    named = set(folder.schedules[charge.schedule].record.for_stock.species)
    for limits in folder.limits.record.limits.values():
        named.update(species for limit in limits for species in limit.scope.species)
    files = {folder.sources.file, *(folder.species[species].file for species in named)}
    return inputs_of(folder.root, files - {file.path for file in dossier.inputs})


# --- is it still as sealed? -----------------------------------------------------------------------

Word = Literal["unsealed", "sealed", "changed", "amended"]


@dataclass(frozen=True)
class SealState:
    """Whether a charge's own files are still as sealed."""

    charge: str
    word: Word
    """changed: they differ from the last entry; amended: they do not, and it is an amendment."""
    entries: tuple[Entry, ...] = ()
    """Its entries, oldest first."""
    differences: tuple[Difference, ...] = ()
    """Files and numbers that are not as sealed."""

    @property
    def last(self) -> Entry | None:
        """The entry in force."""
        return self.entries[-1] if self.entries else None


def state(
    root: Path, charge: str, ledger: Ledger | None = None, *, numbers: bool = True
) -> SealState:
    """Return whether a charge is still as sealed, and what is not.

    Only its own files count: its record and its logger exports. What it shares with other charges,
    such as limits, species, schedules, kilns and the mill's address, may change, since copies are
    kept with the seal. Nor do later rules break a seal; see `review.versions`.

    Parameters
    ----------
    root : Path
        The mill folder.
    charge : str
        The charge.
    ledger : Ledger, optional
        The mill's ledger, if it has already been read.
    numbers : bool
        If a file changed, review it with the rest as sealed, and report the numbers that change.
    """
    ledger = ledger or read_ledger(root)
    entries = ledger.of_charge(charge)
    if not entries:
        return SealState(charge, "unsealed")
    differences = [d for d in ledger.differences if d.kind not in MENDED_BY_ADDING]
    differences += _lost_copies(root, entries[-1])
    changed = list(own_changes(root, entries[-1]))
    if changed and numbers:
        changed += _moved_numbers(root, entries)
    differences += changed
    word: Word = "changed" if differences else "amended" if len(entries) > 1 else "sealed"
    return SealState(charge, word, entries, tuple(differences))


def _lost_copies(root: Path, entry: Entry) -> Iterator[Difference]:
    for file in entry.files:
        if not (root / KEPT / file.sha256).is_file():
            yield Difference(
                kind="kept-file-missing",
                where=(KEPT / file.sha256).as_posix(),
                sealed=file.sha256,
                what=f"the copy of {file.path} that was sealed is not there; "
                "bring it back from a backup",
            )


def own_changes(root: Path, entry: Entry) -> Iterator[Difference]:
    """Yield each of a charge's own files that is not as sealed."""
    for file in entry.files:
        if not entry.is_own(file.path):
            continue
        try:
            found = sha256(read_file(root / file.path))
        except OSError:
            yield Difference(
                kind="file-missing",
                where=file.path,
                sealed=file.sha256,
                what="it was sealed and is not there",
            )
            continue
        if found != file.sha256:
            yield Difference(
                kind="file-changed",
                where=file.path,
                sealed=file.sha256,
                found=found,
                what="it is not the file that was sealed",
            )


def _moved_numbers(root: Path, entries: tuple[Entry, ...]) -> list[Difference]:
    """Return the numbers that change with a charge's own files, with everything else as sealed."""
    entry = entries[-1]
    path = dossier_path(entry.charge, len(entries))
    sealed = _read_dossier(root / path)
    again = review_again(gather(root, entry, is_last=True, closed=False).files, entry.charge)
    if isinstance(again, list):
        return again
    return [] if sealed is None else compare(apart(sealed)[0], again, path.as_posix()).differences


def _read_dossier(path: Path) -> dict[str, Any] | None:
    try:
        value = read_json(read_file(path))
    except (OSError, ValueError):
        return None  # the check of the ledger has reported it
    return value if isinstance(value, dict) else None
