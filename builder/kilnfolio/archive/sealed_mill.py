"""A mill with what it has sealed: the ledger as a derived value, and records read as sealed.

A sealed charge is read and reviewed from the copies its seal keeps, and a sealed lot by the limits
and species it was sealed with: `SEALED` binds this to a graph. What reads and checks a ledger is
imported where a charge or lot is sealed: most that are asked for day by day are not.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kilnfolio.archive.places import KEPT, LEDGER, dossier_path
from kilnfolio.graph.derived import Bound, inline, table
from kilnfolio.graph.graph import Graph
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder, mill_of, open_mill
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.model import Located
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.reading import (
    charge_as_sealed,
    lot_as_sealed,
    lot_is_sealed,
    texts_of_charge,
)
from kilnfolio.review.sealed import dossier_as_sealed, library_of_sealed_lot
from kilnfolio.runtime.files import read_file

if TYPE_CHECKING:
    from kilnfolio.archive.entries import Entry, LotEntry, SealEntry
    from kilnfolio.archive.ledger import Ledger
    from kilnfolio.archive.proofs import BagLedger
    from kilnfolio.records.lot import Lot
    from kilnfolio.review.dossier import Dossier


# --- the ledger -----------------------------------------------------------------------------------


class _LedgerParts(Mapping[str, Any]):
    """What each asks of the ledger, worked out when something asks for it.

    A charge or lot that no line names has no part of it: to tell so takes no line apart.
    """

    def __init__(self, folder: Path):
        self._folder = folder
        file = folder / LEDGER
        self._raw = read_file(file) if file.exists() else b""

    def __getitem__(self, name: str) -> Any:
        _, _, number = name.partition(":")
        if "_parts" not in vars(self) and number and f'"{number}"'.encode() not in self._raw:
            raise KeyError(name)
        return self._parts[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._parts)

    def __len__(self) -> int:
        return len(self._parts)

    @cached_property
    def _parts(self) -> dict[str, Any]:
        from kilnfolio.archive.checking import read_ledger
        from kilnfolio.archive.entries import Entry, LotEntry
        from kilnfolio.archive.heads import leaves_text
        from kilnfolio.archive.proofs import bag_ledger

        whole = read_ledger(self._folder)
        lines: dict[str, list[Any]] = {}
        others = []
        for line in whole.lines:
            entry = line.entry
            if not isinstance(entry, (Entry, LotEntry)):
                others.append(line.raw.decode() + "\n")
                continue
            of = f"charge:{entry.charge}" if isinstance(entry, Entry) else f"lot:{entry.lot}"
            lines.setdefault(of, []).append(line)
        subjects = {
            noun: tuple(
                sorted(of.removeprefix(noun + ":") for of in lines if of.startswith(noun + ":"))
            )
            for noun in ("charge", "lot")
        }
        return {
            "differences": whole.differences,
            "demo keys": demo_keys(self._folder),
            "public keys": tuple(
                sorted(
                    {line.entry.public_key for line in whole.lines if isinstance(line.entry, Entry)}
                )
            ),
            **{f"every {noun}": names for noun, names in subjects.items()},
            "leaves": leaves_text(whole.tree),
            "others": "".join(others),
            **{f"bag:{charge}": bag_ledger(whole, charge) for charge in subjects["charge"]},
            **{of: tuple(found) for of, found in lines.items()},
        }


@table("ledger")
def ledger(graph: Graph, _: str) -> Mapping[str, Any]:
    """Read the ledger once, and give each charge and lot its own entries."""
    graph.tree(LEDGER.parent.as_posix())
    return _LedgerParts(graph.folder)


def ledger_of_bag(graph: Graph, number: str) -> BagLedger:
    """Return the part of the ledger for the bag of a sealed charge."""
    part: BagLedger | None = ledger.entry(graph, f"bag:{number}")
    assert part is not None  # only sealed charges have bags
    return part


def part_of_ledger(graph: Graph, noun: str, number: str) -> Ledger:
    """Return the ledger's entries about one charge or lot, with all the problems of the ledger."""
    from kilnfolio.archive.ledger import Ledger

    return Ledger(
        ledger.entry(graph, f"{noun}:{number}", ()), ledger.entry(graph, "differences", ())
    )


def entries_of_charge(graph: Graph, number: str) -> tuple[Entry, ...]:
    """Return the entries of a charge, oldest first."""
    return tuple(line.entry for line in ledger.entry(graph, f"charge:{number}", ()))


def entries_of_lot(graph: Graph, number: str) -> tuple[LotEntry, ...]:
    """Return the entries of a lot, oldest first."""
    return tuple(line.entry for line in ledger.entry(graph, f"lot:{number}", ()))


def is_sealed(graph: Graph, noun: str, number: str) -> bool:
    """Return whether a charge or lot is sealed."""
    return ledger.entry(graph, f"{noun}:{number}") is not None


