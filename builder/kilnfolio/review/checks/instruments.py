"""Instruments and log: whether the record of the air is complete and credible."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

import datetime as dt
import math
from itertools import pairwise

import numpy as np

from kilnfolio.records.charge import HandReading
from kilnfolio.records.kiln import Instrument
from kilnfolio.records.log import Log
from kilnfolio.records.middle import median
from kilnfolio.records.problems import Place
from kilnfolio.review.air import SWITCHES, AirSeries, Stretch, utc
from kilnfolio.review.air_control import settled
from kilnfolio.review.drops import LOAD_DROP_LIMITS, load_drop
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check
from kilnfolio.review.measures import measure

_GROUP = "instruments and log"
#: Mean length of a month in the Gregorian calendar [days].
_DAYS_A_MONTH = 365.2425 / 12


@check(
    "gap-in-log",
    title="Gaps in the log",
    group=_GROUP,
    severity="question",
    limits=("gap-intervals", "gap-total"),
    source="common practice",
    reason="Nobody knows what the kiln did while nothing was logged, and it is not guessed here.",
    passes="The log has no gap beyond its declared stops.",
)
def gap_in_log(case: Case) -> Results:
    air = case.need_air()
    minutes = air.minutes
    longest = case.limits.value("gap-intervals") * air.log.interval_minutes
    total = 0.0
    for index in np.flatnonzero(minutes > longest):
        if _declared(case, air, int(index)):
            continue
        total += minutes[index] - air.log.interval_minutes
        yield Breach(
            f"No readings {case.clock(air.times[index])}–{case.clock(air.times[index + 1])}.",
            (air.log.place(int(index)),),
            "log",
            float(minutes[index]),
            longest,
            "min",
            at=air.times[index],
        )
    allowed = case.limits.value("gap-total")
    if total / 60.0 > allowed:
        yield Breach(
            f"{total / 60.0:.1f} h of the log are missing in all.",
            (air.log.place(0),),
            "log",
            total / 60.0,
            allowed,
            "h",
        )
    before, after = _uncovered(case)
    for hours, where in ((before, "begins"), (after, "ends")):
        if hours > allowed:
            yield Breach(
                f"The log {where} {hours:.1f} h inside the charge.",
                (case.place("log"),),
                "log",
                hours,
                allowed,
                "h",
                at=air.times[0 if where == "begins" else -1],
            )
    yield Pass(
        f"Between declared stops no two readings are more than {longest:.0f} min apart, and "
        f"the log covers the charge to within {allowed:g} h."
    )


@measure
def _uncovered(case: Case) -> tuple[float, float]:
    """Return how long before the log the charge began, and how long after it ended [h]."""
    air = case.need_air()
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
    severity="question",
    source="common practice",
    reason="Rows out of order make every rate and run length doubtful.",
    passes="The log's clock runs forward throughout.",
)
def clock_repeats(case: Case) -> Results:
    log = case.need_air().log
    rows = sum(count for reason, count in log.left_out.items() if "clock" in reason)
    if rows:
        yield Breach(
            f"The clock repeats or runs back in {rows} rows; they are kept in the file "
            "and not used.",
            (_first_left_out(log),),
            "log",
            rows,
            0,
            "rows",
        )
    yield Pass(f"The log's clock runs forward through {log.rows} rows.")


def _first_left_out(log: Log) -> Place:
    """Return the place of the first row that was not used."""
    jumps = np.flatnonzero((np.diff(log.lines) > 1) & (np.diff(log.files) == 0))
    before = log.place(int(jumps[0]) if len(jumps) else -1)
    return Place(before.file, before.line + 1)


@check(
    "stuck-sensor",
    title="Sensor stuck",
    group=_GROUP,
    severity="question",
    limits=("stuck-hours", "stuck-partner"),
    source="common practice",
    reason="A sensor that repeats one value while its partner moves is not measuring.",
    passes="No sensor repeats one value while its partner moves.",
)
def stuck_sensor(case: Case) -> Results:
    air = case.need_air()
    channels = {name: values for name, values in air.log.channels.items() if name not in SWITCHES}
    hours, moves = case.limits.value("stuck-hours"), case.limits.value("stuck-partner")
    if len(channels) < 2:
        raise NotApplicable("the log has only one channel, and nothing to compare it with")
    for name, values in channels.items():
        for run in _flat_runs(case, name, hours):
            span = slice(run.first, run.last + 1)
            moved = max(
                (_range(other[span]) for partner, other in channels.items() if partner != name),
                default=0.0,
            )
            if moved > moves:
                yield Breach(
                    f"{name} stuck at {values[run.first]:.1f} since "
                    f"{case.clock(air.times[run.first])}"
                    f" for {run.hours:.1f} h.",
                    (air.log.place(run.first),),
                    name,
                    run.hours,
                    hours,
                    "h",
                    at=air.times[run.first],
                )
    yield Pass(
        f"None of {len(channels)} channels repeated one value for {hours:g} h while another "
        f"moved by more than {moves:g}."
    )


@measure
def _flat_runs(case: Case, channel: str, hours: float) -> list[Stretch]:
    air = case.need_air()
    return air.flat_runs(air.log.channels[channel], hours)


def _range(values: np.ndarray) -> float:
    return float(np.nanmax(values) - np.nanmin(values)) if np.isfinite(values).any() else 0.0


@check(
    "spike",
    title="Sudden jump",
    group=_GROUP,
    severity="note",
    limits=("spike-kelvin", "spike-minutes"),
    source="common practice",
    reason="Kiln air cannot change that fast: a jump within minutes is a loose wire or an open "
    "door.",
    passes="No reading jumps.",
)
def spike(case: Case) -> Results:
    air = case.need_air()
    allowed, minutes = case.limits.value("spike-kelvin"), case.limits.value("spike-minutes")
    if air.minutes.min(initial=np.inf) > minutes:
        raise NotApplicable(f"the log has no readings within {minutes:g} min of each other")
    for channel in dict.fromkeys(jump.channel for jump in air.jumps):
        jump, *more = [jump for jump in air.jumps if jump.channel == channel]
        others = f" and {len(more)} more" if more else ""
        yield Breach(
            f"Sudden jump of {channel} at {case.clock(air.times[jump.row])}{others}; kept in the "
            "file, not used.",
            (air.log.place(jump.row),),
            jump.channel,
            jump.size,
            allowed,
            "K",
            at=air.times[jump.row],
        )
    yield Pass(f"No reading of a bulb jumps by more than {allowed:g} K and back.")


@check(
    "dry-wick",
    title="Wick dry or dirty",
    group=_GROUP,
    severity="question",
    limits=(
        "settling-hours",
        "dry-wick-share",
        "dry-wick-days",
        "dry-wick-fall",
        "dry-wick-minutes",
        "dry-wick-steady",
        "dry-wick-hand",
        "dry-wick-hand-minutes",
    ),
    source="common practice; wick care in wengert-extension",
    reason="A dry wick reads warm: the kiln looks humid, the vents open, and the timber is dried "
    "harder than anyone intends.",
    passes="The depression held steady under a steady dry bulb, and hand readings agree.",
)
def dry_wick(case: Case) -> Results:
    air = case.need_air()
    if not _has_wet_bulb(case):
        raise NoData("the log has no wet bulb")
    value = case.limits.value
    fall, minutes = value("dry-wick-fall"), value("dry-wick-minutes")
    if sudden := _sudden_wick(case, fall, minutes, value("dry-wick-steady")):
        yield sudden
    share, days = value("dry-wick-share"), round(value("dry-wick-days"))
    if sinking := _drying_wick(case, share, days, value("settling-hours")):
        yield sinking
    yield from _drifting_wick(case, air)
    hands = len(case.charge.hand_readings)
    yield Pass(
        "The depression neither fell at once nor sank from day to day under a steady "
        "set-point"
        + (
            f", and {hands} hand readings were compared with the log."
            if hands
            else "; no reading was taken by hand."
        )
    )


@measure
def _has_wet_bulb(case: Case) -> bool:
    return bool(np.isfinite(case.need_air().wet_bulb).any())


@measure
def _sudden_wick(case: Case, fall: float, minutes: float, steady: float) -> Breach | None:
    """Return where the depression falls at a constant dry bulb, without spray or a new set-point.

    Parameters
    ----------
    case : Case
        The charge.
    fall : float
        How far it falls. [K]
    minutes : float
        Within which time. [min]
    steady : float
        How far the dry bulb moves meanwhile. [K]
    """
    air = case.need_air()
    rows = max(1, round(minutes / air.log.interval_minutes))
    if len(air.times) <= rows:
        return None
    lost, moved = _wick_changes(case, rows)
    fell = (lost > fall) & (moved <= steady)
    if not fell.any():
        return None
    spray = air.log.channels.get("spray")
    quiet = np.ones(len(lost), bool) if spray is None else ~(spray[rows:] > 0)
    index = case.asked_index
    unchanged = (index[rows:] == index[:-rows]) & (
        air.minutes_over(rows) <= minutes + air.log.interval_minutes
    )
    # a wet bulb above the dry bulb is another fault, with its own check
    possible = np.isfinite(air.relative_humidity[rows:])
    heated = _heated(case, air, steady)[:-rows]
    suspect = fell & quiet & unchanged & possible & heated
    for run in air.stretches(np.concatenate([np.zeros(rows, bool), suspect]))[:1]:
        by = float(lost[run.first - rows])
        return Breach(
            f"Wick may be dry or dirty: depression fell {by:.1f} K by "
            f"{case.clock(air.times[run.first])} under a steady dry bulb.",
            (air.log.place(run.first),),
            "wet-bulb",
            by,
            fall,
            "K",
            at=air.times[run.first],
        )
    return None


@measure
def _wick_changes(case: Case, rows: int) -> tuple[np.ndarray, np.ndarray]:
    """Return how much depression is lost, and how far the dry bulb moves, over some readings."""
    air = case.need_air()
    # counted from the depression asked for, if that is smaller: coming down to it is no fault
    asked = case.asked_depression
    from_asked = np.where(air.depression > asked, asked, air.depression)
    lost = from_asked[:-rows] - air.depression[rows:]
    return lost, np.abs(air.dry_bulb[rows:] - air.dry_bulb[:-rows])


@measure
def _drying_wick(case: Case, share: float, days: int, settling_h: float) -> Breach | None:
    """Return where the depression falls from day to day at a constant set-point.

    In the air of wet oak a wick dries out over days.

    Parameters
    ----------
    case : Case
        The charge.
    share : float
        To which share of the depression asked for it falls. [%]
    days : int
        How many days in a row.
    settling_h : float
        How long a new set-point settles. [h]
    """
    air, by_step = case.need_air(), _daily_depressions(case, settling_h)
    for item, middles in zip(case.asked, by_step, strict=True):
        low = share / 100.0 * item.air.depression_k
        for index in range(days, len(middles)):
            run = [middle for middle, _ in middles[index - days : index + 1]]
            if run[-1] < low and all(later < earlier for earlier, later in pairwise(run)):
                row = middles[index][1]
                return Breach(
                    f"Wick may be dry or dirty: the depression sank from {run[0]:.1f} to "
                    f"{run[-1]:.1f} K in {days + 1} days to {case.clock(air.times[row])}, where "
                    f"step {item.label} asks {item.air.depression_k:.1f} K.",
                    (air.log.place(row),),
                    "wet-bulb",
                    run[-1],
                    low,
                    "K",
                    at=air.times[row],
                )
    return None


@measure
def _daily_depressions(case: Case, settling_h: float) -> list[list[tuple[float, int]]]:
    """Return for each set-point the median depression of each of its days, with a first reading.

    Only settled readings count, with the fans on and the spray off; a day has at least six.
    """
    air = case.need_air()
    if not case.asked:
        return []
    good = settled(air, case.asked, settling_h) & np.isfinite(air.depression)
    for name, wanted in (("fan", True), ("spray", False)):
        if name in air.log.channels:
            good &= (air.log.channels[name] > 0) == wanted
    every, found = np.flatnonzero(good), list[list[tuple[float, int]]]()
    depression, seconds = air.depression[every], air.seconds[every]
    ends = np.searchsorted(case.asked_index[every], np.arange(len(case.asked) + 1)).tolist()
    for first, end in pairwise(ends):
        day = (seconds[first:end] - seconds[first : first + 1]) // 86400.0
        edges = (np.flatnonzero(day[1:] != day[:-1]) + first + 1).tolist()
        days = [own for own in pairwise([first, *edges, end]) if own[1] - own[0] >= 6]
        found.append([(median(depression[slice(*own)]), int(every[own[0]])) for own in days])
    return found


def _heated(case: Case, air: AirSeries, near_k: float) -> np.ndarray:
    """Return the readings from the first one near the dry bulb asked for.

    While a cold load is heated, its own water makes the air damp, and the depression shrinks by
    itself. A log that never comes near is judged from its beginning.
    """
    if not case.asked:
        return np.ones(len(air.times), bool)
    near = air.dry_bulb >= case.asked_dry_bulb - near_k
    reached: np.ndarray = np.logical_or.accumulate(near)
    return reached if reached[-1] else ~reached


def _drifting_wick(case: Case, air: AirSeries) -> Results:
    """Yield where the log's wet bulb is above hand readings with a fresh wick, twice or more."""
    allowed = case.limits.value("dry-wick-hand")
    above = _above_hand(case, case.limits.value("dry-wick-hand-minutes"))
    over = [item for item in above if item[3] > allowed]
    if len(over) >= 2:
        number, reading, index, _ = over[0]
        worst = max(item[3] for item in over)
        yield Breach(
            f"Wick may be dry or dirty: the log's wet bulb reads up to {worst:.1f} K above "
            "the hand "
            f"readings from {case.clock(reading.at)} to {case.clock(over[-1][1].at)}.",
            (case.place("hand_readings", number), air.log.place(index)),
            "wet-bulb",
            worst,
            allowed,
            "K",
            at=reading.at,
        )


