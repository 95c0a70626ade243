"""Adherence to the schedule: for every step, the air asked for against the air measured.

The same code handles MC-based and timed schedules. A kiln is allowed time to reach a new set-point,
but only for the deviation it starts with: while it heats up it may be too cold, not too hot. Stops,
gaps in the log and the time after the end of the charge do not count. A controller that oscillates
about its set-point keeps it: only lasting deviations, or those of the mean, are judged.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import cached_property, wraps
from itertools import pairwise
from operator import attrgetter
from typing import Any, Literal, NamedTuple, TypeVar

import numpy as np

from kilnfolio.records.setpoints import AirState
from kilnfolio.review.course import Course, Known
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


#: The limit of each field of `Tolerance`, in order.
ADHERENCE_LIMITS = (
    "dry-bulb-overshoot",
    "depression-overshoot",
    "depression-tolerance",
    "emc-tolerance",
    "widest-depression",
    "depression-overshoot-above",
    "heat-up-hours",
    "settling-hours",
)


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


T = TypeVar("T")


def _by(*tolerances: str) -> Callable[[Callable[[Adherence], T]], Callable[[Adherence], T]]:
    """Decorate a property that depends on these tolerances alone.

    It is worked out once for each of their values, and kept with the course.
    """
    values = attrgetter(*tolerances)

    def decorate(work: Callable[[Adherence], T]) -> Callable[[Adherence], T]:
        @wraps(work)
        def once(adherence: Adherence) -> T:
            known: dict[Any, T] = adherence.course.known
            place = (work, values(adherence.tolerance))
            if place not in known:
                known[place] = work(adherence)
            return known[place]

        return once

    return decorate


_HEATING = ("dry_bulb_k", "heat_up_h", "settling_h")
_OFF = ("depression_wet_k", "depression_k", "emc_points", "wet_above_pct")
_SETTLING = (*_HEATING, *_OFF)


@dataclass(frozen=True)
class Adherence:
    """How a charge's schedule was followed, worked out as far as it is asked for."""

    course: Course
    tolerance: Tolerance

    @property
    def steps(self) -> tuple[StepKept, ...]:
        """Every step, as asked and as kept; not cached, as each refers to what would hold it."""
        return tuple(StepKept(self, number) for number in range(len(self.course.asked)))

    @property
    def judged_steps(self) -> list[StepKept]:
        """Those steps of the schedule of which any time is judged."""
        asked = zip(self.course.asked, self.settled_in_steps, strict=True)
        return [
            StepKept(self, number)
            for number, (item, rows) in enumerate(asked)
            if item.step and len(rows)
        ]

    @property
    @_by(*_HEATING)
    def over_dry_bulb(self) -> np.ndarray | None:
        """Dry bulb above what was asked [K]; NaN where excused or not judged, None if all is."""
        use = self.course.judged & ~self._heating
        return np.where(use, self.course.dry, np.nan) if use.any() else None

    @property
    @_by(*_SETTLING)
    def over_depression(self) -> np.ndarray:
        """Depression above what was asked [K]; NaN where excused or not judged."""
        use = self.course.judged & ~self._settling & ~self.course.by_emc
        return np.where(use, self.course.wet, np.nan)

    @property
    @_by("dry_bulb_k")
    def _hot(self) -> np.ndarray:
        """Mask of readings whose dry bulb is outside the tolerance."""
        hot: np.ndarray = np.abs(self.course.dry) > self.tolerance.dry_bulb_k
        return hot

    @property
    @_by(*_OFF)
    def _off(self) -> np.ndarray:
        """Mask of readings whose humidity is outside the tolerance.

        At a wide depression a kelvin hardly changes the EMC, and at a narrow one a tiny change of
        the wet bulb changes it much: the air is outside only if both say so.
        """
        course, tolerance = self.course, self.tolerance
        wet_above = course.controlling > tolerance.wet_above_pct
        wet_k = np.where(wet_above, tolerance.depression_wet_k, tolerance.depression_k)
        wet_k[course.by_emc] = tolerance.emc_points
        off: np.ndarray = (np.abs(course.wet) > wet_k) & (course.emc > tolerance.emc_points)
        return off

    @property
    @_by(*_HEATING)
    def _heating(self) -> np.ndarray:
        """Mask of readings excused because the dry bulb is on the way to the set-point."""
        return self._approaching(self.course.dry, self.course.known_dry, self._hot)

    @property
    @_by(*_SETTLING)
    def _settling(self) -> np.ndarray:
        """Mask of readings excused because the humidity is on the way to the set-point."""
        dry, wet = self.course.dry, self.course.wet
        # during heating, water from the load itself makes the air damp
        damp = self._heating & (dry < 0) & (wet < 0)
        settling: np.ndarray = damp | self._approaching(wet, self.course.known_wet, self._off)
        return settling

    @property
    @_by(*_SETTLING)
    def settled(self) -> np.ndarray:
        """Mask of readings that are judged and not on the way to a set-point."""
        settled: np.ndarray = self.course.judged & ~self._heating & ~self._settling
        return settled

    @property
    @_by(*_SETTLING)
    def settled_in_steps(self) -> list[np.ndarray]:
        """Those readings of each step."""
        return self._in_steps(self.settled)

    def _in_steps(self, mask: np.ndarray) -> list[np.ndarray]:
        """Return the readings of a mask, step by step."""
        rows = np.flatnonzero(mask)
        ends = np.searchsorted(rows, self.course.edges).tolist()
        return [rows[first:end] for first, end in pairwise(ends)]

    @cached_property
    def within(self) -> np.ndarray:
        """Mask of readings that are judged and outside on no side."""
        off = self._hot | (self._off & ((self.course.wet > 0) | self._humid))
        within: np.ndarray = self.course.judged & ~off
        return within

    @cached_property
    def masks(self) -> dict[Side, np.ndarray]:
        """Mask of the readings that are outside on a side, for each side with such readings."""
        dry, wet, masks = self.course.dry, self.course.wet, dict[Side, np.ndarray]()
        if (hot := self._judged_hot) is not None:
            masks |= {"too hot": hot & (dry > 0), "too cold": hot & (dry < 0)}
        if (off := self._judged_off) is not None:
            masks |= {"too dry": off & (wet > 0), "too humid": off & self._humid}
        return {side: mask for side, mask in masks.items() if mask.any()}

    @cached_property
    def outside_in_steps(self) -> dict[Side, list[np.ndarray]]:
        """Those readings of each step, for each side with any."""
        return {side: self._in_steps(mask) for side, mask in self.masks.items()}

    @property
    @_by(*_HEATING)
    def _judged_hot(self) -> np.ndarray | None:
        """Those readings outside by their dry bulb that are not excused; None if there are none."""
        hot = self._hot & self.course.judged & ~self._heating
        return hot if hot.any() else None

    @property
    @_by(*_SETTLING)
    def _judged_off(self) -> np.ndarray | None:
        """Those readings outside by their humidity that are not excused; None if there are none."""
        off = self._off & self.course.judged & ~self._settling
        return off if off.any() else None

    @cached_property
    def _humid(self) -> np.ndarray:
        """Mask of readings on the humid side; a wide set-point is only an upper bound."""
        narrow = self.course.air.depression < self.tolerance.widest_depression_k
        humid: np.ndarray = (self.course.wet < 0) & (narrow | self.course.by_emc)
        return humid

    def _approaching(self, off: np.ndarray, known: Known, outside: np.ndarray) -> np.ndarray:
        """Return a mask of readings on the way to the set-point: after a change, a stop or a gap.

        The deviation at the start of a segment is excused until the air is within tolerance once,
        or until the time allowed is over.
        """
        excused, seconds = np.zeros(len(off), bool), self.course.air.seconds
        for (first, end, heats_up), begin in known.begins:
            if not outside[begin]:
                continue
            hours = self.tolerance.heat_up_h if heats_up else self.tolerance.settling_h
            until = np.searchsorted(seconds[first:end], seconds[first] + 3600.0 * hours, "right")
            part = slice(first, first + int(until))
            crossed = np.sign(off[part]) != np.sign(off[begin])
            reached = known.readings[part] & (~outside[part] | crossed)
            excused[part] = ~np.logical_or.accumulate(reached)
        return excused


