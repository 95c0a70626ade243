"""The air in the log: RH and EMC at every reading, and the air asked for then."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from kilnfolio.physics.air import saturation_pressure, vapour_pressure_of_bulbs
from kilnfolio.physics.sorption import (
    EMC_TEMP_RANGE_C,
    equilibrium_moisture_content,
    relative_humidity_for_emc,
)
from kilnfolio.records.log import Log
from kilnfolio.records.setpoints import AskedAir
from kilnfolio.review.limits import LimitTable
from kilnfolio.runtime.values import dataclass

#: Channels that are on or off.
SWITCHES = ("vent", "spray", "fan")
#: The limits that tell which readings jump: how far, and within how many minutes.
AIR_LIMITS = ("spike-kelvin", "spike-minutes")
#: Most points in a dossier's summary of a log.
SUMMARY_POINTS = 240


@dataclass(frozen=True)
class Jump:
    """One reading that jumps away from both its neighbours [K]."""

    channel: str
    row: int
    size: float


@dataclass(frozen=True)
class Stretch:
    """A run of readings that meet a condition, by first and last index."""

    first: int
    last: int
    hours: float


@dataclass(frozen=True)
class AirSeries:
    """The air at each reading, in °C and %; NaN if it is not known.

    Readings that jump are not used; `jumps` lists them.
    """

    log: Log
    dry_bulb: np.ndarray
    wet_bulb: np.ndarray
    relative_humidity: np.ndarray
    emc: np.ndarray
    jumps: tuple[Jump, ...] = ()

    @property
    def times(self) -> np.ndarray:
        """Times of the readings in UTC."""
        return self.log.times

    @cached_property
    def depression(self) -> np.ndarray:
        """Wet-bulb depression [K]."""
        depression: np.ndarray = self.dry_bulb - self.wet_bulb
        return depression

    @cached_property
    def seconds(self) -> np.ndarray:
        """Times of the readings in seconds since 1970."""
        return self.times.astype("datetime64[s]").astype(float)

    @cached_property
    def minutes(self) -> np.ndarray:
        """Minutes from each reading to the next."""
        return self.minutes_over(1)

    def minutes_over(self, rows: int) -> np.ndarray:
        """Return the minutes from each reading to the one this many rows later."""
        minutes: np.ndarray = (self.seconds[rows:] - self.seconds[:-rows]) / 60.0
        return minutes

    @cached_property
    def hours(self) -> np.ndarray:
        """Duration of each reading [h]: until the next, but at most two intervals.

        A reading before a gap, and the last one, count for one interval.
        """
        usual = self.log.interval_minutes
        minutes = np.append(self.minutes, usual)
        hours: np.ndarray = np.where(minutes > 2 * usual, usual, minutes) / 60.0
        return hours

    @cached_property
    def unbroken(self) -> np.ndarray:
        """For each reading but the last, whether the next follows without a gap."""
        unbroken: np.ndarray = self.minutes <= 2 * self.log.interval_minutes
        return unbroken

    def in_force(self, starts: Sequence[dt.datetime], values: Sequence[float]) -> np.ndarray:
        """Return for each reading the last value set at or before it; NaN before the first."""
        return np.repeat([np.nan, *values], self._readings_by(starts))

    def asked_at_each(self, asked: Sequence[AskedAir]) -> np.ndarray:
        """Return for each reading the index of the air asked for then; -1 before the first."""
        return np.repeat(np.arange(-1, len(asked)), self._readings_by([item.at for item in asked]))

    def _readings_by(self, starts: Sequence[dt.datetime]) -> np.ndarray:
        """Return the number of readings before the first moment, and from each to the next."""
        firsts = np.searchsorted(self.seconds, [int(start.timestamp()) for start in starts])
        return np.diff(firsts, prepend=0, append=len(self.seconds))

    def stretches(self, holds: np.ndarray, least_hours: float = 0.0) -> list[Stretch]:
        """Return the runs of readings in which `holds` is true for at least this long.

        A gap in the log ends a run.
        """
        if not holds.any():
            return []
        joined = holds[1:] & holds[:-1] & self.unbroken
        firsts = np.flatnonzero(holds & ~np.concatenate([[False], joined]))
        lasts = np.flatnonzero(holds & ~np.concatenate([joined, [False]]))
        return self._lasting(firsts, lasts, least_hours)

    def flat_runs(self, values: np.ndarray, least_hours: float) -> list[Stretch]:
        """Return the runs in which a channel repeats one value for at least this long."""
        repeats = (values[1:] == values[:-1]) & self.unbroken
        # such a run contains a whole block of half its minimum length; most channels have none
        block = max(1, int(15.0 * least_hours / self.log.interval_minutes))
        whole = repeats[: len(repeats) // block * block].reshape(-1, block)
        if not whole.all(axis=1).any():
            return []
        lasts = np.flatnonzero(np.append(~repeats, True))
        return self._lasting(np.concatenate([[0], lasts[:-1] + 1]), lasts, least_hours)

    def _lasting(self, firsts: np.ndarray, lasts: np.ndarray, least_hours: float) -> list[Stretch]:
        hours = (self.seconds[lasts] - self.seconds[firsts]) / 3600.0
        long = hours >= least_hours
        return [
            Stretch(first, last, length)
            for first, last, length in zip(
                firsts[long].tolist(), lasts[long].tolist(), hours[long].tolist(), strict=True
            )
        ]

    def within(self, start: dt.datetime, end: dt.datetime) -> slice:
        """Return the slice of readings from one moment up to another."""
        first, last = np.searchsorted(self.times, [utc(start), utc(end)])
        return slice(int(first), int(last))


def utc(moment: dt.datetime) -> np.datetime64:
    """Return a datetime as a UTC datetime64."""
    return np.datetime64(int(moment.timestamp()), "s")


def datetimes_of(times: np.ndarray, zone: ZoneInfo) -> list[dt.datetime]:
    """Return UTC times as datetimes in a zone."""
    return [
        dt.datetime.fromtimestamp(second, zone)
        for second in times.astype("datetime64[s]").astype(np.int64).tolist()
    ]


def find_jumps(
    channel: str, times: np.ndarray, values: np.ndarray, kelvin: float, minutes: float
) -> list[Jump]:
    """Return the readings that jump by more than a limit within a given time, and back again.

    A change without return is a ramp or a change of unit, not a jump.
    """
    step = np.abs(values[1:] - values[:-1])
    if not (step > kelvin).any():
        return []
    quick = np.diff(times.astype("datetime64[s]").astype(float)) <= 60.0 * minutes
    back = np.concatenate([np.abs(values[2:] - values[:-2]) < kelvin / 2, [False]])
    rows = np.flatnonzero((step > kelvin) & quick & back[: len(step)])
    return [
        Jump(channel, row + 1, size)
        for row, size in zip(rows.tolist(), step[rows].tolist(), strict=True)
    ]


def jumps_of(log: Log, limits: LimitTable) -> tuple[Jump, ...]:
    """Return the readings of the bulbs that jump; see `find_jumps`."""
    dry, wet = _bulbs(log)
    kelvin, minutes = map(limits.value, AIR_LIMITS)
    return (
        *find_jumps("dry-bulb", log.times, dry, kelvin, minutes),
        *find_jumps("wet-bulb", log.times, wet, kelvin, minutes),
    )


def _bulbs(log: Log) -> tuple[np.ndarray, np.ndarray]:
    """Return dry and wet bulb as logged, the jumps among them [°C].

    The dry bulb is the control channel; if only the two sides of the load are logged, it is the
    hotter one, where the air enters.
    """
    channels = log.channels
    blank = np.full(len(log.times), np.nan)
    dry = channels.get("dry-bulb")
    if dry is None:
        sides = [
            channels[name] for name in ("dry-bulb-entering", "dry-bulb-leaving") if name in channels
        ]
        dry = np.fmax.reduce(sides) if sides else blank
    wet = channels.get("wet-bulb")
    if wet is None:
        wet = dry - channels["depression"] if "depression" in channels else blank
    return dry, wet


def air_series(log: Log, pressure_pa: float, jumps: tuple[Jump, ...]) -> AirSeries:
    """Return the air at every reading of a log but those that jump.

    RH comes from the bulbs if both are logged, else from the humidity channel, else from an EMC
    sensor. A wet bulb above the dry bulb gives no RH; a check reports it.
    """
    channels = log.channels
    dry, wet = _bulbs(log)
    dry, wet = _without(dry, jumps, "dry-bulb"), _without(wet, jumps, "wet-bulb")
    humidity = _humidity_of_bulbs(dry, wet, pressure_pa)
    if "relative-humidity" in channels:
        humidity = np.where(np.isnan(wet), channels["relative-humidity"], humidity)
    if "emc" in channels:
        humidity = np.where(np.isnan(humidity), _humidity_of_emc(dry, channels["emc"]), humidity)
    coldest, hottest = EMC_TEMP_RANGE_C
    valid = (humidity > 0.0) & (humidity <= 100.0) & (dry >= coldest) & (dry <= hottest)
    humidity = np.where(valid, humidity, np.nan)
    emc = np.full(len(dry), np.nan)
    emc[valid] = equilibrium_moisture_content(dry[valid], humidity[valid])
    return AirSeries(log, dry, wet, humidity, emc, jumps)


def _without(values: np.ndarray, jumps: Sequence[Jump], channel: str) -> np.ndarray:
    rows = [jump.row for jump in jumps if jump.channel == channel]
    if not rows:
        return values
    kept = values.copy()
    kept[rows] = np.nan
    return kept


def _humidity_of_bulbs(dry: np.ndarray, wet: np.ndarray, pressure_pa: float) -> np.ndarray:
    """Return RH from the bulbs without clipping impossible values, so that faults show."""
    humidity = np.full(len(dry), np.nan)
    both = np.isfinite(dry) & np.isfinite(wet) & (np.abs(dry) < 150) & (np.abs(wet) < 95)
    humidity[both] = (
        100.0
        * vapour_pressure_of_bulbs(dry[both], wet[both], pressure_pa)
        / saturation_pressure(dry[both])
    )
    return humidity


def _humidity_of_emc(dry: np.ndarray, emc: np.ndarray) -> np.ndarray:
    """Return RH from an EMC sensor; NaN if no air has that EMC."""
    coldest, hottest = EMC_TEMP_RANGE_C
    humidity = np.full(len(dry), np.nan)
    known = np.isfinite(emc) & (emc > 0.0) & (dry >= coldest) & (dry <= hottest)
    wettest = np.full(len(dry), np.nan)
    wettest[known] = equilibrium_moisture_content(dry[known], np.full(int(known.sum()), 100.0))
    known &= emc <= wettest
    humidity[known] = relative_humidity_for_emc(dry[known], emc[known])
    return humidity


class AirSummary(NamedTuple):
    """Mean air over the intervals of a log."""

    hours: float
    """The length of an interval [h]."""
    middles: np.ndarray
    """The middle of each, in UTC."""
    means: dict[str, list[float]]
    """The mean of each, by field of `AirSeries`."""


def summarize(air: AirSeries) -> AirSummary:
    """Return the mean air over intervals of a log.

    An interval is the smallest number of whole hours that gives at most `SUMMARY_POINTS`, counted
    from the first reading. An interval without readings is left out, so gaps remain visible.
    """
    seconds = (air.times - air.times[0]).astype(np.int64)
    hours = max(1, int(np.ceil(seconds[-1] / 3600.0 / SUMMARY_POINTS)))
    index = seconds // (3600 * hours)
    firsts = np.flatnonzero(np.concatenate([[True], np.diff(index) > 0]))
    columns = {
        "dry_bulb": air.dry_bulb,
        "wet_bulb": air.wet_bulb,
        "relative_humidity": air.relative_humidity,
        "emc": air.emc,
    }
    means = {name: _means(values, firsts).tolist() for name, values in columns.items()}
    middles = air.times[0] + (index[firsts] * 3600 * hours + 1800 * hours).astype("timedelta64[s]")
    return AirSummary(float(hours), middles, means)


def _means(values: np.ndarray, firsts: np.ndarray) -> np.ndarray:
    known = np.isfinite(values)
    counts = np.add.reduceat(known.astype(int), firsts)
    sums = np.add.reduceat(np.where(known, values, 0.0), firsts)
    return np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)
