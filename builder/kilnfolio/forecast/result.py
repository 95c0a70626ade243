"""The forecast of an open charge, as pages and commands print it.

An estimate for the people of the mill: it enters no dossier, no seal and no customer's page.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from kilnfolio.forecast.hindcast import Hindcast
from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.forecast.warning import EarlyWarning

CAUTION = "An estimate: sample boards decide."
"""Stands wherever a forecast is shown."""

METHODS = {
    "own": "the mill's own drying curve of this wood and thickness",
    "relative": "the drying curve of another wood or thickness, or of few charges: a wider band",
    "formula": "the published red-oak formula, for want of earlier charges: no more than a hint",
}
"""How a forecast was made, by the origin of its curve."""


@dataclass(frozen=True)
class Due:
    """A moment with its bands: 80 and 95 % of forecasts like this one hold the truth."""

    low95: dt.datetime
    low80: dt.datetime
    median: dt.datetime
    high80: dt.datetime
    high95: dt.datetime


@dataclass(frozen=True)
class StepDue:
    """A step to come.

    Attributes
    ----------
    step : int
        Its number in the schedule, from 1.
    air : PlannedStep
        Its air.
    trigger_pct : float, optional
        The controlling MC at which it begins; None in a timed schedule. [%]
    due : Due, optional
        When that is reached; None if the plan does not reach it.
    """

    step: int
    air: PlannedStep
    trigger_pct: float | None
    due: Due | None


@dataclass(frozen=True)
class BoardPace:
    """One sample board.

    Attributes
    ----------
    board : str
        Its tag.
    mc_pct : float, optional
        MC at its last weighing. [%]
    pace : float
        Its pace over the mill's usual; 1 is usual. [-]
    uncertainty : float
        Standard uncertainty of ln pace. [-]
    next_trigger_pct : float, optional
        The MC of the next step, or of the end. [%]
    next_trigger_g : float, optional
        The board's mass at that MC; None without an oven-dry mass. [g]
    next_trigger_at : datetime, optional
        When this board is likely to be down to it.
    """

    board: str
    mc_pct: float | None
    pace: float
    uncertainty: float
    next_trigger_pct: float | None
    next_trigger_g: float | None
    next_trigger_at: dt.datetime | None


@dataclass(frozen=True)
class Fan:
    """The controlling MC to come, with bands, at rising times [%]."""

    times: tuple[dt.datetime, ...]
    low95: tuple[float, ...]
    low80: tuple[float, ...]
    median: tuple[float, ...]
    high80: tuple[float, ...]
    high95: tuple[float, ...]


@dataclass(frozen=True)
class Forecast:
    """What is to come of an open charge.

    Attributes
    ----------
    charge, kiln, wood, schedule : str
        Number of the charge; ids of kiln, species and schedule.
    as_of, started, weighed : datetime
        The moment of the forecast, of the charge's start, of its last weighing.
    controlling_pct : float
        Controlling MC at the last weighing. [%]
    past : tuple of (datetime, float)
        Every weighing so far with its controlling MC. [%]
    target_pct : float, optional
        The MC that ends the drying; None in a timed schedule. [%]
    step : int
        Number of the step in force, from 1.
    steps : tuple of StepDue
        The steps to come.
    end : Due, optional
        When the controlling MC reaches the target, or a timed schedule ends.
    equalizing, conditioning, unload : Due, optional
        When equalizing and conditioning begin, and when both are over; None where not planned.
    boards : tuple of BoardPace
    fan : Fan
    share : float
        How much of the whole time has passed. [-]
    origin : str
        ``own``, ``relative`` or ``formula``: a key of `METHODS`.
    learnt_from : tuple of str
        The earlier charges behind the curve.
    hindcasts : tuple of Hindcast
        How this forecast did on them.
    unlike_air : bool
        The air to come differs from what the curve was learnt in: the bands may be too narrow.
    warnings : tuple of EarlyWarning
        Weighings that do not fit, tags that look swapped, a common drift; the oldest first.
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
        """How it was made, in words."""
        words = METHODS[self.origin]
        if self.origin != "formula":
            count = len(self.learnt_from)
            words += f", learnt from {count} earlier charge{'s' if count != 1 else ''}"
        if self.unlike_air:
            words += "; the air to come is unlike theirs, so the band may be too narrow"
        return words

    def usual_error_pct(self) -> float | None:
        """Return the median error of the end on earlier charges, from about this point [%]."""
        shares = sorted({one.share for one in self.hindcasts}, key=lambda at: abs(at - self.share))
        errors = (
            [abs(one.error_pct) for one in self.hindcasts if one.share == shares[0]]
            if shares
            else []
        )
        return float(np.median(errors)) if errors else None