class StepKept:
    """One step as asked and as kept; means are over the settled time with the fans running."""

    def __init__(self, adherence: Adherence, number: int):
        self._adherence, self._course = adherence, adherence.course
        self._item = self._course.asked[number]
        self._number = number

    @property
    def label(self) -> str:
        """The step in words."""
        return self._item.label

    @property
    def number(self) -> int | None:
        """The step's number; None for equalizing and conditioning."""
        return self._item.step.number if self._item.step else None

    @property
    def start(self) -> dt.datetime:
        """When it was set."""
        return self._item.at

    @property
    def end(self) -> dt.datetime:
        """When the next was set, or drying ended."""
        return max(self._end, self.start)

    @property
    def _end(self) -> dt.datetime:
        after = self._course.asked[self._number + 1 : self._number + 2]
        return min([item.at for item in after] + [self._course.charge.ended])

    @property
    def _rows(self) -> slice:
        """The readings of the step."""
        first, end = self._course.edges[self._number : self._number + 2].tolist()
        return slice(first, end)

    @property
    def asked(self) -> AirState:
        """The air asked for."""
        return self._item.air

    @property
    def hours_asked(self) -> float | None:
        """Its length in a timed schedule [h]."""
        return self._item.step.hours if self._item.step else None

    @property
    def hours_run(self) -> float:
        """From start to end without stops [h]."""
        stopped = sum(
            max(0.0, (min(stop.end, self._end) - max(stop.start, self.start)).total_seconds())
            for stop in self._course.charge.stops
        )
        return max(0.0, (self._end - self.start).total_seconds() - stopped) / 3600.0

    @property
    def hours_to_reach(self) -> float | None:
        """Until both dry bulb and humidity were within tolerance [h]; None if they never were."""
        within = self._adherence.within[self._rows]
        if not within.any():
            return None
        reached = float(self._course.air.seconds[self._rows][np.argmax(within)])
        return max(0.0, reached - self.start.timestamp()) / 3600.0

    @property
    def hours_settled(self) -> float:
        """Time that is judged [h]."""
        return float(self._course.air.hours[self._settled].sum())

    @property
    def dry_bulb_c(self) -> float | None:
        """Mean dry bulb [°C]."""
        return self._mean(self._course.air.dry_bulb)

    @property
    def wet_bulb_c(self) -> float | None:
        """Mean wet bulb [°C]."""
        return self._mean(self._course.air.wet_bulb)

    @property
    def emc_pct(self) -> float | None:
        """Mean EMC [%]."""
        return self._mean(self._course.air.emc)

    @cached_property
    def outside(self) -> tuple[Outside, ...]:
        """The time outside on each side."""
        return tuple(
            self._outside(side, rows)
            for side, in_steps in self._adherence.outside_in_steps.items()
            if len(rows := in_steps[self._number])
        )

    @property
    def hours_outside(self) -> float:
        """Time outside on any side [h]; two sides at once count twice."""
        return sum(item.hours for item in self.outside)

    @property
    def _settled(self) -> np.ndarray:
        """The readings that are judged."""
        return self._adherence.settled_in_steps[self._number]

    def _mean(self, values: np.ndarray) -> float | None:
        use = self._settled[np.isfinite(values[self._settled])]
        hours = self._course.air.hours[use]
        return float((values[use] * hours).sum() / hours.sum()) if len(hours) else None

    def _outside(self, side: Side, rows: np.ndarray) -> Outside:
        course = self._course
        whole = np.zeros(len(course.dry), bool)
        whole[rows] = True
        longest = max(course.air.stretches(whole), key=lambda run: run.hours)
        off = (course.dry if side in ("too hot", "too cold") else course.wet)[rows]
        by_emc = side in ("too dry", "too humid") and course.by_emc[longest.first]
        return Outside(
            side,
            course.air.times[longest.first],
            longest.first,
            float(course.air.hours[rows].sum()),
            longest.hours,
            float(off[np.argmax(np.abs(off))]),
            "points" if by_emc else "K",
        )
