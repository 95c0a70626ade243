"""Rows for the checks of instruments and log."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
from tests.review.inline import (
    INTERVAL,
    NO_LOG,
    STARTED,
    both,
    clean_channels,
    day,
    held,
    limit,
    line,
    make_case,
    moved,
    rows,
    without,
)
from tests.review.table import Blank, Edge, Fault, NotRun, charge

LOGLESS = "No logger file is on record."
STEADY = both(
    held("dry-bulb", 50, 20, to=43.0),
    held("wet-bulb", 50, 20, to=39.5),
    held("spray", 50, 20, to=0.0),
)


def bulbs_only(change: Any) -> Any:
    return both(
        without("dry-bulb-entering", "dry-bulb-leaving", "relative-humidity", "core-1", "core-2"),
        change,
    )


def stuck_wet_bulb(hours: float, partner_moves: float) -> Any:
    """Return bulbs only: the wet one repeats its value while the dry one moves this far."""

    def change(channels: Any) -> None:
        span = rows(60, hours)
        channels["wet-bulb"][span] = 39.0
        channels["dry-bulb"][span] = 43.0 + partner_moves * np.linspace(
            0, 1, span.stop - span.start
        )

    return bulbs_only(change)


def wick_error(size: float, over_minutes: float = INTERVAL, dry_moves: float = 0.0) -> Any:
    """Return a wet bulb that rises by `size` from hour 60 on, over some minutes, in steady air."""

    def change(channels: Any) -> None:
        STEADY(channels)
        after = np.clip(
            (np.arange(len(channels["dry-bulb"])) - rows(60, 0).start) * INTERVAL / over_minutes,
            0.0,
            1.0,
        )
        span = rows(50, 20)
        channels["wet-bulb"][span] += (size + dry_moves) * after[span]
        channels["dry-bulb"][span] += dry_moves * after[span]

    return change


def hand_readings(below: float, minutes: float = 0.0) -> dict[str, Any]:
    """Return two hand readings, this far below the log's wet bulb, this long from its rows."""
    return {
        "hand_readings": [
            {
                "at": (STARTED + dt.timedelta(hours=hours, minutes=side * minutes)).isoformat(
                    "T", "seconds"
                ),
                "by": "A. B.",
                "dry_bulb": "43 °C",
                "wet_bulb": f"{39.5 - below:.4f} °C",
            }
            for hours, side in ((55, 1), (65, -1))
        ]
    }


def calibrated(months: float, days: float) -> dict[str, Any]:
    on = STARTED.date() - dt.timedelta(days=int(months * 365.2425 / 12) + days)
    return {"kiln:instruments.0.calibrations.0.on": str(on)}


def fahrenheit_from(hour: float, off: float = 0.0) -> Any:
    """Return a dry bulb from a logger that was switched to °F midway."""

    def change(channels: Any) -> None:
        STEADY(channels)
        span = slice(rows(hour, 0).start, None)
        channels["dry-bulb"][span] = channels["dry-bulb"][span] * 1.8 + 32.0
        first = span.start
        channels["dry-bulb"][first] = channels["dry-bulb"][first - 1] * 1.8 + 32.0 + off

    return change


def sides_apart(kelvin: float, hours: float) -> Any:
    def change(channels: Any) -> None:
        span = rows(60, hours)
        channels["dry-bulb-entering"][span] = channels["dry-bulb-leaving"][span] + kelvin

    return change


def read_in_the_other_unit(channel: str, *, fahrenheit: bool = True, off: float = 0.0) -> Any:
    """Return a column written in °F throughout and read as °C, or the other way round.

    `off` is how far the true air is from its set-point.
    """

    def change(channels: Any) -> None:
        true = channels[channel] + off
        channels[channel] = 1.8 * true + 32.0 if fahrenheit else (true - 32.0) / 1.8

    return change


def clock_off(hours: float) -> Any:
    """Return a log whose clock is so many hours ahead of the operator's watch."""

    def change(channels: Any) -> None:
        true, _ = clean_channels()
        for name, values in channels.items():
            channels[name] = np.interp(true - hours, true, values)

    return change


def steady_apart(beyond: float) -> Any:
    """Return a dry bulb in °F, steady, off its set-point by the limit and a little."""

    def change(channels: Any) -> None:
        asked = make_case(log=None).asked_dry_bulb
        true = asked + limit("unit-slip-set-points") + beyond
        channels["dry-bulb"] = 1.8 * true + 32.0

    return change


