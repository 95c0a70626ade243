"""Rows for the checks of drying rate."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
from tests.review.inline import (
    BOARDS,
    INTERVAL,
    NO_LOG,
    both,
    held,
    limit,
    line,
    mass_for,
    rows,
)
from tests.review.rows_arithmetic import NO_BOARDS
from tests.review.rows_boards import weighed_at
from tests.review.table import Blank, Edge, Fault, charge

from kilnfolio.physics.air import wet_bulb
from kilnfolio.physics.sorption import relative_humidity_for_emc
from kilnfolio.records.quantities import Length

SAFE = 6.5
LOGLESS = "No logger file is on record."


def alone(start: float, first: float, thickness: str = "4/4") -> dict[str, Any]:
    """Return changes that keep only board S1, weighed on days 0 and 1 at these MCs."""

    def weighings(old: list[Any]) -> list[Any]:
        return [
            {
                **old[0],
                "at": "2026-04-06T08:10",
                "masses": {"S1": mass_for("S1", start)},
                "stated_mc": {},
            },
            {
                **old[0],
                "at": "2026-04-07T08:10",
                "stated_mc": {},
                "masses": {"S1": mass_for("S1", first)},
            },
        ]

    return {
        "boards": lambda boards: boards[:1],
        "weighings": weighings,
        "stock.0.thickness": thickness,
    }


def quick_for(longer: float) -> dict[str, Any]:
    """Return changes that keep only S1: two slow days, then a seventh above the safe rate.

    The quick stretch is so many hours longer than what counts as a day.
    """
    day = limit("daily-loss-hours")
    last = 58.0 - 1.15 * SAFE * day / 24
    at = dt.datetime(2026, 4, 6, 8, 10) + dt.timedelta(hours=48)  # noqa: DTZ001  the mill's clock
    later = at + dt.timedelta(hours=day + longer)

    def weighings(old: list[Any]) -> list[Any]:
        return [
            {**old[0], "at": when, "stated_mc": {}, "masses": {"S1": mass_for("S1", mc)}}
            for when, mc in (
                ("2026-04-06T08:10", 60.0),
                (at.isoformat(timespec="minutes"), 58.0),
                (later.isoformat(timespec="minutes"), last),
            )
        ]

    return {"boards": lambda boards: boards[:1], "weighings": weighings}


def emc_drop(points: float, at: float = 60.0, over_hours: float = 0.5) -> Any:
    """Return air whose EMC falls by so many points at one hour, the dry bulb at 43 °C."""

    def change(channels: Any) -> None:
        hours = np.arange(len(channels["dry-bulb"])) * INTERVAL / 60
        emc = 15.0 - points * np.clip((hours - at) / over_hours, 0.0, 1.0)
        channels["dry-bulb"][:] = 43.0
        channels["wet-bulb"] = wet_bulb(43.0, relative_humidity_for_emc(43.0, emc))

    return change


def mouldy(hours: float, *, dry: float = 30.0, humidity: float = 95.0) -> Any:
    def change(channels: Any) -> None:
        span = rows(50, hours)
        channels["dry-bulb"][span] = dry
        channels["wet-bulb"][span] = wet_bulb(dry, humidity)

    return change


def still(hours: float, **air: float) -> Any:
    """Return the same air with the fans off."""
    return both(mouldy(hours, **air), held("fan", 0, 252, to=0.0))


def odd_board(deviations: float, unit: float = 0.1) -> dict[str, Any]:
    """Return boards whose drying, ln(first MC / last MC), is 0, ±1 and ±1 units off, and one this
    many.

    Their median is 0 and their median deviation 1 unit; a standard deviation is 1.4826 units.
    """
    middle = 1.0
    places = dict(zip(BOARDS, (-1, -1, 0, 0, 1, 1.4826 * deviations), strict=True))
    return {
        "weighings": lambda old: [
            {
                **old[0],
                "stated_mc": {},
                "stated_controlling_mc": None,
                "masses": {name: mass_for(name, 60.0) for name in BOARDS},
            },
            {
                **old[1],
                "stated_mc": {},
                "stated_controlling_mc": None,
                "masses": {
                    name: mass_for(name, green_of(name) / np.exp(middle + unit * places[name]))
                    for name in BOARDS
                },
            },
        ]
    }


def green_of(name: str) -> float:
    """Return the MC of a board when cut, as its sections have it."""
    green = round(120 * (1 + 60.0 * BOARDS[name] / 100), 1)
    return 100 * (green / 120 - 1)


FAULTS = [
    Fault(
        "daily-loss",
        {"weighings.1.masses.S1": mass_for("S1", 48.8)},
        ("Board S1 lost 7.4 points a day to 2026-04-08 08:00; the limit is 6.5 for 4/4.",),
        "S1: ",
        7.36,
        6.5,
    ),
    Fault(
        "daily-loss",
        {"weighings.1.masses.S1": mass_for("S1", 46.0)},
        ("Board S1 lost 10.2 points a day to 2026-04-08 08:00; the limit is 6.5 for 4/4.",),
        "S1: ",
        10.16,
        6.5,
        outcome="fail",
    ),
    Fault(
        "thick-stock-limit",
        {"stock.0.thickness": "8/4"},
        (
            "Limit extrapolated beyond the species sheet: 6.5 points a day for 4/4 becomes 2.6 for 8/4.",
        ),
        "thickness: 8/4",
        2.6,
        6.5,
    ),
    Fault(
        "rewetted",
        {"weighings.3.masses.S1": mass_for("S1", 45.0)},
        ("Board S1 regained 1.3 points by 2026-04-10 08:00: old checks may deepen.",),
        "S1: ",
        1.3,
        0.5,
    ),
    Fault(
        "shock-change",
        {},
        ("Shock change of air: EMC fell 4.0 points within an hour by 2026-04-08 20:30.",),
        line(60.5),
        4.0,
        3.0,
        make={"log": emc_drop(4.0)},
    ),
    Fault(
        "stain-conditions",
        {},
        ("Stain and mould conditions for 30 h from 2026-04-08 10:00.",),
        line(50),
        30,
        24,
        make={"log": still(30)},
    ),
    Fault(
        "outlier-board", odd_board(6.0), ("Board S6 dries unlike the others.",), "S6: ", 6.0, 3.0
    ),
]

BLANKS = [
    Blank("daily-loss", NO_BOARDS, "No sample boards are on record."),
    Blank(
        "daily-loss",
        {"species:safe_daily_loss": [], "species:specific_gravity": []},
        "No species sheet gives a safe daily loss or a density.",
    ),
    Blank(
        "thick-stock-limit",
        {"species:safe_daily_loss": []},
        "No species sheet gives a safe daily loss.",
    ),
    Blank("rewetted", NO_BOARDS, "No sample boards are on record."),
    Blank("shock-change", {}, LOGLESS, {"log": NO_LOG}),
    Blank("shock-change", NO_BOARDS, "No weighing is on record."),
    Blank("stain-conditions", {}, LOGLESS, {"log": NO_LOG}),
    Blank(
        "outlier-board",
        {"boards": lambda boards: boards[:3]},
        "Fewer than four boards have three weighings.",
    ),
]

EDGES = [
    Edge(
        "daily-loss",
        "daily-loss-above",
        lambda e: charge({**weighed_at(limit("daily-loss-above") + e, 5), **weighed_at(22.0, 6)}),
        beyond="fail",
    ),
    Edge("daily-loss", "daily-loss-hours", lambda e: charge(quick_for(e)), step=0.5),
    Edge(
        "daily-loss",
        "daily-loss-margin",
        lambda e: charge(alone(60.0, 60.0 - SAFE - limit("daily-loss-margin") - e)),
    ),
    Edge(
        "daily-loss",
        "daily-loss-refused",
        lambda e: charge(alone(60.0, 60.0 - limit("daily-loss-refused") * SAFE - e)),
        within="question",
        beyond="fail",
    ),
    Edge(
        "daily-loss",
        "thick-stock-divisor",
        lambda e: charge(
            alone(
                60.0,
                60.0 - SAFE / limit("thick-stock-divisor") - limit("daily-loss-margin") - e,
                "8/4",
            )
        ),
    ),
    # beyond the thicknesses on the species sheet, the limit is computed
    Edge(
        "thick-stock-limit",
        "thick-stock-divisor",
        lambda e: charge({"stock.0.thickness": f"{Length.parse('4/4').value + max(e, 0)} mm"}),
    ),
    Edge("rewetted", "rewetted", lambda e: charge(alone(50.0, 50.0 + limit("rewetted") + e))),
    Edge("rewetted", "rewetted-above", lambda e: charge(alone(limit("rewetted-above") + e, 32.0))),
    Edge("shock-change", "shock-change", lambda e: charge(log=emc_drop(limit("shock-change") + e))),
    Edge(
        "shock-change",
        "shock-change-above",
        lambda e: charge(
            {
                f"weighings.{n}.masses.{name}": mass_for(name, limit("shock-change-above") + e)
                for n in range(2)
                for name in BOARDS
            },
            log=emc_drop(5.0),
        ),
        within="not applicable",
    ),
    Edge(
        "shock-change",
        "warm-up-hours",
        lambda e: charge(log=emc_drop(5.0, at=limit("warm-up-hours") - 0.5 + e)),
        step=1.0,
    ),
    Edge(
        "stain-conditions",
        "stain-hours",
        lambda e: charge(log=still(limit("stain-hours") + min(e, 0))),
        step=INTERVAL / 60,
    ),
    Edge(
        "stain-conditions",
        "stain-humidity",
        lambda e: charge(log=still(40, humidity=limit("stain-humidity") + e)),
    ),
    Edge(
        "stain-conditions",
        "stain-coolest",
        lambda e: charge(log=still(40, dry=limit("stain-coolest") + e)),
    ),
    Edge(
        "stain-conditions",
        "stain-hottest",
        lambda e: charge(log=still(40, dry=limit("stain-hottest") - e)),
    ),
    Edge(
        "outlier-board",
        "outlier-board",
        lambda e: charge(odd_board(limit("outlier-board") + e)),
        step=0.05,
    ),
    Edge(
        "outlier-board",
        "outlier-board-least",
        lambda e: charge(
            odd_board((limit("outlier-board-least") + e) / 100 / 1.4826 / 0.01, unit=0.01)
        ),
        step=0.2,
    ),
]
