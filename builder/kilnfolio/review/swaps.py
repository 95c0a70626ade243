"""Finds swapped board tags: masses of a weighing that fit if two boards are exchanged."""

from __future__ import annotations

import datetime as dt
from itertools import combinations

import numpy as np

from kilnfolio.review.findings import Case
from kilnfolio.review.measures import measure
from kilnfolio.runtime.values import dataclass

#: A mass fits if it is this close to the one expected from the drying of the other boards [%].
_FITS_PCT = 0.6
#: It does not fit if it is further off than this [%].
_OUT_PCT = 1.2


@dataclass(frozen=True)
class Swap:
    """Two boards whose masses fit when exchanged."""

    first: str
    second: str
    at: dt.datetime
    """The first weighing with the tags swapped."""
    how: str
    """'from this weighing on' or 'at this weighing only'."""
    gain_pct: float
    """The apparent gain of the lighter board [%]."""
    until: dt.datetime | None
    """The weighing at which both masses fit again; None if they never do."""

    def covers(self, board: str, at: dt.datetime) -> bool:
        """Return whether the swap, or its reversal, explains the change up to a weighing."""
        return board in (self.first, self.second) and at in (self.at, self.until)


@measure
def swapped_tags(case: Case) -> tuple[Swap, ...]:
    """Return the pairs of boards whose tags look swapped.

    Boards of a load dry alike: from one weighing to the next each keeps about the same fraction of
    its MC, estimated by the median over all boards. At a swap, both masses are far from the
    expected ones, and fit if exchanged.
    """
    dry = {history.board.id: history.oven_dry_g for history in case.boards if history.sections}
    rows = [
        (one.at, {name: mass.value for name, mass in one.masses.items() if name in dry})
        for one in case.charge.weighings
    ]
    rows = [(at, masses) for at, masses in rows if len(masses) == len(dry)]
    if len(dry) < 4 or len(rows) < 2:
        return ()
    names = list(dry)
    masses = np.array([[row[name] for name in names] for _, row in rows])
    oven_dry = np.array([dry[name] for name in names])
    apart = np.abs(masses[1:] / _expected(masses[:-1], masses[1:], oven_dry) - 1.0) * 100.0
    if ((apart >= _OUT_PCT).sum(axis=1) < 2).all():
        return ()  # as in nearly every charge
    times, true = [at for at, _ in rows], masses.copy()
    found: list[Swap] = []
    taken: set[int] = set()
    for k in range(1, len(times)):
        expected = _expected(true[k - 1], masses[k], oven_dry)
        off = np.flatnonzero(np.abs(masses[k] / expected - 1.0) * 100.0 >= _OUT_PCT)
        for one, other in combinations([place for place in off.tolist() if place not in taken], 2):
            crossed = masses[k][[other, one]] / expected[[one, other]] - 1.0
            if (np.abs(crossed) * 100.0 > _FITS_PCT).any():
                continue
            back = _undo(true, masses, oven_dry, k, (one, other))
            taken |= {one, other}
            gain = 100.0 * max(
                masses[k][place] / masses[k - 1][place] - 1.0 for place in (one, other)
            )
            how = (
                "from this weighing on"
                if back is None
                else "at this weighing only"
                if back == k + 1
                else f"from this weighing to that of {case.clock(times[back - 1])}"
            )
            found.append(
                Swap(
                    names[one],
                    names[other],
                    times[k],
                    how,
                    gain,
                    None if back is None else times[back],
                )
            )
    return tuple(found)


def _expected(before: np.ndarray, now: np.ndarray, oven_dry: np.ndarray) -> np.ndarray:
    """Return the expected mass of each board, from the fraction of MC that the boards keep [g].

    The boards lie along the last axis.
    """
    kept = np.sort((now / oven_dry - 1.0) / np.maximum(before / oven_dry - 1.0, 0.01))
    half, odd = divmod(len(oven_dry), 2)
    middle = kept[..., [half]] if odd else (kept[..., [half - 1]] + kept[..., [half]]) / 2
    expected: np.ndarray = oven_dry * (1.0 + middle * (before / oven_dry - 1.0))
    return expected


def _undo(
    true: np.ndarray, masses: np.ndarray, oven_dry: np.ndarray, start: int, pair: tuple[int, int]
) -> int | None:
    """Exchange the masses of a pair back, and return when they fit as written again."""
    one, other = pair
    for k in range(start, len(masses)):
        if k > start:
            expected = _expected(true[k - 1], masses[k], oven_dry)[[one, other]]
            straight = np.abs(masses[k][[one, other]] / expected - 1.0).max()
            if straight < np.abs(masses[k][[other, one]] / expected - 1.0).max():
                return k
        true[k, [one, other]] = masses[k, [other, one]]
    return None
