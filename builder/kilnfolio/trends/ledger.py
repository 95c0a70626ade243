"""The degrade ledger: defects of the final inspection beside what happened in the charge.

It says what goes with what, never why: loads differ in more ways than a ledger records.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from statistics import fmean, stdev
from typing import Literal

from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.physics.comparisons import (
    corrected_for_many,
    difference_of_means,
    interval_of_mean,
    rank_correlation,
)
from kilnfolio.runtime.values import dataclass
from kilnfolio.trends.entries import (
    COURSES,
    LEAST_GROUP,
    LEAST_PAIRS,
    Entry,
    Group,
    defects_of,
    shares,
    within_timbers,
)
from kilnfolio.trends.past import PastCharge, past_charges
from kilnfolio.trends.where import place_tables, places, steps

NEWEST = 500
"""Number of newest inspected charges that the ledger looks at."""


@dataclass(frozen=True)
class PlaceShares:
    """How often a defect was found at each place of a kiln.

    Attributes
    ----------
    kiln, defect : str
    charges : int
        Number of charges examined pack by pack.
    places : tuple of (str, int, int)
        Position, pieces with the defect, and pieces examined.
    """

    kiln: str
    defect: str
    charges: int
    places: tuple[tuple[str, int, int], ...]


@dataclass(frozen=True)
class TimberShare:
    """How often a defect was found in charges of a species.

    Attributes
    ----------
    species, defect : str
    charges : int
        Number of charges examined for it, `LEAST_GROUP` or more.
    mean_pct, half_pct : float
        Mean of the charges' shares, and half the width of its interval. [%]
    """

    species: str
    defect: str
    charges: int
    mean_pct: float
    half_pct: float


@dataclass(frozen=True)
class Ledger:
    """Every comparison with enough charges, those that stand out first.

    Attributes
    ----------
    entries : tuple of Entry
    charges : int
        Number of the newest charges with a final inspection, `NEWEST` at most.
    listed : int
        Number of them from the mill's own list.
    places : tuple of PlaceShares
        Kiln by kiln, and defect by defect.
    timbers : tuple of TimberShare
        Species by species, and defect by defect.
    """

    entries: tuple[Entry, ...]
    charges: int
    listed: int
    places: tuple[PlaceShares, ...] = ()
    timbers: tuple[TimberShare, ...] = ()


def ledger_of(lines: Sequence[PastCharge]) -> Ledger:
    """Return the ledger of these charges, oldest first."""
    inspected = [line for line in lines if line.defects][-NEWEST:]
    compared = [
        *_revisions(inspected),
        *_suppliers(inspected),
        *places(inspected),
        *_courses(inspected),
        *steps(inspected),
    ]
    corrected = corrected_for_many([one.found.p_value for one in compared])
    entries = [replace(one, corrected=float(p)) for one, p in zip(compared, corrected, strict=True)]
    entries.sort(key=lambda one: (one.corrected, one.found.p_value, one.kind, one.defect))
    return Ledger(
        tuple(entries),
        len(inspected),
        sum(line.listed for line in inspected),
        tuple(_place_shares(inspected)),
        tuple(_timber_shares(inspected)),
    )


def _timber_shares(lines: Sequence[PastCharge]) -> Iterator[TimberShare]:
    for species in sorted({line.species for line in lines}):
        own = [line for line in lines if line.species == species]
        for defect in defects_of(own):
            found = [100.0 * pieces / of for pieces, of in shares(own, defect).values()]
            if len(found) >= LEAST_GROUP:
                yield TimberShare(species, defect, len(found), *interval_of_mean(found))


def _place_shares(lines: Sequence[PastCharge]) -> Iterator[PlaceShares]:
    for table in place_tables(lines):
        pieces, of = table.pieces.sum(axis=0).tolist(), table.of.sum(axis=0).tolist()
        yield PlaceShares(
            table.kiln,
            table.defect,
            len(table.charges),
            tuple(zip(table.positions, pieces, of, strict=True)),
        )


def _revisions(lines: Sequence[PastCharge]) -> Iterator[Entry]:
    for schedule in sorted({line.schedule for line in lines if line.schedule}):
        own = [line for line in lines if line.schedule == schedule and line.revision is not None]
        revisions = sorted({line.revision for line in own if line.revision is not None})
        for older, newer in combinations(revisions, 2):
            pair = [[line for line in own if line.revision == one] for one in (newer, older)]
            yield from _compared("revision", schedule, (str(newer), str(older)), pair)


def _suppliers(lines: Sequence[PastCharge]) -> Iterator[Entry]:
    for species in sorted({line.species for line in lines}):
        own = [line for line in lines if line.species == species and len(line.suppliers) == 1]
        names = sorted({line.suppliers[0] for line in own})
        for name in names if len(names) > 1 else ():
            pair = [
                [line for line in own if (line.suppliers[0] == name) is us] for us in (True, False)
            ]
            yield from _compared("supplier", species, (name, ""), pair)


def _compared(
    kind: Literal["revision", "supplier"],
    about: str,
    names: tuple[str, str],
    pair: Sequence[Sequence[PastCharge]],
) -> Iterator[Entry]:
    """Yield a comparison of two groups for each defect that enough of both were examined for."""
    for defect in defects_of([*pair[0], *pair[1]]):
        counts = [shares(lines, defect) for lines in pair]
        if min(map(len, counts)) < LEAST_GROUP:
            continue
        of_charges = [[100.0 * pieces / of for pieces, of in found.values()] for found in counts]
        groups = tuple(
            Group(
                name,
                tuple(found),
                sum(pieces for pieces, _ in found.values()),
                sum(of for _, of in found.values()),
                fmean(share),
                stdev(share),
            )
            for name, found, share in zip(names, counts, of_charges, strict=True)
        )
        numbers = {*counts[0], *counts[1]}
        yield Entry(
            kind,
            about,
            "",
            defect,
            groups,
            len(numbers),
            sum(line.listed for lines in pair for line in lines if line.number in numbers),
            difference_of_means(of_charges[0], of_charges[1]),
        )


def _courses(lines: Sequence[PastCharge]) -> Iterator[Entry]:
    """Yield the correlation of each defect with each course, within timbers."""
    for what, course in COURSES.items():
        for defect in defects_of(lines):
            counts = shares(lines, defect)
            own = [
                (line, value)
                for line in lines
                if line.number in counts and (value := course.value(line)) is not None
            ]
            if len(own) < LEAST_PAIRS:
                continue
            known = [line for line, _ in own]
            share = [100.0 * n / of for n, of in (counts[line.number] for line in known)]
            yield Entry(
                "course",
                "",
                what,
                defect,
                (),
                len(known),
                sum(line.listed for line in known),
                rank_correlation(
                    within_timbers(known, [value for _, value in own]),
                    within_timbers(known, share),
                ),
            )


@derived("degrade ledger")
def degrade_ledger(graph: Graph, _: str) -> Ledger:
    """Return the ledger of all charges of the mill."""
    return ledger_of(past_charges(graph))
