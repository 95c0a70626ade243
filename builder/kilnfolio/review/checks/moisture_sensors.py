"""Moisture sensors in the kiln: whether pins and EMC sensors agree with boards, survey and bulbs."""
# The decorator of a check says what it asks and why; its page is made from that.
# ruff: noqa: D103

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from itertools import groupby

import numpy as np

from kilnfolio.physics.meters import RESISTANCE_RANGE_PCT
from kilnfolio.records.middle import median
from kilnfolio.records.problems import Place
from kilnfolio.review.air import AirSeries, utc
from kilnfolio.review.air_control import bulb_errors, emc_errors
from kilnfolio.review.checks.arithmetic import hand_air
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check
from kilnfolio.runtime.values import dataclass

_GROUP = "instruments and log"
_DRIEST, _WETTEST = RESISTANCE_RANGE_PCT


@dataclass(frozen=True)
class _Known:
    """What pins are compared with: the MCs of a round of boards, or of the pieces of the survey.

    `read_at` is the moment whose readings of the pins count.
    """

    what: str
    read_at: dt.datetime
    lowest_pct: float
    highest_pct: float
    survey: bool = False

    @property
    def readable(self) -> bool:
        """Whether pins can be read in timber like this."""
        return self.highest_pct <= _WETTEST and self.highest_pct >= _DRIEST


@dataclass(frozen=True)
class _Compared:
    """A pair of pins beside what it is compared with.

    `off_pct` is how far it lies outside the range of the others, with its sign; NaN where it
    showed nothing that can be used [points].
    """

    known: _Known
    place: Place
    shown_pct: float
    off_pct: float

    def apart(self, allowed: float) -> bool:
        """Return whether the pins lie further off than allowed, or show nothing."""
        return not abs(self.off_pct) <= allowed


@check(
    "pins-against-boards",
    title="Pins against boards and survey",
    group=_GROUP,
    severity="question",
    limits=("pins-apart", "pins-apart-rounds", "pins-apart-hours"),
    source="common practice; range of a resistance reading: wood-handbook, p. 13-3",
    reason="Pins work loose as the timber shrinks, and a wrong correction for temperature or "
    "species is worth points of MC. Boards and survey of the same load show it.",
    passes="Pins in the timber showed what the boards and the survey show.",
)
def pins_against_boards(case: Case) -> Results:
    names = [name for name in case.air.log.channels if name.startswith("pin-")] if case.air else []
    if not names:
        raise NotApplicable("the log holds no pins in the timber")
    air, value = case.need_air(), case.limits.value
    every = [*_rounds(case), *_survey(case)]
    if not every:
        raise NoData("neither a round of boards nor a survey is on record to compare the pins with")
    known = [one for one in every if one.readable]
    if not known:
        raise NotApplicable(
            f"pins read {_DRIEST:g} to {_WETTEST:g} % MC, and neither a round of boards nor a "
            "survey lies within that range"
        )
    compared, most = 0, 0.0
    for name in names:
        allowed = value("pins-apart") + _uncertainty(case, name)
        pairs = list(_pairs(air, name, known, value("pins-apart-hours"), allowed))
        compared += len(pairs)
        finite = [abs(one.off_pct) for one in pairs if np.isfinite(one.off_pct)]
        most = max([most, *finite])
        apart = _long_apart(pairs, allowed, round(value("pins-apart-rounds")))
        if apart:
            yield _pins_breach(name, apart, allowed)
    if not compared:
        raise NoData(
            f"the log holds nothing within {value('pins-apart-hours'):g} h of a round of boards "
            "or of the end of the charge"
        )
    yield Pass(
        f"Readings of pins were compared {compared} times with the range of the boards or of "
        f"the survey, and lay at most {most:.1f} points outside it."
    )


