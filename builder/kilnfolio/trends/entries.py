"""Lines of the degrade ledger: what each one compares, and how the charges are read for it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Literal

import numpy as np

from kilnfolio.physics.comparisons import Compared
from kilnfolio.runtime.values import dataclass
from kilnfolio.trends.past import PastCharge

LEAST_GROUP = 5
"""Fewest charges in a group that is compared."""
LEAST_PAIRS = 12
"""Fewest charges for a correlation."""
CHANCE = 0.05
"""Chance of any false finding in the whole ledger if nothing goes with anything. [-]"""


@dataclass(frozen=True)
class Course:
    """Something that happened in a charge."""

    name: str
    value: Callable[[PastCharge], float | None]
    in_steps: Callable[[PastCharge], tuple[tuple[int, float], ...] | None] = lambda _: None
    """How much of it lay in each step; None if that is not known."""


COURSES: Mapping[str, Course] = {
    "fast": Course(
        "Hours faster than safe", lambda line: line.fast_hours, lambda line: line.fast_steps
    ),
    "hot": Course("Hours hotter than asked", lambda line: line.hot_hours),
    "stops": Course(
        "Stops",
        lambda line: None if line.stops is None else float(line.stops),
        lambda line: line.stop_steps,
    ),
    "stress": Course("Largest stress index", lambda line: line.stress_index_pct),
    "sides": Course("Entering and leaving air, difference", lambda line: line.side_difference_k),
}


@dataclass(frozen=True)
class Group:
    """Charges that are alike in one way, or packs of a place, and their share with a defect.

    Attributes
    ----------
    name : str
        A revision, a supplier or a place; "" for all others.
    charges : tuple of str
        Numbers of the charges.
    pieces, of : int
        Pieces with the defect, and examined.
    mean_pct, sd_pct : float
        Mean of the charges' shares, and their standard deviation; of a place, that of the
        differences between it and the others. [%]
    """

    name: str
    charges: tuple[str, ...]
    pieces: int
    of: int
    mean_pct: float
    sd_pct: float

    @property
    def share_pct(self) -> float:
        """Share of the pieces examined [%]."""
        return 100.0 * self.pieces / self.of


@dataclass(frozen=True)
class Entry:
    """One comparison of the ledger.

    Attributes
    ----------
    kind : {"revision", "supplier", "place", "course", "step"}
    about : str
        Schedule, species or kiln of the charges compared; "" for all.
    what : str
        Id of a `Course`, for a correlation.
    defect : str
    groups : tuple of Group
        The two compared; the second of a supplier or a place is all others. Empty for a correlation.
    n : int
        Number of charges.
    listed : int
        Number of them from the mill's own list.
    found : Compared
        Difference of the mean shares [points], or rank correlation.
    step : int or None
        The step, for a correlation with what lay in it.
    chosen_from : int
        Number of places or steps of which it is the one that differs most; its interval and p-value
        allow for that.
    corrected : float
        p-value corrected for all comparisons of the ledger. [-]
    """

    kind: Literal["revision", "supplier", "place", "course", "step"]
    about: str
    what: str
    defect: str
    groups: tuple[Group, ...]
    n: int
    listed: int
    found: Compared
    step: int | None = None
    chosen_from: int = 1
    corrected: float = 1.0

    @property
    def stands_out(self) -> bool:
        """Whether it is more than chance gives among so many comparisons."""
        return self.corrected < CHANCE


def shares(lines: Sequence[PastCharge], defect: str) -> dict[str, tuple[int, int]]:
    """Return pieces with a defect and pieces examined, by charge."""
    return {
        line.number: (one.pieces, one.of)
        for line in lines
        for one in line.defects
        if one.defect == defect
    }


def defects_of(lines: Iterable[PastCharge]) -> list[str]:
    """Return the defects found in any of the charges."""
    return sorted({one.defect for line in lines for one in line.defects if one.pieces})


def within_timbers(lines: Sequence[PastCharge], values: Sequence[float]) -> np.ndarray:
    """Return the values of charges less the mean of their own timber."""
    array, names = np.array(values), np.array([line.stock for line in lines])
    means = {name: array[names == name].mean() for name in set(names.tolist())}
    away: np.ndarray = array - np.array([means[name] for name in names.tolist()])
    return away
