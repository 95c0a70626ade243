"""The degrade ledger: defects of the final inspection beside what happened in the charge.

It says what goes with what, never why: loads differ in more ways than a ledger records.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from kilnfolio.graph.derived import Step, derived
from kilnfolio.graph.graph import Graph
from kilnfolio.physics.comparisons import (
    Compared,
    corrected_for_many,
    difference_of_means,
    rank_correlation,
)
from kilnfolio.trends.past import PastCharge, past_charges

LEAST_GROUP = 5
"""Fewest charges in a group that is compared."""
LEAST_PAIRS = 12
"""Fewest charges for a correlation."""
NEWEST = 500
"""Number of newest inspected charges that the ledger looks at."""
CHANCE = 0.05
"""Chance of any false finding in the whole ledger if nothing goes with anything. [-]"""


@dataclass(frozen=True)
class Course:
    """Something that happened in a charge."""

    name: str
    value: Callable[[PastCharge], float | None]


COURSES: Mapping[str, Course] = {
    "fast": Course("Hours faster than safe", lambda line: line.fast_hours),
    "hot": Course("Hours hotter than asked", lambda line: line.hot_hours),
    "stops": Course("Stops", lambda line: None if line.stops is None else float(line.stops)),
    "stress": Course("Largest stress index", lambda line: line.stress_index_pct),
    "sides": Course("Entering and leaving air, difference", lambda line: line.side_difference_k),
}


@dataclass(frozen=True)
class Group:
    """Charges that are alike in one way, and their share of pieces with a defect.

    Attributes
    ----------
    name : str
        A revision or a supplier.
    charges : tuple of str
        Numbers of the charges.
    pieces, of : int
        Pieces with the defect, and examined.
    """

    name: str
    charges: tuple[str, ...]
    pieces: int
    of: int

    @property
    def share_pct(self) -> float:
        """Share of the pieces examined [%]."""
        return 100.0 * self.pieces / self.of


@dataclass(frozen=True)
class Entry:
    """One comparison of the ledger.

    Attributes
    ----------
    kind : {"revision", "supplier", "course"}
    about : str
        Schedule or species of the charges compared; "" for all.
    what : str
        Id of a `Course`, for a correlation.
    defect : str
    groups : tuple of Group
        The two compared; the second of a supplier is all others. Empty for a correlation.
    n : int
        Number of charges.
    listed : int
        Number of them from the mill's own list.
    found : Compared
        Difference of the mean shares [points], or rank correlation.
    corrected : float
        p-value corrected for all comparisons of the ledger. [-]
    """

    kind: str
    about: str
    what: str
    defect: str
    groups: tuple[Group, ...]
    n: int
    listed: int
    found: Compared
    corrected: float

    @property
    def stands_out(self) -> bool:
        """Whether it is more than chance gives among so many comparisons."""
        return self.corrected < CHANCE


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
    """

    entries: tuple[Entry, ...]
    charges: int
    listed: int


def ledger_of(lines: Sequence[PastCharge]) -> Ledger:
    """Return the ledger of these charges, oldest first."""
    inspected = [line for line in lines if line.defects][-NEWEST:]
    compared = [*_revisions(inspected), *_suppliers(inspected), *_courses(inspected)]
    corrected = corrected_for_many([one.found.p_value for one in compared])
    entries = [
        Entry(**{**vars(one), "corrected": float(p)})
        for one, p in zip(compared, corrected, strict=True)
    ]
    entries.sort(key=lambda one: (one.corrected, one.found.p_value, one.kind, one.defect))
    return Ledger(tuple(entries), len(inspected), sum(line.listed for line in inspected))


def shares(lines: Sequence[PastCharge], defect: str) -> dict[str, tuple[int, int]]:
    """Return pieces with a defect and pieces examined, by charge."""
    return {
        line.number: (one.pieces, one.of)
        for line in lines
        for one in line.defects
        if one.defect == defect
    }


def _defects(lines: Sequence[PastCharge]) -> list[str]:
    """Return the defects found in any of the charges."""
    return sorted({one.defect for line in lines for one in line.defects if one.pieces})


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
    kind: str, about: str, names: tuple[str, str], pair: Sequence[Sequence[PastCharge]]
) -> Iterator[Entry]:
    """Yield a comparison of two groups for each defect that enough of both were examined for."""
    for defect in _defects([*pair[0], *pair[1]]):
        counts = [shares(lines, defect) for lines in pair]
        if min(map(len, counts)) < LEAST_GROUP:
            continue
        groups = tuple(
            Group(name, tuple(found), *map(sum, zip(*found.values(), strict=True)))
            for name, found in zip(names, counts, strict=True)
        )
        of_charges = [[100.0 * pieces / of for pieces, of in found.values()] for found in counts]
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
            1.0,
        )


def _courses(lines: Sequence[PastCharge]) -> Iterator[Entry]:
    """Yield the correlation of each defect with each course, within timbers."""
    for what, course in COURSES.items():
        for defect in _defects(lines):
            found = shares(lines, defect)
            rows = [
                (line.stock, value, found[line.number], line.listed)
                for line in lines
                if line.number in found and (value := course.value(line)) is not None
            ]
            if len(rows) < LEAST_PAIRS:
                continue
            stocks = [stock for stock, *_ in rows]
            x = _within(stocks, [value for _, value, *_ in rows])
            y = _within(stocks, [100.0 * pieces / of for _, _, (pieces, of), _ in rows])
            yield Entry(
                "course",
                "",
                what,
                defect,
                (),
                len(rows),
                sum(listed for *_, listed in rows),
                rank_correlation(x, y),
                1.0,
            )


def _within(stocks: Sequence[str], values: Sequence[float]) -> np.ndarray:
    """Return values less the mean of their own timber."""
    array, names = np.array(values), np.array(stocks)
    means = {name: array[names == name].mean() for name in set(stocks)}
    away: np.ndarray = array - np.array([means[name] for name in stocks])
    return away


@derived("degrade ledger")
def degrade_ledger(graph: Graph, _: str) -> Ledger:
    """Return the ledger of all charges of the mill."""
    return ledger_of(past_charges(graph))


#: What a build computes after the lines.
LEDGER: tuple[Step, ...] = ((degrade_ledger,),)
