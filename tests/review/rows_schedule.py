"""Rows for the checks of the schedule, as run and as written."""

from __future__ import annotations

from typing import Any

from tests.review.inline import (
    BOARDS,
    INTERVAL,
    NO_LOG,
    both,
    day,
    held,
    limit,
    line,
    mass_for,
    rows,
)
from tests.review.rows_arithmetic import NO_BOARDS
from tests.review.rows_boards import weighed_at
from tests.review.table import Blank, Edge, Fault, NotRun, charge

LOGLESS = "No logger file is on record."
NO_STEPS = {"step_changes": []}
TIMED = {
    "schedule:steps": [
        {"dry_bulb": "43 °C", "depression": "4 K", "hours": "96 h"},
        {"dry_bulb": "60 °C", "depression": "25 K", "hours": "120 h"},
    ],
    "schedule:modifications": [],
}


def hotter(kelvin: float, hours: float, at: float = 60.0) -> Any:
    """Return air this much hotter than the 43 °C set, at the depression set."""

    def change(channels: Any) -> None:
        span = rows(at, hours)
        channels["dry-bulb"][span] = 43.0 + kelvin
        channels["wet-bulb"][span] = 39.5 + kelvin

    return change


def drier(kelvin: float, hours: float, at: float = 40.0) -> Any:
    """Return a depression this much larger than the 3.5 K set."""
    return both(held("dry-bulb", at, hours, to=43.0), held("wet-bulb", at, hours, to=39.5 - kelvin))


def settling(hours: float) -> Any:
    """Return a schedule change to cooler air at 96 h, and a kiln that stays hot for some hours."""
    return {
        "schedule:steps.0.dry_bulb": "46 °C",
        "schedule:steps.1.dry_bulb": "43 °C",
        "species:ceiling_while_wet": None,
    }, hotter(6.0, hours, at=96)


def fans_off(at: float, hours: float) -> Any:
    return held("fan", at, hours, to=0.0)


def stop(at: float, hours: float) -> dict[str, Any]:
    return {
        "stops": [
            {"start": day(0, at), "end": day(0, at + hours), "cause": "no power", "by": "A. B."}
        ]
    }


def last_step_emc(emc: float) -> dict[str, Any]:
    return {"schedule:steps.2": {"dry_bulb": "60 °C", "emc": f"{emc:.3f} %", "until_mc": "final"}}


def step_two(dry_bulb: float, depression: float) -> dict[str, Any]:
    return {
        "schedule:steps.1.dry_bulb": f"{dry_bulb} °C",
        "schedule:steps.1.depression": f"{depression} K",
    }


