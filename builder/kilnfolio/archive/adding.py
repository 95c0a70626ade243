"""Entries added to the ledger, one writer at a time, each on the disk before it counts."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from kilnfolio.archive.durable import add, opened_for_adding, read_all
from kilnfolio.archive.entries import (
    AnyEntry,
    Draft,
    Entry,
    LotDraft,
    LotEntry,
    line_of,
    signed_bytes,
)
from kilnfolio.archive.keys import Keys, signature_fits
from kilnfolio.archive.ledger import LEDGER, Ledger, parse_ledger, read_ledger

E = TypeVar("E", Entry, LotEntry)

#: What is wrong with a ledger that the next entry puts right.
MENDED_BY_ADDING = ("ledger-line-torn", "dossier-without-entry")


class SealRefusedError(Exception):
    """A charge cannot be sealed or amended; `reasons` say why, one a line."""

    def __init__(self, *reasons: str):
        self.reasons = reasons
        super().__init__("\n".join(reasons))


@dataclass
class OpenLedger:
    """A ledger that nobody else can add to meanwhile."""

    handle: int
    ledger: Ledger

    def of(self, charge: str) -> tuple[Entry, ...]:
        """Return the entries of a charge."""
        return self.ledger.of(charge)

    def append(self, draft: Draft, keys: Keys) -> Entry:
        """Sign a charge's entry and add it; see `_append`."""
        unsigned = Entry(**dict(draft), **self._place(self.of(draft.charge), keys))
        return self._append(unsigned, keys)

    def append_lot(self, draft: LotDraft, keys: Keys) -> LotEntry:
        """Sign a lot's entry and add it; see `_append`."""
        unsigned = LotEntry(**dict(draft), **self._place(self.ledger.of_lot(draft.lot), keys))
        return self._append(unsigned, keys)

    def _place(self, before: Sequence[AnyEntry], keys: Keys) -> dict[str, Any]:
        """Return what an entry holds of its place in the ledger, its signature still to come."""
        return {"format": 1, "number": len(self.ledger.entries) + 1,
                "amends": before[-1].number if before else None, "before": self.ledger.head,
                "public_key": keys.public, "signature": "0" * 128}

    def _append(self, unsigned: E, keys: Keys) -> E:
        """Sign an entry and add it; when this returns, the disk has it.

        Raises
        ------
        SealRefusedError
            It is dated before the last entry.
        """
        entries = self.ledger.entries
        if entries and unsigned.at < entries[-1].at:
            raise SealRefusedError(f"{unsigned.at.isoformat()} is before the last entry of the "
                                   f"ledger, {entries[-1].at.isoformat()}; check the clock")
        entry = unsigned.model_copy(update={"signature": keys.sign(signed_bytes(unsigned))})
        line = line_of(entry)
        add(self.handle, line + b"\n")
        self.ledger = parse_ledger(read_all(self.handle))
        return entry


@contextmanager
def writing(root: Path) -> Iterator[OpenLedger]:
    """Hold a mill's ledger to add to it; a line torn by a power cut is mended first.

    Raises
    ------
    SealRefusedError
        The ledger does not hold: adding to it would cover up what was done to it.
    """
    with opened_for_adding(root / LEDGER) as handle:
        ledger = read_ledger(root)
        bad = [d for d in ledger.differences if d.kind not in MENDED_BY_ADDING]
        if bad:
            raise SealRefusedError("the ledger does not hold, so nothing is added to it; bring it "
                                   "back from a copy", *(f"{d.where}: {d.what}" for d in bad))
        if ledger.torn:
            _mend(handle, ledger)
        yield OpenLedger(handle, parse_ledger(read_all(handle)))


def _mend(handle: int, ledger: Ledger) -> None:
    """Give a whole entry its end; take away part of one.

    A line that lost nothing but its end is kept, so that taking the last byte off a ledger does
    not take an entry off it.
    """
    lines = parse_ledger(ledger.torn + b"\n").lines
    if lines and lines[0].entry.before == ledger.head and signature_fits(
            lines[0].entry.public_key, signed_bytes(lines[0].entry), lines[0].entry.signature):
        add(handle, b"\n")
        return
    if lines:
        raise SealRefusedError(f"the last line of {LEDGER} is an entry that does not follow from "
                               "the one before it; bring the ledger back from a copy")
    os.ftruncate(handle, len(read_all(handle)) - len(ledger.torn))
    os.fsync(handle)
