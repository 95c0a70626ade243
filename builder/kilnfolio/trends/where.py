"""Where defects lie and where things went wrong: places of a kiln, and steps of a schedule.

A kiln has a dozen places and a schedule half a dozen steps. The ledger has one line for all of them:
the one that differs most, with an interval and a p-value that allow for its being chosen so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from kilnfolio.physics.comparisons import place_that_differs, rank_that_stands_out
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
from kilnfolio.trends.past import PastCharge

NEWEST = 120
"""Number of newest charges of a kiln whose places are compared."""


@dataclass(frozen=True)
class PlaceTable:
    """A defect by place, over the charges of a kiln whose packs were all examined.

    Attributes
    ----------
    kiln, defect : str
    positions : tuple of str
    charges : tuple of str
        Numbers of the charges.
    listed : int
        Number of them from the mill's own list.
    pieces, of : ndarray of int, shape (charges, positions)
        Pieces with the defect, and examined.
    """

    kiln: str
    defect: str
    positions: tuple[str, ...]
    charges: tuple[str, ...]
    listed: int
    pieces: np.ndarray
    of: np.ndarray


def place_tables(lines: Sequence[PastCharge]) -> Iterator[PlaceTable]:
    """Yield the defects by place of every kiln with enough charges examined pack by pack."""
    for kiln in sorted({line.kiln for line in lines if line.placed_defects}):
        own = [line for line in lines if line.kiln == kiln and line.placed_defects][-NEWEST:]
        for defect in sorted({one.defect for line in own for one in line.placed_defects}):
            table = _table(kiln, defect, own)
            if table is not None:
                yield table


def _table(kiln: str, defect: str, lines: Sequence[PastCharge]) -> PlaceTable | None:
    found = [
        (line, {one.position: one for one in line.placed_defects if one.defect == defect})
        for line in lines
    ]
    seen = dict.fromkeys(position for _, at in found for position in at)
    often = [name for name in seen if 2 * sum(name in at for _, at in found) >= len(found)]
    whole = [(line, at) for line, at in found if all(name in at for name in often)]
    if len(often) < 2 or len(whole) < LEAST_GROUP:
        return None
    return PlaceTable(
        kiln,
        defect,
        tuple(often),
        tuple(line.number for line, _ in whole),
        sum(line.listed for line, _ in whole),
        np.array([[at[name].pieces for name in often] for _, at in whole]),
        np.array([[at[name].of for name in often] for _, at in whole]),
    )


def places(lines: Sequence[PastCharge]) -> Iterator[Entry]:
    """Yield, for each kiln and defect, the place that differs most from the others."""
    for table in place_tables(lines):
        if not table.pieces.any():
            continue
        share = 100.0 * table.pieces / table.of
        at, found = place_that_differs(share)
        rest = np.delete(share, at, axis=1).mean(axis=1)
        sd = float((share[:, at] - rest).std(ddof=1))
        pieces, of = int(table.pieces[:, at].sum()), int(table.of[:, at].sum())
        others = int(table.pieces.sum()) - pieces, int(table.of.sum()) - of
        groups = (
            Group(table.positions[at], table.charges, pieces, of, float(share[:, at].mean()), sd),
            Group("", table.charges, *others, float(rest.mean()), sd),
        )
        yield Entry(
            "place",
            table.kiln,
            "",
            table.defect,
            groups,
            len(table.charges),
            table.listed,
            found,
            chosen_from=len(table.positions),
        )


def steps(lines: Sequence[PastCharge]) -> Iterator[Entry]:
    """Yield, for each schedule, course and defect, the step in which it goes with most or least."""
    for schedule in sorted({line.schedule for line in lines if line.schedule}):
        for what in COURSES:
            own = [line for line in lines if line.schedule == schedule and _known(what, line)]
            if len(own) >= LEAST_PAIRS:
                yield from _of_schedule(schedule, what, own)


def _known(what: str, line: PastCharge) -> bool:
    return COURSES[what].in_steps(line) is not None


def _of_schedule(schedule: str, what: str, lines: Sequence[PastCharge]) -> Iterator[Entry]:
    amounts = {line.number: dict(COURSES[what].in_steps(line) or ()) for line in lines}
    for defect in defects_of(lines):
        counts = shares(lines, defect)
        own = [line for line in lines if line.number in counts]
        ran = [
            step
            for step in sorted({step for line in own for step in amounts[line.number]})
            if sum(amounts[line.number].get(step, 0.0) > 0.0 for line in own) >= LEAST_GROUP
        ]
        if len(own) < LEAST_PAIRS or not ran:
            continue
        several = [
            within_timbers(own, [amounts[line.number].get(step, 0.0) for line in own])
            for step in ran
        ]
        y = within_timbers(own, [100.0 * n / of for n, of in (counts[one.number] for one in own)])
        at, found = rank_that_stands_out(several, y)
        yield Entry(
            "step",
            schedule,
            what,
            defect,
            (),
            len(own),
            sum(line.listed for line in own),
            found,
            step=ran[at],
            chosen_from=len(ran),
        )