FAULTS = [
    Fault(
        "step-timing",
        {"step_changes.1.at": day(3, 1)},
        (
            "Stepped early to step 2 on 2026-04-09 09:00 at 42.8 %; it was due at 40 % (boards S1, "
            "S2, S3).",
        ),
        f"- at: {day(3, 1)}",
        2.8,
        0.5,
    ),
    Fault(
        "step-timing",
        {"step_changes.2.step": 7},
        ("There is no step 7: the schedule has 3.",),
        "step: 7",
    ),
    Fault(
        "step-skipped",
        {"step_changes.2.at": day(4, 9)},
        ("Two steps within 9 h, on 2026-04-10 17:00.",),
        f"- at: {day(4, 9)}",
        9,
        20,
    ),
    Fault(
        "step-skipped",
        {"step_changes.1": None},
        ("Step 2 was skipped on 2026-04-12 08:00.",),
        f"- at: {day(6)}",
    ),
    Fault(
        "dry-bulb-overshoot",
        {},
        ("Hotter than schedule for 3.0 h from 2026-04-08 20:00, by up to 4.0 K.",),
        line(60),
        4.0,
        2.0,
        make={"log": hotter(4.0, 3)},
    ),
    Fault(
        "too-hot-while-wet",
        {},
        (
            "Too hot while wet: 48.0 °C on 2026-04-08 20:00 with the controlling MC at 49.0 %; the "
            "schedule for 4/4 asks for 43.0 °C above 30 %. Collapse and honeycomb risk.",
        ),
        line(60),
        48.0,
        43.0,
        make={"log": hotter(5.0, 1)},
    ),
    Fault(
        "air-too-dry-while-wet",
        {},
        (
            "Air too dry at the checking stage: depression 2.0 K above schedule from "
            "2026-04-08 00:00 for 3.0 h.",
        ),
        line(40),
        2.0,
        1.0,
        make={"log": drier(2.0, 3)},
    ),
    Fault(
        "thickness-rule",
        {"stock.0.thickness": "8/4", "schedule:modifications": []},
        ("Schedule not adjusted for 8/4: it is written for 4/4.",),
        "thickness: 8/4",
        50.8,
        25.4,
    ),
    Fault(
        "thickness-rule",
        {"schedule:for_stock.species": ["pine"]},
        ("The schedule is not written for Test maple.",),
        "- species: maple",
    ),
    Fault(
        "vent-against-spray",
        {},
        ("Venting and steaming at once from 2026-04-08 20:00.",),
        line(60),
        60,
        10,
        make={"log": both(held("vent", 60, 1, to=1.0), held("spray", 60, 1, to=1.0))},
    ),
    Fault(
        "fans-stopped",
        stop(40, 6),
        ("Stopped 6.0 h from 2026-04-08 00:00 (no power) at 55 %; inspect for stain and checks.",),
        "- start: ",
        6,
        4,
    ),
    Fault(
        "fans-stopped",
        {},
        ("The fans were off for 3.0 h from 2026-04-08 20:00; no stop is written down.",),
        line(60),
        3,
        1,
        make={"log": fans_off(60, 3)},
    ),
    Fault(
        "fan-reversal",
        {"kiln:reversal": "9 h"},
        ("Fans reverse every 9 h; 6 h is the most that is usual.",),
        "reversal: 9 h",
        9,
        6,
    ),
    Fault(
        "schedule-ceiling",
        step_two(50.0, 15.0),
        ("Step 2 asks 50.0 °C while the timber may be above 30 %; Test maple can take 44.0 °C.",),
        "- dry_bulb: 50.0 °C",
        50.0,
        44.0,
    ),
    Fault(
        "schedule-emc-against-mc",
        last_step_emc(7.4),
        ("Step 3 holds 7.4 % EMC and is to dry to 8 %: it does not get there.",),
        "- dry_bulb: 60 °C",
        0.6,
        1.0,
    ),
    Fault(
        "schedule-order",
        step_two(41.0, 8.0),
        ("In step 2 the dry bulb falls from 43.0 to 41.0 °C.",),
        "- dry_bulb: 41.0 °C",
        2.0,
        0.5,
    ),
    Fault(
        "schedule-order",
        step_two(43.0, 2.0),
        ("In step 2 the depression falls from 3.5 to 2.0 K.",),
        "- dry_bulb: 43.0 °C",
        1.5,
        0.5,
    ),
    Fault(
        "schedule-end-air",
        {"schedule:equalizing.emc": "9 %"},
        ("The schedule's equalizing air holds 9.0 % EMC; for a target of 8 % the rule says 6 %.",),
        "dry_bulb: 60 °C",
        3.0,
        1.0,
    ),
    Fault(
        "schedule-within-kiln",
        {"kiln:hottest": "55 °C"},
        ("Step 3 asks 60.0 °C; Kiln 1 holds 55 °C at most.",),
        "- dry_bulb: 60 °C",
        60,
        55,
    ),
    Fault(
        "schedule-within-kiln",
        {"kiln:kind": "dehumidification"},
        ("The schedule is written for steam kilns; Kiln 1 is a dehumidification kiln.",),
        "- steam",
    ),
    Fault(
        "schedule-modified",
        {"schedule:modifications.0.depression_change": None},
        (
            "The modification 'half a kelvin milder while wet' gives no number, so its steps "
            "cannot "
            "be recomputed.",
        ),
        "- what: half a kelvin",
    ),
    Fault(
        "schedule-approved",
        {"schedule:approved": None},
        ("Maple 4/4 is a draft: nobody has approved it.",),
        "schedule: maple",
    ),
    Fault(
        "schedule-approved",
        {"schedule:approved.on": "2026-05-01"},
        ("The schedule was approved on 2026-05-01, after the charge was started.",),
        "'on': '2026-05-01'",
    ),
]

BLANKS = [
    NotRun("step-timing", TIMED, "The schedule's steps end after a time, not at an MC."),
    Blank("step-timing", NO_STEPS, "No step change is written down."),
    Blank("step-timing", NO_BOARDS, "No weighing is on record to judge the steps by."),
    Blank("step-skipped", NO_STEPS, "No step change is written down."),
    *(
        Blank(slug, {}, LOGLESS, {"log": NO_LOG})
        for slug in (
            "dry-bulb-overshoot",
            "too-hot-while-wet",
            "air-too-dry-while-wet",
            "vent-against-spray",
        )
    ),
    Blank(
        "too-hot-while-wet",
        {"species:ceiling_while_wet": None, "schedule:for_stock.thickness": ["3/4"]},
        "Neither the schedule nor a species sheet gives a ceiling for this thickness.",
    ),
    Blank("air-too-dry-while-wet", NO_BOARDS, "No weighing is on record."),
    Blank(
        "vent-against-spray",
        {},
        "The log does not hold vent and spray.",
        {"log": lambda channels: channels.pop("vent")},
    ),
    Blank(
        "fans-stopped",
        {},
        "The log does not hold the fans, and no stop is written down.",
        {"log": lambda channels: channels.pop("fan")},
    ),
    Blank("fan-reversal", {"kiln:reversal": None}, "The kiln's record gives no reversal time."),
    NotRun("schedule-ceiling", TIMED, "The schedule's steps end after a time, not at an MC."),
    Blank(
        "schedule-ceiling",
        {"species:ceiling_while_wet": None},
        "No species sheet gives a ceiling while wet.",
    ),
    NotRun(
        "schedule-order",
        {"schedule:steps": lambda steps: steps[2:]},
        "The schedule has one step only.",
    ),
    NotRun(
        "schedule-end-air",
        {"schedule:equalizing": None, "schedule:conditioning": None},
        "The schedule leaves equalizing and conditioning to the rule.",
    ),
    NotRun(
        "schedule-modified",
        {"schedule:modifications": []},
        "The schedule declares no modification.",
    ),
]