FAULTS = [
    Fault(
        "unit-slip",
        {},
        (
            "core-1 may be in °F and be read as °C: it stays 66 K away from what was asked, and would "
            "match it in the other unit. At 2026-04-16 20:00 it is read as 147.9 °C, and would "
            "be 64.4 °C; 65.0 °C was the dry bulb asked for. Check its unit in the logger's "
            "profile.",
        ),
        line(252),
        # 43 °C, as warm as the timber gets in that air, is 109.4 °F
        66.4,
        2.0,
        make={"log": read_in_the_other_unit("core-1")},
    ),
    Fault(
        "unit-slip",
        {},
        (
            "dry-bulb may be in °C and be read as °F: it stays 37 K away from what was asked, and would "
            "match it in the other unit. At 2026-04-16 20:00 it is read as 18.4 °C, and would be "
            "65.1 °C; 65.0 °C was the dry bulb asked for. Check its unit in the logger's profile.",
        ),
        line(252),
        # (43 - 32) / 1.8 is 6.1, 36.9 below
        36.9,
        2.0,
        make={"log": read_in_the_other_unit("dry-bulb", fahrenheit=False)},
    ),
    Fault(
        "clock-against-hand",
        {},
        (
            "The log and the hand-written times differ: at 2 of 2 step changes the dry bulb rises "
            "after it was written, by 3.0 h at the first (2026-04-12 11:00 in the log) and 2.7 h "
            "at the last. Compare the logger's clock with a true one; nothing was moved.",
        ),
        line(147),
        3.0,
        0.75,
        make={"log": clock_off(3.0)},
    ),
    Fault(
        "gap-in-log",
        {},
        ("No readings 2026-04-08 10:00–2026-04-08 10:40.",),
        line(50),
        40,
        20,
        make={"gap": (50, 50 + 4 / 6)},
    ),
    Fault(
        "gap-in-log",
        {},
        ("No readings 2026-04-08 10:00–2026-04-08 12:00.", "1.8 h of the log are missing in all."),
        line(50),
        120,
        20,
        make={"gap": (50, 52)},
    ),
    Fault(
        "gap-in-log",
        {"ended": day(10.5, 3)},
        ("The log ends 3.0 h inside the charge.",),
        "- file: kiln.csv",
        3,
        1,
    ),
    Fault(
        "clock-repeats",
        {},
        ("The clock repeats or runs back in 3 rows; they are kept in the file and not used.",),
        102,
        3,
        0,
        make={"repeats": 3},
    ),
    Fault(
        "stuck-sensor",
        {},
        ("wet-bulb stuck at 39.0 since 2026-04-10 08:00 for 8.0 h.",),
        line(96),
        8,
        6,
        make={"log": held("wet-bulb", 96, 8, to=39.0)},
    ),
    Fault(
        "spike",
        {},
        ("Sudden jump of dry-bulb at 2026-04-08 20:00; kept in the file, not used.",),
        line(60),
        8.0,
        5.0,
        make={"log": moved("dry-bulb", 60, 0, by=8.0)},
    ),
    Fault(
        "spike",
        {},
        ("Sudden jump of wet-bulb at 2026-04-08 20:00 and 1 more; kept in the file, not used.",),
        line(60),
        9.0,
        5.0,
        make={"log": both(moved("wet-bulb", 60, 0, by=-9.0), moved("wet-bulb", 70, 0, by=-9.0))},
    ),
    Fault(
        "dry-wick",
        {},
        (
            "Wick may be dry or dirty: depression fell 2.0 K by 2026-04-08 20:10 "
            "under a steady dry bulb.",
        ),
        line(60) + 1,
        2.0,
        1.0,
        make={"log": wick_error(2.0)},
    ),
    Fault(
        "dry-wick",
        hand_readings(1.5),
        (
            "Wick may be dry or dirty: the log's wet bulb reads up to 1.5 K above the hand "
            "readings "
            "from 2026-04-08 15:00 to 2026-04-09 01:00.",
        ),
        "- at: ",
        1.5,
        0.8,
        make={"log": STEADY},
    ),
    Fault(
        "calibration-due",
        {"kiln:instruments.0.calibrations.0.on": "2024-10-01"},
        ("sensor-dry-bulb overdue: last calibrated 2024-10-01.",),
        "- id: sensor-dry-bulb",
        18.1,
        12,
    ),
    Fault(
        "calibration-due",
        {"kiln:instruments.0.calibrations.0.on": "2026-10-01"},
        ("sensor-dry-bulb has no calibration before 2026-04-06.",),
        "- id: sensor-dry-bulb",
    ),
    Fault(
        "unit-slip",
        {},
        ("dry-bulb changes from °C to °F at 2026-04-08 20:00: 43.0, then 109.4.",),
        line(60),
        109.4,
        make={"log": fahrenheit_from(60)},
    ),
    Fault(
        "zone-spread",
        {},
        ("Kiln heats unevenly: sides 4.0 K apart from 2026-04-08 20:00 for 3.0 h.",),
        line(60),
        4.0,
        3.0,
        make={"log": sides_apart(4.0, 3)},
    ),
]