@measure
def _above_hand(case: Case, window_min: float) -> list[tuple[int, HandReading, int, float]]:
    """Return the hand readings that the log has a reading beside, and how far its wet bulb is above.

    Each with its index, and that of the first such reading of the log.
    """
    air, above = case.need_air(), []
    moments = [reading.at.timestamp() for reading in case.charge.hand_readings]
    rows = np.searchsorted(air.seconds, moments).tolist()
    for number, reading in enumerate(case.charge.hand_readings):
        span = range(max(rows[number] - 1, 0), min(rows[number] + 1, len(air.times)))
        near = [row for row in span if abs(air.seconds[row] - moments[number]) <= 60 * window_min]
        logged = [value for value in air.depression[near].tolist() if not math.isnan(value)]
        if logged:
            by_hand = reading.dry_bulb.value - reading.wet_bulb.value
            above.append((number, reading, near[0], by_hand - sum(logged) / len(logged)))
    return above


@check(
    "calibration-due",
    title="Calibration in date",
    group=_GROUP,
    severity="question",
    limits=("calibration-months",),
    source="common practice",
    reason="A record is only as good as its instruments, and one that was never calibrated proves "
    "little.",
    passes="Every instrument used was in calibration.",
)
def calibration_due(case: Case) -> Results:
    months = case.limits.value("calibration-months")
    used = _instruments_used(case)
    if not used:
        raise NoData("the kiln's record lists no instrument that this charge was measured with")
    for index in used:
        yield from overdue(case, index, months)
    yield Pass(
        f"Each of {len(used)} instruments used was calibrated within {months:g} months "
        "before the charge."
    )


