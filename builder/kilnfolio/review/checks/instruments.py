"""Instruments and log: whether the record of the air is whole and can be believed."""
# The decorator of a check says what it asks and why; its page is made from that.
# ruff: noqa: D103

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from kilnfolio.records.kiln import Instrument
from kilnfolio.records.log import Log
from kilnfolio.records.problems import Place
from kilnfolio.review.air import SWITCHES, AirSeries, utc
from kilnfolio.review.findings import Case, Complaint, NotChecked, check

_GROUP = "instruments and log"
#: Mean length of a month of the Gregorian calendar [days].
_DAYS_A_MONTH = 365.2425 / 12


@check(
    "gap-in-log",
    title="Gaps in the log",
    group=_GROUP,
    gravity="query",
    limits=("gap-intervals", "gap-total"),
    source="common practice",
    reason="What the kiln did while nothing was written is not known, and is not guessed here.",
    held="The log has no gap beyond its declared stops.",
)
def gap_in_log(case: Case) -> Iterator[Complaint]:
    air = case.need_air()
    minutes = air.minutes
    longest = case.limits.value("gap-intervals") * air.log.interval_minutes
    total = 0.0
    for index in np.flatnonzero(minutes > longest):
        if _declared(case, air, int(index)):
            continue
        total += minutes[index] - air.log.interval_minutes
        yield Complaint(
            f"No readings {case.clock(air.times[index])}–{case.clock(air.times[index + 1])}.",
            (air.log.place(int(index)),),
            "log",
            float(minutes[index]),
            longest,
            "min",
        )
    allowed = case.limits.value("gap-total")
    if total / 60.0 > allowed:
        yield Complaint(
            f"{total / 60.0:.1f} h of the log are missing in all.",
            (air.log.place(0),),
            "log",
            total / 60.0,
            allowed,
            "h",
        )
    before, after = _uncovered(case, air)
    for hours, where in ((before, "begins"), (after, "ends")):
        if hours > allowed:
            yield Complaint(
                f"The log {where} {hours:.1f} h inside the charge.",
                (case.place("log"),),
                "log",
                hours,
                allowed,
                "h",
            )


def _uncovered(case: Case, air: AirSeries) -> tuple[float, float]:
    seconds = [
        (air.times[0] - utc(case.charge.started)).astype(np.int64),
        (utc(case.charge.ended) - air.times[-1]).astype(np.int64),
    ]
    return float(seconds[0]) / 3600.0, float(seconds[1]) / 3600.0


def _declared(case: Case, air: AirSeries, index: int) -> bool:
    """Return whether a declared stop overlaps the gap after a reading."""
    start, end = air.times[index], air.times[index + 1]
    return any(utc(stop.start) < end and utc(stop.end) > start for stop in case.charge.stops)


@check(
    "clock-repeats",
    title="Clock repeats or jumps back",
    group=_GROUP,
    gravity="query",
    source="common practice",
    reason="Rows out of order make every rate and run length doubtful.",
    held="The log's clock runs forward throughout.",
)
def clock_repeats(case: Case) -> Iterator[Complaint]:
    log = case.need_air().log
    rows = sum(count for reason, count in log.left_out.items() if "clock" in reason)
    if rows:
        yield Complaint(
            f"The clock repeats or runs back in {rows} rows; they are kept in the file "
            "and not used.",
            (_first_left_out(log),),
            "log",
            rows,
            0,
            "rows",
        )


def _first_left_out(log: Log) -> Place:
    """Return the place of the first row that was not used."""
    jumps = np.flatnonzero((np.diff(log.lines) > 1) & (np.diff(log.files) == 0))
    before = log.place(int(jumps[0]) if len(jumps) else -1)
    return Place(before.file, before.line + 1)


@check(
    "stuck-sensor",
    title="Sensor stuck",
    group=_GROUP,
    gravity="query",
    limits=("stuck-hours", "stuck-partner"),
    source="common practice",
    reason="A sensor that repeats one value while its partner moves is not measuring.",
    held="No sensor repeats one value while its partner moves.",
)
def stuck_sensor(case: Case) -> Iterator[Complaint]:
    air = case.need_air()
    channels = {name: values for name, values in air.log.channels.items() if name not in SWITCHES}
    hours, moves = case.limits.value("stuck-hours"), case.limits.value("stuck-partner")
    if len(channels) < 2:
        raise NotChecked("the log has one channel only, and a partner is needed to tell")
    for name, values in channels.items():
        for run in air.flat_runs(values, hours):
            span = slice(run.first, run.last + 1)
            moved = max(
                (_range(other[span]) for partner, other in channels.items() if partner != name),
                default=0.0,
            )
            if moved > moves:
                yield Complaint(
                    f"{name} stuck at {values[run.first]:.1f} since "
                    f"{case.clock(air.times[run.first])}"
                    f" for {run.hours:.1f} h.",
                    (air.log.place(run.first),),
                    name,
                    run.hours,
                    hours,
                    "h",
                )


