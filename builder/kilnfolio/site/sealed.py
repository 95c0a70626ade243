"""Sealed charges and lots as pages print them, and lots as their customers read them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from kilnfolio.archive.as_sealed import by_todays_limits
from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.entries import LotEntry
from kilnfolio.archive.keys import Keys
from kilnfolio.archive.lots import LotState, seal_lot
from kilnfolio.archive.places import lot_record_path
from kilnfolio.archive.seal import state
from kilnfolio.archive.sealed_mill import (
    entries_of_charge,
    is_sealed,
    ledger,
    note_dossiers,
    note_sealed,
    sealed_folder,
)
from kilnfolio.archive.standing import changed_words, charge_standing, lot_standing
from kilnfolio.archive.tokens import NO_KEY, AddressKeys, read_address_keys
from kilnfolio.graph.derived import Group, derived, inline
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.folder import MillFolder, mill_of
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.review.dossier import LotDossier
from kilnfolio.review.reviews import charge_dossier, dossiers, lot_dossier
from kilnfolio.review.sealed import library_of_sealed_lot
from kilnfolio.site.lot_words import lot_record
from kilnfolio.site.pages.customer import CustomerLot, Served, customer_lot
from kilnfolio.site.seals import SealView, Superseded, seal_view, superseded_states

#: Warnings, in words.
warnings = Group("warnings")


@dataclass(frozen=True)
class SealedLot:
    """A lot's record as its customer reads it, with its entries in the ledger."""

    view: CustomerLot
    seal: SealView


# --- addresses of lots ----------------------------------------------------------------------------


@inline("address keys")
def address_keys(graph: Graph, _: str) -> AddressKeys:
    """Return the keys that the addresses of lots are made with."""
    graph.tree("keys")
    graph.tree("content/demo-keys")
    return read_address_keys(graph.folder, invented=reading.mill(graph).record.invented)


@dataclass(frozen=True)
class Addresses:
    """The addresses of a lot.

    Attributes
    ----------
    live : tuple of str
        Those that lead to its record, the one in use first; none if the mill has no key.
    withdrawn : tuple of str
        Those that no longer do, newest first.
    """

    live: tuple[str, ...]
    withdrawn: tuple[str, ...]


@derived("lot addresses", keys=reading.lots, batch=2000, at_home=True)
def lot_addresses(graph: Graph, lot: str) -> Addresses:
    """Return the addresses of a lot."""
    keys = address_keys(graph)
    return Addresses(keys.live_tokens(lot), keys.withdrawn_tokens(lot))


def published_addresses(graph: Graph, lot: str) -> tuple[str, ...]:
    """Return every address of a lot, with the one that can be guessed if the mill publishes it."""
    found, guessable = lot_addresses(graph, lot).live, lot_view(graph, lot).view.guessable
    return (*found, guessable) if found and guessable else found


@derived("address key", fills=(warnings,), at_home=True)
def address_key(graph: Graph, _: str) -> bool:
    """Return whether the mill has a key for the addresses of its lots; warn if it has none."""
    if found := bool(address_keys(graph)):
        return found
    graph.join(warnings, "", NO_KEY, "addresses")
    return False


# --- charges and lots -----------------------------------------------------------------------------


@derived("charge seal", keys=reading.charges, batch=1000)
def charge_seal(graph: Graph, number: str) -> SealView:
    """Return a complete charge's ledger entries, with what would differ under today's limits."""
    folder = sealed_folder(graph, number)
    if folder is None:
        return SealView()
    stands = charge_standing(graph, number)
    other = by_todays_limits(folder, charge_dossier(graph, number), reading.limits(graph))
    return seal_view(
        stands.entries,
        _demo_keys(graph),
        tuple(one.sentence for one in other),
        number,
        changed_words(stands),
    )


