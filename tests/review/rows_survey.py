"""Rows for the survey, for the sums at the end of a charge, and for conditioning by target."""

from __future__ import annotations

from typing import Any

import numpy as np
from tests.review.inline import (
    BOARDS,
    NO_LOG,
    both,
    day,
    depression_for,
    held,
    limit,
    make_case,
    mass_for,
)
from tests.review.rows_arithmetic import NO_BOARDS
from tests.review.table import Blank, Edge, Fault, NotRun, charge

from kilnfolio.physics.mixture import two_groups

#: Water the clean charge lost [kg].
WATER = make_case().water.water_kg  # type: ignore[union-attr]
#: Readings about 8 % with a median deviation of 0.6 points, and that as a standard deviation.
WIDE = [8.0 + 0.3 * (n % 7 - 3) for n in range(48)]
WIDE_SD = 1.4826 * 0.6


def readings(values: Any) -> dict[str, Any]:
    return {
        "survey.readings": [
            {"mc": f"{value:.4f} %", "pack": f"P{n % 2 + 1}"} for n, value in enumerate(values)
        ]
    }


def weighed_last(mc: float) -> dict[str, Any]:
    """Return a charge whose boards were weighed once more when conditioning ended."""
    more = {
        "at": day(10.45),
        "by": "A. B.",
        "masses": {name: mass_for(name, mc) for name in BOARDS},
    }
    return {"weighings": lambda old: [*old, more]}


