"""Rows for the checks of equalizing, conditioning, survey and stress."""

from __future__ import annotations

from typing import Any

from tests.review.inline import BOARDS, NO_LOG, day, limit, make_case, mass_for
from tests.review.table import Blank, Edge, Fault, NotRun, charge

TARGET = 8.0
#: About the uncertainty of a board's MC near the end, from scale and sections [points].
UNSURE = make_case().boards[0].points[-1].uncertainty_pct


def begun_at(driest: float, emc: float = 6.0) -> dict[str, str]:
    """Return changes that begin equalizing with every board at one MC and the air set to one EMC."""
    return {
        "equalizing.emc": f"{emc:.3f} %",
        **{f"weighings.8.masses.{name}": mass_for(name, driest) for name in BOARDS},
    }


def surveyed(mean: float) -> dict[str, Any]:
    return {"survey.readings": [{"mc": f"{mean + off:.3f} %"} for off in (-0.2, 0.0, 0.2)] * 16}


def percent(value: float) -> str:
    return f"{value} %"


def due() -> float:
    return TARGET - limit("equalizing-below-target")


FAULTS = [
    Fault(
        "equalizing-start",
        {"equalizing.start": day(8)},
        ("Equalizing began at driest 9.5 %; the rule says 6 %.",),
        "start: ",
        9.5,
        6.0,
    ),
    Fault(
        "equalizing-start",
        {"equalizing.emc": "4.0 %"},
        ("Equalizing EMC was set to 4.0 %; the rule says 6 %.",),
        "emc: 4.0 %",
        4.0,
        6.0,
    ),
    Fault(
        "equalizing-end",
        {"weighings.9.masses.S1": mass_for("S1", 8.6)},
        ("Wettest still 8.6 % (board S1) when equalizing ended; the target is 8 %.",),
        "end: ",
        8.6,
        8.0,
    ),
    Fault(
        "conditioning-emc",
        {"conditioning.emc": "14 %"},
        ("Conditioning air not reached: EMC 12.0 % against 14.0 % set.",),
        "emc: 14 %",
        -2.0,
        1.0,
    ),
    Fault(
        "conditioning-rule",
        {"conditioning.emc": "10 %"},
        ("Conditioning EMC was set to 10.0 %; the rule says 12 %.",),
        "emc: 10 %",
        10.0,
        12.0,
    ),
    Fault(
        "meter-corrections",
        {"survey.corrected_for": ["species"]},
        (
            "Readings not corrected for temperature, and the temperature of the wood is not "
            "written "
            "down.",
        ),
        "at: ",
    ),
    Fault(
        "meter-corrections",
        {"survey.corrected_for": ["temperature"], "species:meter_correction": None},
        ("Readings not corrected for species, and the species sheet gives no correction.",),
        "at: ",
    ),
    Fault(
        "meter-corrections",
        {"survey.readings.3.mc": "5.2 %"},
        (
            "1 of 48 readings is below the meter's range of 6 to 30 %, the first 5.2 %: a reading "
            "there shows only that the wood is drier than the range.",
        ),
        "- mc: 5.2 %",
        1,
        0,
        outcome="note",
    ),
    Fault(
        "meter-against-oven",
        {"survey.oven_pairs": [{"meter": "9.8 %", "oven": "8.2 %"}] * 5},
        ("Meter reads +1.6 points off oven over 5 pieces.",),
        "- meter: 9.8 %",
        1.6,
        1.0,
    ),
    Fault(
        "target-reached",
        surveyed(9.5),
        ("Survey mean 9.5 %; the charge aimed at 8 %.",),
        "at: ",
        1.5,
        1.0,
    ),
    Fault(
        "drying-stress",
        {"stress.gaps.0": "5 mm", "stress.gaps.1": "4 mm"},
        ("2 of 10 sections stressed beyond 3.2 mm.",),
        "at: ",
        20.0,
        0.0,
    ),
    Fault(
        "shell-and-core",
        {"stress.core_mc": "11.0 %"},
        ("Core still wetter by 3.4 points.",),
        "core_mc: 11.0 %",
        3.4,
        2.0,
    ),
]

BLANKS = [
    NotRun("equalizing-start", {"equalizing": None}, "The charge was not equalized."),
    Blank(
        "equalizing-start",
        {"boards": [], "weighings": []},
        "No weighing is on record before equalizing.",
    ),
    NotRun("equalizing-end", {"equalizing": None}, "The charge was not equalized."),
    Blank(
        "equalizing-end",
        {"weighings.9": None},
        "No weighing is on record at the end of equalizing.",
    ),
    NotRun(
        "conditioning-emc",
        {"equalizing": None, "conditioning": None},
        "The charge was neither equalized nor conditioned.",
    ),
    NotRun(
        "meter-corrections",
        {"survey.method": "oven-dry sections"},
        "The survey was made by oven, not by meter.",
    ),
    Blank("conditioning-emc", {}, "No log covers equalizing or conditioning.", {"log": NO_LOG}),
    NotRun("conditioning-rule", {"conditioning": None}, "The charge was not conditioned."),
    Blank("meter-corrections", {"survey": None}, "No final survey is on record."),
    Blank(
        "meter-against-oven",
        {"survey.oven_pairs": []},
        "No pieces were measured by meter and oven.",
    ),
    Blank("target-reached", {"survey": None}, "No final survey is on record."),
    Blank("drying-stress", {"stress": None}, "No stress test is on record."),
    Blank("shell-and-core", {"stress.core_mc": None}, "Shell and core were not measured."),
]

