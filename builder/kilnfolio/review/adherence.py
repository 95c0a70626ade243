"""Adherence to the schedule: for every step, the air asked for against the air measured.

The same code handles MC-based and timed schedules. A kiln is allowed time to reach a new set-point,
but only for the deviation it starts with: while it heats up it may be too cold, not too hot. Stops,
gaps in the log and the time after the end of the charge do not count. A controller that oscillates
about its set-point keeps it: only lasting deviations, or those of the mean, are judged.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np

from kilnfolio.records.charge import Charge
from kilnfolio.review.air import AirSeries, utc
from kilnfolio.review.air_control import reading_hours
from kilnfolio.review.setpoints import AirState, AskedAir
from kilnfolio.runtime.values import dataclass

Side = Literal["too hot", "too cold", "too dry", "too humid"]


class Tolerance(NamedTuple):
    """How far the air may deviate from the set-point, and how long a kiln may take to reach it."""

    dry_bulb_k: float
    depression_wet_k: float
    """While the controlling MC is above `wet_above_pct`: the checking stage."""
    depression_k: float
    emc_points: float
    widest_depression_k: float
    """A larger set-point of depression is only an upper bound."""
    wet_above_pct: float
    heat_up_h: float
    settling_h: float


@dataclass(frozen=True)
class Outside:
    """Time outside the tolerance on one side, in one step."""

    side: Side
    first: np.datetime64
    """When the longest stretch began."""
    row: int
    """The reading it began with."""
    hours: float
    """Total [h]."""
    longest_hours: float
    """Longest stretch [h]."""
    worst: float
    """Furthest from what was asked: K of dry bulb, or K of depression (EMC points without one)."""
    unit: str


@dataclass(frozen=True)
class StepKept:
    """One step as asked and as kept; means are over the settled time with the fans running."""

    label: str
    number: int | None
    """None for equalizing and conditioning."""
    start: dt.datetime
    end: dt.datetime
    asked: AirState
    hours_asked: float | None
    """In a timed schedule [h]."""
    hours_run: float
    """From start to end without stops [h]."""
    hours_to_reach: float | None
    """Until both dry bulb and humidity were within tolerance [h]; None if they never were."""
    hours_settled: float
    """Time that is judged [h]."""
    dry_bulb_c: float | None
    wet_bulb_c: float | None
    emc_pct: float | None
    outside: tuple[Outside, ...]

    @property
    def hours_outside(self) -> float:
        """Time outside on any side [h]; two sides at once count twice."""
        return sum(item.hours for item in self.outside)


@dataclass(frozen=True)
class Adherence:
    """How a charge's schedule was followed, with the values at each reading that checks use."""

    steps: tuple[StepKept, ...]
    counts: np.ndarray
    """Mask of readings that are judged: running, within a step, not recovering from a stop."""
    over_dry_bulb: np.ndarray
    """Dry bulb above what was asked [K]; NaN where excused or not judged."""
    over_depression: np.ndarray
    """Depression above what was asked [K]; NaN where excused or not judged."""


def adherence(
    charge: Charge,
    asked: Sequence[AskedAir],
    air: AirSeries,
    controlling: np.ndarray,
    tolerance: Tolerance,
) -> Adherence:
    """Compare the air in the log with the air asked for.

    Parameters
    ----------
    charge : Charge
        The charge, for its stops and end.
    asked : sequence of AskedAir
        The air asked for, oldest first.
    air : AirSeries
        The log.
    controlling : ndarray
        Controlling MC known at each reading [%]; NaN before the first weighing.
    tolerance : Tolerance
        The limits.
    """
    index = air.asked_at_each(asked)
    judged = (index >= 0) & (air.times <= utc(charge.ended)) & ~_still(charge, air)
    depression_k = np.where(
        controlling > tolerance.wet_above_pct, tolerance.depression_wet_k, tolerance.depression_k
    )
    hours = reading_hours(air) if len(air.times) else np.zeros(0)
    over_dry, over_wet = (np.full(len(air.times), np.nan) for _ in range(2))
    kept = []
    for number, item in enumerate(asked):
        rows = np.flatnonzero(index == number)
        end = asked[number + 1].at if number + 1 < len(asked) else charge.ended
        step = _Step(
            air,
            item.air,
            rows,
            hours[rows],
            judged[rows],
            depression_k[rows],
            tolerance,
            tolerance.heat_up_h if number == 0 else tolerance.settling_h,
        )
        over_dry[rows], over_wet[rows] = step.over_dry, step.over_depression
        kept.append(_kept(charge, item, min(end, charge.ended), step))
    return Adherence(tuple(kept), judged, over_dry, over_wet)


def _still(charge: Charge, air: AirSeries) -> np.ndarray:
    """Return a mask of readings taken in a declared stop, or with the fans off."""
    still = np.zeros(len(air.times), bool)
    for stop in charge.stops:
        still |= (air.times >= utc(stop.start)) & (air.times < utc(stop.end))
    fan = air.log.channels.get("fan")
    return still if fan is None else still | (fan <= 0)


