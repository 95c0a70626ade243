"""Weather as air that wood comes to rest in: hourly from a file, or by month from a table."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from kilnfolio.physics import sorption
from kilnfolio.physics._types import Floats
from kilnfolio.physics.air import saturation_pressure

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

_COLDEST_C = -30.0


class WeatherError(ValueError):
    """A weather table cannot be read: the message names line, value and what to write."""


@dataclass(frozen=True)
class Weather:
    """A year of outdoor air, in equal blocks from the first of January.

    Attributes
    ----------
    temp_c, emc_pct : ndarray, shape (n,)
        Means of each block. [°C] [%]
    source : str
        ``hourly`` or ``monthly``: a mean of hourly EMC lies 0.8 to 1.7 points above the EMC of
        monthly means.
    """

    temp_c: Floats
    emc_pct: Floats
    source: str

    @property
    def block_h(self) -> float:
        """Length of a block [h]."""
        return YEAR_H / self.temp_c.size

    def from_month(self, month: int) -> Weather:
        """Return the same year begun on the first of a month, from 1."""
        shift = round(24 * sum(DAYS[: month - 1]) / self.block_h)
        return Weather(np.roll(self.temp_c, -shift), np.roll(self.emc_pct, -shift), self.source)

    def monthly_emc(self) -> Floats:
        """Return the mean EMC of each month, shape (12,) [%]."""
        edges = np.round(24 * np.cumsum((0, *DAYS)) / self.block_h).astype(int)
        return np.array([self.emc_pct[a:b].mean() for a, b in pairwise(edges)])

    def warmed(self, kelvin: float) -> Weather:
        """Return the air of a shed heated above the outdoors, its water vapour as outdoors."""
        humidity = np.asarray(sorption.relative_humidity_for_emc(self.temp_c, self.emc_pct))
        warm = self.temp_c + kelvin
        drier = humidity * saturation_pressure(self.temp_c) / saturation_pressure(warm)
        return Weather(
            warm,
            np.asarray(sorption.equilibrium_moisture_content(warm, np.minimum(drier, 100.0))),
            self.source,
        )


def hourly(lines: Iterable[str], name: str = "weather.csv") -> Weather:
    """Return a year of weather from a CSV of hourly temperature and humidity.

    Parameters
    ----------
    lines : iterable of str
        The file's lines, the first naming ``temp_c`` and ``relative_humidity_pct``; then 8760
        hours, or 8784 of a leap year, from the first of January. Other columns are left aside.
    name : str
        Its name, for messages.

    Raises
    ------
    WeatherError
        A heading is missing, a value is none or cannot be, or the hours are no year.
    """
    reader = csv.DictReader(lines)
    absent = {"temp_c", "relative_humidity_pct"} - set(reader.fieldnames or ())
    if absent:
        raise WeatherError(
            f"{name}:1: no column {' or '.join(sorted(absent))}; the first line "
            "must name temp_c and relative_humidity_pct"
        )
    values = []
    for number, row in enumerate(reader, start=2):
        try:
            temp, humidity = float(row["temp_c"]), float(row["relative_humidity_pct"])
        except (TypeError, ValueError):
            raise WeatherError(f"{name}:{number}: a number is missing; fill gaps before") from None
        if not (-60 <= temp <= 60 and 0 < humidity <= 100):
            raise WeatherError(
                f"{name}:{number}: {temp:g} °C at {humidity:g} % cannot be; "
                "temp_c is in °C, relative_humidity_pct in percent"
            )
        values.append((temp, humidity))
    if len(values) not in (8760, 8784):
        raise WeatherError(f"{name}: {len(values)} hours; a year has 8760 or 8784")
    temp, humidity = np.array(values[:8760]).T
    cold = np.maximum(temp, _COLDEST_C)
    emc = np.asarray(sorption.equilibrium_moisture_content(cold, humidity))
    blocks = int(BLOCK_H)
    return Weather(
        cold.reshape(-1, blocks).mean(axis=1), emc.reshape(-1, blocks).mean(axis=1), "hourly"
    )


def monthly(temp_c: Sequence[float], emc_pct: Sequence[float]) -> Weather:
    """Return a year of weather from twelve monthly means of temperature and EMC.

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
    return Weather(temp, emc, "monthly")