EDGES = [
    Edge(
        "equalizing-start",
        "equalizing-below-target equalizing-start-tolerance",
        lambda e: charge(begun_at(due() + limit("equalizing-start-tolerance") + UNSURE + e)),
        step=0.1,
    ),
    Edge(
        "equalizing-start",
        "equalizing-below-target equalizing-start-tolerance",
        lambda e: charge(begun_at(due() - limit("equalizing-start-tolerance") - UNSURE - e)),
        step=0.1,
    ),
    Edge(
        "equalizing-start",
        "equalizing-start-tolerance",
        lambda e: charge(
            {"equalizing.emc": f"{due() + limit('equalizing-start-tolerance') + e:.3f} %"}
        ),
    ),
    Edge(
        "equalizing-end",
        "equalizing-end-tolerance",
        lambda e: charge(
            {
                "weighings.9.masses.S1": mass_for(
                    "S1", TARGET + limit("equalizing-end-tolerance") + e
                )
            }
        ),
        beyond="question",
    ),
    # beyond the board's own uncertainty it is more than a question
    Edge(
        "equalizing-end",
        "equalizing-end-tolerance",
        lambda e: charge(
            {
                "weighings.9.masses.S1": mass_for(
                    "S1", TARGET + limit("equalizing-end-tolerance") + UNSURE + e
                )
            }
        ),
        step=0.03,
        within="question",
    ),
    # a weighing after the grace period no longer counts for the end
    Edge(
        "equalizing-end",
        "stage-end-grace",
        lambda e: charge({"weighings.9.at": day(10, limit("stage-end-grace") + e)}),
        step=0.1,
        beyond="no data",
    ),
    Edge(
        "conditioning-emc",
        "stage-emc",
        lambda e: charge(
            {
                "equalizing.emc": percent(
                    make_case().equalizing.achieved_emc_pct + limit("stage-emc") + e
                )
            }
        ),
    ),
    *(
        Edge(
            "conditioning-rule",
            "stage-emc conditioning-above-target",
            lambda e, side=side: charge(
                {
                    "conditioning.emc": percent(
                        TARGET
                        + limit("conditioning-above-target")
                        + side * (limit("stage-emc") + e)
                    )
                }
            ),
        )
        for side in (1, -1)
    ),
    # the second entry of the file is for softwoods
    Edge(
        "conditioning-rule",
        "conditioning-above-target",
        lambda e: charge(
            {
                "species:kind": "softwood",
                "conditioning.emc": percent(
                    TARGET + limit("conditioning-above-target", 1) + limit("stage-emc") + e
                ),
            }
        ),
    ),
    Edge(
        "meter-corrections",
        "meter-lowest",
        lambda e: charge({"survey.readings.0.mc": f"{limit('meter-lowest') - e} %"}),
        beyond="note",
    ),
    Edge(
        "meter-corrections",
        "meter-low-target",
        lambda e: charge(
            {"target_mc": f"{limit('meter-low-target') + e} %", "survey.readings.0.mc": "5 %"}
        ),
        within="note",
        beyond="question",
    ),
    Edge(
        "meter-corrections",
        "meter-highest",
        lambda e: charge({"survey.readings.0.mc": f"{limit('meter-highest') + e} %"}),
        beyond="question",
    ),
    *(
        Edge(
            "meter-against-oven",
            "meter-against-oven",
            lambda e, side=side: charge(
                {
                    "survey.oven_pairs": [
                        {
                            "meter": f"{9 + side * (limit('meter-against-oven') + e)} %",
                            "oven": "9 %",
                        }
                    ]
                }
            ),
        )
        for side in (1, -1)
    ),
    Edge(
        "target-reached",
        "target-reached",
        lambda e: charge(surveyed(TARGET + limit("target-reached") + e)),
    ),
    Edge(
        "target-reached",
        "target-reached",
        lambda e: charge(
            {"species:kind": "softwood", **surveyed(TARGET + limit("target-reached", 1) + e)}
        ),
    ),
    Edge("drying-stress", "stressed-share", lambda e: charge({"stress.gaps.0": f"{3.2 + e} mm"})),
    Edge(
        "shell-and-core",
        "shell-and-core",
        lambda e: charge(
            {"stress.shell_mc": "7 %", "stress.core_mc": f"{7 + limit('shell-and-core') + e} %"}
        ),
    ),
]
