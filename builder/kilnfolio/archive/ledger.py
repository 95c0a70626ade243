"""The ledger of seals: one signed line for each, and a Merkle tree of them all.

A charge's entry seals its dossier; a lot's entry seals the record that its customer reads, to which
the labels on packs refer; others are about keys, clocks and witnesses (`archive.entries`).
``content/ledger/ledger.jsonl`` is append-only, and each entry signs the Merkle tree hash of all
entries before it. Beside it ``heads.jsonl`` holds a signed head for each state, ``dossiers/`` each
sealed dossier, ``lots/`` each sealed lot record, and ``kept/`` every file behind a seal, by
SHA-256.

A last line without its end was torn by a power cut: it is reported, skipped, and repaired only when
the next entry is added. The ledger alone cannot show that entries were removed from its end
together with their heads and files; a later head, such as one in a bag, reveals it.
"""

from __future__ import annotations

from functools import cached_property

from pydantic import ValidationError

from kilnfolio.archive.canonical import read_canonical, sha256
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.entries import (
    AnyEntry,
    Entry,
    LotEntry,
    SealEntry,
    line_of,
    read_entry,
)
from kilnfolio.archive.heads import SignedHead
from kilnfolio.archive.merkle import Tree, leaf_hash
from kilnfolio.archive.places import LEDGER
from kilnfolio.runtime.values import dataclass

#: What the first line has in place of the digest of the previous line.
NOTHING_BEFORE = "0" * 64


@dataclass(frozen=True)
class Line:
    """An entry with the bytes it was read from."""

    entry: AnyEntry
    raw: bytes
    row: int
    """Line of the file, from 1."""
    file: str = LEDGER.as_posix()
    """The file."""


@dataclass(frozen=True)
class Ledger:
    """The readable entries of a ledger, and everything that is wrong with it."""

    lines: tuple[Line, ...]
    differences: tuple[Difference, ...]
    torn: bytes = b""
    """A last line without its end."""
    heads: tuple[SignedHead, ...] = ()
    """The heads signed since the ledger was converted."""

    @cached_property
    def entries(self) -> tuple[AnyEntry, ...]:
        """The entries in the order of the file."""
        return tuple(line.entry for line in self.lines)

    @cached_property
    def tree(self) -> Tree:
        """The Merkle tree of the lines (RFC 9162)."""
        return Tree(leaf_hash(line.raw) for line in self.lines)

    @cached_property
    def _seals(self) -> dict[str, tuple[SealEntry, ...]]:
        found: dict[str, list[SealEntry]] = {}
        for entry in self.entries:
            if isinstance(entry, (Entry, LotEntry)):
                found.setdefault(entry.subject, []).append(entry)
        return {subject: tuple(entries) for subject, entries in found.items()}

    @property
    def charges(self) -> tuple[str, ...]:
        """The sealed charges, in the order in which they were first sealed."""
        return tuple(first.charge for first, *_ in self._seals.values() if isinstance(first, Entry))

    @property
    def lots(self) -> tuple[str, ...]:
        """The sealed lots, in the order in which they were first sealed."""
        return tuple(first.lot for first, *_ in self._seals.values() if isinstance(first, LotEntry))

    def of_charge(self, charge: str) -> tuple[Entry, ...]:
        """Return the entries of a charge: its seal, then its amendments."""
        return tuple(entry for entry in self._seals.get(charge, ()) if isinstance(entry, Entry))

    def of_lot(self, lot: str) -> tuple[LotEntry, ...]:
        """Return the entries of a lot: its seal, then its amendments."""
        return tuple(
            entry for entry in self._seals.get(f"lot {lot}", ()) if isinstance(entry, LotEntry)
        )

    def drawn_from(self, charge: str) -> tuple[LotEntry, ...]:
        """Return the entries of every lot drawn from a charge."""
        return self._drawn.get(charge, ())

    @cached_property
    def _drawn(self) -> dict[str, tuple[LotEntry, ...]]:
        found: dict[str, list[LotEntry]] = {}
        for entry in self.entries:
            if isinstance(entry, LotEntry):
                for drawn in entry.charges:
                    found.setdefault(drawn.charge, []).append(entry)
        return {charge: tuple(entries) for charge, entries in found.items()}

    def before(self, form: int) -> str:
        """Return the digest of what precedes the next entry, for a format of entry."""
        if form == 1:
            return sha256(self.lines[-1].raw) if self.lines else NOTHING_BEFORE
        return self.tree.root().hex()


def parse_ledger(raw: bytes, name: str = LEDGER.as_posix()) -> Ledger:
    """Return the lines that can be read, and report those that cannot; `name` is the file's."""
    *whole, torn = raw.split(b"\n")
    lines, differences = [], []
    for row, line in enumerate(whole, 1):
        try:
            entry = read_entry(read_canonical(line))
            if line_of(entry) != line:
                raise ValueError("a value is not written as kilnfolio writes it")
        except (ValidationError, ValueError) as error:
            differences.append(
                Difference(
                    kind="ledger-line-unreadable",
                    where=line_place(row, name),
                    what=f"this line is no entry of a ledger: {first_reason(error)}",
                )
            )
            continue
        lines.append(Line(entry, line, row, name))
    if torn:
        differences.append(
            Difference(
                kind="ledger-line-torn",
                where=line_place(len(whole) + 1, name),
                what="the last line has no end: its writing was cut short. The entries above it are "
                "whole; the next seal or amendment mends it",
            )
        )
    return Ledger(tuple(lines), tuple(differences), torn)


def line_place(row: int, name: str = LEDGER.as_posix()) -> str:
    """Return the place of a line of the ledger for messages."""
    return f"{name}:{row}"


def first_reason(error: Exception) -> str:
    """Return in words the first reason why a value was refused."""
    if isinstance(error, ValidationError):
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"]))
        return f"{place}: {first['msg'].lower()}" if place else first["msg"].lower()
    return str(error)
