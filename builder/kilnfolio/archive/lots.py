"""The record a lot's customer reads, sealed: what the label on a pack binds.

Its digest, not the dossier's, stands on the label, because the record is what the customer holds
in hand. Its entry names the sealed charges it was drawn from, so that the label leads to the raw
files.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from kilnfolio.archive.adding import MENDED_BY_ADDING, SealRefusedError, writing
from kilnfolio.archive.canonical import read_json, sha256
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.durable import write_whole
from kilnfolio.archive.keyring import list_key
from kilnfolio.archive.keys import Keys
from kilnfolio.archive.ledger import Ledger, LotDraft, LotEntry, SealedCharge, lot_record_path
from kilnfolio.archive.seal import SealState, check_words
from kilnfolio.records.model import Name, Text
from kilnfolio.review.dossier import LotDossier
from kilnfolio.review.versions import changes_since


def seal_lot(root: Path, dossier: LotDossier, record: bytes, charges: Mapping[str, SealState],
             by: str, keys: Keys, at: dt.datetime, reason: str | None = None) -> LotEntry:
    """Seal the record of a lot, or seal it again in place of its last entry.

    Parameters
    ----------
    root : Path
        The mill folder.
    dossier : LotDossier
        The review of the lot.
    record : bytes
        The record its customer reads, as canonical JSON.
    charges : mapping of str to SealState
        How each of its charges stands.
    by : str
        Who seals.
    keys : Keys
        The mill's key.
    at : datetime
        When, with its zone.
    reason : str, optional
        Why it was changed: an amendment. It is published.

    Raises
    ------
    SealRefusedError
        A finding is refused and not waived, a charge is not sealed or not as sealed, the lot is
        sealed already (or, for an amendment, is not, or is as it was), or the ledger does not hold.
    UnusableKeyError
        The key is not listed as the mill's.
    """
    check_words("by", by, Name)
    if reason is not None:
        check_words("reason", reason, Text)
    refused = [*_refused(dossier), *_unsealed(dossier, charges)]
    if refused:
        raise SealRefusedError(*refused)
    drawn = tuple(SealedCharge(charge=name, dossier=charges[name].entries[-1].dossier)
                  for name in dossier.charges)
    with writing(root) as ledger:
        before = ledger.ledger.of_lot(dossier.lot)
        _may_enter(dossier.lot, sha256(record), drawn, before, reason)
        list_key(root, keys, at.date())
        draft = LotDraft(kind="lot-seal" if reason is None else "lot-amendment", lot=dossier.lot,
                         record=sha256(record), charges=drawn, reason=reason, by=by.strip(),
                         at=at.replace(microsecond=0))
        write_whole(root / lot_record_path(dossier.lot, len(before) + 1), record)
        return ledger.append_lot(draft, keys)


def _refused(dossier: LotDossier) -> Iterator[str]:
    for finding in dossier.findings:
        if finding.outcome == "refused":
            yield f"{finding.check} is refused and not waived: {finding.message}"


def _unsealed(dossier: LotDossier, charges: Mapping[str, SealState]) -> Iterator[str]:
    for name in dossier.charges:
        word = charges[name].word
        if word == "unsealed":
            yield f"charge {name} is not sealed; seal it first: kilnfolio seal {name} --by NAME"
        elif word == "changed":
            yield (f"charge {name} is not as it was sealed; amend it first: kilnfolio amend {name} "
                   "--by NAME --reason '…'")
        elif charges[name].moved:
            yield (f"charge {name} was sealed under earlier rules, and those of this kilnfolio "
                   f"give {len(charges[name].moved)} of its figures differently; amend it first, "
                   f"so that the lot's record and the charge's say the same: kilnfolio amend "
                   f"{name} --by NAME --reason 'Computed again under new rules'")


def _may_enter(lot: str, digest: str, drawn: tuple[SealedCharge, ...],
               before: tuple[LotEntry, ...], reason: str | None) -> None:
    if reason is None and before:
        raise SealRefusedError(
            f"lot {lot} is sealed already, by {before[-1].by} on {before[-1].at:%Y-%m-%d}; a "
            f"changed record is amended: kilnfolio amend {lot} --reason '…' --by NAME")
    if reason is not None and not before:
        raise SealRefusedError(f"lot {lot} is not sealed, so there is nothing to amend: kilnfolio "
                               f"seal {lot} --by NAME")
    if before and before[-1].record == digest and before[-1].charges == drawn:
        raise SealRefusedError(f"lot {lot} is as it was sealed; there is nothing to amend")


# --- is it still as sealed? -----------------------------------------------------------------------

@dataclass(frozen=True)
class LotState:
    """Whether a lot's record is as it was sealed."""

    lot: str
    word: Literal["unsealed", "sealed", "changed", "amended"]
    """changed: it is not as its last entry sealed it; amended: it is, and that entry amends."""
    entries: tuple[LotEntry, ...] = ()
    """Its entries, oldest first."""
    record: bytes = b""
    """The record to serve: the sealed one, or where there is none the one made now."""
    differences: tuple[Difference, ...] = ()
    """What is not as sealed."""
    notes: tuple[str, ...] = ()
    """What changed around it and does not break the seal."""