@measure
def _instruments_used(case: Case) -> list[int]:
    return [i for i, instrument in enumerate(case.kiln.instruments) if _in_use(case, instrument)]


def _in_use(case: Case, instrument: Instrument) -> bool:
    """Return whether a charge depends on an instrument; core probes have their own check."""
    return instrument.channel is None or bool(
        case.air
        and instrument.channel in case.air.log.channels
        and not instrument.channel.startswith("core-")
    )


def overdue(case: Case, index: int, months: float) -> Results:
    """Yield breaches about the calibration of one of the kiln's instruments."""
    instrument, (day, lasts) = case.kiln.instruments[index], _calibrated(case)
    last = lasts[index]
    if last is None:
        yield Breach(
            f"{instrument.id} has no calibration before {day}.",
            (case.located_kiln.place("instruments", index),),
            instrument.id,
        )
        return
    age = (day - last).days / _DAYS_A_MONTH
    if age > months:
        yield Breach(
            f"{instrument.id} overdue: last calibrated {last}.",
            (case.located_kiln.place("instruments", index),),
            instrument.id,
            age,
            months,
            "months",
        )


@measure
def _calibrated(case: Case) -> tuple[dt.date, list[dt.date | None]]:
    """Return the day on which a charge began, and when each instrument was last calibrated then."""
    day = case.charge.started.astimezone(case.zone).date()
    return day, [
        max((one.on for one in instrument.calibrations if one.on <= day), default=None)
        for instrument in case.kiln.instruments
    ]


