"""Two board tags swapped: the masses of a weighing that fit once their boards are exchanged."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from kilnfolio.review.findings import Case

#: A mass fits where it lies this near what the board's own drying leads to expect [% of it].
_FITS_PCT = 1.5
#: A mass is out of place where it lies at least so many times further away than the other.
_TIMES = 4.0


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
    """What the lighter of the two seems to have gained [%]."""
    until: dt.datetime | None
    """The weighing at which both masses fit again; None where they never do."""

    def covers(self, board: str, at: dt.datetime) -> bool:
        """Return whether the change up to a weighing is made by the swap, there or back."""
        return board in (self.first, self.second) and at in (self.at, self.until)


def swapped_tags(case: Case) -> tuple[Swap, ...]:
    """Return the pairs of boards whose tags look swapped, the earliest weighing of each pair.

    At a weighing both boards are far from the mass their own drying leads to expect, and each
    other's mass fits. What a board should weigh is had from its two weighings before: the loss
    between them goes on at the same rate, or stops.
    """
    masses = [weighing.masses for weighing in case.charge.weighings]
    times = [weighing.at for weighing in case.charge.weighings]
    found: list[Swap] = []
    for one, other in combinations([history.board.id for history in case.boards], 2):
        rows = [i for i, row in enumerate(masses) if one in row and other in row]
        series = {name: [masses[i][name].value for i in rows] for name in (one, other)}
        start = _first_swapped(series[one], series[other], [times[i] for i in rows])
        if start is None:
            continue
        crossed = {one: series[other], other: series[one]}
        back = next((k for k in range(start + 1, len(rows)) if _fit_now(series, crossed, start, k)),
                    None)
        gains = [100.0 * (series[name][start] / series[name][start - 1] - 1.0)
                 for name in (one, other)]
        how = "from this weighing on" if back is None else \
            "at this weighing only" if back == start + 1 else \
            f"from this weighing to that of {case.clock(times[rows[back - 1]])}"
        found.append(Swap(one, other, times[rows[start]], how, max(gains),
                          None if back is None else times[rows[back]]))
    return tuple(found)


def _first_swapped(one: list[float], other: list[float], times: list[dt.datetime]) -> int | None:
    for k in range(2, len(times)):
        straight, crossed = [], []
        for own, foreign in ((one, other), (other, one)):
            expected = _expected(own, times, k)
            straight.append(_miss(own[k], expected))
            crossed.append(_miss(foreign[k], expected))
        if max(crossed) <= _FITS_PCT and min(straight) >= _TIMES * max(max(crossed), 0.5):
            return k
    return None


def _expected(own: list[float], times: list[dt.datetime], k: int) -> tuple[float, float]:
    """Return the range a board's mass is expected in: drying on as before, or no more."""
    before, last = own[k - 2], own[k - 1]
    share = (times[k] - times[k - 1]) / (times[k - 1] - times[k - 2])
    ends = sorted((last, last + (last - before) * float(np.clip(share, 0.0, 4.0))))
    return ends[0], ends[1]


def _miss(mass: float, expected: tuple[float, float]) -> float:
    """Return how far a mass lies outside a range [% of the mass]."""
    low, high = expected
    return 100.0 * max(low - mass, mass - high, 0.0) / mass


def _fit_now(straight: dict[str, list[float]], crossed: dict[str, list[float]], start: int, k: int
             ) -> bool:
    """Return whether at a later weighing both boards follow their own last true mass again."""
    def misses(series: dict[str, list[float]]) -> float:
        return max(abs(series[name][k] / crossed[name][k - 1] - 1.0) for name in series)
    return start < k and misses(straight) * _TIMES < misses(crossed)