class _Step:
    """The readings of one step, compared with its air."""

    def __init__(
        self,
        air: AirSeries,
        asked: AirState,
        rows: np.ndarray,
        hours: np.ndarray,
        running: np.ndarray,
        depression_k: np.ndarray,
        tolerance: Tolerance,
        first_allowance_h: float,
    ):
        self.air, self.rows, self.running = air, rows, running
        self.hours = hours
        self.dry = air.dry_bulb[rows] - asked.dry_bulb_c
        self.emc = air.emc[rows] - asked.emc_pct
        depression = air.depression[rows] - asked.depression_k
        # without a wet bulb, the humidity sensor's EMC takes the place of the depression
        self.by_emc = not np.isfinite(depression).any()
        self.wet = -self.emc if self.by_emc else depression
        wet_k = np.full(len(rows), tolerance.emc_points) if self.by_emc else depression_k
        emc = np.nan_to_num(np.abs(self.emc), nan=np.inf)
        # at a wide depression a kelvin hardly changes the EMC, and at a narrow one a tiny change of
        # the wet bulb changes it much: the air is outside only if both say so
        off = (np.abs(self.wet) > wet_k) & (emc > tolerance.emc_points)
        hot = np.abs(self.dry) > tolerance.dry_bulb_k
        self.segments = self._segments()
        excused_dry = self._approaching(self.dry, hot, tolerance, first_allowance_h)
        excused_wet = self._approaching(self.wet, off, tolerance, first_allowance_h)
        # during heating, water from the load itself makes the air damp
        excused_wet |= excused_dry & (self.dry < 0) & (self.wet < 0)
        self.judged = running & np.isfinite(self.dry)
        self.settled = self.judged & ~excused_dry & ~excused_wet
        humid = off & (self.wet < 0)
        if not self.by_emc:
            humid &= air.depression[rows] < tolerance.widest_depression_k
        self.masks: dict[Side, np.ndarray] = {
            "too hot": hot & (self.dry > 0) & self.judged & ~excused_dry,
            "too cold": hot & (self.dry < 0) & self.judged & ~excused_dry,
            "too dry": off & (self.wet > 0) & self.judged & ~excused_wet,
            "too humid": humid & self.judged & ~excused_wet,
        }
        within = self.judged & ~hot & ~(off & (self.wet > 0)) & ~humid
        self.reached = int(np.argmax(within)) if within.any() else None
        self.over_dry = np.where(self.judged & ~excused_dry, self.dry, np.nan)
        self.over_depression = np.where(
            self.judged & ~excused_wet & (not self.by_emc), self.wet, np.nan
        )

    def _approaching(
        self, off: np.ndarray, outside: np.ndarray, tolerance: Tolerance, first_allowance_h: float
    ) -> np.ndarray:
        """Return a mask of readings on the way to the set-point: after a change, a stop or a gap.

        The deviation at the start of a segment is excused until the air is within tolerance once,
        or until the time allowed is over.
        """
        excused = np.zeros(len(off), bool)
        seconds = self.air.seconds[self.rows]
        for number, (first, last) in enumerate(self.segments):
            part = slice(first, last)
            known = np.flatnonzero(np.isfinite(off[part]))
            if not len(known) or not outside[part][known[0]]:
                continue
            sign = np.sign(off[part][known[0]])
            back = np.flatnonzero(
                (~outside[part] | (np.sign(off[part]) != sign)) & np.isfinite(off[part])
            )
            allowed = 3600.0 * (first_allowance_h if number == 0 else tolerance.settling_h)
            until = seconds[part] <= seconds[first] + allowed
            if len(back):
                until[back[0] :] = False
            excused[part] = until
        return excused

    def _segments(self) -> list[tuple[int, int]]:
        """Return the running segments as half-open ranges of indices."""
        if not self.running.any():
            return []
        seconds = self.air.seconds[self.rows]
        gap = np.diff(seconds) > 120.0 * self.air.log.interval_minutes
        joined = self.running[1:] & self.running[:-1] & ~gap
        firsts = np.flatnonzero(self.running & ~np.concatenate([[False], joined]))
        lasts = np.flatnonzero(self.running & ~np.concatenate([joined, [False]]))
        return [
            (first, last + 1) for first, last in zip(firsts.tolist(), lasts.tolist(), strict=True)
        ]

    def mean(self, values: np.ndarray) -> float | None:
        """Return a mean over the settled time."""
        found = values[self.rows]
        use = self.settled & np.isfinite(found)
        hours = self.hours[use]
        return float((found[use] * hours).sum() / hours.sum()) if len(hours) else None

    def outside(self) -> tuple[Outside, ...]:
        """Return the time outside on each side."""
        return tuple(found for side in self.masks if (found := self._outside(side)))

    def _outside(self, side: Side) -> Outside | None:
        mask = self.masks[side]
        if not mask.any():
            return None
        whole = np.zeros(len(self.air.times), bool)
        whole[self.rows[mask]] = True
        longest = max(self.air.stretches(whole), key=lambda run: run.hours)
        off = self.dry if side in ("too hot", "too cold") else self.wet
        worst = float(off[mask][np.argmax(np.abs(off[mask]))])
        return Outside(
            side,
            self.air.times[longest.first],
            longest.first,
            float(self.hours[mask].sum()),
            longest.hours,
            worst,
            "points" if off is self.wet and self.by_emc else "K",
        )


def _kept(charge: Charge, item: AskedAir, end: dt.datetime, step: _Step) -> StepKept:
    stopped = sum(
        max(0.0, (min(stop.end, end) - max(stop.start, item.at)).total_seconds())
        for stop in charge.stops
    )
    run = max(0.0, (end - item.at).total_seconds() - stopped) / 3600.0
    reach = None
    if step.reached is not None:
        seconds = float(step.air.seconds[step.rows[step.reached]])
        reach = max(0.0, seconds - item.at.timestamp()) / 3600.0
    return StepKept(
        item.label,
        item.step.number if item.step else None,
        item.at,
        max(end, item.at),
        item.air,
        item.step.hours if item.step else None,
        run,
        reach,
        float(step.hours[step.settled].sum()),
        step.mean(step.air.dry_bulb),
        step.mean(step.air.wet_bulb),
        step.mean(step.air.emc),
        step.outside(),
    )
