"""Seals the record that a lot's customer reads, to which the labels on packs refer.

The label has the digest of this record, not of the dossier, because the record is what the customer
holds. Its entry names the sealed charges it was drawn from, so the label leads to the raw files.
"""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

from kilnfolio.archive.adding import MENDED_BY_ADDING, SealRefusedError, writing
from kilnfolio.archive.as_sealed import kept_bytes
from kilnfolio.archive.canonical import sha256
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.durable import write_whole
from kilnfolio.archive.entries import Entry, LotDraft, LotEntry, SealedCharge, SealedFile
from kilnfolio.archive.keyring import list_key
from kilnfolio.archive.keys import Keys
from kilnfolio.archive.ledger import Ledger
from kilnfolio.archive.places import KEPT, lot_record_path
from kilnfolio.archive.seal import SealState, check_words, inputs_of, keep
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.model import Located, Name, Text
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.reading import record_of
from kilnfolio.review.dossier import LotDossier
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass


def seal_lot(
    folder: MillFolder,
    dossier: LotDossier,
    record: bytes,
    charges: Mapping[str, SealState],
    by: str,
    keys: Keys,
    at: dt.datetime,
    reason: str | None = None,
) -> LotEntry:
    """Seal the record of a lot, or amend its last seal.

    Parameters
    ----------
    folder : MillFolder
        The mill, read without problems.
    dossier : LotDossier
        The review of the lot, from these files and the dossiers of its charges as sealed.
    record : bytes
        The record that its customer reads, as canonical JSON.
    charges : mapping of str to SealState
        The state of each of its charges.
    by : str
        Who seals.
    keys : Keys
        The mill's key.
    at : datetime
        When, with a zone.
    reason : str, optional
        Why it was changed, for an amendment; published.

    Raises
    ------
    SealRefusedError
        A failed check is not answered, a charge is not sealed or not as sealed, the lot is already
        sealed (or, for an amendment, not sealed or not changed), or the ledger has problems.
    UnusableKeyError
        The key is not listed as the mill's.
    """
    check_words("by", by, Name)
    if reason is not None:
        check_words("reason", reason, Text)
    refused = [*_refused(dossier), *_unsealed(dossier, charges)]
    if refused:
        raise SealRefusedError(*refused)
    drawn = tuple(
        SealedCharge(charge=name, dossier=charges[name].entries[-1].dossier)
        for name in dossier.charges
    )
    root = folder.root
    with writing(root) as ledger:
        before = ledger.ledger.of_lot(dossier.lot)
        _may_enter(dossier.lot, sha256(record), drawn, before, reason)
        ledger.refuse(at, keys)
        list_key(root, keys, at.date())
        draft = LotDraft(
            kind="lot-seal" if reason is None else "lot-amendment",
            lot=dossier.lot,
            record=sha256(record),
            charges=drawn,
            inputs=keep(root, inputs_of(root, _files(folder, dossier.lot))),
            reason=reason,
            by=by.strip(),
            at=at.replace(microsecond=0),
        )
        write_whole(root / lot_record_path(dossier.lot, len(before) + 1), record)
        return ledger.append_lot(draft, keys)


def _files(folder: MillFolder, lot: str) -> set[str]:
    """Return the files behind a lot's record, besides the dossiers of its charges."""
    located = folder.lots[lot]
    return {
        located.file,
        folder.mill.file,
        folder.limits.file,
        folder.sources.file,
        folder.species[located.record.species].file,
    }


def _refused(dossier: LotDossier) -> Iterator[str]:
    for finding in dossier.findings:
        if finding.outcome == "fail":
            yield f"{finding.check} fails and is not answered: {finding.message}"


def _unsealed(dossier: LotDossier, charges: Mapping[str, SealState]) -> Iterator[str]:
    for name in dossier.charges:
        word = charges[name].word if name in charges else "unsealed"
        if word == "unsealed":
            yield f"charge {name} is not sealed; seal it first: kilnfolio seal {name} --by NAME"
        elif word == "changed":
            yield (
                f"charge {name} is not as it was sealed; amend it first: kilnfolio amend {name} "
                "--by NAME --reason '…'"
            )


def _may_enter(
    lot: str,
    digest: str,
    drawn: tuple[SealedCharge, ...],
    before: tuple[LotEntry, ...],
    reason: str | None,
) -> None:
    if reason is None and before:
        raise SealRefusedError(
            f"lot {lot} is sealed already, by {before[-1].by} on {before[-1].at:%Y-%m-%d}; a "
            f"changed record is amended: kilnfolio amend {lot} --reason '…' --by NAME"
        )
    if reason is not None and not before:
        raise SealRefusedError(
            f"lot {lot} is not sealed, so there is nothing to amend: kilnfolio seal {lot} --by NAME"
        )
    if before and before[-1].record == digest and before[-1].charges == drawn:
        raise SealRefusedError(f"lot {lot} is as it was sealed; there is nothing to amend")


