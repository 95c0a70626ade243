"""A charge sealed, amended, and whether it still is as it was sealed.

A sealed record never changes. What is found wrong later is put right in the charge's files, and an
amendment adds a new entry with its reason; the record it takes the place of stays and can still be
recomputed, because every file it rested on is kept beside the ledger.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import TypeAdapter, ValidationError

from kilnfolio.archive.adding import MENDED_BY_ADDING, SealRefusedError, writing
from kilnfolio.archive.canonical import canonical, read_json, sha256
from kilnfolio.archive.compare import Difference, compare, rules_note, version_of
from kilnfolio.archive.durable import write_whole
from kilnfolio.archive.keyring import list_key
from kilnfolio.archive.keys import Keys
from kilnfolio.archive.ledger import (
    KEPT,
    Draft,
    Entry,
    Ledger,
    SealedFile,
    dossier_path,
    first_reason,
    read_ledger,
)
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.model import Name, Text
from kilnfolio.review.dossier import Dossier, Input


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
        When, with its zone.

    Raises
    ------
    SealRefusedError
        A finding is refused and not waived, the charge is sealed already, a file changed since it
        was reviewed, or the ledger does not hold.
    UnusableKeyError
        The key is not listed as the mill's.
    """
    return _enter(folder, dossier, by, keys, at, None)


def amend(folder: MillFolder, dossier: Dossier, by: str, keys: Keys, at: dt.datetime,
          reason: str) -> Entry:
    """Seal a changed charge again, in place of its last entry.

    Parameters
    ----------
    folder, dossier, by, keys, at
        As for `seal`.
    reason : str
        Why the record was changed; it is published.

    Raises
    ------
    SealRefusedError
        As for `seal`; also when the charge is not sealed, nothing changed, or there is no reason.
    """
    if not reason.strip():
        raise SealRefusedError("an amendment needs a reason: it is printed with the record")
    return _enter(folder, dossier, by, keys, at, reason.strip())


def _enter(folder: MillFolder, dossier: Dossier, by: str, keys: Keys, at: dt.datetime,
           reason: str | None) -> Entry:
    check_words("by", by, Name)
    if reason is not None:
        check_words("reason", reason, Text)
    refused = [f"{finding.check} is refused and not waived: {finding.message}"
               for finding in dossier.findings if finding.outcome == "refused"]
    if refused:
        raise SealRefusedError(*refused)
    if at.tzinfo is None:
        raise ValueError("at must have a zone")
    root, data = folder.root, canonical(dossier)
    at = at.replace(microsecond=0)
    with writing(root) as ledger:
        sealed = ledger.of(dossier.charge)
        _may_enter(root, dossier, sealed, reason)
        list_key(root, keys, at.date())
        draft = Draft(kind="seal" if reason is None else "amendment", charge=dossier.charge,
                      dossier=sha256(data), inputs=_keep(root, dossier.inputs),
                      supporting=_keep(root, _supporting(folder, dossier)), reason=reason,
                      by=by.strip(), at=at)
        write_whole(root / dossier_path(dossier.charge, len(sealed) + 1), data)
        return ledger.append(draft, keys)


def check_words(what: str, words: str, of: Any) -> None:
    """Refuse words that a record could not hold, as a name with control characters in it."""
    try:
        TypeAdapter(of).validate_python(words.strip())
    except ValidationError as error:
        raise SealRefusedError(f"{what} {words!r}: {first_reason(error)}") from None


def _may_enter(root: Path, dossier: Dossier, sealed: tuple[Entry, ...], reason: str | None) -> None:
    charge = dossier.charge
    if reason is None and sealed:
        raise SealRefusedError(
            f"{charge} is sealed already, by {sealed[-1].by} on {sealed[-1].at:%Y-%m-%d}; a "
            f"changed record is amended: kilnfolio amend {charge} --reason '…' --by NAME")
    if reason is not None and not sealed:
        raise SealRefusedError(f"{charge} is not sealed, so there is nothing to amend: kilnfolio "
                               f"seal {charge} --by NAME")
    if sealed and canonical(dossier) == (root / dossier_path(charge, len(sealed))).read_bytes():
        raise SealRefusedError(f"{charge} is as it was sealed; there is nothing to amend")


# --- files ----------------------------------------------------------------------------------------

def _keep(root: Path, files: tuple[Input, ...]) -> tuple[SealedFile, ...]:
    """Keep a copy of each file under its digest."""
    sealed = []
    for file in files:
        raw = (root / file.path).read_bytes()
        if sha256(raw) != file.sha256:
            raise SealRefusedError(f"{file.path} changed while it was being sealed; seal again")
        kept = root / KEPT / file.sha256
        if not kept.is_file() or sha256(kept.read_bytes()) != file.sha256:
            write_whole(kept, raw)
        sealed.append(SealedFile(path=file.path, sha256=file.sha256, size=len(raw)))
    return tuple(sealed)


