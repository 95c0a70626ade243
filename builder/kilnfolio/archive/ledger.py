"""The ledger of seals: one signed line each, every line holding the digest of the line before.

A charge's entry seals its dossier; a lot's entry seals the record its customer reads, which is
what a label on a pack binds. ``content/ledger/ledger.jsonl`` is only ever added to. A line is
canonical JSON (RFC 8785); its signature (Ed25519) covers the canonical JSON of the entry without
the key ``signature``. Beside it ``dossiers/`` keeps each sealed dossier, ``lots/`` each sealed lot
record, and ``kept/`` every file a dossier was sealed on, by SHA-256.

A last line without its end was torn by a power cut: it is named, read past, and mended only when
the next entry is added. What nobody can see from the ledger alone is entries taken off its end
together with their files; the labels on the packs and the bags already given out show that.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from kilnfolio.archive.canonical import read_canonical, sha256
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.entries import (
    AnyEntry,
    Entry,
    LotEntry,
    line_of,
    read_entry,
    signed_bytes,
)
from kilnfolio.archive.keyring import KEYRING, Keyring, read_keyring
from kilnfolio.archive.keys import signature_fits
from kilnfolio.records.problems import RecordProblems

LEDGER = Path("content/ledger/ledger.jsonl")
DOSSIERS = Path("content/ledger/dossiers")
LOTS = Path("content/ledger/lots")
KEPT = Path("content/ledger/kept")

#: What the first line holds in place of the digest of a line before.
NOTHING_BEFORE = "0" * 64


@dataclass(frozen=True)
class Line:
    """An entry with the bytes it was read from."""

    entry: AnyEntry
    raw: bytes
    row: int
    """Line of the file, from 1."""


@dataclass(frozen=True)
class Ledger:
    """What could be read of a ledger, and all that is wrong with it."""

    lines: tuple[Line, ...]
    differences: tuple[Difference, ...]
    torn: bytes = b""
    """A last line without its end."""

    @property
    def entries(self) -> tuple[AnyEntry, ...]:
        """The entries in the order of the file."""
        return tuple(line.entry for line in self.lines)

    @property
    def charges(self) -> tuple[str, ...]:
        """The sealed charges, in the order they were first sealed."""
        return tuple(dict.fromkeys(e.charge for e in self.entries if isinstance(e, Entry)))

    @property
    def lots(self) -> tuple[str, ...]:
        """The sealed lots, in the order they were first sealed."""
        return tuple(dict.fromkeys(e.lot for e in self.entries if isinstance(e, LotEntry)))

    def of(self, charge: str) -> tuple[Entry, ...]:
        """Return the entries of a charge: its seal, then its amendments."""
        return tuple(entry for entry in self.entries
                     if isinstance(entry, Entry) and entry.charge == charge)

    def of_lot(self, lot: str) -> tuple[LotEntry, ...]:
        """Return the entries of a lot: its seal, then its amendments."""
        return tuple(entry for entry in self.entries
                     if isinstance(entry, LotEntry) and entry.lot == lot)

    @property
    def head(self) -> str:
        """The digest the next line will hold."""
        return sha256(self.lines[-1].raw) if self.lines else NOTHING_BEFORE


def dossier_path(charge: str, ordinal: int) -> Path:
    """Return where the ordinal-th sealed dossier of a charge is kept, from 1."""
    return DOSSIERS / f"{charge}-{ordinal}.json"


def lot_record_path(lot: str, ordinal: int) -> Path:
    """Return where the ordinal-th sealed record of a lot is kept, from 1."""
    return LOTS / f"{lot}-{ordinal}.json"


def read_ledger(root: Path, *, trusted: Sequence[str] = (), only: str | None = None) -> Ledger:
    """Read a ledger and check every line of it.

    Parameters
    ----------
    root : Path
        A mill folder, or the ``data`` folder of a bag.
    trusted : sequence of str
        Public keys had from the mill by another way; where given, no other key is taken.
    only : str, optional
        The one charge whose dossiers are there, as in a bag.

    Returns
    -------
    Ledger
        It never raises for what it finds: everything wrong is in `differences`.
    """
    path = root / LEDGER
    raw = path.read_bytes() if path.exists() else b""
    ledger = parse_ledger(raw)
    found = [*ledger.differences, *_order(ledger.lines), *_chain(ledger.lines),
             *_signatures(root, ledger.lines, trusted), *_kinds(ledger.lines),
             *_dossiers(root, ledger, only)]
    return Ledger(ledger.lines, tuple(found), ledger.torn)


def verify_ledger(root: Path, *, trusted: Sequence[str] = ()) -> tuple[Difference, ...]:
    """Return everything wrong with a mill's ledger, each thing named; empty when it holds."""
    return read_ledger(root, trusted=trusted).differences