# --- is it still as sealed? -----------------------------------------------------------------------


@dataclass(frozen=True)
class LotState:
    """Whether a lot's record is still as sealed."""

    lot: str
    word: Literal["unsealed", "sealed", "changed", "amended"]
    """changed: its own file or the seal of one of its charges differs from the last entry; amended:
    neither differs, and that entry is an amendment."""
    entries: tuple[LotEntry, ...] = ()
    """Its entries, oldest first."""
    record: bytes = b""
    """The sealed record; empty if there is none."""
    differences: tuple[Difference, ...] = ()
    """What is not as sealed."""

    @property
    def last(self) -> LotEntry | None:
        """The entry in force."""
        return self.entries[-1] if self.entries else None


def lot_state(
    root: Path, lot: str, ledger: Ledger, charges: Callable[[str], tuple[Entry, ...]] | None = None
) -> LotState:
    """Return whether a lot is still as sealed, and its sealed record.

    What counts is what its own file tells the customer, and the seals of the charges it was drawn
    from: after a charge is amended, the lot's record is out of date until the lot is amended too.

    Parameters
    ----------
    root : Path
        The mill folder.
    lot : str
        The lot.
    ledger : Ledger
        The mill's ledger, or its part about this lot.
    charges : callable, optional
        Returns the entries of a charge; by default those of the ledger.
    """
    entries = ledger.of_lot(lot)
    if not entries:
        return LotState(lot, "unsealed")
    last = entries[-1]
    differences = [d for d in ledger.differences if d.kind not in MENDED_BY_ADDING]
    differences += changed_lot(root, last)
    for drawn in last.charges:
        now = (charges or ledger.of_charge)(drawn.charge)
        if now and now[-1].dossier != drawn.dossier:
            differences.append(
                Difference(
                    kind="charge-amended",
                    where=lot_record_path(lot, len(entries)).as_posix(),
                    sealed=drawn.dossier,
                    found=now[-1].dossier,
                    what=f"charge {drawn.charge} was amended since, by entry {now[-1].number}",
                )
            )
    try:
        record = read_file(root / lot_record_path(lot, len(entries)))
    except OSError:
        record = b""  # the check of the ledger has reported it
    word: Literal["changed", "amended", "sealed"] = (
        "changed" if differences else "amended" if len(entries) > 1 else "sealed"
    )
    return LotState(lot, word, entries, record, tuple(differences))


#: Keys of a lot that stay in the mill and may be written after its record is sealed.
STAY_IN_MILL = frozenset({"customer", "notes", "shipped", "storage"})


def changed_lot(root: Path, entry: LotEntry) -> Iterator[Difference]:
    """Yield differences from the seal in what a lot's own file tells its customer."""
    for file in entry.files:
        if not entry.is_own(file.path):
            continue
        found = ""
        with contextlib.suppress(OSError):
            raw = read_file(root / file.path)
            found = sha256(raw)
            if found == file.sha256 or _says_the_same(root, file, raw):
                return
        yield Difference(
            kind="file-changed" if found else "file-missing",
            where=file.path,
            sealed=file.sha256,
            found=found,
            what="it does not say what was sealed" if found else "it was sealed and is not there",
        )


def lot_file_differences(root: Path, ledger: Ledger) -> Iterator[Difference]:
    """Yield what is not as sealed in the files behind the lots of a mill folder.

    A kept copy that a charge rests on too is left to the audit of that charge.
    """
    done = {
        file.sha256
        for charge in ledger.charges
        for entry in ledger.of_charge(charge)
        for file in entry.files
    }
    for lot in ledger.lots:
        entries = ledger.of_lot(lot)
        for file in (file for entry in entries for file in entry.files):
            if file.sha256 in done:
                continue
            done.add(file.sha256)
            try:
                kept_bytes(root, file)
            except RecordProblems:
                yield Difference(
                    kind="kept-file-missing",
                    where=(KEPT / file.sha256).as_posix(),
                    sealed=file.sha256,
                    what=f"the copy of {file.path} that was sealed is not there, or is not that copy",
                )
        yield from changed_lot(root, entries[-1])


def _says_the_same(root: Path, file: SealedFile, raw: bytes) -> bool:
    try:
        # the only time in a lot, when it was shipped, is not compared
        then, now = (
            record_of(data, file.path, ZoneInfo("UTC")) for data in (kept_bytes(root, file), raw)
        )
    except RecordProblems:
        return False
    return (
        isinstance(then, Located)
        and isinstance(now, Located)
        and (
            then.record.model_dump(exclude=set(STAY_IN_MILL))
            == now.record.model_dump(exclude=set(STAY_IN_MILL))
        )
    )