def _supporting(folder: MillFolder, dossier: Dossier) -> tuple[Input, ...]:
    """Return the files that the inputs name and without which they cannot be read alone.

    The publications cited, and the species that the schedule and the limits name beside those of
    the charge.
    """
    charge = folder.charges[dossier.charge].record
    named = set(folder.schedules[charge.schedule].record.for_stock.species)
    for limits in folder.limits.record.limits.values():
        named.update(species for limit in limits for species in limit.scope.species)
    files = {folder.sources.file, *(folder.species[species].file for species in named)}
    files -= {file.path for file in dossier.inputs}
    found = []
    for name in sorted(files):
        raw = (folder.root / name).read_bytes()
        found.append(Input(path=name, sha256=sha256(raw), size=len(raw)))
    return tuple(found)


# --- is it still as sealed? -----------------------------------------------------------------------

Word = Literal["unsealed", "sealed", "changed", "amended"]


@dataclass(frozen=True)
class SealState:
    """Whether a charge is as it was sealed."""

    charge: str
    word: Word
    """changed: it is not as its last entry sealed it; amended: it is, and that entry amends."""
    entries: tuple[Entry, ...] = ()
    """Its entries, oldest first."""
    differences: tuple[Difference, ...] = ()
    """Which file and which number is not as sealed."""
    notes: tuple[Difference, ...] = ()
    """What changed around it without breaking the seal."""
    moved: tuple[Difference, ...] = ()
    """What later rules give differently; the sealed dossier stays what the seal signs."""

    @property
    def last(self) -> Entry | None:
        """The entry that holds."""
        return self.entries[-1] if self.entries else None


def state(root: Path, charge: str, dossier: Dossier, ledger: Ledger | None = None) -> SealState:
    """Return whether a charge is as it was sealed, and name what is not.

    A change in the charge's own files, its record and its logger exports, is always a difference.
    A file that other charges share, as the mill's address or a kiln's list of calibrations, may
    change without breaking a seal so long as no number, outcome or word of the review moves. Nor
    do later rules break it, where they say what they give differently; see `review.versions`.

    Parameters
    ----------
    root : Path
        The mill folder.
    charge : str
        The charge.
    dossier : Dossier
        Its review from the files as they are now.
    ledger : Ledger, optional
        The mill's ledger, where it is read already.
    """
    ledger = ledger or read_ledger(root)
    entries = ledger.of(charge)
    if not entries:
        return SealState(charge, "unsealed")
    path = dossier_path(charge, len(entries))
    differences = [d for d in ledger.differences if d.kind not in MENDED_BY_ADDING]
    notes: list[Difference] = []
    for difference, own in changed_files(entries[-1], {f.path: f.sha256 for f in dossier.inputs}):
        (differences if own else notes).append(difference)
    sealed = _read_dossier(root / path)
    moved: list[Difference] = []
    if sealed is not None:
        compared = compare(sealed, read_json(canonical(dossier)), path.as_posix())
        if compared.differences:  # then the shared files that changed are part of the reason
            differences, notes = [*differences, *notes], []
        differences += compared.differences
        notes += [*compared.notes, *rules_note(path.as_posix(), version_of(sealed), compared)]
        moved = compared.moved
    word: Word = "changed" if differences else "amended" if len(entries) > 1 else "sealed"
    return SealState(charge, word, entries, tuple(differences), tuple(notes), tuple(moved))


def changed_files(entry: Entry, now: dict[str, str]) -> Iterator[tuple[Difference, bool]]:
    """Yield each input that is not as sealed, and whether it is the charge's own.

    Parameters
    ----------
    entry : Entry
        The seal.
    now : dict of str to str
        Path to SHA-256 of the inputs as they are now.
    """
    sealed = {file.path: file.sha256 for file in entry.inputs}
    for path in dict.fromkeys([*sealed, *now]):
        if sealed.get(path) == now.get(path):
            continue
        kind, what = (("file-missing", "it was sealed and is no longer used")
                      if path not in now else
                      ("file-added", "it is used now and was not sealed")
                      if path not in sealed else
                      ("file-changed", "it is not the file that was sealed"))
        yield Difference(kind=kind, where=path, what=what, sealed=sealed.get(path, ""),
                         found=now.get(path, "")), is_own(entry, path)


def is_own(entry: Entry, path: str) -> bool:
    """Return whether a file lies with the charge's record, and is not shared with other charges."""
    records = [file.path for file in entry.inputs
               if file.path.endswith(f"/{entry.charge}/charge.yaml")]
    return any(path.startswith(record.removesuffix("charge.yaml")) for record in records)


def _read_dossier(path: Path) -> dict[str, Any] | None:
    try:
        value = read_json(path.read_bytes())
    except (OSError, ValueError):
        return None  # the ledger's own check has named it
    return value if isinstance(value, dict) else None
