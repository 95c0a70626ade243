"""Adds entries about the ledger itself: key changes, clock corrections and witnesses."""

from __future__ import annotations

import base64
import datetime as dt
from pathlib import Path
from typing import Any

from kilnfolio.archive.adding import SealRefusedError, writing
from kilnfolio.archive.entries import (
    ClockCorrection,
    Head,
    KeyRevocation,
    KeyRotation,
    WitnessEntry,
    endorsed_bytes,
)
from kilnfolio.archive.heads import SignedHead
from kilnfolio.archive.keyring import read_keyring, replace_listed
from kilnfolio.archive.keys import MILL_KEYS, Keys, keys_at, make_keys, swap_keys
from kilnfolio.archive.witness import NoWitnessError, read_countersignature, read_time_stamp

#: The new key while it is replacing the old one.
NEW_KEY = "seal-key.new.pem"


def convert(root: Path, keys: Keys) -> SignedHead:
    """Sign the head of a ledger whose last entry has no signed head.

    Nothing in the ledger is rewritten: entries of the older format are still verified as before,
    and become leaves of the tree.

    Raises
    ------
    SealRefusedError
        The ledger has problems, is empty, or is already signed.
    """
    with writing(root) as ledger:
        if not ledger.ledger.entries:
            raise SealRefusedError("the ledger is empty: there is nothing to convert")
        if ledger.heads and ledger.heads[-1].size == len(ledger.ledger.entries):
            raise SealRefusedError("the ledger is converted already: its head is signed")
        ledger.refuse_keys(keys, ledger.ledger.entries[-1].at)
        return ledger.sign_head(keys)


def rotate_key(root: Path, keys: Keys, by: str, reason: str, at: dt.datetime) -> KeyRotation:
    """Replace the mill's key: the old one signs the entry, the new one endorses it.

    It may be interrupted at any time and repeated: the entry is written only once.

    Parameters
    ----------
    root : Path
        The mill folder.
    keys : Keys
        The key in use.
    by, reason : str
        Who replaces it, and why.
    at : datetime
        When, with a zone.
    """
    folder = root / MILL_KEYS
    waiting = folder / NEW_KEY
    new = keys_at(waiting) if waiting.is_file() else None
    with writing(root) as ledger:
        done = [
            entry
            for entry in ledger.ledger.entries
            if new and isinstance(entry, KeyRotation) and entry.new_key == new.public
        ]
        if new and done:
            entry = done[-1]
        else:
            ledger.refuse(at, keys)
            new = new or make_keys(folder, name=NEW_KEY)
            unsigned = ledger.placed(
                KeyRotation,
                keys,
                kind="key-rotation",
                by=by.strip(),
                at=at.replace(microsecond=0),
                new_key=new.public,
                new_signature="0" * 128,
                reason=reason.strip(),
            )
            endorsed = unsigned.model_copy(
                update={"new_signature": new.sign(endorsed_bytes(unsigned))}
            )
            entry = ledger.add(endorsed, keys)
        replace_listed(root, entry.public_key, new, entry.at.date())
    swap_keys(folder, waiting)
    return entry


def revoke_key(
    root: Path, keys: Keys, revoked: str, last_day: dt.date, by: str, reason: str, at: dt.datetime
) -> KeyRevocation:
    """Revoke a key, such as a stolen one, after a given day.

    Raises
    ------
    SealRefusedError
        The mill has never sealed with this key.
    """
    keyring = read_keyring(root)
    if keyring is None or keyring.find(revoked) is None:
        raise SealRefusedError(
            f"{revoked} is not a key this mill has sealed with; they are listed "
            "in content/ledger/keys.yaml"
        )
    with writing(root) as ledger:
        ledger.refuse(at, keys)
        return ledger.append_other(
            KeyRevocation,
            keys,
            kind="key-revocation",
            by=by.strip(),
            at=at.replace(microsecond=0),
            revoked=revoked,
            last_day=last_day,
            reason=reason.strip(),
        )


def correct_clock(root: Path, keys: Keys, by: str, reason: str, at: dt.datetime) -> ClockCorrection:
    """Mark the entries that a wrong clock dated later than now, so that sealing can continue.

    Raises
    ------
    SealRefusedError
        No entry is dated later than `at`.
    """
    with writing(root) as ledger:
        entries = ledger.ledger.entries
        corrected = {
            number
            for entry in entries
            if isinstance(entry, ClockCorrection)
            for number in entry.wrong
        }
        wrong = tuple(
            entry.number for entry in entries if entry.at > at and entry.number not in corrected
        )
        if not wrong:
            raise SealRefusedError("no entry is dated later than now; there is nothing to correct")
        ledger.refuse_keys(keys, at)
        return ledger.append_other(
            ClockCorrection,
            keys,
            kind="clock-correction",
            by=by.strip(),
            at=at.replace(microsecond=0),
            wrong=wrong,
            reason=reason.strip(),
        )


def add_witness(
    root: Path, keys: Keys, data: bytes, by: str, at: dt.datetime, head: Head | None = None
) -> WitnessEntry:
    """Add a countersignature or a time-stamp token to the ledger.

    Parameters
    ----------
    root, keys, by, at
        See `rotate_key`.
    data : bytes
        The content of the countersignature's file, or the token.
    head : Head, optional
        For a token, the state it covers; by default found among the ledger's own.

    Raises
    ------
    SealRefusedError
        It does not confirm a state of this ledger.
    """
    with writing(root) as ledger:
        ledger.refuse(at, keys)
        tree = ledger.ledger.tree
        values = (
            _countersigned(data)
            if data.lstrip()[:1] == b"{"
            else _stamped(
                data,
                [head]
                if head
                else [
                    Head(size=size, root=tree.root(size).hex()) for size in range(len(tree), 0, -1)
                ],
            )
        )
        found: Head = values["head"]
        if found.size > len(tree) or tree.root(found.size).hex() != found.root:
            raise SealRefusedError(
                f"it confirms a head of {found.size} entries that is not one of this ledger"
            )
        return ledger.append_other(
            WitnessEntry,
            keys,
            kind="witness",
            by=by.strip(),
            at=at.replace(microsecond=0),
            **values,
        )


def _countersigned(data: bytes) -> dict[str, Any]:
    try:
        found = read_countersignature(data)
    except NoWitnessError as error:
        raise SealRefusedError(str(error)) from None
    return {
        "head": found.head,
        "witness": found.witness,
        "witness_key": found.public_key,
        "witness_signature": found.signature,
    }


def _stamped(data: bytes, heads: list[Head]) -> dict[str, Any]:
    reason = "it confirms no head of this ledger"
    for head in heads:
        try:
            stamp = read_time_stamp(data, head)
        except NoWitnessError as error:
            reason = str(error)
            if "does not cover" not in reason:
                break
            continue
        return {
            "head": head,
            "witness": stamp.service[:120],
            "token": base64.b64encode(data).decode("ascii"),
        }
    raise SealRefusedError(reason)
