"""Reads and checks a ledger, and reports everything that is wrong with it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from kilnfolio.archive.canonical import sha256
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.entries import (
    ClockCorrection,
    Entry,
    KeyRotation,
    LotEntry,
    SealEntry,
    WitnessEntry,
    endorsed_bytes,
    signed_bytes,
)
from kilnfolio.archive.heads import HEADS, check_heads, read_heads
from kilnfolio.archive.keyring import KEYRING, Keyring, read_keyring
from kilnfolio.archive.keys import is_signed_by
from kilnfolio.archive.ledger import NOTHING_BEFORE, Ledger, Line, line_place, parse_ledger
from kilnfolio.archive.merkle import Tree, leaf_hash
from kilnfolio.archive.places import DOSSIERS, LEDGER, LOTS, dossier_path, lot_record_path
from kilnfolio.archive.proofs import ENTRIES, PROOF, Proof, check_proof, read_proof
from kilnfolio.archive.trust import KnownKeys, TrustedKey
from kilnfolio.archive.witness import unconfirmed
from kilnfolio.records.problems import RecordProblems
from kilnfolio.runtime.files import read_file


def read_ledger(root: Path, *, trusted: Sequence[TrustedKey] = ()) -> Ledger:
    """Read a mill's ledger and check every line of it.

    Parameters
    ----------
    root : Path
        The mill folder.
    trusted : sequence of TrustedKey
        The mill's public keys, obtained by another route; if given, no other key is accepted.

    Returns
    -------
    Ledger
        The ledger; everything wrong is in `differences`, and nothing raises an error.
    """
    path = root / LEDGER
    ledger = parse_ledger(read_file(path) if path.exists() else b"")
    lines = ledger.lines
    # a line that lacks only its end still counts: the next entry restores the end
    whole = len(lines) + len(parse_ledger(ledger.torn + b"\n").lines if ledger.torn else ())
    heads, head_differences = read_heads(root, whole)
    heads = tuple(head for head in heads if head.size <= len(lines))
    found = [
        *ledger.differences,
        *_order(lines),
        *_chain(lines),
        *_signatures(root, lines, trusted),
        *_kinds(lines),
        *_dossiers(root, ledger),
        *head_differences,
        *check_heads(heads, ledger.tree),
    ]
    if lines and lines[-1].entry.format > 1 and (not heads or heads[-1].size < len(lines)):
        found.append(
            Difference(
                kind="head-missing",
                where=HEADS.as_posix(),
                what=f"no head of {len(lines)} entries is "
                "signed: a seal was cut short. The next seal or amendment signs it",
            )
        )
    return replace(ledger, differences=tuple(found), heads=heads)


def read_bag_ledger(root: Path, trusted: Sequence[TrustedKey] = ()) -> tuple[Ledger, Proof | None]:
    """Read and check the part of a ledger that is in a bag.

    Parameters
    ----------
    root : Path
        The ``data`` folder of the bag.
    trusted : sequence of TrustedKey
        See `read_ledger`.
    """
    path = root / ENTRIES
    ledger = parse_ledger(read_file(path) if path.exists() else b"", ENTRIES.as_posix())
    lines, proof = ledger.lines, read_proof(root)
    found = [
        *ledger.differences,
        *_signatures(root, lines, trusted),
        *_kinds(lines, whole=False),
        *_dossiers(root, ledger),
    ]
    if proof is not None:
        found += check_proof(lines, proof)
        if lines:
            keys = KnownKeys(None, (), trusted)
            latest = max(line.entry.at for line in lines).date()
            found += [
                Difference(kind=kind, where=PROOF.as_posix(), what=f"the head {what}")
                for kind, what in keys.outside(proof.head.public_key, latest)
            ]
    elif (root / PROOF).exists():
        found.append(
            Difference(
                kind="proof-unreadable",
                where=PROOF.as_posix(),
                what="it is not a signed head with inclusion proofs",
            )
        )
    return replace(ledger, differences=tuple(found)), proof


def _named(kind: str, line: Line, what: str, **values: Any) -> Difference:
    return Difference(
        kind=kind,
        where=line_place(line.row, line.file),
        what=f"entry {line.entry.number} ({line.entry.subject}) {what}",
        **values,
    )


def _order(lines: Sequence[Line]) -> Iterator[Difference]:
    """Report entries that are missing, duplicated or out of order."""
    for low, high in pairwise([0, *sorted({line.entry.number for line in lines})]):
        if high > low + 1:
            several = f"entries {low + 1} to {high - 1} are"
            what = f"entry {low + 1} is" if high == low + 2 else several
            yield Difference(
                kind="entry-missing", where=LEDGER.as_posix(), what=f"{what} not there"
            )
    highest, seen = 0, set()
    for line in lines:
        number = line.entry.number
        if number in seen:
            yield _named("entry-repeated", line, "is there twice")
        elif number < highest:
            yield _named("entry-out-of-order", line, f"comes after entry {highest}")
        seen.add(number)
        highest = max(highest, number)


def _chain(lines: Sequence[Line]) -> Iterator[Difference]:
    """Report entries that do not sign the entries before them."""
    digest, tree = NOTHING_BEFORE, Tree()
    latest = dt.datetime.min.replace(tzinfo=dt.UTC)
    for place, line in enumerate(lines):
        before = digest if line.entry.format == 1 else tree.root().hex()
        if line.entry.before != before:
            what = (
                "was written after a line that is not the one before it now"
                if place
                else "was written after another line, and nothing comes before it now"
            )
            yield _named("chain-broken", line, what, sealed=line.entry.before, found=before)
        if line.entry.at < latest and not isinstance(line.entry, ClockCorrection):
            yield _named(
                "entry-dated-back",
                line,
                f"is dated {line.entry.at.isoformat()}, before the entry above it",
            )
        entry = line.entry
        if isinstance(entry, WitnessEntry) and (
            entry.head.size > len(tree) or tree.root(entry.head.size).hex() != entry.head.root
        ):
            yield _named(
                "witness-of-another-ledger",
                line,
                f"confirms a head of {entry.head.size} entries that this ledger never had",
            )
        latest = line.entry.at
        digest = sha256(line.raw)
        tree.add(leaf_hash(line.raw))


def _signatures(
    root: Path, lines: Sequence[Line], trusted: Sequence[TrustedKey]
) -> Iterator[Difference]:
    keyring: Keyring | None = None
    try:
        keyring = read_keyring(root)
    except RecordProblems as error:
        for problem in error.problems:
            where = str(problem.place)
            what = str(problem).removeprefix(f"{where}: ")
            yield Difference(kind="keys-unreadable", where=where, what=what)
    if keyring is None and lines:
        yield Difference(
            kind="keys-missing",
            where=KEYRING.as_posix(),
            what="the list of the mill's public keys is not there",
        )
    keys = KnownKeys(keyring, [line.entry for line in lines], trusted)
    for line in lines:
        entry = line.entry
        if not is_signed_by(entry.public_key, signed_bytes(entry), entry.signature):
            yield _named(
                "entry-edited",
                line,
                "does not fit its signature: it was changed after "
                "it was signed, or the signature was",
            )
        elif isinstance(entry, KeyRotation) and not is_signed_by(
            entry.new_key, endorsed_bytes(entry), entry.new_signature
        ):
            yield _named("entry-edited", line, "does not fit the new key's signature")
        elif isinstance(entry, WitnessEntry) and (reason := unconfirmed(entry)):
            yield _named("witness-does-not-fit", line, reason)
        else:
            for kind, what in keys.problems(entry):
                yield _named(kind, line, what, found=entry.public_key)


def _kinds(lines: Sequence[Line], *, whole: bool = True) -> Iterator[Difference]:
    """Report seals of what is already sealed, and amendments of nothing or of the wrong entry."""
    last: dict[str, int] = {}
    sealed: set[tuple[str, str]] = set()
    for line in lines:
        entry = line.entry
        if not isinstance(entry, (Entry, LotEntry)):
            continue
        amends = last.get(entry.subject)
        wanted = "seal" if amends is None else "amendment"
        if (
            not entry.kind.endswith(wanted)
            or entry.amends != amends
            or (wanted == "amendment" and not entry.reason)
        ):
            yield _named(
                "entry-of-wrong-kind",
                line,
                f"is a {entry.kind} of entry {entry.amends}; "
                f"by the entries above it should be a {wanted} of entry {amends}, an "
                "amendment with its reason",
            )
        last[entry.subject] = entry.number
        if isinstance(entry, Entry):
            sealed.add((entry.charge, entry.dossier))
            continue
        for charge in entry.charges:
            here = whole or charge.charge in {name for name, _ in sealed}
            if here and (charge.charge, charge.dossier) not in sealed:
                yield _named(
                    "lot-rests-on-nothing",
                    line,
                    f"names a seal of {charge.charge} that no entry above it made",
                    found=charge.dossier,
                )


def _dossiers(root: Path, ledger: Ledger) -> Iterator[Difference]:
    """Report sealed dossiers and lot records that are missing, changed, or without an entry."""
    known: set[Path] = set()
    count: dict[str, int] = {}
    for line in ledger.lines:
        entry = line.entry
        if not isinstance(entry, (Entry, LotEntry)):
            continue
        ordinal = count[entry.subject] = count.get(entry.subject, 0) + 1
        path, digest, what = (
            (dossier_path(entry.charge, ordinal), entry.dossier, "dossier")
            if isinstance(entry, Entry)
            else (lot_record_path(entry.lot, ordinal), entry.record, "lot-record")
        )
        known.add(path)
        yield from _sealed_as(root, path, digest, what, entry)
    yield from _of_no_entry(root, known)


def _sealed_as(
    root: Path, path: Path, digest: str, what: str, entry: SealEntry
) -> Iterator[Difference]:
    words = what.replace("-", " ")
    if not (root / path).is_file():
        yield Difference(
            kind=f"{what}-missing",
            where=path.as_posix(),
            what=f"the {words} of entry {entry.number} is not there",
        )
    elif (found := sha256(read_file(root / path))) != digest:
        yield Difference(
            kind=f"{what}-changed",
            where=path.as_posix(),
            sealed=digest,
            found=found,
            what=f"it is not the {words} entry {entry.number} sealed",
        )


def _of_no_entry(root: Path, known: set[Path]) -> Iterator[Difference]:
    for folder in (DOSSIERS, LOTS):
        for found in sorted((root / folder).glob("*")):
            if folder / found.name not in known and not found.name.startswith("."):
                yield Difference(
                    kind="dossier-without-entry",
                    where=(folder / found.name).as_posix(),
                    what="no entry seals it: a seal was cut short, or its entry was taken "
                    "away. Seal again, or bring the ledger back",
                )