def _range(values: np.ndarray) -> float:
    return float(np.nanmax(values) - np.nanmin(values)) if np.isfinite(values).any() else 0.0


@check(
    "spike",
    title="Sudden jump",
    group=_GROUP,
    gravity="note",
    limits=("spike-kelvin", "spike-minutes"),
    source="common practice",
    reason="Kiln air has mass; a jump in minutes is a loose wire or an open door.",
    held="No reading jumps.",
)
def spike(case: Case) -> Iterator[Complaint]:
    air = case.need_air()
    allowed, minutes = case.limits.value("spike-kelvin"), case.limits.value("spike-minutes")
    if air.minutes.min(initial=np.inf) > minutes:
        raise NotChecked(f"the log has no readings within {minutes:g} min of each other")
    for channel in dict.fromkeys(jump.channel for jump in air.jumps):
        jump, *more = [jump for jump in air.jumps if jump.channel == channel]
        others = f" and {len(more)} more" if more else ""
        yield Complaint(
            f"Sudden jump of {channel} at {case.clock(air.times[jump.row])}{others}; kept in the "
            "file, not used.",
            (air.log.place(jump.row),),
            jump.channel,
            jump.size,
            allowed,
            "K",
        )


@check(
    "dry-wick",
    title="Wick dry or dirty",
    group=_GROUP,
    gravity="query",
    limits=(
        "dry-wick-fall",
        "dry-wick-minutes",
        "dry-wick-steady",
        "dry-wick-hand",
        "dry-wick-hand-minutes",
    ),
    source="common practice; wick care in wengert-extension",
    reason="A dry wick reads warm: the kiln looks humid, the vents open, and the timber is dried "
    "harder than anyone intends.",
    held="The depression held steady under a steady dry bulb, and hand readings agree.",
)
def dry_wick(case: Case) -> Iterator[Complaint]:
    air = case.need_air()
    if not np.isfinite(air.wet_bulb).any():
        raise NotChecked("the log has no wet bulb")
    yield from _sudden_wick(case, air)
    yield from _drifting_wick(case, air)


def _sudden_wick(case: Case, air: AirSeries) -> Iterator[Complaint]:
    """Depression falls while the dry bulb stays, the spray is off and nothing was asked."""
    fall, minutes = case.limits.value("dry-wick-fall"), case.limits.value("dry-wick-minutes")
    steady = case.limits.value("dry-wick-steady")
    rows = max(1, round(minutes / air.log.interval_minutes))
    if len(air.times) <= rows:
        return
    # counted from the depression asked for, where it was larger: coming down to it is no fault
    asked = case.asked_depression
    from_asked = np.where(air.depression > asked, asked, air.depression)
    lost = from_asked[:-rows] - air.depression[rows:]
    still = np.abs(air.dry_bulb[rows:] - air.dry_bulb[:-rows]) <= steady
    fell = (lost > fall) & still
    if not fell.any():
        return
    spray = air.log.channels.get("spray")
    quiet = np.ones(len(lost), bool) if spray is None else ~(spray[rows:] > 0)
    index = case.asked_index
    unchanged = (index[rows:] == index[:-rows]) & (
        air.minutes_over(rows) <= minutes + air.log.interval_minutes
    )
    # a wet bulb above the dry one is another fault, with a check of its own
    possible = np.isfinite(air.relative_humidity[rows:])
    heated = _heated(case, air, steady)[:-rows]
    suspect = fell & quiet & unchanged & possible & heated
    for run in air.stretches(np.concatenate([np.zeros(rows, bool), suspect]))[:1]:
        by = float(lost[run.first - rows])
        yield Complaint(
            f"Wick may be dry or dirty: depression fell {by:.1f} K by "
            f"{case.clock(air.times[run.first])} under a steady dry bulb.",
            (air.log.place(run.first),),
            "wet-bulb",
            by,
            fall,
            "K",
        )


def _heated(case: Case, air: AirSeries, near_k: float) -> np.ndarray:
    """Return the readings from the first on that came near the dry bulb asked for.

    While a cold load is heated, its own water makes the air damp: the depression then shrinks by
    itself. A log that never comes near is judged from its beginning.
    """
    if not case.asked:
        return np.ones(len(air.times), bool)
    near = air.dry_bulb >= case.asked_dry_bulb - near_k
    reached: np.ndarray = np.logical_or.accumulate(near)
    return reached if reached[-1] else ~reached


