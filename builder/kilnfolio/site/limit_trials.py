"""How the newest charges and lots would stand at other values of each limit, as derived values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from kilnfolio.archive.sealed_mill import sealed_folder
from kilnfolio.graph.derived import derived, table
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.folder import mill_of
from kilnfolio.records.model import Located
from kilnfolio.review.limit_values import (
    Flip,
    LimitTrials,
    charge_trials,
    lot_trials,
    other_values,
)
from kilnfolio.review.own_code import own_code
from kilnfolio.review.review import read_logs
from kilnfolio.review.reviews import dossiers
from kilnfolio.runtime.values import dataclass

NEWEST = 100
"""Number of charges, and of lots, that are tried."""


def newest_charges(graph: Graph) -> tuple[str, ...]:
    """Return the charges that are tried, newest first."""
    return reading.charges(graph, reading.ALL, newest_first=True)[:NEWEST]


def newest_lots(graph: Graph) -> tuple[str, ...]:
    """Return the lots that are tried, newest first."""
    return reading.lots(graph, reading.ALL, newest_first=True)[:NEWEST]


@derived(
    "charge limit trials",
    keys=newest_charges,
    batch=8,
    edition="mill",
    label="records worked up",
)
def charge_limit_trials(graph: Graph, number: str) -> LimitTrials:
    """Return a charge at other values of today's limits; a sealed one with its sealed records."""
    mill = mill_of(graph)
    folder = (sealed_folder(graph, number) or mill).with_records(limits=mill.limits)
    own, located = own_code(folder.graph), folder.charges[number]
    if located.record.corrections or own.checks:  # they may look into the file as it is written
        written = folder.located_charge(number)
        assert isinstance(written, Located)  # it is complete
        located = written
    return charge_trials(folder, located, read_logs(folder, located), own)


@derived("lot limit trials", keys=newest_lots, batch=60, edition="mill")
def lot_limit_trials(graph: Graph, number: str) -> LimitTrials:
    """Return a lot at other values of today's limits, with the charges it comes from."""
    mill = mill_of(graph)
    tried = set(newest_charges(graph))
    charges = {pack.charge for pack in mill.lots[number].record.packs}
    of_charges = {name: charge_limit_trials(graph, name) for name in sorted(charges & tried)}
    return lot_trials(mill, number, dossiers(mill), of_charges)


@dataclass(frozen=True)
class EntryStanding:
    """One entry of a limit: how past results would stand at other values.

    Attributes
    ----------
    place : int
        Which of the limit's entries, from 0.
    charges, lots : int
        Number of charges and lots whose review reads it.
    flips : mapping of float to tuple of Flip
        What would change, by value tried; a value at which nothing would is listed too.
    """

    place: int
    charges: int
    lots: int
    flips: Mapping[float, tuple[Flip, ...]]


@table("limit standings", edition="mill")
def limit_standings(graph: Graph, _: str) -> Mapping[str, tuple[EntryStanding, ...]]:
    """Return how past results would stand at other values of each limit that a review reads."""
    trials = [
        *(charge_limit_trials(graph, name) for name in newest_charges(graph)),
        *(lot_limit_trials(graph, name) for name in newest_lots(graph)),
    ]
    book = mill_of(graph).limits.record.limits
    found = {
        key: tuple(
            one
            for place in range(len(entries))
            if (one := _standing(trials, key, place, other_values(key, entries[place]))) is not None
        )
        for key, entries in book.items()
    }
    return {key: entries for key, entries in found.items() if entries}


def _standing(
    trials: Iterable[LimitTrials], key: str, place: int, values: Iterable[float]
) -> EntryStanding | None:
    readers = [one for one in trials if (key, place) in one.read]
    if not readers:
        return None
    flips: dict[float, tuple[Flip, ...]] = dict.fromkeys(values, ())
    for one in readers:
        for trial in one.trials:
            if (trial.key, trial.entry) == (key, place):
                flips[trial.value] += trial.flips
    lots = sum(one.record.startswith("lot ") for one in readers)
    return EntryStanding(place, len(readers) - lots, lots, flips)
