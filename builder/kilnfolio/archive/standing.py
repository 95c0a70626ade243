"""Derived values about sealed charges and lots: their sealed records, and whether they changed.

A sealed charge is read and reviewed from the copies kept with its seal, and a sealed lot by the
limits and species with which it was sealed: `SEALED` binds this to a graph. One whose own files
were changed is still shown as sealed, and `check` and `build` report it until it is amended or the
change is undone.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from kilnfolio.archive.as_sealed import as_sealed_library, folder_as_sealed, sealed_dossier
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.entries import Entry, LotEntry, SealEntry
from kilnfolio.archive.heads import leaves_text
from kilnfolio.archive.keyring import KEYRING, read_keyring
from kilnfolio.archive.ledger import KEPT, LEDGER, Ledger, dossier_path, lot_record_path
from kilnfolio.archive.lots import LotState, lot_state
from kilnfolio.archive.proofs import BagLedger, bag_ledger
from kilnfolio.archive.seal import SealState, state
from kilnfolio.graph.derived import Bound, Group, derived, inline, table
from kilnfolio.graph.graph import Graph
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder, mill_of, open_mill
from kilnfolio.records.lot import Lot
from kilnfolio.records.model import Located
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.reading import charge_as_sealed, lot_as_sealed, lot_is_sealed
from kilnfolio.review.dossier import Dossier, Finding
from kilnfolio.review.reviews import dossier_as_sealed, library_of_sealed_lot

#: The slug of a finding about a broken seal.
AS_SEALED = "as-sealed"
#: Most differences that a message names.
_NAMED = 3

#: In words, what is not as sealed.
broken = Group("broken")
#: The public keys with which charges were sealed.
public_keys = Group("public keys")


# --- the ledger -----------------------------------------------------------------------------------


@table("ledger", fills=(public_keys,))
def ledger(graph: Graph, _: str) -> Mapping[str, Any]:
    """Read the ledger once, and give each charge and lot its own entries."""
    graph.tree(LEDGER.parent.as_posix())
    whole = read_ledger(graph.folder)
    lines: dict[str, list[Any]] = {}
    others = []
    for line in whole.lines:
        entry = line.entry
        if not isinstance(entry, (Entry, LotEntry)):
            others.append(line.raw.decode() + "\n")
            continue
        of = f"charge:{entry.charge}" if isinstance(entry, Entry) else f"lot:{entry.lot}"
        lines.setdefault(of, []).append(line)
        if isinstance(entry, Entry):
            graph.join(public_keys, "", entry.public_key)
    subjects = {
        noun: tuple(
            sorted(of.removeprefix(noun + ":") for of in lines if of.startswith(noun + ":"))
        )
        for noun in ("charge", "lot")
    }
    return {
        "differences": whole.differences,
        "demo keys": demo_keys(graph.folder),
        **{f"every {noun}": names for noun, names in subjects.items()},
        "leaves": leaves_text(whole.tree),
        "others": "".join(others),
        **{f"bag:{charge}": bag_ledger(whole, charge) for charge in subjects["charge"]},
        **{of: tuple(found) for of, found in lines.items()},
    }


def ledger_of_bag(graph: Graph, number: str) -> BagLedger:
    """Return the part of the ledger for the bag of a sealed charge."""
    part = ledger.entry(graph, f"bag:{number}")
    assert isinstance(part, BagLedger)  # only sealed charges have bags
    return part


def part_of_ledger(graph: Graph, noun: str, number: str) -> Ledger:
    """Return the ledger's entries about one charge or lot, with all the problems of the ledger."""
    return Ledger(
        ledger.entry(graph, f"{noun}:{number}", ()), ledger.entry(graph, "differences", ())
    )


def entries_of_charge(graph: Graph, number: str) -> tuple[Entry, ...]:
    """Return the entries of a charge, oldest first."""
    return part_of_ledger(graph, "charge", number).of_charge(number)


def entries_of_lot(graph: Graph, number: str) -> tuple[LotEntry, ...]:
    """Return the entries of a lot, oldest first."""
    return part_of_ledger(graph, "lot", number).of_lot(number)


def is_sealed(graph: Graph, noun: str, number: str) -> bool:
    """Return whether a charge or lot is sealed."""
    return ledger.entry(graph, f"{noun}:{number}") is not None


def note_sealed(graph: Graph, entries: Sequence[SealEntry]) -> None:
    """Record that the copies kept with seals are read, which do not change when others are sealed.

    This includes what precedes them in the ledger, since each entry signs its hash.
    """
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
    note_sealed(graph, entries[-1:])
    return folder_as_sealed(graph.folder, entries[-1])


def _charge_as_sealed(graph: Graph, number: str) -> Located[Charge] | None:
    folder = sealed_folder(graph, number)
    located = folder.located_charge(number) if folder else None
    return located if isinstance(located, Located) else None


def _dossier_as_sealed(graph: Graph, number: str) -> Dossier | None:
    entries, folder = entries_of_charge(graph, number), sealed_folder(graph, number)
    if not entries:
        return None
    note_dossiers(graph, number, len(entries))
    return sealed_dossier(graph.folder, entries[-1], len(entries), folder)