#: The keys of a lot's record that name the versions of kilnfolio and of the rules it was made by.
VERSION_KEY, RULES_KEY = "kilnfolio", "rules"


def lot_state(root: Path, lot: str, record: bytes, ledger: Ledger, facts: frozenset[str]
              ) -> LotState:
    """Return whether a lot's record is as it was sealed, and which record is to be served.

    Another version of kilnfolio may word a statement otherwise, and later rules may give a fact
    differently where they say so (`review.versions`). The sealed record is then served as it is:
    no label in a yard is put in doubt by an upgrade.

    Parameters
    ----------
    root : Path
        The mill folder.
    lot : str
        The lot.
    record : bytes
        Its record made now, as canonical JSON.
    ledger : Ledger
        The mill's ledger.
    facts : frozenset of str
        Keys of the record that are facts, not words about them.
    """
    entries = ledger.of_lot(lot)
    if not entries:
        return LotState(lot, "unsealed", record=record)
    path = lot_record_path(lot, len(entries))
    broken = [d for d in ledger.differences if d.kind not in MENDED_BY_ADDING]
    word: Literal["sealed", "amended"] = "amended" if len(entries) > 1 else "sealed"
    if broken:
        return LotState(lot, "changed", entries, record, tuple(broken))
    sealed = (root / path).read_bytes()
    if sealed == record:
        return LotState(lot, word, entries, record)
    before, now = read_json(sealed), read_json(record)
    moved = [key for key in sorted({*before, *now}) if before.get(key) != now.get(key)]
    versions = [key for key in (VERSION_KEY, RULES_KEY) if key in moved]
    since = changes_since(before.get(RULES_KEY)) or ()
    may_move = frozenset(versions).union(*(change.record for change in since))
    if versions and not (facts - may_move) & set(moved):
        given = [key for key in moved if key not in versions]
        return LotState(lot, word, entries, sealed, notes=(
            f"sealed by kilnfolio {before.get(VERSION_KEY)} under rules {before.get(RULES_KEY)}"
            + (f"; this version gives {', '.join(given)} otherwise, and the sealed record is served"
               if given else ""),))
    return LotState(lot, "changed", entries, record,
                    tuple(_moved(path.as_posix(), key, before, now) for key in moved))


def _moved(record: str, key: str, before: Mapping[str, Any], now: Mapping[str, Any]) -> Difference:
    return Difference(kind="value-changed", where=f"{record}:/{key}",
                      what=f"{key} was sealed as {before.get(key)!r} and is now {now.get(key)!r}",
                      sealed=str(before.get(key)), found=str(now.get(key)))
