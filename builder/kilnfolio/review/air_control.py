"""How the air was kept: wick index, overshoot, running hours, and uncertainty of the sensors."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from kilnfolio.physics.sorption import emc_uncertainty
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.setpoints import AskedAir
from kilnfolio.review.air import AirSeries
from kilnfolio.runtime.values import dataclass

#: Length of the stretches from which a wick's drift is determined: a day, over which fans reverse
#: many times and the kiln's own oscillation averages out [h].
WICK_STRETCH_H = 24.0
#: A shorter remainder of a set-point's time gives no reliable slope [h].
WICK_LEAST_H = 12.0
#: Fewest readings in a stretch for a slope and the scatter about it.
_LEAST_READINGS = 12


def settled(air: AirSeries, asked: Sequence[AskedAir], hours: float) -> np.ndarray:
    """Return a mask of readings at least this long after the last change of set-point."""
    changed = air.in_force([item.at for item in asked], [item.at.timestamp() for item in asked])
    late: np.ndarray = air.seconds - changed >= 3600.0 * hours
    return late


def falling(air: AirSeries, asked: np.ndarray, hours: float) -> np.ndarray:
    """Return a mask of readings soon after the set-point fell, while the kiln comes down."""
    soon = np.zeros(len(asked), bool)
    for drop in np.flatnonzero(asked[1:] < asked[:-1]).tolist():
        end = air.seconds[drop + 1] + 3600.0 * hours
        soon[drop + 1 : int(np.searchsorted(air.seconds, end))] = True
    return soon


def overshoot(
    air: AirSeries, asked: Sequence[AskedAir], settling_hours: float
) -> tuple[float, float] | None:
    """Return how far dry bulb and depression exceeded the set-point, integrated over time [K h].

    The time that the kiln needs to come down to a lower set-point is left out. None if nothing was
    asked.
    """
    if not asked:
        return None
    hours, starts, sums = air.hours, [item.at for item in asked], []
    for found, wanted in (
        (air.dry_bulb, [item.air.dry_bulb_c for item in asked]),
        (air.depression, [item.air.depression_k for item in asked]),
    ):
        target = air.in_force(starts, wanted)
        over = np.where(falling(air, target, settling_hours), 0.0, found - target)
        sums.append(float(np.sum(np.fmax(np.nan_to_num(over), 0.0) * hours)))
    return sums[0], sums[1]


class RunningHours:
    """Hours of running up to any moment, from the fan channel of the log."""

    def __init__(self, air: AirSeries | None):
        fan = air.log.channels.get("fan") if air is not None else None
        self._times = air.times if air is not None and fan is not None and len(fan) else None
        if air is None or self._times is None or fan is None:
            return
        on = fan > 0
        self._sum = np.concatenate([[0.0], np.cumsum(np.where(on, air.hours, 0.0))])
        self._seconds = self._times.astype(np.int64).astype(float)
        self._slack = 120.0 * air.log.interval_minutes

    @property
    def total(self) -> float | None:
        """Running hours in the whole log [h]."""
        return None if self._times is None else float(self._sum[-1])

    def until(self, moments: Sequence[dt.datetime]) -> np.ndarray:
        """Return the hours the fans had run by each moment [h].

        NaN if the log has no fan channel, or does not cover the moment.
        """
        if self._times is None:
            return np.full(len(moments), np.nan)
        seconds = np.array([moment.timestamp() for moment in moments])
        covered = (seconds >= self._seconds[0] - self._slack) & (
            seconds <= self._seconds[-1] + self._slack
        )
        return np.where(covered, np.interp(seconds, self._seconds, self._sum[:-1]), np.nan)


@dataclass(frozen=True)
class Wick:
    """Drift and scatter of the depression at constant set-points, in K, h and K a day."""

    hours: float
    drift_k_per_day: float
    worst_drift_k_per_day: float
    worst_from: np.datetime64
    noise_k: float


def wick_index(air: AirSeries, asked: Sequence[AskedAir], settling_hours: float) -> Wick | None:
    """Return how the depression behaved at constant set-points.

    The settled time of each set-point is divided into stretches of about a day, and a straight line
    is fitted to each by least squares. With a wick that crusts or runs dry, the depression shrinks
    at a constant set-point; with a loose one it scatters. Only readings with the fans on and the
    spray off count: still air and steam affect the wet bulb even of a good wick.

    Returns
    -------
    Wick or None
        None if no stretch is long enough.
    """
    good = settled(air, asked, settling_hours) & np.isfinite(air.depression)
    for name, wanted in (("fan", True), ("spray", False)):
        switch = air.log.channels.get(name)
        if switch is not None:
            good &= (switch > 0) == wanted
    rows = np.flatnonzero(good)
    if not len(rows):
        return None
    index = air.asked_at_each(asked)
    hours = (air.times - air.times[0]).astype(np.int64) / 3600.0
    found = [
        (
            hours[part[-1]] - hours[part[0]],
            *_line(hours[part], air.depression[part]),
            air.times[part[0]],
        )
        for own in np.split(rows, np.flatnonzero(np.diff(index[rows])) + 1)
        for part in _stretches(own, hours)
    ]
    if not found:
        return None
    lengths, slopes, noises = (np.array([item[n] for item in found], float) for n in range(3))
    worst = int(np.argmin(slopes))
    return Wick(
        float(lengths.sum()),
        float(np.average(slopes, weights=lengths)),
        float(slopes[worst]),
        found[worst][3],
        float(np.sqrt(np.average(noises**2, weights=lengths))),
    )


def _stretches(rows: np.ndarray, hours: np.ndarray) -> list[np.ndarray]:
    """Return a set-point's readings in stretches of a day, or as one stretch if they are fewer."""
    at = hours[rows]
    count = max(1, int((at[-1] - at[0]) // WICK_STRETCH_H))
    edges = np.searchsorted(at, np.linspace(at[0], at[-1], count + 1)[1:-1])
    return [
        part
        for part in np.split(rows, edges)
        if len(part) >= _LEAST_READINGS and hours[part[-1]] - hours[part[0]] >= WICK_LEAST_H
    ]


def _line(hours: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """Return the slope of the least-squares line [a day] and the scatter about it."""
    x, y = hours - hours.mean(), values - values.mean()
    slope = float(x @ y / (x @ x))
    noise = float(np.sqrt(np.mean((y - slope * x) ** 2)))
    return 24.0 * slope, noise


def zone_spread(air: AirSeries) -> tuple[float, float] | None:
    """Return the difference between entering and leaving air: median and 95th percentile [K]."""
    sides = [air.log.channels.get(f"dry-bulb-{side}") for side in ("entering", "leaving")]
    if sides[0] is None or sides[1] is None:
        return None
    apart = np.abs(sides[0] - sides[1])
    apart = apart[np.isfinite(apart)]
    if not len(apart):
        return None
    middle, most = np.percentile(apart, [50.0, 95.0])
    return float(middle), float(most)


def bulb_errors(kiln: Kiln) -> tuple[float, float] | None:
    """Return the expanded uncertainties of dry and wet bulb from the kiln's record [K].

    If a kiln logs only the two sides of its load, the larger of their uncertainties is used. None
    if the record does not say.
    """
    errors = {
        instrument.channel: instrument.uncertainty.value
        for instrument in kiln.instruments
        if instrument.channel and instrument.uncertainty
    }
    sides = [errors[name] for name in ("dry-bulb-entering", "dry-bulb-leaving") if name in errors]
    dry = errors.get("dry-bulb", max(sides, default=None))
    wet = errors.get("wet-bulb")
    return None if dry is None or wet is None else (dry, wet)


def emc_errors(
    dry_c: Sequence[float | None],
    wet_c: Sequence[float | None],
    errors: tuple[float, float] | None,
    pressure_pa: float,
) -> list[float | None]:
    """Return the uncertainty of each EMC due to that of the bulbs [points]; None if not known."""
    dry, wet = np.array(dry_c, float), np.array(wet_c, float)
    if errors is None or not len(dry):
        return [None] * len(dry)
    usable = np.isfinite(dry) & np.isfinite(wet) & (wet <= dry)
    found = np.full(len(dry), np.nan)
    if usable.any():
        try:
            found[usable] = emc_uncertainty(dry[usable], wet[usable], *errors, pressure_pa)
        except ValueError:  # impossible bulb readings, which checks report
            return [None] * len(dry)
    return [None if np.isnan(value) else float(value) for value in found]
