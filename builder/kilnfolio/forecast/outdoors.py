"""Outdoor air, from a year of hourly weather or from twelve monthly means."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from kilnfolio.physics import sorption
from kilnfolio.physics._types import Floats
from kilnfolio.physics.air import saturation_pressure
from kilnfolio.records.weather import WeatherTable
from kilnfolio.runtime.values import dataclass

BLOCK_H = 4.0
"""Hourly weather is averaged over this time. [h]"""

YEAR_H = 8760.0
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)

SOURCES = {
    "hourly": "EMC hour by hour, its mean 0.8 to 1.7 points above the EMC of monthly means",
    "hours by month": "EMC hour by hour, averaged by month",
    "monthly": "EMC of monthly means, 0.8 to 1.7 points below the mean of hourly EMC",
    "steady": "steady air",
}
"""How weather was averaged; printed with an estimate."""

_COLDEST_C = -30.0


@dataclass(frozen=True)
class Weather:
    """A year of air, in equal blocks starting on the first of January.

    Attributes
    ----------
    temp_c, emc_pct : ndarray, shape (n,)
        Means of each block. [°C] [%]
    source : str
        A key of `SOURCES`.
    """

    temp_c: Floats
    emc_pct: Floats
    source: str

    @property
    def block_h(self) -> float:
        """Length of a block [h]."""
        return YEAR_H / self.temp_c.size

    def from_month(self, month: int) -> Weather:
        """Return the same year starting on the first of a month (1 to 12)."""
        if self.source == "steady":
            return self
        shift = round(24 * sum(DAYS[: month - 1]) / self.block_h)
        return Weather(np.roll(self.temp_c, -shift), np.roll(self.emc_pct, -shift), self.source)

    def by_day(self) -> Weather:
        """Return the same year as daily means."""
        days = int(YEAR_H / 24)
        if self.temp_c.size == days:
            return self
        temp, emc = (
            series.reshape(days, -1).mean(axis=1) for series in (self.temp_c, self.emc_pct)
        )
        return Weather(temp, emc, self.source)

    def monthly_emc(self) -> Floats:
        """Return the mean EMC of each month, shape (12,) [%]."""
        edges = np.round(24 * np.cumsum((0, *DAYS)) / self.block_h).astype(int)
        return np.array([self.emc_pct[a:b].mean() for a, b in pairwise(edges)])

    def warmed(self, kelvin: float) -> Weather:
        """Return the air of a shed warmer than outdoors by `kelvin`, with the same water vapour."""
        humidity = np.asarray(sorption.relative_humidity_for_emc(self.temp_c, self.emc_pct))
        warm = self.temp_c + kelvin
        drier = humidity * saturation_pressure(self.temp_c) / saturation_pressure(warm)
        return Weather(
            warm,
            np.asarray(sorption.equilibrium_moisture_content(warm, np.minimum(drier, 100.0))),
            self.source,
        )


def of_table(table: WeatherTable) -> Weather:
    """Return a mill's table of weather as a year of air."""
    temp = np.maximum(np.array(table.temp_c), _COLDEST_C)
    humidity = np.array(table.relative_humidity_pct)
    emc = np.asarray(sorption.equilibrium_moisture_content(temp, humidity))
    if not table.hourly:
        return monthly(temp.tolist(), emc.tolist())
    blocks = int(BLOCK_H)
    return Weather(
        temp.reshape(-1, blocks).mean(axis=1), emc.reshape(-1, blocks).mean(axis=1), "hourly"
    )


def monthly(temp_c: Sequence[float], emc_pct: Sequence[float], source: str = "monthly") -> Weather:
    """Return a year of weather from twelve monthly means of temperature and EMC.

    Parameters
    ----------
    temp_c, emc_pct : sequence of float, 12 each
        January first. [°C] [%]
    source : str, default "monthly"
        How they were averaged: a key of `SOURCES`.

    Raises
    ------
    ValueError
        If there are not twelve of each.
    """
    if len(temp_c) != 12 or len(emc_pct) != 12:
        raise ValueError(
            f"temp_c and emc_pct must hold 12 months; received {len(temp_c)} and {len(emc_pct)}"
        )
    middles = 24 * (np.cumsum((0, *DAYS[:-1])) + np.array(DAYS) / 2)
    at = np.arange(BLOCK_H / 2, YEAR_H, BLOCK_H)
    temp, emc = (np.interp(at, middles, values, period=YEAR_H) for values in (temp_c, emc_pct))
    return Weather(temp, emc, source)


def steady(temp_c: float, relative_humidity_pct: float) -> Weather:
    """Return a year of constant temperature and humidity, as in a climate-controlled store."""
    emc = float(sorption.equilibrium_moisture_content(temp_c, relative_humidity_pct))
    days = int(YEAR_H / 24)
    return Weather(np.full(days, float(temp_c)), np.full(days, emc), "steady")