def _drifting_wick(case: Case, air: AirSeries) -> Iterator[Complaint]:
    """Yield where the log's wet bulb sits above hand readings with a fresh wick, twice or more."""
    allowed = case.limits.value("dry-wick-hand")
    window = case.limits.value("dry-wick-hand-minutes")
    above = []
    moments = [reading.at.timestamp() for reading in case.charge.hand_readings]
    rows = np.searchsorted(air.seconds, moments).tolist()
    for number, reading in enumerate(case.charge.hand_readings):
        span = range(max(rows[number] - 1, 0), min(rows[number] + 1, len(air.times)))
        near = [row for row in span if abs(air.seconds[row] - moments[number]) <= 60 * window]
        logged = [value for value in air.depression[near].tolist() if not math.isnan(value)]
        if logged:
            by_hand = reading.dry_bulb.value - reading.wet_bulb.value
            above.append((number, reading, near[0], by_hand - sum(logged) / len(logged)))
    over = [item for item in above if item[3] > allowed]
    if len(over) >= 2:
        number, reading, index, _ = over[0]
        worst = max(item[3] for item in over)
        yield Complaint(
            f"Wick may be dry or dirty: the log's wet bulb reads up to {worst:.1f} K above "
            "the hand "
            f"readings from {case.clock(reading.at)} to {case.clock(over[-1][1].at)}.",
            (case.place("hand_readings", number), air.log.place(index)),
            "wet-bulb",
            worst,
            allowed,
            "K",
        )


@check(
    "calibration-due",
    title="Calibration in date",
    group=_GROUP,
    gravity="query",
    limits=("calibration-months",),
    source="common practice",
    reason="A record rests on its instruments; one never compared with anything proves little.",
    held="Every instrument used was in calibration.",
)
def calibration_due(case: Case) -> Iterator[Complaint]:
    months = case.limits.value("calibration-months")
    used = [i for i, instrument in enumerate(case.kiln.instruments) if _in_use(case, instrument)]
    if not used:
        raise NotChecked("the kiln's record lists no instruments")
    for index in used:
        yield from overdue(case, index, months)


def _in_use(case: Case, instrument: Instrument) -> bool:
    """Return whether a charge rests on an instrument; core probes have a check of their own."""
    return instrument.channel is None or bool(
        case.air
        and instrument.channel in case.air.log.channels
        and not instrument.channel.startswith("core-")
    )


def overdue(case: Case, index: int, months: float) -> Iterator[Complaint]:
    """Yield what is wrong with the calibration of one of the kiln's instruments."""
    instrument = case.kiln.instruments[index]
    day = case.charge.started.astimezone(case.zone).date()
    done = [c.on for c in instrument.calibrations if c.on <= day]
    place = (case.located_kiln.place("instruments", index),)
    if not done:
        yield Complaint(f"{instrument.id} has no calibration before {day}.", place, instrument.id)
        return
    age = (day - max(done)).days / _DAYS_A_MONTH
    if age > months:
        yield Complaint(
            f"{instrument.id} overdue: last calibrated {max(done)}.",
            place,
            instrument.id,
            age,
            months,
            "months",
        )


@check(
    "zone-spread",
    title="Entering and leaving air",
    group=_GROUP,
    gravity="query",
    limits=("zone-spread", "zone-spread-hours"),
    source="common practice",
    reason="A wide fall of temperature across the load, or between zones, dries one side ahead "
    "of the other.",
    held="The two sides of the load kept within reach of each other.",
)
def zone_spread(case: Case) -> Iterator[Complaint]:
    air = case.need_air()
    sides = [
        air.log.channels[name]
        for name in ("dry-bulb-entering", "dry-bulb-leaving")
        if name in air.log.channels
    ]
    if len(sides) < 2:
        raise NotChecked("the log has one dry bulb only")
    allowed, hours = case.limits.value("zone-spread"), case.limits.value("zone-spread-hours")
    spread = np.abs(sides[0] - sides[1])
    for run in air.stretches(spread > allowed, hours):
        worst = float(np.nanmax(spread[run.first : run.last + 1]))
        yield Complaint(
            f"Kiln heats unevenly: sides {worst:.1f} K apart from "
            f"{case.clock(air.times[run.first])} for {run.hours:.1f} h.",
            (air.log.place(run.first),),
            "dry-bulb",
            worst,
            allowed,
            "K",
        )