def settled(e: float) -> Any:
    changes, log = settling(limit("settling-hours") + e)
    return charge(changes, log=log)


def too_dry_after_change(e: float) -> Any:
    """Return air still drier than set some hours after the depression's set-point was lowered."""
    hours = limit("settling-hours") + e
    log = both(held("dry-bulb", 72, hours, to=43.0), held("wet-bulb", 72, hours, to=33.0))
    return charge(
        {
            "schedule:steps.1.depression": "5 K",
            "schedule:steps.0.depression": "10 K",
            "schedule:modifications": [],
            "step_changes.1.at": day(3),
        },
        log=log,
    )


def end_air(key: str, side: int, e: float) -> Any:
    rule = 8.0 - limit(key) if key == "equalizing-below-target" else 8.0 + limit(key)
    stage = "equalizing" if key == "equalizing-below-target" else "conditioning"
    return charge({f"schedule:{stage}.emc": f"{rule + side * (limit('stage-emc') + e):.3f} %"})


EDGES = [
    Edge(
        "step-timing",
        "step-timing",
        lambda e: charge(weighed_at(40.0 + limit("step-timing") + e, 3)),
    ),
    Edge(
        "step-skipped",
        "step-skipped",
        lambda e: charge({"step_changes.2.at": day(4, limit("step-skipped") - e)}),
        step=0.1,
    ),
    Edge(
        "dry-bulb-overshoot",
        "dry-bulb-overshoot",
        lambda e: charge(log=hotter(limit("dry-bulb-overshoot") + e, 3)),
    ),
    Edge(
        "dry-bulb-overshoot",
        "dry-bulb-overshoot-hours",
        lambda e: charge(log=hotter(4.0, limit("dry-bulb-overshoot-hours") + min(e, 0))),
        step=INTERVAL / 60,
    ),
    Edge("dry-bulb-overshoot", "settling-hours", settled, step=1.5),
    Edge(
        "too-hot-while-wet",
        "ceiling-margin",
        lambda e: charge(log=hotter(limit("ceiling-margin") + e, 1)),
    ),
    Edge(
        "air-too-dry-while-wet",
        "depression-overshoot",
        lambda e: charge(log=drier(limit("depression-overshoot") + e, 3)),
    ),
    Edge(
        "air-too-dry-while-wet",
        "depression-overshoot-minutes",
        lambda e: charge(log=drier(3.0, (limit("depression-overshoot-minutes") + min(e, 0)) / 60)),
        step=INTERVAL,
    ),
    Edge(
        "air-too-dry-while-wet",
        "depression-overshoot-above",
        lambda e: charge(weighed_at(limit("depression-overshoot-above") + e, 0), log=drier(3.0, 3)),
    ),
    Edge("air-too-dry-while-wet", "settling-hours", too_dry_after_change, step=1.5),
    Edge(
        "vent-against-spray",
        "vent-against-spray",
        lambda e: charge(
            log=both(
                held("vent", 60, 2, to=1.0),
                held("spray", 59, 3, to=0.0),
                held("spray", 60, (limit("vent-against-spray") + min(e, 0)) / 60, to=1.0),
            )
        ),
        step=INTERVAL,
    ),
    Edge(
        "fans-stopped",
        "fans-stopped-hours",
        lambda e: charge(stop(40, limit("fans-stopped-hours") + e)),
        step=0.1,
    ),
    Edge(
        "fans-stopped",
        "fans-stopped-above",
        lambda e: charge(
            {
                f"weighings.{n}.masses.{name}": mass_for(name, limit("fans-stopped-above") + e)
                for n in (3,)
                for name in BOARDS
            }
            | stop(100, 8)
        ),
    ),
    Edge(
        "fans-stopped",
        "undeclared-stop-hours",
        lambda e: charge(log=fans_off(60, limit("undeclared-stop-hours") + min(e, 0))),
        step=INTERVAL / 60,
    ),
    Edge(
        "fan-reversal",
        "fan-reversal",
        lambda e: charge({"kiln:reversal": f"{limit('fan-reversal') + e} h"}),
    ),
    Edge(
        "schedule-ceiling",
        "schedule-rounding",
        lambda e: charge(step_two(44.0 + limit("schedule-rounding") + e, 8.0)),
    ),
    Edge(
        "schedule-emc-against-mc",
        "schedule-emc-below",
        lambda e: charge(last_step_emc(8.0 - limit("schedule-emc-below") + e)),
    ),
    Edge(
        "schedule-order",
        "schedule-rounding",
        lambda e: charge(step_two(43.0 - limit("schedule-rounding") - e, 8.0)),
    ),
    *(
        Edge(
            "schedule-end-air",
            f"{key} stage-emc",
            lambda e, key=key, side=side: end_air(key, side, e),
        )
        for key in ("equalizing-below-target", "conditioning-above-target")
        for side in (1, -1)
    ),
]
