"""What a change of schedule would do: two runs of one board, told as ratios.

The drying curve knows only the air it was learnt in, so a changed schedule is asked of a board
that dries by diffusion. Its days mean little by themselves; their ratio was right in direction on
every one of about 380 comparisons on invented charges, and understated the size in most. So
say "at least about", and apply the ratio to the forecast or to the days the charge took.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying import Board, Drying, SingleBoard, gradient_index

LONGEST_H = 400 * 24.0
"""A board that is not dry by then does not dry under this plan. [h]"""

WEIGHED_H = 24.0
"""How often boards are weighed, and so how often a step can change. [h]"""

TIMED_HEAT = (0.25, 0.5)
"""Share of a kiln's heat that goes with its days and its temperature, through walls and leaks.

The rest evaporates water and warms the load, whatever the schedule. Common practice, no source.
"""

_STEP_H = 4.0
_OAK_GRAVITY, _OAK_DIFFUSIVITY, _PER_GRAVITY = 0.56, 1.3e-10, 8.0
DIFFUSIVITY_RANGE = (0.5e-10, 6e-10)
"""D₀ of a wood at 45 °C lies between these, as assumed. [m²/s]"""

MISSES = {
    "step": "missed by 3 points",
    "cap": "missed by 1 to 4 points",
    "air": "missed by 4 to 19 points",
    "thickness": "miss not measured",
}
"""Median miss of the change of days on those charges, by kind of change."""

HOW = (
    "Ratios of two runs of one computed board. On invented charges of three other models of drying "
    "the direction was right every time and the size mostly understated, so read every change "
    "of days as “at least about”. Peak gradient index compares schedules; it is no stress, and a "
    "lower one promises nothing. Heat supposes that a quarter to a half of it goes with days and "
    "temperature (common practice). Sample boards decide."
)
"""Stands beside every comparison."""


@dataclass(frozen=True)
class BoardRun:
    """A board through a whole schedule.

    Attributes
    ----------
    hours, mean_pct, gradient : ndarray, shape (n,)
        Time, mean MC and gradient index. [h] [%] [%]
    step : ndarray of int, shape (n,)
        Index of the step in force.
    duration : float
        When the last step's MC was reached; infinite if it never is. [h]
    degree_hours : float
        Dry bulb above 20 °C over the time, what the kiln's walls lose by. [K h]
    """

    hours: Floats
    mean_pct: Floats
    gradient: Floats
    step: np.ndarray
    duration: float
    degree_hours: float

    @property
    def peak(self) -> float:
        """Largest gradient index [%]."""
        return float(self.gradient.max())

    @property
    def peak_mc_pct(self) -> float:
        """Mean MC at which the index was largest [%]."""
        return float(self.mean_pct[int(self.gradient.argmax())])


@dataclass(frozen=True)
class Comparison:
    """The second schedule against the first, as ratios; 1 is no change.

    Attributes
    ----------
    days, degree_hours, peak : float
        Ratio of duration, of what the walls lose by, of the largest gradient index. [-]
    first, second : BoardRun
    """

    days: float
    degree_hours: float
    peak: float
    first: BoardRun
    second: BoardRun

    @property
    def energy(self) -> tuple[float, float]:
        """Ratio of the kiln's heat, from and to, over `TIMED_HEAT` [-]."""
        low, high = sorted(1.0 + share * (self.degree_hours - 1.0) for share in TIMED_HEAT)
        return low, high

    @property
    def words(self) -> str:
        """The change of days, as it may be said."""
        if not math.isfinite(self.days):
            return "never dries to the end"
        change = round(100 * (self.days - 1))
        if abs(change) < 2:
            return "no change of days worth naming"
        return f"at least about {abs(change)} % {'longer' if change > 0 else 'shorter'}"


def typical_board(
    thickness_mm: float, start_mc_pct: float, basic_specific_gravity: float, fsp_pct: float = 28.0
) -> Board:
    """Return a board of a wood, its diffusion coefficient guessed from the wood's gravity.

    A guess is enough for a ratio: D₀ is 1.3e-10 m²/s at 0.56 (oak, from the red-oak formula) and
    grows as the wood gets lighter, to 6e-10 at most (assumed).
    """
    guess = _OAK_DIFFUSIVITY * math.exp(_PER_GRAVITY * (_OAK_GRAVITY - basic_specific_gravity))
    return Board(
        thickness_mm, start_mc_pct, float(np.clip(guess, *DIFFUSIVITY_RANGE)), fsp_pct=fsp_pct
    )