def _rounds(case: Case) -> Iterator[_Known]:
    """Yield each round of boards, weighed or read by a meter."""
    boards = {history.board.id for history in case.boards}
    metered = {tag for one in case.charge.mc_rounds for tag in one.mc}
    for control in case.controls:
        if set(control.all_mc) <= boards | metered:  # pins do not vouch for themselves
            yield _Known(
                f"the boards of {case.clock(control.at)}",
                control.at,
                control.driest_pct,
                control.wettest_pct,
            )


def _survey(case: Case) -> Iterator[_Known]:
    """Yield the final survey; it is compared with the last readings of the charge."""
    if case.survey is not None:
        readings = case.survey.readings
        yield _Known(
            "the final survey",
            case.charge.ended,
            float(readings.min()),
            float(readings.max()),
            survey=True,
        )


def _pairs(
    air: AirSeries, name: str, known: Sequence[_Known], hours: float, allowed: float
) -> Iterator[_Compared]:
    """Yield a pair of pins beside each thing it can be compared with.

    Where boards are near the ends of what pins can read, pins that show nothing are no fault.
    """
    values = air.log.channels[name]
    window = np.timedelta64(round(3600 * hours), "s")
    for one in known:
        moment = utc(one.read_at)
        first, last = np.searchsorted(air.times, [moment - window, moment + window + 1])
        if first == last:
            continue
        near = values[first:last]
        near = near[np.isfinite(near)]
        place = air.log.place(int(min(np.searchsorted(air.times, moment), last - 1)))
        if near.size:
            shown = median(near)
            off = min(0.0, shown - one.lowest_pct) + max(0.0, shown - one.highest_pct)
            yield _Compared(one, place, shown, off)
        elif one.lowest_pct - allowed >= _DRIEST and one.highest_pct + allowed <= _WETTEST:
            yield _Compared(one, place, np.nan, np.nan)


def _long_apart(pairs: Sequence[_Compared], allowed: float, rounds: int) -> list[_Compared]:
    """Return the first so many rounds in a row in which pins are off; the survey counts alone."""
    for off, run in groupby(pairs, key=lambda one: one.apart(allowed)):
        found = list(run)
        if off and (len(found) >= rounds or found[-1].known.survey):
            return found
    return []


def _pins_breach(name: str, apart: Sequence[_Compared], allowed: float) -> Breach:
    first, last = apart[0], apart[-1]
    when = first.known.what if first is last else f"{first.known.what} to {last.known.what}"
    clear = [one for one in apart if np.isfinite(one.off_pct)]
    if not clear:
        message = (
            f"{name} shows nothing between {_DRIEST:g} and {_WETTEST:g} % from {when}, which "
            f"{'is' if first is last else 'are'} at {last.known.lowest_pct:.1f} to "
            f"{last.known.highest_pct:.1f} %: look for a loose pin or a broken cable."
        )
        return Breach(message, (first.place,), name, at=first.known.read_at)
    worst = max(clear, key=lambda one: abs(one.off_pct))
    message = (
        f"{name} shows up to {abs(worst.off_pct):.1f} points "
        f"{'more than the wettest' if worst.off_pct > 0 else 'less than the driest'}, from {when}: "
        f"{worst.shown_pct:.1f} % against {worst.known.lowest_pct:.1f} to "
        f"{worst.known.highest_pct:.1f} %."
    )
    value = abs(worst.off_pct)
    return Breach(message, (first.place,), name, value, allowed, "points", at=first.known.read_at)


def _uncertainty(case: Case, channel: str) -> float:
    """Return the expanded uncertainty that a kiln's record gives a sensor [points]; else 0."""
    return next(
        (
            instrument.uncertainty_points or 0.0
            for instrument in case.kiln.instruments
            if instrument.channel == channel
        ),
        0.0,
    )


