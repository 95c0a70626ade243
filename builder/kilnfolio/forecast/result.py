"""The forecast of an open charge, as pages and commands print it.

It is an estimate for the mill's own people: it enters no dossier, no seal and no customer page.
"""

from __future__ import annotations

import datetime as dt

import numpy as np

from kilnfolio.forecast.hindcast import Hindcast
from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.forecast.warning import EarlyWarning
from kilnfolio.physics.moisture import mass_at
from kilnfolio.records.middle import median
from kilnfolio.runtime.values import dataclass

CAUTION = "An estimate: sample boards decide."
"""Shown with every forecast."""

METHODS = {
    "own": "the mill's own drying curve of this wood and thickness, learnt from {charges}",
    "relative": "a drying curve learnt from {charges}, too few or of other timber, so that the band is "
    "wider",
    "clock": "the hours of its steps",
    "formula": "the published red-oak formula, for want of earlier charges: no more than a hint",
}
"""Descriptions of the method by the origin of the curve; the slot stands for the earlier charges."""

UNLIKE_AIR = "the air to come is unlike theirs, so the band may be too narrow"


@dataclass(frozen=True)
class Due:
    """A time with bands that hold the true value in 80 and 95 % of forecasts like this one."""

    low95: dt.datetime
    low80: dt.datetime
    median: dt.datetime
    high80: dt.datetime
    high95: dt.datetime


@dataclass(frozen=True)
class StepDue:
    """A coming step.

    Attributes
    ----------
    step : int
        Its number in the schedule, from 1.
    air : PlannedStep
        Its air.
    trigger_pct : float, optional
        The controlling MC at which it begins; None in a timed schedule. [%]
    due : Due, optional
        When it is reached; None if the plan does not reach it.
    """

    step: int
    air: PlannedStep
    trigger_pct: float | None
    due: Due | None


@dataclass(frozen=True)
class BoardPace:
    """The pace and future of a sample board.

    Attributes
    ----------
    board : str
        Its tag.
    mc_pct : float, optional
        MC at its last weighing. [%]
    pace : float
        Its pace relative to the mill's usual, which is 1. [-]
    uncertainty : float
        Standard uncertainty of ln pace. [-]
    next_trigger_pct : float, optional
        The MC of the next step, or of the end. [%]
    next_trigger_g : float, optional
        The board's mass at that MC; None without an oven-dry mass. [g]
    next_trigger_at : datetime, optional
        When this board will probably reach it.
    oven_dry_g : float, optional
        Its estimated oven-dry mass. [g]
    path_pct : tuple of float
        Its likely MC at the times of the forecast's fan. [%]
    """

    board: str
    mc_pct: float | None
    pace: float
    uncertainty: float
    next_trigger_pct: float | None
    next_trigger_g: float | None
    next_trigger_at: dt.datetime | None
    oven_dry_g: float | None = None
    path_pct: tuple[float, ...] = ()


@dataclass(frozen=True)
class Fan:
    """The future controlling MC with bands, at rising times [%]."""

    times: tuple[dt.datetime, ...]
    low95: tuple[float, ...]
    low80: tuple[float, ...]
    median: tuple[float, ...]
    high80: tuple[float, ...]
    high95: tuple[float, ...]


@dataclass(frozen=True)
class Forecast:
    """The forecast of an open charge.

    Attributes
    ----------
    charge, kiln, wood, schedule : str
        Number of the charge; ids of kiln, species and schedule.
    as_of, started : datetime
        Time of the forecast, and of the charge's start.
    weighed : datetime
        When its boards were last weighed; the start for a timed charge without weighings.
    controlling_pct : float
        Controlling MC then; NaN for a timed charge without weighings. [%]
    past : tuple of (datetime, float)
        Every weighing so far with its controlling MC. [%]
    target_pct : float, optional
        The MC that ends the drying; None in a timed schedule. [%]
    step : int
        Number of the step in force, from 1.
    steps : tuple of StepDue
        The coming steps.
    end : Due, optional
        When the controlling MC reaches the target, or a timed schedule ends.
    equalizing, conditioning, unload : Due, optional
        When equalizing and conditioning begin, and when both are over; None if not planned.
    boards : tuple of BoardPace
    fan : Fan
    share : float
        Share of the whole time that has passed. [-]
    origin : str
        ``own``, ``relative``, ``formula`` or ``clock``: a key of `METHODS`.
    learnt_from : tuple of str
        The earlier charges behind the curve.
    hindcasts : tuple of Hindcast
        Forecasts of those charges, with their actual ends.
    unlike_air : bool
        True if the coming air differs from the air the curve was learnt in: the bands may be too
        narrow.
    warnings : tuple of EarlyWarning
        Weighings that do not fit, tags that look swapped, a common drift; oldest first.
    """

    charge: str
    kiln: str
    wood: str
    schedule: str
    as_of: dt.datetime
    started: dt.datetime
    weighed: dt.datetime
    controlling_pct: float
    past: tuple[tuple[dt.datetime, float], ...]
    target_pct: float | None
    step: int
    steps: tuple[StepDue, ...]
    end: Due | None
    equalizing: Due | None
    conditioning: Due | None
    unload: Due | None
    boards: tuple[BoardPace, ...]
    fan: Fan
    share: float
    origin: str
    learnt_from: tuple[str, ...]
    hindcasts: tuple[Hindcast, ...]
    unlike_air: bool
    warnings: tuple[EarlyWarning, ...] = ()

    @property
    def method(self) -> str:
        """The method, in words."""
        count = len(self.learnt_from)
        charges = f"{count} earlier charges" if count != 1 else "1 earlier charge"
        words = METHODS[self.origin].format(charges=charges)
        return f"{words}; {UNLIKE_AIR}" if self.unlike_air else words

    def board_mass_g(self, board: BoardPace, at: dt.datetime) -> float | None:
        """Return the likely mass of a board at a future time [g]; None if not known."""
        dry, times = board.oven_dry_g, self.fan.times
        if dry is None or not board.path_pct or not times[0] <= at <= times[-1]:
            return None
        hours = [(one - times[0]).total_seconds() for one in times]
        mc = float(np.interp((at - times[0]).total_seconds(), hours, board.path_pct))
        return float(mass_at(dry, mc))

    def board_reaches(self, board: BoardPace, mc_pct: float) -> dt.datetime | None:
        """Return when a board will probably reach an MC; None if it never does."""
        reached = [i for i, mc in enumerate(board.path_pct) if mc <= mc_pct]
        if not reached:
            return None
        after, times = reached[0], self.fan.times
        if after == 0:
            return times[0]
        above, below = board.path_pct[after - 1], board.path_pct[after]
        part = (above - mc_pct) / (above - below)
        return times[after - 1] + (times[after] - times[after - 1]) * part

    def usual_error_pct(self) -> float | None:
        """Return the median error of the end of earlier charges, forecast at this point [%]."""
        shares = sorted({one.share for one in self.hindcasts}, key=lambda at: abs(at - self.share))
        errors = (
            [abs(one.error_pct) for one in self.hindcasts if one.share == shares[0]]
            if shares
            else []
        )
        return median(errors) if errors else None