def groups(apart: float, n: int = 48) -> np.ndarray:
    """Return readings, half around one mean and half around another, so many points apart."""
    half = np.linspace(-0.4, 0.4, n // 2)
    return np.concatenate([7.0 + half, 7.0 + apart + np.linspace(-0.4, 0.4, n - n // 2)])


def groups_of_evidence(evidence: float) -> np.ndarray:
    """Return two groups exactly far enough apart to give this much evidence."""
    low, high = 0.5, 4.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (
            (middle, high)
            if two_groups(np.round(groups(middle), 4)).evidence < evidence
            else (low, middle)
        )
    return groups(high)


def tail(count: int, mc: float) -> dict[str, Any]:
    """Return the clean survey with this many readings at another MC."""
    return {f"survey.readings.{7 * n + 3}.mc": f"{mc:.4f} %" for n in range(count)}


def used(kwh_kg: float, kind: str = "steam") -> Any:
    return charge({"energy": f"{WATER * kwh_kg} kWh", "kiln:kind": kind})


def conditioned(target: float, emc: float) -> Any:
    return charge({"target_mc": f"{target} %", "conditioning.emc": f"{emc} %"})


def slow(hours: float) -> Any:
    """Return a kiln that keeps the equalizing air for some hours of the conditioning."""
    return both(
        held("dry-bulb", 240, hours, to=60.0),
        held("wet-bulb", 240, hours, to=60.0 - depression_for(60.0, 6.0)),
        held("dry-bulb", 240 + hours + 1 / 6, 11.8 - hours, to=65.0),
        held("wet-bulb", 240 + hours + 1 / 6, 11.8 - hours, to=65.0 - depression_for(65.0, 12.0)),
    )


FAULTS = [
    Fault(
        "boards-against-survey",
        weighed_last(10.0),
        ("The boards average 10.0 %, the survey 8.0 %.",),
        "at: ",
        2.0,
        1.0,
    ),
    Fault(
        "driest-board",
        {"weighings.9.masses.S6": mass_for("S6", 4.0)},
        ("Board S6 was dried to 4.0 %, 4.0 points below the target of 8 %.",),
        "S6: ",
        4.0,
        5.0,
    ),
    Fault(
        "conditioning-rise",
        {},
        ("Conditioning air took 8.2 h to come within 1 point of the 12.0 % EMC set.",),
        "start: ",
        8.2,
        4.0,
        make={"log": slow(8)},
    ),
    Fault(
        "energy-for-water",
        {"energy": f"{WATER * 4} kWh"},
        (
            "4.00 kWh for each kilogram of water; a steam kiln takes 1 to 2.7: check the meter, the "
            "volume and the boards.",
        ),
        "energy: ",
        4.0,
        2.7,
    ),
    Fault(
        "survey-coverage",
        {"survey.readings": lambda old: [{**one, "pack": "P1"} for one in old]},
        ("Pack P2 (back) was not measured.",),
        "- mc: ",
        0,
        1,
    ),
    Fault(
        "survey-shape",
        readings(groups(3.0)),
        ("The readings fall into two groups, about 7.0 % and 10.0 % (50 % of them).",),
        "- mc: ",
        two_groups(np.round(groups(3.0), 4)).evidence,
        10,
    ),
    Fault(
        "survey-shape",
        tail(3, 12.0),
        (
            "3 of 48 readings lie far above the others, the wettest at 12.0 % where the middle one "
            "is 8.0 %.",
        ),
        "- mc: 12.0000 %",
        6.25,
        4,
    ),
    Fault(
        "cooled-before-survey",
        {"survey.at": day(10.5, 6)},
        ("Surveyed 6 h after drying ended; 12 h are usual for the timber to cool.",),
        f"at: {day(10.5, 6)}",
        6,
        12,
    ),
]

NO_SURVEY = {"survey": None}
BLANKS = [
    *(
        Blank(slug, NO_SURVEY, "No final survey is on record.")
        for slug in (
            "boards-against-survey",
            "survey-coverage",
            "survey-shape",
            "cooled-before-survey",
        )
    ),
    Blank(
        "boards-against-survey",
        {},
        "No weighing is on record at the end of drying to compare the survey with.",
    ),
    Blank(
        "driest-board",
        {**NO_BOARDS, "equalizing": None},
        "No weighing is on record near the end.",
    ),
    NotRun("conditioning-rise", {"conditioning": None}, "The charge was not conditioned."),
    Blank("conditioning-rise", {}, "No logger file is on record.", {"log": NO_LOG}),
    NotRun("energy-for-water", {"energy": None}, "No metered energy is on record."),
    NotRun(
        "energy-for-water", {"kiln:kind": "vacuum"}, "No usual figure is known for a vacuum kiln."
    ),
    Blank("survey-coverage", {"stacking": None}, "No stacking record lists the packs."),
    NotRun(
        "survey-shape",
        {"survey.readings": lambda old: old[:12]},
        "12 readings are too few to show a shape; 20 are needed.",
    ),
]

EDGES = [
    *(
        Edge(
            "boards-against-survey",
            "boards-against-survey",
            lambda e, side=side: charge(
                weighed_last(8.0 + side * (limit("boards-against-survey") + e))
            ),
            step=0.25,  # both uncertainties together are about a tenth of a point
        )
        for side in (1, -1)
    ),
    Edge(
        "driest-board",
        "driest-board",
        lambda e: charge(
            {"weighings.9.masses.S6": mass_for("S6", 8.0 - limit("driest-board") - e)}
        ),
        step=0.3,  # the board's own uncertainty is about half of that
    ),
    Edge(
        "conditioning-rise",
        "conditioning-rise",
        lambda e: charge(log=slow(limit("conditioning-rise") + e)),
        step=0.5,
    ),
    Edge("energy-for-water", "energy-high", lambda e: used(limit("energy-high") + e)),
    Edge("energy-for-water", "energy-low", lambda e: used(limit("energy-low") - e)),
    Edge(
        "energy-for-water",
        "heat-pump-energy-high",
        lambda e: used(limit("heat-pump-energy-high") + e, "dehumidification"),
    ),
    Edge(
        "energy-for-water",
        "heat-pump-energy-low",
        lambda e: used(limit("heat-pump-energy-low") - e, "dehumidification"),
    ),
    Edge(
        "survey-coverage",
        "survey-each",
        lambda e: charge(
            {
                "survey.readings": lambda old: [
                    {**one, "pack": "P2" if n < limit("survey-each") - (e > 0) else "P1"}
                    for n, one in enumerate(old)
                ]
            }
        ),
    ),
    Edge(
        "survey-shape",
        "survey-shape-least",
        lambda e: charge(readings(groups(3.0, int(limit("survey-shape-least")) - (e < 0)))),
        within="not applicable",
    ),
    Edge(
        "survey-shape",
        "survey-two-groups",
        lambda e: charge(readings(groups_of_evidence(limit("survey-two-groups") + e))),
        step=0.2,
    ),
    Edge(
        "survey-shape",
        "survey-wet-tail",
        lambda e: charge(
            readings([*WIDE[:45], *[8.0 + limit("survey-wet-tail") * WIDE_SD + e] * 3])
        ),
    ),
    Edge(
        "survey-shape",
        "survey-wet-tail-points",
        lambda e: charge(tail(3, 8.0 + limit("survey-wet-tail-points") + e)),
    ),
    Edge(
        "survey-shape",
        "survey-wet-tail-share",
        lambda e: charge(tail(int(48 * limit("survey-wet-tail-share") / 100) + (e > 0), 12.0)),
    ),
    Edge(
        "cooled-before-survey",
        "cooled-hours",
        lambda e: charge({"survey.at": day(10.5, limit("cooled-hours") - e)}),
        step=0.1,
    ),
    Edge(
        "cooled-before-survey",
        "cooled-wood",
        lambda e: charge(
            {
                "survey.at": day(10.5, 6),
                "survey.wood_temperature": f"{limit('cooled-wood') + e} °C",
            }
        ),
    ),
    *(
        Edge(
            "conditioning-rule",
            "conditioning-above-low-target",
            lambda e, side=side: conditioned(
                6.0, 6.0 + limit("conditioning-above-low-target") + side * (limit("stage-emc") + e)
            ),
        )
        for side in (1, -1)
    ),
    # up to the low target the lower points apply; from there on the rule rises twice as fast
    Edge(
        "conditioning-rule",
        "conditioning-low-up-to",
        lambda e: conditioned(
            limit("conditioning-low-up-to") + e,
            limit("conditioning-low-up-to") + e + limit("conditioning-above-low-target") - 0.95,
        ),
        step=0.1,
    ),
    Edge(
        "conditioning-rule",
        "conditioning-full-from",
        lambda e: conditioned(
            limit("conditioning-full-from") - e,
            limit("conditioning-full-from") - e + limit("conditioning-above-target") + 0.95,
        ),
        step=0.1,
    ),
]