def parse_ledger(raw: bytes) -> Ledger:
    """Return the lines that can be read, and name those that cannot."""
    *whole, torn = raw.split(b"\n")
    lines, differences = [], []
    for row, line in enumerate(whole, 1):
        try:
            entry = read_entry(read_canonical(line))
            if line_of(entry) != line:
                raise ValueError("a value is not written as kilnfolio writes it")
        except (ValidationError, ValueError) as error:
            differences.append(Difference(
                kind="ledger-line-unreadable", where=_at(row),
                what=f"this line is no entry of a ledger: {first_reason(error)}"))
            continue
        lines.append(Line(entry, line, row))
    if torn:
        differences.append(Difference(
            kind="ledger-line-torn", where=_at(len(whole) + 1),
            what="the last line has no end: its writing was cut short. The entries above it are "
                 "whole; the next seal or amendment mends it"))
    return Ledger(tuple(lines), tuple(differences), torn)


def _at(row: int) -> str:
    return f"{LEDGER.as_posix()}:{row}"


def first_reason(error: Exception) -> str:
    """Return the first reason why a value was refused, in words."""
    if isinstance(error, ValidationError):
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"]))
        return f"{place}: {first['msg'].lower()}" if place else first["msg"].lower()
    return str(error)


def _named(kind: str, line: Line, what: str, **values: Any) -> Difference:
    return Difference(kind=kind, where=_at(line.row),
                      what=f"entry {line.entry.number} ({line.entry.subject}) {what}", **values)


def _order(lines: Sequence[Line]) -> Iterator[Difference]:
    """Name entries that are missing, there twice, or out of their order."""
    for low, high in pairwise([0, *sorted({line.entry.number for line in lines})]):
        if high > low + 1:
            several = f"entries {low + 1} to {high - 1} are"
            what = f"entry {low + 1} is" if high == low + 2 else several
            yield Difference(kind="entry-missing", where=LEDGER.as_posix(),
                             what=f"{what} not there")
    highest, seen = 0, set()
    for line in lines:
        number = line.entry.number
        if number in seen:
            yield _named("entry-repeated", line, "stands there twice")
        elif number < highest:
            yield _named("entry-out-of-order", line, f"stands after entry {highest}")
        seen.add(number)
        highest = max(highest, number)


def _chain(lines: Sequence[Line]) -> Iterator[Difference]:
    """Name entries that were not written after the line that stands before them."""
    before = NOTHING_BEFORE
    for place, line in enumerate(lines):
        if line.entry.before != before:
            what = ("was written after a line that is not the one before it now" if place else
                    "was written after another line, and nothing stands before it now")
            yield _named("chain-broken", line, what, sealed=line.entry.before, found=before)
        if place and line.entry.at < lines[place - 1].entry.at:
            yield _named("entry-dated-back", line, f"is dated {line.entry.at.isoformat()}, before "
                         "the entry above it")
        before = sha256(line.raw)


def _signatures(root: Path, lines: Sequence[Line], trusted: Sequence[str]) -> Iterator[Difference]:
    keyring: Keyring | None = None
    try:
        keyring = read_keyring(root)
    except RecordProblems as error:
        for problem in error.problems:
            yield Difference(kind="keys-unreadable", where=str(problem.place), what=str(problem))
    if keyring is None and lines:
        yield Difference(kind="keys-missing", where=KEYRING.as_posix(),
                         what="the list of the mill's public keys is not there")
    for line in lines:
        yield from _signature(line, keyring, trusted)


