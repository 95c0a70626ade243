"""Adds entries to the ledger, one writer at a time, each on the disk before it counts."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.durable import add, add_line, opened_for_adding, read_all
from kilnfolio.archive.entries import (
    FORMAT,
    ClockCorrection,
    Draft,
    E,
    Entry,
    LotDraft,
    LotEntry,
    SealEntry,
    line_of,
    signed_bytes,
)
from kilnfolio.archive.heads import HEADS, SignedHead, sign_head
from kilnfolio.archive.keys import Keys, is_signed_by
from kilnfolio.archive.ledger import Ledger, first_reason, parse_ledger
from kilnfolio.archive.places import LEDGER
from kilnfolio.archive.trust import KnownKeys
from kilnfolio.runtime.values import dataclass

#: Kinds of problem with a ledger that the next entry corrects.
MENDED_BY_ADDING = ("ledger-line-torn", "dossier-without-entry", "head-missing")


class SealRefusedError(Exception):
    """A charge cannot be sealed or amended; `reasons` say why, one per line."""

    def __init__(self, *reasons: str):
        self.reasons = reasons
        super().__init__("\n".join(reasons))


@dataclass
class OpenLedger:
    """A ledger locked against other writers."""

    root: Path
    handle: int
    ledger: Ledger
    heads: tuple[SignedHead, ...] = ()
    """The heads signed so far."""

    def of_charge(self, charge: str) -> tuple[Entry, ...]:
        """Return the entries of a charge."""
        return self.ledger.of_charge(charge)

    def refuse_time(self, at: dt.datetime) -> None:
        """Refuse an entry dated before the last one.

        Raises
        ------
        SealRefusedError
            The message names the entry, and what to do if its time is wrong.
        """
        entries = self.ledger.entries
        if entries and at < entries[-1].at:
            raise SealRefusedError(
                f"{at.isoformat()} is before the last entry of the ledger, "
                f"{entries[-1].at.isoformat()}; check the clock. If that entry has the wrong time: "
                "kilnfolio ledger correct-clock --by NAME --reason '…'"
            )

    def refuse_keys(self, keys: Keys, at: dt.datetime) -> None:
        """Refuse a key that was replaced or revoked.

        Raises
        ------
        SealRefusedError
            The message names the entry that did so.
        """
        book = KnownKeys(None, self.ledger.entries)
        if reasons := [
            what for _, what in book.ended(keys.public, at.date(), len(self.ledger.entries) + 1)
        ]:
            raise SealRefusedError(*(f"{keys.path}: an entry now {what}" for what in reasons))

    def refuse(self, at: dt.datetime, keys: Keys) -> None:
        """Refuse a time before the last entry, and a key that may no longer sign."""
        self.refuse_time(at)
        self.refuse_keys(keys, at)

    def append(self, draft: Draft, keys: Keys) -> Entry:
        """Sign a charge's entry and add it; see `add`."""
        return self.add(
            Entry(
                **dict(draft), **self._place(keys), amends=_amended(self.of_charge(draft.charge))
            ),
            keys,
        )

    def append_lot(self, draft: LotDraft, keys: Keys) -> LotEntry:
        """Sign a lot's entry and add it; see `add`."""
        return self.add(
            LotEntry(
                **dict(draft), **self._place(keys), amends=_amended(self.ledger.of_lot(draft.lot))
            ),
            keys,
        )

    def append_other(self, model: type[E], keys: Keys, **values: Any) -> E:
        """Sign an entry about the ledger itself and add it; see `add`."""
        return self.add(self.placed(model, keys, **values), keys)

    def placed(self, model: type[E], keys: Keys, **values: Any) -> E:
        """Return an entry with its place in the ledger, not yet signed."""
        try:
            return model(**values, **self._place(keys))
        except ValidationError as error:
            raise SealRefusedError(first_reason(error)) from None

    def _place(self, keys: Keys) -> dict[str, Any]:
        """Return the fields of an entry's place in the ledger, with an empty signature."""
        return {
            "format": FORMAT,
            "number": len(self.ledger.entries) + 1,
            "before": self.ledger.before(FORMAT),
            "public_key": keys.public,
            "signature": "0" * 128,
        }

    def add(self, unsigned: E, keys: Keys, head_keys: Keys | None = None) -> E:
        """Sign an entry, add it, and sign the new head of the ledger.

        When this returns, both are on the disk. If the machine stops between them, the entry
        counts, and the next entry signs the head.

        Raises
        ------
        SealRefusedError
            It is dated before the last entry and is not a clock correction.
        """
        if not isinstance(unsigned, ClockCorrection):
            self.refuse_time(unsigned.at)
        entry = unsigned.model_copy(update={"signature": keys.sign(signed_bytes(unsigned))})
        add(self.handle, line_of(entry) + b"\n")
        self.ledger = parse_ledger(read_all(self.handle))
        self.sign_head(head_keys or keys)
        return entry

    def sign_head(self, keys: Keys) -> SignedHead:
        """Sign the present head of the ledger and store it."""
        head = sign_head(self.ledger.tree, keys)
        add_line(self.root / HEADS, head.line)
        return head


def _amended(entries: Sequence[SealEntry]) -> int | None:
    return entries[-1].number if entries else None


@contextmanager
def writing(root: Path) -> Iterator[OpenLedger]:
    """Lock a mill's ledger for adding entries, after repairing a line torn by a power cut.

    Raises
    ------
    SealRefusedError
        The ledger has problems; adding to it would cover up what was done to it.
    """
    with opened_for_adding(root / LEDGER) as handle:
        ledger = read_ledger(root)
        bad = [d for d in ledger.differences if d.kind not in MENDED_BY_ADDING]
        if bad:
            raise SealRefusedError(
                "the ledger does not hold, so nothing is added to it; bring it back from a copy",
                *(f"{d.where}: {d.what}" for d in bad),
            )
        if ledger.torn:
            _mend(handle, ledger)
        yield OpenLedger(root, handle, parse_ledger(read_all(handle)), ledger.heads)


def _mend(handle: int, ledger: Ledger) -> None:
    """Complete an entry that lacks only its line end; remove a partial one.

    Thus removing the last byte of a ledger does not remove an entry.
    """
    lines = parse_ledger(ledger.torn + b"\n").lines
    if (
        lines
        and lines[0].entry.before == ledger.before(lines[0].entry.format)
        and is_signed_by(
            lines[0].entry.public_key, signed_bytes(lines[0].entry), lines[0].entry.signature
        )
    ):
        add(handle, b"\n")
        return
    if lines:
        raise SealRefusedError(
            f"the last line of {LEDGER} is an entry that does not follow from "
            "the one before it; bring the ledger back from a copy"
        )
    os.ftruncate(handle, len(read_all(handle)) - len(ledger.torn))
    os.fsync(handle)
