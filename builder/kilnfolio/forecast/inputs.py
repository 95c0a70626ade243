"""The data a forecast reads of a charge, as plain numbers: weighings, air, planned steps.

Hours count from the charge's start. Nothing here depends on how a mill keeps its records; `mill`
converts records to these classes.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cached_property

import numpy as np

from kilnfolio.physics import sorption
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying_formula import temperature_factor
from kilnfolio.runtime.values import dataclass

RULES = ("wettest half", "wettest board", "mean")
"""Rules by which boards decide a step: mean of the wettest half, the wettest, mean of all."""

_NEAR_SATURATION_PCT = 98.0
"""RH above which differences are ignored, because EMC no longer determines RH there. [%]"""


@dataclass(frozen=True)
class Weighings:
    """MC of the sample boards at each weighing.

    Attributes
    ----------
    hours : ndarray, shape (n,)
        When the boards were weighed, rising. [h]
    mc_pct : ndarray, shape (n, boards)
        MC of each board; NaN if it was not weighed. [%]
    boards : tuple of str
        Tags of the boards.
    """

    hours: Floats
    mc_pct: Floats
    boards: tuple[str, ...]

    def until(self, hours: float) -> Weighings:
        """Return the weighings up to a time."""
        count = int(np.searchsorted(self.hours, hours, side="right"))
        return replace(self, hours=self.hours[:count], mc_pct=self.mc_pct[:count])


@dataclass(frozen=True)
class AirLog:
    """The air around the boards, as means over intervals.

    Attributes
    ----------
    hours : ndarray, shape (n,)
        When each interval ends, rising from above 0. [h]
    dry_bulb_c : ndarray, shape (n,)
        Dry bulb. [°C]
    emc_pct : ndarray, shape (n,)
        EMC. [%]
    """

    hours: Floats
    dry_bulb_c: Floats
    emc_pct: Floats

    def until(self, hours: float) -> AirLog:
        """Return the intervals that end by a time."""
        count = int(np.searchsorted(self.hours, hours, side="right"))
        return AirLog(self.hours[:count], self.dry_bulb_c[:count], self.emc_pct[:count])

    def between(self, hours: Floats) -> tuple[Floats, Floats, Floats]:
        """Return pace-hours, EMC and dryness between successive times.

        Returns
        -------
        pace_hours : ndarray, shape (n - 1,)
            Hours weighted by `temperature_factor`. [h at 45 °C]
        emc : ndarray, shape (n - 1,)
            Mean EMC with the same weights. [%]
        dryness : ndarray, shape (n - 1,)
            Mean of ln(1 - RH). [-]
        """
        if not self.hours.size:
            gap = np.full(max(hours.size - 1, 0), np.nan)
            return gap, gap, gap
        totals = self._totals
        edges = np.concatenate([[0.0], self.hours])
        pace, emc, dry = (np.diff(np.interp(hours, edges, total)) for total in totals)
        length = np.diff(np.minimum(hours, edges[-1]))
        with np.errstate(invalid="ignore", divide="ignore"):
            return pace, emc / pace, dry / length

    @cached_property
    def _totals(self) -> tuple[Floats, Floats, Floats]:
        length = np.diff(self.hours, prepend=0.0)
        pace = np.asarray(temperature_factor(self.dry_bulb_c)) * length
        rows = (pace, pace * self.emc_pct, length * dryness(self.dry_bulb_c, self.emc_pct))
        first, second, third = (np.concatenate([[0.0], np.cumsum(row)]) for row in rows)
        return first, second, third


@dataclass(frozen=True)
class PlannedStep:
    """A step of a schedule as the operator will run it.

    Attributes
    ----------
    dry_bulb_c, emc_pct : float
        The air. [°C] [%]
    until_mc_pct : float, optional
        The controlling MC that ends the step; for the last step, the target. [%]
    hours : float, optional
        Duration, in a timed schedule. [h]
    """

    dry_bulb_c: float
    emc_pct: float
    until_mc_pct: float | None = None
    hours: float | None = None


@dataclass(frozen=True)
class Finish:
    """Equalizing and conditioning after the last step.

    Attributes
    ----------
    driest_pct : float
        MC of the driest board at which equalizing begins. [%]
    wettest_pct : float
        MC of the wettest board at which it ends. [%]
    dry_bulb_c, emc_pct : float
        The air of equalizing. [°C] [%]
    conditioning_hours : float
        Hours of conditioning after it; 0 for none. [h]
    """

    driest_pct: float
    wettest_pct: float
    dry_bulb_c: float
    emc_pct: float
    conditioning_hours: float = 0.0


@dataclass(frozen=True)
class Run:
    """A charge, running or complete.

    Attributes
    ----------
    charge : str
        Its number.
    wood : str
        Id of the species.
    thickness_mm : float
        Nominal thickness. [mm]
    started : datetime
        When heating began; hours count from here.
    weighings : Weighings
    air : AirLog
    steps : tuple of PlannedStep
        The schedule's steps.
    steps_taken : tuple of (float, int)
        Hour and index (from 0) of each step that was set; if empty, the rule decides.
    rule : str
        One of `RULES`.
    finish : Finish, optional
        Equalizing and conditioning as planned.
    ended : float, optional
        When the charge ended; None while it runs. [h]
    kiln : str
        Id of the kiln.
    schedule : str
        Id of the schedule.
    oven_dry_g : tuple of float or None
        Estimated oven-dry mass of each board; None if only its MC is known. [g]
    """

    charge: str
    wood: str
    thickness_mm: float
    started: dt.datetime
    weighings: Weighings
    air: AirLog
    steps: tuple[PlannedStep, ...]
    steps_taken: tuple[tuple[float, int], ...] = ()
    rule: str = "wettest half"
    finish: Finish | None = None
    ended: float | None = None
    kiln: str = ""
    schedule: str = ""
    oven_dry_g: tuple[float | None, ...] = ()

    def until(self, hours: float) -> Run:
        """Return the charge as known at a time."""
        return replace(
            self,
            weighings=self.weighings.until(hours),
            air=self.air.until(hours),
            steps_taken=tuple(taken for taken in self.steps_taken if taken[0] <= hours),
            ended=self.ended if self.ended is not None and self.ended <= hours else None,
        )

    def moment(self, hours: float) -> dt.datetime:
        """Return the time so many hours after the start, to the minute, on the mill's clock."""
        after = dt.timedelta(minutes=round(hours * 60))
        # computed in UTC, because a day on which the clocks change has 23 or 25 hours
        return (self.started.astimezone(dt.UTC) + after).astimezone(self.started.tzinfo)

    @property
    def target_mc_pct(self) -> float | None:
        """The controlling MC that ends the drying; None in a timed schedule."""
        return self.steps[-1].until_mc_pct

    @property
    def timed(self) -> bool:
        """Whether every step runs by the clock."""
        return all(step.hours is not None for step in self.steps)

    @cached_property
    def controlling_pct(self) -> Floats:
        """Controlling MC at each weighing, shape (n,) [%]."""
        return controlling(self.weighings.mc_pct, self.rule)

    def reached(self, mc_pct: float) -> float:
        """Return the hour at which the controlling MC fell to a value; NaN if it did not."""
        below = np.flatnonzero(self.controlling_pct <= mc_pct)
        if not below.size:
            return float("nan")
        after = int(below[0])
        if after == 0:
            return float(self.weighings.hours[0])
        (h1, h2), (m1, m2) = (
            series[after - 1 : after + 1] for series in (self.weighings.hours, self.controlling_pct)
        )
        return float(h1 + (h2 - h1) * (m1 - mc_pct) / (m1 - m2))