def run_board(
    board: Board,
    steps: Sequence[PlannedStep],
    shrinkage_pct: float = 10.0,
    begin: Sequence[float] | None = None,
    weighed_h: float = WEIGHED_H,
) -> BoardRun:
    """Return one board dried by a schedule.

    Parameters
    ----------
    board : Board
        One board.
    steps : sequence of PlannedStep
        Ended by MC or by the clock; a step that has both ends by MC.
    shrinkage_pct : float, default 10
        Tangential shrinkage, for the gradient index. [%]
    begin : sequence of float, optional
        Profile to begin with, from the face inward [%]; by default the board's start.
    weighed_h : float, default 24
        How often the boards are weighed, and a step can change; at least 4. [h]

    Raises
    ------
    ValueError
        If a step states neither an MC nor hours.
    """
    profile = None if begin is None else tuple(begin)
    return _run(board, tuple(steps), shrinkage_pct, profile, weighed_h)


@lru_cache(maxsize=256)
def _run(
    board: Board,
    steps: tuple[PlannedStep, ...],
    shrinkage_pct: float,
    begin: tuple[float, ...] | None,
    weighed_h: float,
) -> BoardRun:
    piece = SingleBoard(board, begin)
    hour, begun, index, warmth = 0.0, 0.0, 0, 0.0
    rows: list[tuple[float, list[float], float, int]] = []
    duration = math.inf
    while index < len(steps) and hour < LONGEST_H:
        step = steps[index]
        before, length = piece.mean, _STEP_H
        if step.until_mc_pct is None and step.hours is None:
            raise ValueError(f"steps must end at an MC or after hours; step {index + 1} does not")
        if step.until_mc_pct is None and step.hours is not None:
            length = min(_STEP_H, begun + step.hours - hour)
        length = max(length, 1e-3)
        piece.advance(length, step.dry_bulb_c, step.emc_pct)
        hour, warmth = hour + length, warmth + max(step.dry_bulb_c - 20.0, 0.0) * length
        rows.append((hour, piece.cells, piece.face, index))
        after = piece.mean
        last = index == len(steps) - 1
        if step.until_mc_pct is None:
            over = step.hours is not None and hour >= begun + step.hours - 1e-6
            duration = hour if over and last else duration
        else:
            met = after <= step.until_mc_pct
            if met and last:
                share = (before - step.until_mc_pct) / max(before - after, 1e-12)
                unused = length * (1.0 - min(max(share, 0.0), 1.0))
                duration = hour - unused
                warmth -= max(step.dry_bulb_c - 20.0, 0.0) * unused
            since = hour % weighed_h
            over = met and (last or since < 1e-6 or weighed_h - since < 1e-6)
            if not met and before - after < 1e-5 * length and after > step.until_mc_pct + 0.01:
                break  # at rest above the end of the step: it never comes
        if over:
            index, begun = index + 1, hour
    hours, profiles, faces, index_at = (np.array(column) for column in zip(*rows, strict=True))
    drying = Drying(hours, profiles, faces, np.asarray(float(np.max(board.fsp_pct))))
    return BoardRun(
        hours, drying.mean_pct, gradient_index(drying, shrinkage_pct), index_at, duration, warmth
    )


def compare(
    board: Board,
    schedule_a: Sequence[PlannedStep],
    schedule_b: Sequence[PlannedStep],
    shrinkage_pct: float = 10.0,
    begin: Sequence[float] | None = None,
) -> Comparison:
    """Return what the second schedule does against the first.

    Parameters
    ----------
    board : Board
        One board, as from `typical_board`.
    schedule_a, schedule_b : sequence of PlannedStep
        The schedule as it is, and as it would be.
    shrinkage_pct : float, default 10
        Tangential shrinkage, for the gradient index. [%]
    begin : sequence of float, optional
        Profile both begin with, from the face inward [%]; by default the board's start.

    Raises
    ------
    ValueError
        If the first schedule never dries the board.
    """
    return ratios(
        run_board(board, schedule_a, shrinkage_pct, begin),
        run_board(board, schedule_b, shrinkage_pct, begin),
    )


def ratios(first: BoardRun, second: BoardRun) -> Comparison:
    """Return one run against another; they may be of different boards.

    Raises
    ------
    ValueError
        If the first schedule never dries its board.
    """
    if not math.isfinite(first.duration):
        raise ValueError("schedule_a must dry the board; its air never brings it to the end")
    return Comparison(
        second.duration / first.duration,
        second.degree_hours / max(first.degree_hours, 1e-9),
        second.peak / max(first.peak, 1e-9),
        first,
        second,
    )
