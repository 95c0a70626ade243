"""Moisture sensors, with their corrections: EMC sensors, and pins left in the timber.

An EMC sensor is corrected by its offset in points. Pins measure electrical resistance, like a
meter: they are corrected for species and for the temperature of the wood, taken as the dry bulb,
unless the instrument has already done so.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np

from kilnfolio.physics.meters import RESISTANCE_RANGE_PCT, WOOD_TEMP_RANGE_C, reading_at_calibration
from kilnfolio.records.kiln import Instrument, Kiln
from kilnfolio.records.log import Log, as_datetime
from kilnfolio.records.species import Species
from kilnfolio.runtime.values import dataclass

#: The highest reading that is taken for one: more is a code of the logger's for a broken wire. [%]
_MOST_SHOWN_PCT = 200.0
#: Hours between readings of pins that count as rounds: one per shift.
_ROUND_HOURS = 8


@dataclass(frozen=True)
class SensorReading:
    """The last reading of a moisture sensor, corrected.

    Attributes
    ----------
    channel : str
        The log channel, as in ``pin-1`` or ``emc``.
    kind : str
        ``MC pins`` or ``EMC sensor``.
    at : datetime
        When it was logged.
    value_pct : float
        MC or EMC. [%]
    uncertainty_points : float or None
        Its expanded uncertainty; None if the kiln's record gives none. [points]
    """

    channel: str
    kind: str
    at: dt.datetime
    value_pct: float
    uncertainty_points: float | None


def has_moisture_sensors(kiln: Kiln) -> bool:
    """Return whether a kiln has an EMC sensor or pins connected to its log."""
    return any(_moisture_sensors(kiln))


def _moisture_sensors(kiln: Kiln) -> Iterator[tuple[Instrument, str]]:
    """Yield the EMC sensors and pins of a kiln, each with its log channel."""
    for instrument in kiln.instruments:
        if instrument.kind in ("MC pins", "EMC sensor") and instrument.channel:
            yield instrument, instrument.channel


def last_readings(log: Log, kiln: Kiln, zone: ZoneInfo) -> Iterator[SensorReading]:
    """Yield the last usable reading of each moisture sensor.

    Parameters
    ----------
    log : Log
        Corrected, as `corrected_log` returns it.
    kiln : Kiln
        Its instruments name the channels they feed.
    zone : ZoneInfo
        The mill's zone.
    """
    for instrument, channel in _moisture_sensors(kiln):
        values = log.channels.get(channel)
        if values is None:
            continue
        known = np.flatnonzero(np.isfinite(values))
        if known.size:
            row = int(known[-1])
            yield SensorReading(
                channel,
                instrument.kind,
                as_datetime(log.times[row], zone),
                float(values[row]),
                instrument.uncertainty_points,
            )


def corrected_log(log: Log, kiln: Kiln, species: Species) -> Log:
    """Return a log with the readings of moisture sensors corrected by the kiln's record.

    Parameters
    ----------
    log : Log
        As the logger wrote it.
    kiln : Kiln
        Its instruments name the channels they feed.
    species : Species
        The timber that pins are in.

    Returns
    -------
    Log
        The same log if the kiln has no such instrument.
    """
    changed = {}
    for instrument, channel in _moisture_sensors(kiln):
        values = log.channels.get(channel)
        if values is None:
            continue
        if instrument.kind == "MC pins":
            changed[channel] = _pins(instrument, values, log, species)
        elif instrument.offset is not None:
            changed[channel] = values + instrument.offset
    return replace(log, channels=log.channels | changed) if changed else log


def _pins(instrument: Instrument, shown: np.ndarray, log: Log, species: Species) -> np.ndarray:
    """Return the corrected readings of a pair of pins [%]; NaN outside their range.

    Notes
    -----
    Outside 6 to 30 % MC a resistance reading says only that it is dry or wet (Wood Handbook 2010,
    p. 13-3); such a reading is not used. The range is one of MC, so the corrected reading decides:
    pins in hot timber may show more than 30 % in timber below it.
    """
    values = shown + (instrument.offset or 0.0)
    if instrument.calibration_temperature and "temperature" not in instrument.corrected_for:
        wood = log.channels.get("dry-bulb", np.full(len(values), np.nan))
        coldest, hottest = WOOD_TEMP_RANGE_C
        usable = (values >= 0.0) & (values <= _MOST_SHOWN_PCT)
        usable &= (wood >= coldest) & (wood <= hottest)
        corrected = np.full(len(values), np.nan)
        corrected[usable] = reading_at_calibration(
            values[usable], wood[usable], instrument.calibration_temperature.value
        )
        values = corrected
    if species.meter_correction and "species" not in instrument.corrected_for:
        values = species.meter_correction.slope * values + species.meter_correction.offset
    low, high = RESISTANCE_RANGE_PCT
    return np.where((values >= low) & (values <= high), values, np.nan)


def pin_rounds(log: Log | None, zone: ZoneInfo) -> dict[dt.datetime, dict[str, float]]:
    """Return the MC from pins every eight hours, by time and channel [%].

    Parameters
    ----------
    log : Log, optional
        Corrected, as `corrected_log` returns it.
    zone : ZoneInfo
        The mill's zone.
    """
    names = [name for name in log.channels if name.startswith("pin-")] if log else []
    if log is None or not names or not len(log.times):
        return {}
    hours = (log.times - log.times[0]).astype("timedelta64[s]").astype(float) / 3600.0
    rounds: dict[dt.datetime, dict[str, float]] = {}
    for number in range(int(hours[-1] // _ROUND_HOURS) + 1):
        row = int(np.searchsorted(hours, number * _ROUND_HOURS))
        values = {name: float(log.channels[name][row]) for name in names}
        if known := {name: mc for name, mc in values.items() if np.isfinite(mc)}:
            rounds[as_datetime(log.times[row], zone)] = known
    return rounds