BLANKS = [
    *(
        Blank(slug, {}, LOGLESS, {"log": NO_LOG})
        for slug in (
            "gap-in-log",
            "clock-repeats",
            "stuck-sensor",
            "spike",
            "dry-wick",
            "unit-slip",
            "clock-against-hand",
            "zone-spread",
        )
    ),
    *(
        NotRun(
            "clock-against-hand",
            changes,
            "Fewer than two written step changes raise the dry bulb far enough to be seen in the "
            "log.",
        )
        for changes in ({"step_changes": []}, {"conditioning": None})
    ),
    NotRun(
        "stuck-sensor",
        {},
        "The log has only one channel, and nothing to compare it with.",
        {"log": both(bulbs_only(without("wet-bulb")))},
    ),
    Blank("dry-wick", {}, "The log has no wet bulb.", {"log": without("wet-bulb")}),
    Blank(
        "calibration-due",
        {"kiln:instruments": []},
        "The kiln's record lists no instrument that this charge was measured with.",
    ),
    NotRun(
        "zone-spread", {}, "The log has one dry bulb only.", {"log": without("dry-bulb-leaving")}
    ),
]

EDGES = [
    # one row missing is two intervals, two rows missing are three
    Edge(
        "gap-in-log",
        "gap-intervals",
        lambda e: charge(gap=(50, 50 + (limit("gap-intervals") + max(e, 0)) * INTERVAL / 60)),
        step=1,
    ),
    Edge(
        "gap-in-log",
        "gap-total",
        lambda e: charge({"ended": day(10.5, limit("gap-total") + e)}),
        step=0.1,
    ),
    Edge(
        "stuck-sensor",
        "stuck-hours",
        lambda e: charge(log=stuck_wet_bulb(limit("stuck-hours") + min(e, 0), 3.0)),
        step=INTERVAL / 60,
    ),
    Edge(
        "stuck-sensor",
        "stuck-partner",
        lambda e: charge(log=stuck_wet_bulb(limit("stuck-hours") + 2, limit("stuck-partner") + e)),
    ),
    Edge(
        "spike",
        "spike-kelvin",
        lambda e: charge(
            log=both(STEADY, held("dry-bulb", 60, 0, to=43.0 + limit("spike-kelvin") + e))
        ),
    ),
    # a log whose rows are further apart cannot show a spike
    Edge(
        "spike",
        "spike-minutes",
        lambda e: charge(log=moved("dry-bulb", 60, 0, by=9.0), every=2 if e < 0 else 1),
        within="not applicable",
    ),
    Edge("dry-wick", "dry-wick-fall", lambda e: charge(log=wick_error(limit("dry-wick-fall") + e))),
    # the same fall within the allowed time, and over a little longer
    Edge(
        "dry-wick",
        "dry-wick-minutes",
        lambda e: charge(
            log=wick_error(1.1 * limit("dry-wick-fall"), limit("dry-wick-minutes") - min(e, 0))
        ),
        step=INTERVAL,
    ),
    Edge(
        "dry-wick",
        "dry-wick-steady",
        lambda e: charge(
            log=wick_error(2 * limit("dry-wick-fall"), dry_moves=limit("dry-wick-steady") - e)
        ),
    ),
    Edge(
        "dry-wick",
        "dry-wick-hand",
        lambda e: charge(hand_readings(limit("dry-wick-hand") + e), log=STEADY),
    ),
    Edge(
        "dry-wick",
        "dry-wick-hand-minutes",
        lambda e: charge(
            hand_readings(2.0, limit("dry-wick-hand-minutes") - e), log=STEADY, gap=(55, 65)
        ),
        step=0.5,
    ),
    Edge(
        "calibration-due",
        "calibration-months",
        lambda e: charge(calibrated(limit("calibration-months"), e)),
        step=1,
    ),
    # late enough that most of the column is still in °C
    Edge(
        "unit-slip", "unit-slip", lambda e: charge(log=fahrenheit_from(130, limit("unit-slip") - e))
    ),
    Edge(
        "unit-slip",
        "unit-slip-set-points",
        lambda e: charge(log=steady_apart(-e)),
    ),
    # the rows are ten minutes apart, and the air is never quite constant
    Edge(
        "clock-against-hand",
        "clock-apart",
        lambda e: charge(log=clock_off(-(limit("clock-apart") + e))),
        step=0.3,
    ),
    Edge(
        "clock-against-hand",
        "clock-apart-rise",
        lambda e: charge(
            {"conditioning.dry_bulb": f"{60 + limit('clock-apart-rise') + e:.2f} °C"},
            log=clock_off(-3.0),
        ),
        within="not applicable",
    ),
    Edge(
        "zone-spread",
        "zone-spread",
        lambda e: charge(log=sides_apart(limit("zone-spread") + e, 12)),
    ),
    Edge(
        "zone-spread",
        "zone-spread-hours",
        lambda e: charge(log=sides_apart(9.0, limit("zone-spread-hours") + min(e, 0))),
        step=INTERVAL / 60,
    ),
]