def _signature(line: Line, keyring: Keyring | None, trusted: Sequence[str]) -> Iterator[Difference]:
    entry = line.entry
    if not signature_fits(entry.public_key, signed_bytes(entry), entry.signature):
        yield _named("entry-edited", line, "does not fit its signature: it was changed after it "
                     "was signed, or the signature was")
        return
    if trusted and entry.public_key not in trusted:
        yield _named("entry-key-not-trusted", line, "is signed by a key that is not the one you "
                     "gave", found=entry.public_key)
    if keyring is None:
        return
    listed = keyring.find(entry.public_key)
    if listed is None:
        yield _named("entry-key-unknown", line, f"is signed by a key that {KEYRING.as_posix()} "
                     "does not list", found=entry.public_key)
    elif not listed.since <= entry.at.date() <= (listed.until or dt.date.max):
        yield _named("entry-key-out-of-date", line, f"is signed on {entry.at.date()} by a key "
                     f"listed from {listed.since} to {listed.until or 'now'}",
                     found=entry.public_key)


def _kinds(lines: Sequence[Line]) -> Iterator[Difference]:
    """Name seals of what is sealed, and amendments of nothing or of the wrong entry."""
    last: dict[str, int] = {}
    sealed: set[tuple[str, str]] = set()
    for line in lines:
        entry = line.entry
        amends = last.get(entry.subject)
        wanted = "seal" if amends is None else "amendment"
        if not entry.kind.endswith(wanted) or entry.amends != amends or (
                wanted == "amendment" and not entry.reason):
            yield _named("entry-of-wrong-kind", line, f"is a {entry.kind} of entry {entry.amends}; "
                         f"by the entries above it should be a {wanted} of entry {amends}, an "
                         "amendment with its reason")
        last[entry.subject] = entry.number
        if isinstance(entry, Entry):
            sealed.add((entry.charge, entry.dossier))
            continue
        for charge in entry.charges:
            if (charge.charge, charge.dossier) not in sealed:
                yield _named("lot-rests-on-nothing", line, f"names a seal of {charge.charge} that "
                             "no entry above it made", found=charge.dossier)


def _dossiers(root: Path, ledger: Ledger, only: str | None) -> Iterator[Difference]:
    """Name sealed dossiers and lot records that are missing, changed, or of no entry."""
    known: set[Path] = set()
    count: dict[str, int] = {}
    for line in ledger.lines:
        entry = line.entry
        ordinal = count[entry.subject] = count.get(entry.subject, 0) + 1
        path, digest, what = (
            (dossier_path(entry.charge, ordinal), entry.dossier, "dossier")
            if isinstance(entry, Entry) else
            (lot_record_path(entry.lot, ordinal), entry.record, "lot-record"))
        known.add(path)
        if only is None or entry.subject == only:
            yield from _sealed_as(root, path, digest, what, entry)
    yield from _of_no_entry(root, known)


def _sealed_as(root: Path, path: Path, digest: str, what: str, entry: AnyEntry
               ) -> Iterator[Difference]:
    words = what.replace("-", " ")
    if not (root / path).is_file():
        yield Difference(kind=f"{what}-missing", where=path.as_posix(),
                         what=f"the {words} of entry {entry.number} is not there")
    elif (found := sha256((root / path).read_bytes())) != digest:
        yield Difference(kind=f"{what}-changed", where=path.as_posix(), sealed=digest,
                         found=found, what=f"it is not the {words} entry {entry.number} sealed")


def _of_no_entry(root: Path, known: set[Path]) -> Iterator[Difference]:
    for folder in (DOSSIERS, LOTS):
        for found in sorted((root / folder).glob("*")):
            if folder / found.name not in known and not found.name.startswith("."):
                yield Difference(
                    kind="dossier-without-entry", where=(folder / found.name).as_posix(),
                    what="no entry seals it: a seal was cut short, or its entry was taken "
                         "away. Seal again, or bring the ledger back")
