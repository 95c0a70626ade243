"""Rows for following the schedule: the air as set, the steps as due, the ceiling while wet."""

from __future__ import annotations

from typing import Any

import numpy as np
from tests.review.inline import (
    INTERVAL,
    NO_LOG,
    both,
    day,
    depression_for,
    held,
    limit,
    line,
    mass_for,
    moved,
)
from tests.review.rows_arithmetic import NO_BOARDS
from tests.review.rows_boards import weighed_at
from tests.review.rows_rate import alone
from tests.review.rows_schedule import LOGLESS, NO_STEPS, fans_off, hotter, stop
from tests.review.table import Blank, Edge, Fault, NotRun, charge

from kilnfolio.physics.air import relative_humidity
from kilnfolio.physics.sorption import equilibrium_moisture_content

#: A timed schedule of 96 and 120 h, run up to the equalizing of day 9.
TIMED = {
    "schedule:steps": [
        {"dry_bulb": "43 °C", "depression": "3.5 K", "hours": "96 h"},
        {"dry_bulb": "43 °C", "depression": "8 K", "hours": "120 h"},
    ],
    "schedule:modifications": [],
}


#: Without readings by hand, which have their own rule for wicks.
NO_HANDS = {"hand_readings": []}


def air(at: float, hours: float, dry: float, depression: float) -> Any:
    """Return air held at one state for some hours."""
    return both(
        held("dry-bulb", at, hours, to=dry), held("wet-bulb", at, hours, to=dry - depression)
    )


def emc(dry: float, depression: float) -> float:
    return float(equilibrium_moisture_content(dry, relative_humidity(dry, dry - depression)))


def timed(first_hours: float) -> dict[str, Any]:
    """Return the timed schedule with its second step started after so many hours."""
    return {
        **TIMED,
        "step_changes": [
            {"at": day(0), "step": 1, "by": "A. B."},
            {"at": day(0, first_hours), "step": 2, "by": "A. B."},
        ],
    }


def late_step(at: str) -> dict[str, Any]:
    """Return a charge whose second step, due since day 4, is made later."""
    return {"step_changes.1.at": at, "step_changes.2.at": day(8)}


def heating(hours: float) -> Any:
    """Return a kiln that stays five kelvins too cold for so many hours."""
    return air(0, hours, 38.0, 3.5)


def sinking(middle_of_third_day: float) -> Any:
    """Return a depression that falls from 3.5 K for three days, then returns to its set-point."""

    def change(channels: Any) -> None:
        hours = np.arange(len(channels["dry-bulb"])) * INTERVAL / 60
        # the days of the check begin 6 h after the step; the middle of the third is at 66 h
        slope = (3.5 - middle_of_third_day) / 60.0
        depression = np.where(hours < 78.0, 3.5 - slope * np.clip(hours - 6.0, 0.0, None), 3.5)
        first = hours < 96.0
        channels["dry-bulb"][first] = 43.0
        channels["wet-bulb"][first] = 43.0 - depression[first]

    return change


def sinking_for(days: int) -> Any:
    """Return a depression far too small on the third day, after falling for so many days."""

    def change(channels: Any) -> None:
        hours = np.arange(len(channels["dry-bulb"])) * INTERVAL / 60
        second = 2.5 if days == 2 else 3.5
        depression = np.interp(
            hours, [6, 30, 40, 48, 58, 78, 78.1], [3.5, 3.5, second, second, 1.0, 1.0, 3.5]
        )
        first = hours < 96.0
        channels["dry-bulb"][first] = 43.0
        channels["wet-bulb"][first] = 43.0 - depression[first]

    return change


def opened(kelvin: float) -> Any:
    """Return air near saturation whose depression grows by this much in half an hour."""

    def change(channels: Any) -> None:
        hours = np.arange(len(channels["dry-bulb"])) * INTERVAL / 60
        channels["dry-bulb"][:] = 43.0
        channels["wet-bulb"][:] = 42.5 - kelvin * np.clip((hours - 60.0) / 0.5, 0.0, 1.0)

    return change


def standing(readings: int) -> Any:
    """Return fans that are off for so many readings of the third day."""
    return fans_off(49, (readings - 1) * INTERVAL / 60)


def lost_beyond(e: float) -> Any:
    """Return a stop after which S1, 6.24 points a day, is just within or beyond the margin."""
    running = 24 * 6.24 / (6.5 * (1 + limit("running-loss-margin") / 100))
    return charge(log=standing(int((24 - running) * 60 / INTERVAL) + (e > 0)))


