"""Rows for the checks of pins and EMC sensors."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from tests.review.inline import (
    DAILY_MC,
    INTERVAL,
    NO_LOG,
    clean_channels,
    limit,
    line,
)
from tests.review.table import Blank, Edge, Fault, NotRun, charge

from kilnfolio.physics.sorption import equilibrium_moisture_content

#: MC of a board in the middle of the others, by day [%].
MIDDLE = (*DAILY_MC, 6.7)
#: The survey of the clean charge reads from 7.7 to 8.3 %, the end of the charge is day 10.5.
HIGHEST_OF_SURVEY, ENDED = 8.3, 252.0

Change = Callable[[Any], None]


def pins(off: float = 0.0, *, first: float = 0.0, last: float = 99.0) -> Change:
    """Return pins in a board in the middle of the others, off by so much between two days."""

    def change(channels: Any) -> None:
        hours, _ = clean_channels()
        mc = np.interp(hours, 24.0 * np.arange(len(MIDDLE)), MIDDLE)
        wrong = (hours >= 24.0 * first) & (hours <= 24.0 * last)
        channels["pin-1"] = mc + np.where(wrong, off, 0.0)

    return change


def wafer(off: float = 0.0, *, first: float = 0.0, hours: float = 1e3) -> Change:
    """Return an EMC sensor that shows the EMC of the bulbs, off by so much from an hour on."""

    def change(channels: Any) -> None:
        at, clean = clean_channels()
        emc = equilibrium_moisture_content(clean["dry-bulb"], clean["relative-humidity"])
        wrong = (at >= first - 1e-9) & (at <= first + hours + 1e-9)
        channels["emc"] = emc + np.where(wrong, off, 0.0)

    return change


def wafer_alone(shows: float) -> Change:
    """Return an EMC sensor that always shows one value, in a log without wet bulb."""

    def change(channels: Any) -> None:
        del channels["wet-bulb"], channels["relative-humidity"]
        channels["emc"] = np.full(len(channels["dry-bulb"]), shows)

    return change


def instrument(**more: Any) -> dict[str, Any]:
    """Return the change that writes a sensor into the kiln's record."""
    return {"kiln:instruments": lambda old: [*old, more]}


PINS = instrument(id="pins", kind="MC pins", channel="pin-1", corrected_for=["species"])

FAULTS = [
    # day 8: 15.0 beside boards of 9.5 to 10.4
    Fault(
        "pins-against-boards",
        {},
        (
            "pin-1 shows up to 4.6 points more than the wettest, from the boards of 2026-04-13 "
            "08:00 to the final survey: 15.0 % against 9.5 to 10.4 %.",
        ),
        line(7 * 24),
        4.6,
        3.0,
        make={"log": pins(5.0, first=6.5)},
    ),
    # a loose pin: what it shows is below what resistance can tell
    Fault(
        "pins-against-boards",
        PINS,
        (
            "pin-1 shows nothing between 6 and 30 % from the boards of 2026-04-13 08:00 to the "
            "boards of 2026-04-14 08:00, which are at 9.5 to 10.4 %: look for a loose pin or a "
            "broken cable.",
        ),
        line(7 * 24),
        make={"log": pins(-15.0, first=6.5)},
    ),
    # 6.7 as the boards; 12 in the last hours, beside a survey of 7.7 to 8.3
    Fault(
        "pins-against-boards",
        {},
        (
            "pin-1 shows up to 3.7 points more than the wettest, from the final survey: 12.0 % "
            "against 7.7 to 8.3 %.",
        ),
        line(ENDED),
        3.7,
        3.0,
        make={"log": pins(5.3, first=10.3)},
    ),
    Fault(
        "emc-sensor-against-bulbs",
        {},
        (
            "The EMC sensor shows up to 2.0 points less than the bulbs from 2026-04-10 12:00 for "
            "20.0 h: compare both with a fresh wick and a new wafer.",
        ),
        line(100),
        2.0,
        1.5,
        make={"log": wafer(-2.0, first=100, hours=20)},
    ),
    # by the hand readings' 43.0 and 39.0 °C the sheet has 14.1 %
    Fault(
        "emc-sensor-against-bulbs",
        {},
        (
            "The EMC sensor shows up to 3.1 points less than bulbs read by hand, from 2026-04-07 "
            "09:00 to 2026-04-08 09:00.",
        ),
        "- at: ",
        3.1,
        1.5,
        make={"log": wafer_alone(11.0)},
    ),
]

BLANKS = [
    NotRun("pins-against-boards", {}, "The log holds no pins in the timber."),
    NotRun("emc-sensor-against-bulbs", {}, "The log holds no EMC sensor."),
    NotRun("pins-against-boards", {}, "The log holds no pins in the timber.", {"log": NO_LOG}),
    Blank(
        "pins-against-boards",
        {"boards": [], "weighings": [], "survey": None},
        "Neither a round of boards nor a survey is on record to compare the pins with.",
        {"log": pins()},
    ),
    # while everything is wetter than pins can read there is nothing to compare
    NotRun(
        "pins-against-boards",
        {"weighings": lambda old: old[:1], "survey": None},
        "Pins read 6 to 30 % MC, and neither a round of boards nor a survey lies within that range.",
        {"log": pins()},
    ),
    Blank(
        "emc-sensor-against-bulbs",
        {"hand_readings": []},
        "No wet bulb is logged beside the EMC sensor, and none was read by hand.",
        {"log": wafer_alone(14.0)},
    ),
]

EDGES = [
    Edge(
        "pins-against-boards",
        "pins-apart",
        lambda e: charge(
            log=pins(HIGHEST_OF_SURVEY - MIDDLE[-1] + limit("pins-apart") + e, first=10.3)
        ),
    ),
    Edge(
        "pins-against-boards",
        "pins-apart-rounds",
        lambda e: charge(log=pins(5.0, first=6.5, last=6.5 + limit("pins-apart-rounds") + e)),
        step=1,
    ),
    # the log breaks off so long before the charge ends
    Edge(
        "pins-against-boards",
        "pins-apart-hours",
        lambda e: charge(
            log=pins(5.3, first=10.3), gap=(ENDED - limit("pins-apart-hours") + e, ENDED + 1)
        ),
        step=INTERVAL / 60,
    ),
    Edge(
        "emc-sensor-against-bulbs",
        "emc-sensor-apart",
        lambda e: charge(log=wafer(limit("emc-sensor-apart") + e)),
    ),
    Edge(
        "emc-sensor-against-bulbs",
        "emc-sensor-hours",
        lambda e: charge(log=wafer(4.0, first=100, hours=limit("emc-sensor-hours") + min(e, 0))),
        step=INTERVAL / 60,
    ),
]

#: What passes because it agrees, with what is said of it.
AGREEING = [
    (
        "pins-against-boards",
        pins(),
        "Readings of pins were compared 6 times with the range of the boards or of the survey, and "
        "lay at most 1.0 points outside it.",
    ),
    (
        "emc-sensor-against-bulbs",
        wafer(0.5),
        "The EMC sensor and the bulbs are 0.5 points apart (median of all readings), and never "
        "for 12 h further apart than their errors and 1.5 points.",
    ),
    (
        "emc-sensor-against-bulbs",
        wafer_alone(14.0),
        "The EMC sensor was compared with bulbs read by hand 2 times, and none of the comparisons "
        "differed by more than 1.5 points.",
    ),
]