def _lot_is_sealed(graph: Graph, number: str) -> bool:
    return is_sealed(graph, "lot", number)


def _lot_as_sealed(graph: Graph, number: str) -> Located[Lot] | None:
    entries = entries_of_lot(graph, number)
    if not entries or not entries[-1].files:
        return None
    note_sealed(graph, entries[-1:])
    return folder_as_sealed(graph.folder, entries[-1]).lots.get(number)


def _library_of_sealed_lot(graph: Graph, number: str) -> MillFolder | None:
    entries = entries_of_lot(graph, number)
    if not entries:
        return None
    note_sealed(graph, entries[-1:])
    return as_sealed_library(mill_of(graph), graph.folder, entries[-1])


def sealed_except(*, charge: str = "", lot: str = "") -> Bound:
    """Return bindings that read sealed charges and lots as sealed, except one to be amended."""
    return {
        charge_as_sealed.name: lambda graph, number: (
            None if number == charge else _charge_as_sealed(graph, number)
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


# --- is it still as sealed? -----------------------------------------------------------------------


def _sealed_charges(graph: Graph) -> tuple[str, ...]:
    return ledger.entry(graph, "every charge", ())


def _sealed_lots(graph: Graph) -> tuple[str, ...]:
    return ledger.entry(graph, "every lot", ())


@derived("charge standing", keys=_sealed_charges, batch=20, fills=(broken,))
def charge_standing(graph: Graph, number: str) -> SealState:
    """Return whether a sealed charge is still as sealed."""
    entries = entries_of_charge(graph, number)
    note_sealed(graph, entries[-1:])
    _note_own(graph, entries)
    note_dossiers(graph, number, len(entries))
    stands = state(graph.folder, number, part_of_ledger(graph, "charge", number))
    _tell(graph, stands, number)
    return stands


@derived("lot standing", keys=_sealed_lots, fills=(broken,))
def lot_standing(graph: Graph, number: str) -> LotState:
    """Return whether a sealed lot is still as sealed."""
    entries = entries_of_lot(graph, number)
    graph.file(lot_record_path(number, len(entries)).as_posix())
    _note_own(graph, entries)
    stands = lot_state(
        graph.folder,
        number,
        part_of_ledger(graph, "lot", number),
        lambda charge: entries_of_charge(graph, charge),
    )
    _tell(graph, stands, f"lot {number}")
    return stands


def _note_own(graph: Graph, entries: Sequence[SealEntry]) -> None:
    for file in entries[-1].files if entries else ():
        if entries[-1].is_own(file.path):
            graph.file(file.path)


def _tell(graph: Graph, stands: SealState | LotState, name: str) -> None:
    if stands.differences:
        graph.join(broken, "", broken_words(stands, name), name)


def broken_findings(
    graph: Graph, charges: Sequence[str] | None = None, lots: Sequence[str] | None = None
) -> dict[str, Finding]:
    """Return findings on broken seals, by the name that `check` prints: ``C1``, ``lot L1``.

    Parameters
    ----------
    graph : Graph
        The mill.
    charges, lots : sequence of str, optional
        Those to check; by default all sealed ones.
    """
    return dict(
        _broken(
            graph,
            _sealed_charges(graph) if charges is None else charges,
            _sealed_lots(graph) if lots is None else lots,
        )
    )


def _broken(
    graph: Graph, charges: Sequence[str], lots: Sequence[str]
) -> Iterator[tuple[str, Finding]]:
    for number in charges:
        if is_sealed(graph, "charge", number) and charge_standing(graph, number).differences:
            yield number, broken_finding(charge_standing(graph, number), number)
    for number in lots:
        if is_sealed(graph, "lot", number) and lot_standing(graph, number).differences:
            yield f"lot {number}", broken_finding(lot_standing(graph, number), f"lot {number}")


def broken_finding(stands: SealState | LotState, name: str) -> Finding:
    """Return the finding on a charge or lot that is not as sealed."""
    last, differences = stands.entries[-1], stands.differences
    named = "; ".join(f"{d.where}: {d.what}" for d in differences[:_NAMED])
    more = len(differences) - _NAMED
    rest = f"; and {more} more, which 'kilnfolio audit' names" if more > 0 else ""
    number = name.removeprefix("lot ")
    return Finding(
        check=AS_SEALED,
        outcome="fail",
        message=(
            f"it is not as {last.by} sealed it on {last.at:%Y-%m-%d}, and is published as it was "
            f"sealed. {named}{rest}. Undo the change, or run: kilnfolio amend {number} --by NAME "
            "--reason '…'"
        ),
    )


def changed_words(stands: SealState | LotState) -> str:
    """Return what in a charge or lot is not as sealed, for its own page; empty if all is."""
    named = list(dict.fromkeys(f"{d.where}: {d.what}" for d in stands.differences))
    more = f"; and {len(named) - _NAMED} more" if len(named) > _NAMED else ""
    return f"{'; '.join(named[:_NAMED])}{more}." if named else ""


def broken_words(stands: SealState | LotState, name: str) -> str:
    """Return the same as a sentence that names the charge or lot."""
    return f"{name}: {broken_finding(stands, name).message}"
