"""The part of a ledger in a bag: the charge's entries, and a proof that the ledger contains them.

``entries.jsonl`` holds the entries of the charge, of the lots drawn from it, and of the keys that
signed them. ``proof.json`` holds a signed head of the ledger and, for each entry, the inclusion
proof (RFC 9162) that leads from it to that head. Neither reveals anything about other charges.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

from pydantic import ValidationError

from kilnfolio.archive.canonical import canonical, read_canonical
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.entries import (
    AnyEntry,
    ClockCorrection,
    Entry,
    KeyRevocation,
    KeyRotation,
    LotEntry,
)
from kilnfolio.archive.heads import SignedHead, head_for
from kilnfolio.archive.keyring import Hex32
from kilnfolio.archive.ledger import Ledger, Line
from kilnfolio.archive.merkle import includes, leaf_hash
from kilnfolio.archive.places import lot_record_path
from kilnfolio.review.dossier import Part
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass

ENTRIES = Path("content/ledger/entries.jsonl")
PROOF = Path("content/ledger/proof.json")


class Inclusion(Part):
    """The place of an entry in the ledger, and the digests that lead from it to the head."""

    number: int
    """The entry's number."""
    path: tuple[Hex32, ...]
    """From the leaf up."""


class Proof(Part):
    """``proof.json``."""

    head: SignedHead
    """The state of the ledger that is shown to contain the entries."""
    inclusions: tuple[Inclusion, ...]
    """One for each entry of ``entries.jsonl``, in the same order."""


@dataclass(frozen=True)
class BagLedger:
    """A bag's part of the ledger."""

    lines: tuple[bytes, ...]
    entries: tuple[Entry, ...]
    """The charge's own, oldest first."""
    lots: tuple[LotEntry, ...]
    """Those of the lots drawn from it."""
    proof: Proof | None
    """None if the ledger was not converted, or sealing was interrupted before the head."""

    @property
    def files(self) -> dict[str, bytes]:
        """The files of the bag, by path below ``data/``."""
        found = {ENTRIES.as_posix(): b"".join(line + b"\n" for line in self.lines)}
        return found | ({PROOF.as_posix(): canonical(self.proof)} if self.proof else {})


def bag_ledger(ledger: Ledger, charge: str) -> BagLedger:
    """Return the part of a ledger for the bag of a charge.

    Its head is the first that includes the entries of the charge and its lots, so that sealing
    other charges later does not change the bag.
    """
    entries = ledger.of_charge(charge)
    drawn = dict.fromkeys(entry.lot for entry in ledger.drawn_from(charge))
    lots = tuple(entry for lot in drawn for entry in ledger.of_lot(lot))
    own = {entry.number for entry in (*entries, *lots)}
    head = head_for(ledger.heads, max(own, default=0))
    size = head.size if head else max(own, default=0)
    lines = [
        line for line in ledger.lines if line.entry.number <= size and _belongs(line.entry, own)
    ]
    proof = (
        Proof(
            head=head,
            inclusions=tuple(
                Inclusion(
                    number=line.entry.number,
                    path=tuple(
                        step.hex() for step in ledger.tree.inclusion(line.entry.number - 1, size)
                    ),
                )
                for line in lines
            ),
        )
        if head
        else None
    )
    return BagLedger(tuple(line.raw for line in lines), entries, lots, proof)


def _belongs(entry: AnyEntry, own: set[int]) -> bool:
    if isinstance(entry, ClockCorrection):
        return bool(own & set(entry.wrong))
    return entry.number in own or isinstance(entry, (KeyRotation, KeyRevocation))


def lot_records(lots: Sequence[LotEntry]) -> Iterator[tuple[Path, LotEntry]]:
    """Yield the path of the record that each lot's entry seals."""
    count: Counter[str] = Counter()
    for entry in lots:
        count[entry.lot] += 1
        yield lot_record_path(entry.lot, count[entry.lot]), entry


def read_proof(root: Path) -> Proof | None:
    """Return the proof of a bag; None if it is missing or cannot be read."""
    try:
        return Proof.model_validate(read_canonical(read_file(root / PROOF)))
    except (OSError, ValueError, ValidationError):
        return None


def check_proof(lines: Sequence[Line], proof: Proof) -> list[Difference]:
    """Report entries that the proof does not show to be in the ledger, and an invalid head."""
    where = PROOF.as_posix()
    found = []
    if not proof.head.is_valid:
        found.append(
            Difference(kind="head-edited", where=where, what="the head does not fit its signature")
        )
    proofs = {one.number: one for one in proof.inclusions}
    if len(proofs) != len(lines) or len(proof.inclusions) != len(lines):
        found.append(
            Difference(
                kind="proof-incomplete",
                where=where,
                what=f"it has {len(proof.inclusions)} proofs for {len(lines)} entries",
            )
        )
    for line in lines:
        one = proofs.get(line.entry.number)
        if one is None or not includes(
            leaf_hash(line.raw),
            line.entry.number - 1,
            proof.head.size,
            [bytes.fromhex(step) for step in one.path],
            bytes.fromhex(proof.head.root),
        ):
            found.append(
                Difference(
                    kind="entry-not-in-ledger",
                    where=where,
                    what=f"entry {line.entry.number} "
                    f"({line.entry.subject}) is not shown to be in the ledger of this head",
                )
            )
    return found