def note_sealed(graph: Graph, entries: Sequence[SealEntry]) -> None:
    """Record that the copies kept with seals are read, which do not change when others are sealed.

    This includes what precedes them in the ledger, since each entry signs its hash.
    """
    from kilnfolio.archive.keyring import KEYRING

    graph.file(KEYRING.as_posix())
    for entry in entries:
        for file in entry.files:
            graph.file((KEPT / file.sha256).as_posix())


def note_dossiers(graph: Graph, number: str, count: int) -> None:
    """Record that the sealed dossiers of a charge are read."""
    for ordinal in range(1, count + 1):
        graph.file(dossier_path(number, ordinal).as_posix())


def demo_keys(root: Path) -> frozenset[str]:
    """Return those public keys of a mill that are demonstration keys."""
    from kilnfolio.archive.keyring import read_keyring

    with contextlib.suppress(RecordProblems):  # the ledger then has a problem, which is reported
        keyring = read_keyring(root)
        return (
            frozenset(key.public_key for key in keyring.keys if key.demo)
            if keyring
            else frozenset()
        )
    return frozenset()


# --- read as sealed -------------------------------------------------------------------------------


@inline("sealed folder")
def sealed_folder(graph: Graph, number: str) -> MillFolder | None:
    """Return the records behind a charge's seal; None if it is not sealed."""
    entries = entries_of_charge(graph, number)
    if not entries:
        return None
    from kilnfolio.archive.as_sealed import folder_as_sealed

    note_sealed(graph, entries[-1:])
    return folder_as_sealed(graph.folder, entries[-1])


def _charge_as_sealed(graph: Graph, number: str) -> Located[Charge] | None:
    folder = sealed_folder(graph, number)
    located = folder.located_charge(number) if folder else None
    return located if isinstance(located, Located) else None


def _texts_as_sealed(graph: Graph, number: str) -> tuple[bytes, ...]:
    entries = entries_of_charge(graph, number)
    of = RECORD_KINDS["charge"].name_at
    files = [file for file in entries[-1].files if of(file.path) == number] if entries else []
    if not files:
        return texts_of_charge.compute(graph, number)
    from kilnfolio.archive.as_sealed import kept_bytes

    note_sealed(graph, entries[-1:])
    return tuple(kept_bytes(graph.folder, file) for file in files)


def _dossier_as_sealed(graph: Graph, number: str) -> Dossier | None:
    entries, folder = entries_of_charge(graph, number), sealed_folder(graph, number)
    if not entries:
        return None
    from kilnfolio.archive.as_sealed import sealed_dossier

    note_dossiers(graph, number, len(entries))
    return sealed_dossier(graph.folder, entries[-1], len(entries), folder)


def _lot_is_sealed(graph: Graph, number: str) -> bool:
    return is_sealed(graph, "lot", number)


def _lot_as_sealed(graph: Graph, number: str) -> Located[Lot] | None:
    entries = entries_of_lot(graph, number)
    if not entries or not entries[-1].files:
        return None
    from kilnfolio.archive.as_sealed import folder_as_sealed

    note_sealed(graph, entries[-1:])
    return folder_as_sealed(graph.folder, entries[-1]).lots.get(number)


def _library_of_sealed_lot(graph: Graph, number: str) -> MillFolder | None:
    entries = entries_of_lot(graph, number)
    if not entries:
        return None
    from kilnfolio.archive.as_sealed import as_sealed_library

    note_sealed(graph, entries[-1:])
    return as_sealed_library(mill_of(graph), graph.folder, entries[-1])


def sealed_except(*, charge: str = "", lot: str = "") -> Bound:
    """Return bindings that read sealed charges and lots as sealed, except one to be amended."""
    return {
        charge_as_sealed.name: lambda graph, number: (
            None if number == charge else _charge_as_sealed(graph, number)
        ),
        texts_of_charge.name: lambda graph, number: (
            texts_of_charge.compute(graph, number)
            if number == charge
            else _texts_as_sealed(graph, number)
        ),
        dossier_as_sealed.name: lambda graph, number: (
            None if number == charge else _dossier_as_sealed(graph, number)
        ),
        lot_as_sealed.name: lambda graph, number: (
            None if number == lot else _lot_as_sealed(graph, number)
        ),
        lot_is_sealed.name: lambda graph, number: number != lot and _lot_is_sealed(graph, number),
        library_of_sealed_lot.name: lambda graph, number: (
            None if number == lot else _library_of_sealed_lot(graph, number)
        ),
    }


#: Bindings that read every sealed charge and lot as sealed.
SEALED: Bound = sealed_except()


def open_sealed_mill(root: Path) -> MillFolder:
    """Return a mill folder whose sealed charges and lots are read as sealed.

    Raises
    ------
    RecordProblems
        It is not a mill folder.
    """
    return open_mill(root, bound=SEALED)