@check(
    "emc-sensor-against-bulbs",
    title="EMC sensor against the bulbs",
    group=_GROUP,
    severity="question",
    limits=("emc-sensor-apart", "emc-sensor-hours", "dry-wick-hand-minutes"),
    source="common practice",
    reason="A wafer lags behind the air for hours and drifts as it ages; where it steers the kiln, "
    "the timber gets the air of the error.",
    passes="The EMC sensor showed the EMC that the bulbs give.",
)
def emc_sensor_against_bulbs(case: Case) -> Results:
    if case.air is None or "emc" not in case.air.log.channels:
        raise NotApplicable("the log holds no EMC sensor")
    air = case.air
    sensor = air.log.channels["emc"]
    by_bulbs = np.where(np.isfinite(air.wet_bulb), air.emc, np.nan)
    if np.isfinite(sensor - by_bulbs).any():
        yield from _logged_bulbs(case, air, sensor - by_bulbs)
    else:
        yield from _hand_bulbs(case, air, sensor)


def _logged_bulbs(case: Case, air: AirSeries, apart: np.ndarray) -> Results:
    """Yield where the sensor and the logged bulbs part for longer than a wafer lags."""
    limit, hours = case.limits.value("emc-sensor-apart"), case.limits.value("emc-sensor-hours")
    of_bulbs = np.array(
        emc_errors(
            air.dry_bulb.tolist(), air.wet_bulb.tolist(), bulb_errors(case.kiln), case.pressure_pa
        ),
        float,
    )
    allowed = limit + np.hypot(np.nan_to_num(of_bulbs), _uncertainty(case, "emc"))
    runs = air.stretches(np.abs(apart) > allowed, hours)
    if runs:
        run, more = runs[0], len(runs) - 1
        span = slice(run.first, run.last + 1)
        row = run.first + int(np.argmax(np.abs(apart[span])))
        yield Breach(
            f"The EMC sensor shows up to {abs(apart[row]):.1f} points "
            f"{'more' if apart[row] > 0 else 'less'} than the bulbs from "
            f"{case.clock(air.times[run.first])} for {run.hours:.1f} h"
            + (f", and {more} times more" if more else "")
            + ": compare both with a fresh wick and a new wafer.",
            (air.log.place(run.first),),
            "emc",
            float(abs(apart[row])),
            float(allowed[row]),
            "points",
            at=air.times[run.first],
        )
    typical = median(np.abs(apart[np.isfinite(apart)]))
    yield Pass(
        f"The EMC sensor and the bulbs are {typical:.1f} points apart (median of all readings), "
        f"and never for {hours:g} h further apart than their errors and {limit:g} points."
    )


def _hand_bulbs(case: Case, air: AirSeries, sensor: np.ndarray) -> Results:
    """Yield where the sensor is off the bulbs read by hand, twice or more."""
    limit = case.limits.value("emc-sensor-apart") + _uncertainty(case, "emc")
    window = 60.0 * case.limits.value("dry-wick-hand-minutes")
    apart = []
    for number, reading in enumerate(case.charge.hand_readings):
        found = hand_air(case, reading)
        near = np.abs(air.seconds - reading.at.timestamp()) <= window
        near &= np.isfinite(sensor)
        if found and near.any():
            apart.append((number, reading.at, float(np.mean(sensor[near])) - found[1]))
    if not apart:
        raise NoData("no wet bulb is logged beside the EMC sensor, and none was read by hand")
    off = [one for one in apart if abs(one[2]) > limit]
    if len(off) >= 2:
        worst = max(off, key=lambda one: abs(one[2]))
        yield Breach(
            f"The EMC sensor shows up to {abs(worst[2]):.1f} points "
            f"{'more' if worst[2] > 0 else 'less'} than bulbs read by hand, from "
            f"{case.clock(off[0][1])} to {case.clock(off[-1][1])}.",
            (case.place("hand_readings", off[0][0]),),
            "emc",
            abs(worst[2]),
            limit,
            "points",
            at=off[0][1],
        )
    yield Pass(
        f"The EMC sensor was compared with bulbs read by hand {len(apart)} times, and "
        f"{len(off) or 'none'} of the comparisons differed by more than {limit:g} points."
    )
