"""Logger files, each in the format of its profile."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from kilnfolio.records.quantities import fahrenheit_from_celsius

#: Share of cells the logger lost, as by a loose contact or a late reply.
LOST_SHARE = 0.0006
#: Channels with a percentage or a switch, not a temperature.
SWITCHES = ("vent", "spray", "fan")


@dataclass(frozen=True)
class Sensor:
    """A column's instrument: bias and noise in the house unit, resolution in its own."""

    bias: float
    noise: float
    step: float


def in_column_unit(values: np.ndarray, channel: str, unit: str) -> np.ndarray:
    """Return values of a channel in the unit of its column."""
    if unit == "°F":
        return values * 1.8 if channel == "depression" else fahrenheit_from_celsius(values)
    return values / 100.0 if unit == "fraction" else values


def export(
    profile: dict[str, Any],
    started: dt.datetime,
    minutes: np.ndarray,
    channels: dict[str, np.ndarray],
    sensors: dict[str, Sensor],
    zone: ZoneInfo,
    chance: np.random.Generator,
    extra: dict[str, np.ndarray],
) -> bytes:
    """Return the bytes of an export.

    Parameters
    ----------
    profile : dict
        The logger profile's record.
    started : datetime
        Time of minute 0.
    minutes : ndarray of int
        Minute of each row, without rows the logger did not write.
    channels : dict of str to ndarray
        True values at the sensors. [°C, K, %, 0 or 1]
    sensors : dict of str to Sensor
        Their errors.
    zone : ZoneInfo
        The mill's zone, for a local clock.
    extra : dict of str to ndarray
        Columns that the profile ignores, by heading.
    """
    # sensors that few loads have draw apart, so that the rest of a charge is the same without them
    apart = chance.spawn(1)[0]
    columns = [_times(profile, started, minutes, zone)]
    headings, units = [profile["time"]["heading"]], [""]
    for column in profile["columns"]:
        channel, unit = column["channel"], column["unit"]
        drawn = apart if channel == "emc" or channel.startswith("pin-") else chance
        shown = _shown(channels[channel], channel, unit, sensors[channel], drawn)
        columns.append(_cells(shown, sensors[channel].step, profile, channel, drawn))
        headings.append(column["heading"])
        units.append(unit)
    for heading, values in extra.items():
        columns.append([f"{value:.0f}" for value in values])
        headings.append(heading)
        units.append("%")
    delimiter = "\t" if profile["delimiter"] == "tab" else profile["delimiter"]
    rows = [delimiter.join(headings)]
    if profile.get("heading_rows", 1) == 2:
        rows.append(delimiter.join(units))
    rows.extend(delimiter.join(cells) for cells in zip(*columns, strict=True))
    return ("\r\n".join(rows) + "\r\n").encode(profile.get("encoding", "utf-8"))


def _shown(
    values: np.ndarray, channel: str, unit: str, sensor: Sensor, chance: np.random.Generator
) -> np.ndarray:
    if channel in SWITCHES:
        return in_column_unit(values, channel, unit)
    felt = values + sensor.bias + sensor.noise * chance.standard_normal(len(values))
    if channel == "depression":
        felt = np.maximum(felt, 0.0)
    if channel == "relative-humidity":
        felt = np.clip(felt, 0.0, 100.0)
    return in_column_unit(felt, channel, unit)


def _cells(
    values: np.ndarray,
    step: float,
    profile: dict[str, Any],
    channel: str,
    chance: np.random.Generator,
) -> list[str]:
    decimals = max(0, -int(np.floor(np.log10(step) + 1e-9)))
    cells = [f"{value:.{decimals}f}" for value in np.round(values / step) * step + 0.0]
    if profile["decimal"] == ",":
        cells = [cell.replace(".", ",") for cell in cells]
    if channel not in SWITCHES and profile.get("missing"):
        for row in np.flatnonzero(chance.random(len(cells)) < LOST_SHARE):
            cells[row] = profile["missing"][0]
    return cells


def _times(
    profile: dict[str, Any], started: dt.datetime, minutes: np.ndarray, zone: ZoneInfo
) -> list[str]:
    clock = profile["time"]["clock"]
    begun = started.astimezone(dt.UTC)
    moments = (begun + dt.timedelta(minutes=int(minute)) for minute in minutes)
    if clock == "local":
        moments = (moment.astimezone(zone) for moment in moments)
    elif clock == "standard":
        winter = dt.timezone(dt.datetime(begun.year, 1, 1, tzinfo=zone).utcoffset())
        moments = (moment.astimezone(winter) for moment in moments)
    return [moment.strftime(profile["time"]["format"]) for moment in moments]