@check(
    "zone-spread",
    title="Entering and leaving air",
    group=_GROUP,
    severity="question",
    limits=("zone-spread", "zone-spread-hours"),
    source="common practice",
    reason="A large drop in temperature across the load, or between zones, dries one side ahead "
    "of the other.",
    passes="The two sides of the load stayed at nearly the same temperature.",
)
def zone_spread(case: Case) -> Results:
    air = case.need_air()
    sides = [
        air.log.channels[name]
        for name in ("dry-bulb-entering", "dry-bulb-leaving")
        if name in air.log.channels
    ]
    if len(sides) < 2:
        raise NotApplicable("the log has one dry bulb only")
    allowed, hours = case.limits.value("zone-spread"), case.limits.value("zone-spread-hours")
    spread = np.abs(sides[0] - sides[1])
    if not np.isfinite(spread).any():
        raise NoData("the two sides of the load have no reading in common")
    for run in air.stretches(spread > allowed, hours):
        worst = float(np.nanmax(spread[run.first : run.last + 1]))
        yield Breach(
            f"Kiln heats unevenly: sides {worst:.1f} K apart from "
            f"{case.clock(air.times[run.first])} for {run.hours:.1f} h.",
            (air.log.place(run.first),),
            "dry-bulb",
            worst,
            allowed,
            "K",
            at=air.times[run.first],
        )
    yield Pass(f"The two sides were never more than {allowed:g} K apart for {hours:g} h.")


