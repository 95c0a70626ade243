"""What a change of schedule would do: two runs of one board, shown as a ratio.

The drying curve knows only the air it was learnt in, so a changed schedule is asked of a board
that dries by diffusion. Its days mean little by themselves; their ratio was right in direction on
every one of about 380 comparisons on invented charges, and understated the size in most. So
say "at least about", and apply the ratio to the forecast.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.physics._types import Floats
from kilnfolio.physics.air import relative_humidity, wet_bulb
from kilnfolio.physics.drying import Board, Drying, advance, gradient_index
from kilnfolio.physics.sorption import equilibrium_moisture_content, relative_humidity_for_emc

LONGEST_H = 400 * 24.0
"""A board that is not dry by then does not dry under this plan. [h]"""

CALM_H = 24.0
"""How often boards are weighed, and so how often a step can change. [h]"""

_STEP_H = 4.0
_OAK_GRAVITY, _OAK_DIFFUSIVITY, _PER_GRAVITY = 0.56, 1.3e-10, 8.0
_DIFFUSIVITY_RANGE = (0.5e-10, 6e-10)

MEASURED = {
    "steps 5 points earlier": ((-15, -9, -11), (-10, -9, -10)),
    "last steps at most 65 °C": ((4, 2, 5), (8, 5, 5)),
    "40 % more depression above 30 % MC": ((-13, -18, -18), (-8, -11, -10)),
    "6 K cooler, depression × 0.7": ((50, 62, 66), (48, 49, 48)),
}
"""Change of days, actual and by the board, on invented charges of three models [%]."""


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
    def words(self) -> str:
        """The change of days, as it may be said."""
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
        thickness_mm, start_mc_pct, float(np.clip(guess, *_DIFFUSIVITY_RANGE)), fsp_pct=fsp_pct
    )


def run_board(board: Board, steps: Sequence[PlannedStep], shrinkage_pct: float = 10.0) -> BoardRun:
    """Return one board dried by a schedule.

    Parameters
    ----------
    board : Board
        One board.
    steps : sequence of PlannedStep
        Ended by MC or by the clock; a step that has both ends by MC.
    shrinkage_pct : float, default 10
        Tangential shrinkage, for the gradient index. [%]

    Raises
    ------
    ValueError
        If a step states neither an MC nor hours.
    """
    profile = board.start()
    hour, begun, index, warmth = 0.0, 0.0, 0, 0.0
    rows: list[tuple[float, Floats, Floats, int]] = []
    duration = math.inf
    while index < len(steps) and hour < LONGEST_H:
        step = steps[index]
        before, length = float(profile.mean()), _STEP_H
        if step.until_mc_pct is None and step.hours is None:
            raise ValueError(f"steps must end at an MC or after hours; step {index + 1} does not")
        if step.until_mc_pct is None and step.hours is not None:
            length = min(_STEP_H, begun + step.hours - hour)
        profile, face = advance(board, profile, max(length, 1e-3), step.dry_bulb_c, step.emc_pct)
        hour, warmth = hour + length, warmth + max(step.dry_bulb_c - 20.0, 0.0) * length
        rows.append((hour, profile, face, index))
        after = float(profile.mean())
        last = index == len(steps) - 1
        if step.until_mc_pct is None:
            over = step.hours is not None and hour >= begun + step.hours - 1e-6
            duration = hour if over and last else duration
        else:
            met = after <= step.until_mc_pct
            if met and last:
                share = (before - step.until_mc_pct) / max(before - after, 1e-12)
                duration = hour - length * (1.0 - float(np.clip(share, 0.0, 1.0)))
            over = met and (last or (hour % CALM_H) < 1e-6 or CALM_H - hour % CALM_H < 1e-6)
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

    Raises
    ------
    ValueError
        If the first schedule never dries the board.
    """
    first = run_board(board, schedule_a, shrinkage_pct)
    second = run_board(board, schedule_b, shrinkage_pct)
    if not math.isfinite(first.duration):
        raise ValueError("schedule_a must dry the board; its air never brings it to the end")
    return Comparison(
        second.duration / first.duration,
        second.degree_hours / first.degree_hours,
        second.peak / max(first.peak, 1e-9),
        first,
        second,
    )


def earlier(steps: Sequence[PlannedStep], points: float) -> tuple[PlannedStep, ...]:
    """Return a schedule whose steps change so many points of MC sooner; the end stays."""
    return (
        *(
            replace(step, until_mc_pct=step.until_mc_pct + points)
            if step.until_mc_pct is not None
            else step
            for step in steps[:-1]
        ),
        steps[-1],
    )


def capped(steps: Sequence[PlannedStep], hottest_c: float) -> tuple[PlannedStep, ...]:
    """Return a schedule whose dry bulb goes no higher; its depressions stay as planned."""
    return tuple(moved(step, min(0.0, hottest_c - step.dry_bulb_c)) for step in steps)


def moved(step: PlannedStep, kelvin: float, depression: float = 1.0) -> PlannedStep:
    """Return a step with another dry bulb, and its depression times a factor."""
    if kelvin == 0.0 and depression == 1.0:
        return step
    humidity = relative_humidity_for_emc(step.dry_bulb_c, step.emc_pct)
    apart = (step.dry_bulb_c - wet_bulb(step.dry_bulb_c, humidity)) * depression
    dry = step.dry_bulb_c + kelvin
    emc = equilibrium_moisture_content(dry, relative_humidity(dry, dry - apart))
    return replace(step, dry_bulb_c=dry, emc_pct=float(emc))
