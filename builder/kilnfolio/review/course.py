"""The course of a charge: the readings of its log beside the air asked for, whatever is tolerated."""

from __future__ import annotations

from dataclasses import field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from kilnfolio.records.charge import Charge
from kilnfolio.records.setpoints import AskedAir
from kilnfolio.review.air import AirSeries, utc
from kilnfolio.runtime.values import dataclass


class Segment(NamedTuple):
    """Readings of one step without a stop or gap, up to `end`."""

    first: int
    end: int
    heats_up: bool
    """Whether the first step begins with it."""


class Known(NamedTuple):
    """Where a quantity is known."""

    readings: np.ndarray
    """Mask of the readings that have it."""
    begins: list[tuple[Segment, int]]
    """The segments that have it, each with the first reading of it that does."""


@dataclass(frozen=True)
class Course:
    """The readings of a log beside the air asked for, whatever is tolerated."""

    charge: Charge
    asked: tuple[AskedAir, ...]
    air: AirSeries
    controlling: np.ndarray
    """Controlling MC known at each reading [%]; NaN before the first weighing."""
    edges: np.ndarray
    """The first reading of each step, and the one after the last step."""
    running: np.ndarray
    """Mask of readings within a step that were not taken in a stop."""
    dry: np.ndarray
    """Dry bulb above what was asked [K]."""
    wet: np.ndarray
    """Depression above what was asked [K]; without a wet bulb EMC below it [points]."""
    by_emc: np.ndarray
    """Mask of readings in steps without a wet bulb."""
    emc: np.ndarray
    """EMC away from what was asked [points]; infinite where it is not known."""
    segments: tuple[Segment, ...]
    known: dict[Any, Any] = field(default_factory=dict, compare=False, repr=False)
    """What follows from it and some tolerances; see `review.adherence`."""

    @cached_property
    def judged(self) -> np.ndarray:
        """Mask of readings that are judged: running, within a step."""
        judged: np.ndarray = self.running & np.isfinite(self.dry)
        return judged

    @cached_property
    def known_dry(self) -> Known:
        """Where it is known how far the dry bulb is from what was asked."""
        return self._known(self.dry)

    @cached_property
    def known_wet(self) -> Known:
        """Where it is known how far the humidity is from what was asked."""
        return self._known(self.wet)

    def _known(self, off: np.ndarray) -> Known:
        known = np.isfinite(off)
        begins = [one.first + int(np.argmax(known[one.first : one.end])) for one in self.segments]
        both = zip(self.segments, begins, strict=True)
        return Known(known, [(segment, begin) for segment, begin in both if known[begin]])


def course_of(
    charge: Charge, asked: tuple[AskedAir, ...], air: AirSeries, controlling: np.ndarray
) -> Course:
    """Return the readings of a log beside the air asked for.

    Parameters
    ----------
    charge : Charge
        The charge, for its stops and end.
    asked : tuple of AskedAir
        The air asked for, oldest first.
    air : AirSeries
        The log.
    controlling : ndarray
        Controlling MC known at each reading [%]; NaN before the first weighing.
    """
    index = air.asked_at_each(asked)
    edges = np.searchsorted(index, np.arange(len(asked) + 1))
    running = (index >= 0) & (air.times <= utc(charge.ended)) & ~_still(charge, air)

    def beyond(values: np.ndarray, wanted: list[float]) -> np.ndarray:
        found: np.ndarray = values - np.array([*wanted, np.nan])[index]
        return found

    dry = beyond(air.dry_bulb, [item.air.dry_bulb_c for item in asked])
    emc = beyond(air.emc, [item.air.emc_pct for item in asked])
    depression = beyond(air.depression, [item.air.depression_k for item in asked])
    # without a wet bulb, the humidity sensor's EMC takes the place of the depression
    known = np.concatenate([[0], np.cumsum(np.isfinite(depression))])
    by_emc = np.array([*(known[edges[1:]] == known[edges[:-1]]), False])[index]
    return Course(
        charge,
        asked,
        air,
        controlling,
        edges,
        running,
        dry,
        np.where(by_emc, -emc, depression),
        by_emc,
        np.nan_to_num(np.abs(emc), nan=np.inf),
        _segments(air, index, running),
    )


def _still(charge: Charge, air: AirSeries) -> np.ndarray:
    """Return a mask of readings taken in a declared stop, or with the fans off."""
    still = np.zeros(len(air.times), bool)
    for stop in charge.stops:
        still |= (air.times >= utc(stop.start)) & (air.times < utc(stop.end))
    fan = air.log.channels.get("fan")
    return still if fan is None else still | (fan <= 0)


def _segments(air: AirSeries, index: np.ndarray, running: np.ndarray) -> tuple[Segment, ...]:
    joined = running[1:] & running[:-1] & air.unbroken & (index[1:] == index[:-1])
    firsts = np.flatnonzero(running & ~np.concatenate([[False], joined]))
    lasts = np.flatnonzero(running & ~np.concatenate([joined, [False]]))
    return tuple(
        Segment(first, last + 1, number == 0 and index[first] == 0)
        for number, (first, last) in enumerate(zip(firsts.tolist(), lasts.tolist(), strict=True))
    )