def hours_between(start: dt.datetime, end: dt.datetime) -> float:
    """Return the hours between two times, also across a change of the clocks [h]."""
    return (end.timestamp() - start.timestamp()) / 3600.0


def controlling(mc_pct: Floats, rule: str) -> Floats:
    """Return the controlling MC of boards along the last axis, leaving out boards not weighed.

    Raises
    ------
    ValueError
        If the rule is not one of `RULES`.
    """
    if rule not in RULES:
        raise ValueError(f"rule must be one of {RULES}; received {rule!r}")
    boards = np.isfinite(mc_pct).sum(axis=-1)
    share = {
        "wettest half": (boards + 1) // 2,
        "wettest board": np.minimum(boards, 1),
        "mean": boards,
    }[rule]
    # -inf sorts first, so the wettest boards come last even if some are missing
    ordered = np.sort(np.where(np.isfinite(mc_pct), mc_pct, -np.inf), axis=-1)
    rank = np.arange(mc_pct.shape[-1])
    counted = rank >= (mc_pct.shape[-1] - share)[..., np.newaxis]
    total = np.where(counted, ordered, 0.0).sum(axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(total / share)


def dryness(dry_bulb_c: Floats, emc_pct: Floats) -> Floats:
    """Return ln(1 - RH) of air with a given EMC: a measure of how strongly it takes up vapour."""
    warm = np.asarray(dry_bulb_c, float)
    top = sorption.equilibrium_moisture_content(warm, _NEAR_SATURATION_PCT)
    humidity = sorption.relative_humidity_for_emc(
        warm, np.clip(np.asarray(emc_pct, float), 0.0, top)
    )
    return np.asarray(np.log1p(-np.asarray(humidity) / 100.0))