@derived("lot view", keys=reading.lots, batch=90)
def lot_view(graph: Graph, number: str) -> SealedLot:
    """Return what a lot's customer reads: the sealed record, if there is one."""
    mill, reviews, dossier = mill_of(graph), dossiers(mill_of(graph)), lot_dossier(graph, number)
    seal, record = SealView(), ""
    if is_sealed(graph, "lot", number):
        stands = lot_standing(graph, number)
        seal = seal_view(stands.entries, _demo_keys(graph), broken=changed_words(stands))
        record = _record_as_sealed(graph, stands, dossier).decode()
    address = next(iter(lot_addresses(graph, number).live), "")
    served = Served(record, seal)
    return SealedLot(customer_lot(mill, number, reviews, dossier, address, served), seal)


def _record_as_sealed(graph: Graph, stands: LotState, dossier: LotDossier) -> bytes:
    """Return the record that a lot's last seal signs; made again if its file is not that record.

    Raises
    ------
    RecordProblems
        What is made again is not that record either.
    """
    sealed, lot = stands.entries[-1].record, stands.lot
    if sha256(stands.record) == sealed:
        return stands.record
    mill = mill_of(graph)
    library = library_of_sealed_lot(graph, lot) or mill
    made = canonical(lot_record(library, lot, dossiers(mill), dossier))
    if sha256(made) == sealed:
        return made
    raise RecordProblems(
        [
            Problem(
                Place(lot_record_path(lot, len(stands.entries)).as_posix()),
                f"the sealed record of lot {lot}",
                "it is missing, or is not the record that was sealed",
                "Bring it back from a backup",
            )
        ]
    )


@derived("lot seal", keys=reading.lots, batch=2000)
def lot_seal(graph: Graph, number: str) -> SealView:
    """Return the ledger entries of a lot's record."""
    return lot_view(graph, number).seal


def _demo_keys(graph: Graph) -> frozenset[str]:
    return ledger.entry(graph, "demo keys", frozenset())


def enter_lot(
    mill: MillFolder, lot: str, by: str, keys: Keys, at: dt.datetime, reason: str | None = None
) -> LotEntry:
    """Seal the record of a lot, or amend it if a reason is given; see `archive.lots.seal_lot`.

    Parameters
    ----------
    mill : MillFolder
        The mill, with sealed charges as they were sealed and the lot as it stands in its file.
    lot : str
        The lot.
    by, keys, at, reason
        As for `archive.lots.seal_lot`.
    """
    dossier, reviews = lot_dossier(mill.graph, lot), dossiers(mill)
    record = canonical(lot_record(mill, lot, reviews, dossier))
    whole = read_ledger(
        mill.graph.folder
    )  # others may have sealed something since the mill was read
    charges = {
        name: state(mill.graph.folder, name, whole, numbers=False) for name in dossier.charges
    }
    return seal_lot(mill, dossier, record, charges, by, keys, at, reason)


class Seals:
    """The ledger's entries for charges and lots, looked up by number."""

    def __init__(self, graph: Graph):
        self._graph = graph

    @property
    def keys(self) -> tuple[str, ...]:
        """The public keys that charges were sealed with, sorted."""
        keys: tuple[str, ...] = ledger.entry(self._graph, "public keys", ())
        return keys

    @property
    def demo_keys(self) -> frozenset[str]:
        """Those of `keys` that belong to the demonstration, whose private halves everybody has."""
        return _demo_keys(self._graph)

    def of_charge(self, number: str) -> SealView:
        """Return the ledger entries of a charge; an incomplete charge has none."""
        incomplete = reading.open_charges(self._graph, number)
        return SealView() if incomplete else charge_seal(self._graph, number)

    def of_lot(self, number: str) -> SealView:
        """Return the ledger entries of a lot's record."""
        return lot_seal(self._graph, number)

    def superseded(self, number: str) -> Iterator[Superseded]:
        """Yield the sealed states of a charge that have since been amended, newest first."""
        entries = entries_of_charge(self._graph, number)
        if len(entries) > 1:
            note_sealed(self._graph, entries)
            note_dossiers(self._graph, number, len(entries))
            yield from superseded_states(self._graph.folder, entries)