def of_density(kg_m3: float, lost: float) -> Any:
    """Return board S1 of a species without a safe rate, losing this much in a day."""
    return charge(
        {
            **alone(60.0, 60.0 - lost),
            "species:safe_daily_loss": [],
            "species:refractory": False,
            "species:specific_gravity.0.basic": kg_m3 / 1000,
        }
    )


#: The clean drop across the load is 1 K; day 6 is the first below 30 %.
def drop(kelvin: float, **_: float) -> Any:
    return moved("dry-bulb-leaving", 144, 108, by=-kelvin)


FAULTS = [
    Fault(
        "air-as-asked",
        {},
        (
            "Step 2 was too humid by the log for 10 h, the longest time from 2026-04-10 22:00: asked 43.0 °C "
            "at 8.0 K (9.9 % EMC), kept 43.0 °C at 7.1 K (10.8 % EMC) on average.",
        ),
        line(110),
        10.2,
        6.0,
        make={"log": air(110, 10, 43.0, 4.0)},
    ),
    Fault(
        "step-late",
        late_step(day(6.5)),
        (
            "Step 2 was made late, on 2026-04-12 20:00: it was due for 60 h, and the controlling "
            "MC was 12.5 points below its trigger.",
        ),
        f"- at: {day(6.5)}",
        60,
        48,
    ),
    Fault(
        "start-step",
        {"stock.0.start": "air-dried", "step_changes.0.step": 2},
        ("Begun at step 2 with the controlling MC at 61.2 %, for which step 1 is due.",),
        "step: 2",
        2,
        1,
    ),
    Fault(
        "step-hours",
        timed(48),
        ("Step 1 ran 48 h; the schedule asks 96 h.",),
        f"- at: {day(0)}",
        -50,
        10,
    ),
    Fault(
        "loss-per-running-hour",
        {},
        (
            "Board S1 lost 6.2 points in 12 running hours to 2026-04-09 08:00: 12.5 for each day "
            "of running, where 6.5 is the limit for 4/4.",
            "Board S2 lost 6.1 points in 12 running hours to 2026-04-09 08:00: 12.2 for each day "
            "of running, where 6.5 is the limit for 4/4.",
            "Board S3 lost 6.0 points in 12 running hours to 2026-04-09 08:00: 12.0 for each day "
            "of running, where 6.5 is the limit for 4/4.",
            "Board S4 lost 6.0 points in 12 running hours to 2026-04-09 08:00: 11.9 for each day "
            "of running, where 6.5 is the limit for 4/4.",
            "Board S5 lost 5.8 points in 12 running hours to 2026-04-09 08:00: 11.6 for each day "
            "of running, where 6.5 is the limit for 4/4.",
            "Board S6 lost 5.7 points in 12 running hours to 2026-04-09 08:00: 11.4 for each day "
            "of running, where 6.5 is the limit for 4/4.",
        ),
        "S1: ",
        12.48,
        6.5,
        make={"log": standing(72)},
    ),
    Fault(
        "regain-in-stop",
        {**stop(50, 6), "weighings.2.masses.S1": mass_for("S1", 51.0)},
        ("Board S1 gained 32 g over the stop of 2026-04-08 10:00: look for checks and stain.",),
        "S1: ",
        0.7,
        0.2,
    ),
    Fault(
        "drop-across-load",
        {},
        (
            "The drop across the load grew from 1.0 K while wet to 4.0 K: look at air speed, "
            "baffles and the two sensors.",
        ),
        line(144),
        3.0,
        1.0,
        make={"log": drop(3.0)},
    ),
    Fault(
        "dry-wick",
        NO_HANDS,
        (
            "Wick may be dry or dirty: the depression sank from 3.0 to 1.0 K in 3 days to "
            "2026-04-08 14:00, where step 1 asks 3.5 K.",
        ),
        line(54),
        1.0,
        1.75,
        make={"log": sinking(1.0)},
    ),
]

BLANKS = [
    Blank("air-as-asked", {}, LOGLESS, {"log": NO_LOG}),
    Blank(
        "air-as-asked",
        NO_STEPS,
        "No step change is written down, so what was asked is not known.",
    ),
    NotRun("step-late", TIMED, "The schedule's steps end after a time, not at an MC."),
    NotRun("start-step", {}, "The timber was loaded green."),
    NotRun("step-hours", {}, "The schedule's steps end at an MC, not after a time."),
    Blank(
        "loss-per-running-hour",
        {},
        "The log does not hold the fans.",
        {"log": lambda channels: channels.pop("fan")},
    ),
    NotRun("regain-in-stop", {}, "The fans did not stop."),
    NotRun(
        "drop-across-load",
        {},
        "The log does not hold entering and leaving air.",
        {"log": lambda channels: channels.pop("dry-bulb-leaving")},
    ),
    Blank("loss-per-running-hour", NO_BOARDS, "No sample boards are on record."),
]