@check(
    "drop-across-load",
    title="Temperature drop across the load",
    group=_GROUP,
    severity="note",
    limits=("load-drop-rise", *LOAD_DROP_LIMITS),
    source="common practice",
    reason="Air cools as it takes up water. Wet timber cools it most; a drop that grows while the "
    "timber dries means slow air, a blocked load or a sensor that drifts.",
    passes="The temperature drop across the load shrank as the timber dried.",
)
def drop_across_load(case: Case) -> Results:
    air, value = case.need_air(), case.limits.value
    found = load_drop(case)
    if found is None:
        raise NotApplicable("the log does not hold entering and leaving air")
    if found.wet_k is None or found.later_k is None:
        raise NotApplicable(
            f"the log holds less than {value('load-drop-hours'):g} h of wet and of "
            "dry timber to compare"
        )
    rise, allowed = found.later_k - found.wet_k, value("load-drop-rise")
    if rise > allowed:
        yield Breach(
            f"The drop across the load grew from {found.wet_k:.1f} K while wet to "
            f"{found.later_k:.1f} K: look at air speed, baffles and the two sensors.",
            (air.log.place(found.later_row),),
            "load",
            rise,
            allowed,
            "K",
            at=air.times[found.later_row],
        )
    yield Pass(
        f"The drop across the load was {found.wet_k:.1f} K while wet and {found.later_k:.1f} K "
        "later."
    )
