"""The effect of a changed schedule: two runs of one board, reported as ratios.

The drying curve only covers the air it was learnt in, so a changed schedule is tried on a board
that dries by diffusion. Its days mean little by themselves; their ratio had the right direction in
every one of about 380 comparisons on invented charges, and understated the size in most. So say
"at least about", and apply the ratio to the forecast or to the days the charge took.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying import Board, SingleBoard, gradient_index
from kilnfolio.runtime.values import dataclass

LONGEST_H = 400 * 24.0
"""A board not dry by then will not dry under this plan. [h]"""

WEIGHED_H = 24.0
"""Time between weighings, and so between changes of step. [h]"""

TIMED_HEAT = (0.25, 0.5)
"""Share of a kiln's heat lost through walls and leaks, in proportion to time and temperature.

The rest evaporates water and warms the load, whatever the schedule. Common practice, no source.
"""

_STEP_H = 4.0
_OAK_GRAVITY, _OAK_DIFFUSIVITY, _PER_GRAVITY = 0.56, 1.3e-10, 8.0
DIFFUSIVITY_RANGE = (0.5e-10, 6e-10)
"""Assumed range of D₀ of woods at 45 °C. [m²/s]"""

MISSES = {
    "step": "missed by 3 points",
    "cap": "missed by 1 to 4 points",
    "air": "missed by 4 to 19 points",
    "thickness": "miss not measured",
}
"""Median error of the change of days on those charges, by kind of change."""

HOW = (
    "Ratios of two runs of one computed board. On invented charges of three other models of drying "
    "the direction was right every time and the size mostly understated, so read every change "
    "of days as “at least about”. Peak gradient index compares schedules; it is no stress, and a "
    "lower one promises nothing. Heat supposes that a quarter to a half of it goes with days and "
    "temperature (common practice). Sample boards decide."
)
"""Printed with every comparison."""


@dataclass(frozen=True)
class BoardRun:
    """A board's run through a whole schedule.

    Attributes
    ----------
    hours, mean_pct, gradient : ndarray, shape (n,)
        Time, mean MC and gradient index. [h] [%] [%]
    step : ndarray of int, shape (n,)
        Index of the step in force.
    duration : float
        When the last step's MC was reached; infinite if it never is. [h]
    degree_hours : float
        Integral of the dry bulb above 20 °C, which drives heat loss through walls. [K h]
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
        """Mean MC at which the gradient index was largest [%]."""
        return float(self.mean_pct[int(self.gradient.argmax())])


@dataclass(frozen=True)
class Comparison:
    """The second schedule compared with the first, as ratios; 1 is no change.

    Attributes
    ----------
    days, degree_hours, peak : float
        Ratios of duration, of degree-hours, and of the largest gradient index. [-]
    first, second : BoardRun
    """

    days: float
    degree_hours: float
    peak: float
    first: BoardRun
    second: BoardRun

    @property
    def energy(self) -> tuple[float, float]:
        """Range of the ratio of the kiln's heat, over the range `TIMED_HEAT` [-]."""
        low, high = sorted(1.0 + share * (self.degree_hours - 1.0) for share in TIMED_HEAT)
        return low, high

    @property
    def words(self) -> str:
        """The change of days, in words."""
        if not math.isfinite(self.days):
            return "never dries to the end"
        change = round(100 * (self.days - 1))
        if abs(change) < 2:
            return "no change of days worth naming"
        if change > 0:
            return f"at least about {change} % longer"
        return f"at least about {-change} % shorter"


def typical_board(
    thickness_mm: float, start_mc_pct: float, basic_specific_gravity: float, fsp_pct: float = 28.0
) -> Board:
    """Return a board of a wood, with a diffusion coefficient guessed from its specific gravity.

    A guess is good enough for a ratio: D₀ is 1.3e-10 m²/s at 0.56 (oak, from the red-oak formula)
    and grows for lighter woods, to 6e-10 at most (assumed).
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
    """Return the run of one board through a schedule.

    Parameters
    ----------
    board : Board
        The board.
    steps : sequence of PlannedStep
        Steps that end by MC or by the clock; a step with both ends by MC.
    shrinkage_pct : float, default 10
        Tangential shrinkage, for the gradient index. [%]
    begin : sequence of float, optional
        Initial profile, from the face inward [%]; by default the board's start.
    weighed_h : float, default 24
        Time between weighings, at which a step can change; at least 4. [h]

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
    hours: list[float] = []
    step_at: list[int] = []
    duration, after = math.inf, piece.mean
    while index < len(steps) and hour < LONGEST_H:
        step, last = steps[index], index == len(steps) - 1
        before, length, until = after, _STEP_H, step.until_mc_pct
        if until is None:
            if step.hours is None:
                raise ValueError(
                    f"steps must end at an MC or after hours; step {index + 1} does not"
                )
            length = max(min(_STEP_H, begun + step.hours - hour), 1e-3)
        piece.advance(length, step.dry_bulb_c, step.emc_pct)
        piece.note()
        hour, warmth = hour + length, warmth + max(step.dry_bulb_c - 20.0, 0.0) * length
        hours.append(hour)
        step_at.append(index)
        after = piece.mean
        if until is None:
            over = step.hours is not None and hour >= begun + step.hours - 1e-6
            duration = hour if over and last else duration
        elif after > until:
            over = False
            if before - after < 1e-5 * length and after > until + 0.01:
                break  # at rest above the MC that ends the step, which is therefore never reached
        else:
            if last:
                share = (before - until) / max(before - after, 1e-12)
                unused = length * (1.0 - min(max(share, 0.0), 1.0))
                duration = hour - unused
                warmth -= max(step.dry_bulb_c - 20.0, 0.0) * unused
            since = hour % weighed_h
            over = last or since < 1e-6 or weighed_h - since < 1e-6
        if over:
            index, begun = index + 1, hour
    drying = piece.noted(hours)
    gradient = gradient_index(drying, shrinkage_pct)
    return BoardRun(drying.hours, drying.mean_pct, gradient, np.array(step_at), duration, warmth)


def compare(
    board: Board,
    schedule_a: Sequence[PlannedStep],
    schedule_b: Sequence[PlannedStep],
    shrinkage_pct: float = 10.0,
    begin: Sequence[float] | None = None,
) -> Comparison:
    """Return the second schedule compared with the first.

    Parameters
    ----------
    board : Board
        The board, as from `typical_board`.
    schedule_a, schedule_b : sequence of PlannedStep
        The schedule as it is, and as changed.
    shrinkage_pct : float, default 10
        Tangential shrinkage, for the gradient index. [%]
    begin : sequence of float, optional
        Initial profile of both, from the face inward [%]; by default the board's start.

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
    """Return the second run compared with the first; they may be of different boards.

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