EDGES = [
    Edge(
        "air-as-asked",
        "depression-tolerance",
        lambda e: charge(log=air(110, 8, 43.0, 8.0 + limit("depression-tolerance") + e)),
    ),
    Edge(
        "air-as-asked",
        "emc-tolerance",
        lambda e: charge(
            {"schedule:steps.1.depression": "14 K"},
            log=both(
                air(96, 48, 43.0, 14.0),
                air(
                    110,
                    8,
                    43.0,
                    depression_for(43.0, emc(43.0, 14.0) - limit("emc-tolerance") - e),
                ),
            ),
        ),
    ),
    Edge(
        "air-as-asked",
        "widest-depression",
        lambda e: charge(log=air(170, 8, 60.0, limit("widest-depression") - e)),
    ),
    Edge(
        "air-as-asked",
        "outside-hours",
        lambda e: charge(log=air(110, limit("outside-hours") - INTERVAL / 60 + e, 43.0, 4.0)),
        step=INTERVAL / 60,
    ),
    Edge(
        "air-as-asked",
        "heat-up-hours",
        lambda e: charge(log=heating(limit("heat-up-hours") + limit("outside-hours") + e)),
        step=0.5,
    ),
    Edge(
        "too-hot-while-wet",
        "ceiling-while-wet-above",
        lambda e: charge(
            {
                "species:ceiling_while_wet": None,
                **weighed_at(limit("ceiling-while-wet-above") + limit("step-timing") + e, 1),
            },
            log=hotter(5.0, 1),
        ),
        step=0.05,
        beyond="question",
    ),
    Edge(
        "too-hot-while-wet",
        "ceiling-question-points",
        lambda e: charge(
            weighed_at(30.0 + limit("ceiling-question-points") + e, 1), log=hotter(5.0, 1)
        ),
        step=0.05,
        within="question",
    ),
    Edge(
        "step-hours",
        "step-hours",
        lambda e: charge(timed(96 * (1 - (limit("step-hours") + e) / 100))),
        step=0.5,
    ),
    Edge(
        "step-hours",
        "step-hours",
        lambda e: charge(timed(96 * (1 + (limit("step-hours") + e) / 100))),
        step=0.5,
    ),
    Edge(
        "step-late",
        "step-late-hours",
        lambda e: charge(late_step(day(4, limit("step-late-hours") + e))),
        step=0.1,
    ),
    Edge(
        "step-late",
        "step-late",
        lambda e: charge({**late_step(day(6.5)), **weighed_at(40.0 - limit("step-late") - e, 5)}),
        step=0.05,
    ),
    Edge("loss-per-running-hour", "running-loss-margin", lost_beyond),
    Edge(
        "loss-per-running-hour",
        "running-loss-least",
        lambda e: charge(
            log=standing(
                int((24 - limit("running-loss-least")) * 60 / INTERVAL) - (1 if e > 0 else -1)
            )
        ),
    ),
    Edge(
        "drop-across-load",
        "load-drop-rise",
        lambda e: charge(log=drop(limit("load-drop-rise") + e)),
    ),
    Edge(
        "drop-across-load",
        "load-drop-hours",
        lambda e: charge(
            log=both(drop(3.0), held("fan", 144 + limit("load-drop-hours") + e, 200, to=0.0))
        ),
        step=0.25,
        within="not applicable",
    ),
    Edge(
        "shock-change",
        "shock-change-noise",
        lambda e: charge(log=opened(limit("shock-change-noise") + e)),
    ),
    Edge(
        "dry-wick",
        "dry-wick-share",
        lambda e: charge(NO_HANDS, log=sinking(limit("dry-wick-share") / 100 * 3.5 - e)),
        step=0.05,
    ),
    Edge(
        "dry-wick",
        "dry-wick-days",
        lambda e: charge(NO_HANDS, log=sinking_for(round(limit("dry-wick-days")) - (e < 0))),
    ),
    *(
        Edge(
            "daily-loss",
            f"daily-loss-{name}",
            lambda e, name=name, density=density: of_density(
                density, limit(f"daily-loss-{name}") + limit("daily-loss-margin") + e
            ),
        )
        for name, density in (("light", 350.0), ("medium", 500.0), ("dense", 600.0))
    ),
    Edge(
        "daily-loss",
        "density-light-below",
        lambda e: of_density(limit("density-light-below") + e, 20.0),
        step=1.0,
    ),
    Edge(
        "daily-loss",
        "density-dense-from",
        lambda e: of_density(limit("density-dense-from") + e, 8.0),
        step=1.0,
    ),
]
