"""Rows for the checks of arithmetic and physics."""

from __future__ import annotations

from typing import Any

from tests.review.inline import (
    NO_LOG,
    limit,
    line,
    make_case,
    mass_for,
    moved,
    without,
)
from tests.review.table import Blank, Edge, Fault, NotRun, charge

from kilnfolio.physics.air import wet_bulb
from kilnfolio.physics.moisture import maximum_moisture_content
from kilnfolio.physics.sorption import relative_humidity_for_emc

NO_BOARDS = {"boards": [], "weighings": []}
NOTHING_STATED = {
    "boards": lambda boards: [
        {
            **board,
            "sections": [
                {key: value for key, value in section.items() if key != "stated_mc"}
                for section in board["sections"]
            ],
        }
        for board in boards
    ],
    "weighings": lambda weighings: [{**weighing, "stated_mc": {}} for weighing in weighings],
}


def above_dry_bulb(by: float) -> Any:
    def change(channels: Any) -> None:
        span = slice(121, 128)
        channels["wet-bulb"][span] = channels["dry-bulb"][span] + by

    return change


def sheet_emc(emc: float, off: float) -> dict[str, Any]:
    """Return changes that make a hand reading's bulbs give `emc`, and the sheet state more."""
    wet = wet_bulb(60.0, relative_humidity_for_emc(60.0, emc))
    return {
        "hand_readings.0.dry_bulb": "60 °C",
        "hand_readings.0.wet_bulb": f"{wet:.4f} °C",
        "hand_readings.0.stated_emc": f"{emc + off:.4f} %",
    }


def sheet_mc(off: float) -> dict[str, Any]:
    """Return a change that makes the sheet state an MC this far from its masses."""
    record = make_case().charge
    mass = record.weighings[2].masses["S1"].value
    dry = record.boards[0].stated_oven_dry_mass.value
    return {"weighings.2.stated_mc.S1": f"{100 * (mass / dry - 1) + off:.4f} %"}


def sheet_dry_mass(off_pct: float) -> dict[str, Any]:
    dry = make_case().boards[0].oven_dry_g
    return {"boards.0.stated_oven_dry_mass": f"{dry * (1 + off_pct / 100):.4f} g"}


def wet_basis_section(off: float) -> dict[str, Any]:
    green = make_case().charge.boards[0].sections[0].green.value
    return {"boards.0.sections.0.stated_mc": f"{100 * (green - 120) / green + off:.4f} %"}


def board_at_lowest_emc(below: float) -> dict[str, Any]:
    emc = float(min(make_case().air.emc[:1400]))
    return {"weighings.9.masses.S6": mass_for("S6", emc - below)}


def mass_after_gain(gain_pct: float, since: int = 1) -> dict[str, Any]:
    before = make_case().charge.weighings[since].masses["S1"].value
    return {f"weighings.{since + 1}.masses.S1": f"{before * (1 + gain_pct / 100):.3f} g"}


def air_at_emc(emc: float) -> Any:
    """Return air of one EMC throughout."""

    def change(channels: Any) -> None:
        channels["dry-bulb"][:] = 43.0
        channels["wet-bulb"][:] = wet_bulb(43.0, relative_humidity_for_emc(43.0, emc))

    return change


def collected(off_pct: float) -> dict[str, Any]:
    return {"condensate": f"{make_case().water.water_kg * (1 + off_pct / 100) / 1000:.6f} m³"}


def last_digits(counts: tuple[int, ...]) -> dict[str, Any]:
    """Return changes that give the hand weights each last digit this often."""

    def ending(weighings: list[Any]) -> list[Any]:
        digits = iter([digit for digit, count in enumerate(counts) for _ in range(count)])
        for weighing in weighings:
            weighing["masses"] = {
                name: f"{mass.split()[0][:-1]}{next(digits)} g"
                for name, mass in weighing["masses"].items()
            }
        return weighings

    return {"weighings": ending}


ALL_ZERO = (60, *(0,) * 9)

FAULTS = [
    Fault(
        "wet-bulb-above-dry-bulb",
        {},
        (
            "Wet bulb is above dry bulb by up to 1.0 K from 2026-04-07 04:10 to 2026-04-07 05:10: "
            "swapped or faulty.",
        ),
        line(20) + 1,
        1.0,
        0.2,
        make={"log": above_dry_bulb(1.0)},
    ),
    Fault(
        "humidity-disagrees",
        {},
        ("Humidity readings disagree by 5.0 points.",),
        2,
        5.0,
        3.0,
        make={"log": moved("relative-humidity", 0, 252, by=5.0)},
    ),
    Fault(
        "stated-emc",
        {"hand_readings.0.stated_emc": "16.0 %"},
        ("Sheet EMC 16.0 %; readings of 2026-04-07 09:00 give 14.1 %.",),
        "stated_emc: 16.0 %",
        1.9,
        1.0,
    ),
    Fault(
        "stated-emc",
        {"hand_readings.0.wet_bulb": "47 °C"},
        ("The bulbs of 2026-04-07 09:00 cannot both be right: 43.0 °C and 47 °C.",),
        "stated_emc: 14.1 %",
    ),
    Fault(
        "stated-mc",
        {"weighings.2.stated_mc.S1": "52.0 %"},
        ("Board S1 on 2026-04-09 08:00: MC should be 43.7 %, not 52.0 %.",),
        "S1: 52.0 %",
        8.3,
        0.2,
    ),
    Fault(
        "stated-mc",
        {"boards.1.sections.1.stated_mc": "16.2 %"},
        ("Section S2b of board S2: MC should be 61.2 %, not 16.2 %.",),
        "stated_mc: 16.2 %",
        -45.0,
        0.2,
    ),
    Fault(
        "stated-oven-dry-mass",
        {"boards.0.stated_oven_dry_mass": "2797 g"},
        ("Board S1: oven-dry mass should be 2978 g, not 2797 g.",),
        "stated_oven_dry_mass: 2797 g",
        6.08,
        0.2,
    ),
    Fault(
        "wet-basis",
        {"boards.0.sections.0.stated_mc": "38.4 %"},
        ("Section S1a: this looks like wet-basis MC: 38.4 % is 62.4 % on the oven-dry mass.",),
        "stated_mc: 38.4 %",
        38.4,
        62.4,
    ),
    Fault(
        "mass-below-oven-dry",
        {"weighings.9.masses.S1": "2900 g"},
        ("Board S1 weighs less than bone dry on 2026-04-16 08:00: 2900 g against 2978 g.",),
        "S1: 2900 g",
        2900,
        2978.1,
    ),
    Fault(
        "mass-below-oven-dry",
        {"boards.2.sections.0.green": "112.0 g"},
        ("Section S3a of board S3 weighs less green than oven-dry: are the two swapped?",),
        "green: 112.0 g",
        112.0,
        120.0,
    ),
    Fault(
        "wetter-than-wood-can-be",
        {"weighings.0.masses.S1": "48370 g"},
        (
            "Board S1 on 2026-04-07 08:00 at 1524 % MC is wetter than the wood can be (142 %): "
            "check the mass and its unit.",
        ),
        "S1: 48370 g",
        1524.2,
        142.0,
    ),
    Fault(
        "drier-than-the-air-allows",
        {"weighings.9.masses.S6": mass_for("S6", 1.0)},
        (
            "Board S6 at 1.0 % on 2026-04-16 08:00 is drier than the air allowed (3.5 % EMC at the "
            "driest): recheck its oven-dry mass.",
        ),
        "S6: ",
        2.5,
        1.0,
    ),
    Fault(
        "gained-weight-while-drying",
        {"weighings.2.masses.S1": mass_for("S1", 51.0)},
        ("Board S1 gained 32 g between 2026-04-08 08:00 and 2026-04-09 08:00 while drying.",),
        "S1: ",
        0.7,
        0.2,
    ),
    Fault(
        "water-balance",
        {"condensate": "8.8 m³"},
        (
            "Water balance is out by -24 %: 8800 kg collected, the boards and the survey say "
            "11581 kg.",
        ),
        "condensate: 8.8 m³",
        -24.0,
        20.0,
    ),
    Fault(
        "hand-weights-rounded",
        last_digits(ALL_ZERO),
        ("Hand weights look rounded: 100 % of 60 share one last digit; please confirm.",),
        "- at: ",
        0.0,
        0.01,
    ),
]

BLANKS = [
    Blank(
        "wet-bulb-above-dry-bulb", {}, "The log has no pair of bulbs.", {"log": without("wet-bulb")}
    ),
    NotRun(
        "humidity-disagrees",
        {},
        "The log has no humidity sensor beside the bulbs.",
        {"log": without("relative-humidity")},
    ),
    NotRun("stated-emc", {"hand_readings": []}, "No hand reading states an EMC."),
    NotRun("stated-mc", NOTHING_STATED, "The sheet states no MC."),
    NotRun(
        "stated-oven-dry-mass",
        {f"boards.{n}.stated_oven_dry_mass": None for n in range(6)},
        "The sheet states no oven-dry mass.",
    ),
    NotRun("wet-basis", NOTHING_STATED, "No section states an MC."),
    Blank("mass-below-oven-dry", NO_BOARDS, "No sample boards are on record."),
    Blank(
        "wetter-than-wood-can-be",
        {"species:specific_gravity": []},
        "No board is on record whose species sheet gives a specific gravity.",
    ),
    Blank("drier-than-the-air-allows", {}, "No logger file is on record.", {"log": NO_LOG}),
    Blank("gained-weight-while-drying", NO_BOARDS, "No sample boards are on record."),
    NotRun("water-balance", {"condensate": None}, "A steam kiln collects no water."),
    Blank(
        "water-balance",
        {"survey": None},
        "Boards, survey or density are missing, so nobody knows how much water was lost.",
    ),
    Blank(
        "hand-weights-rounded",
        {"scale_resolution": None},
        "The resolution of the board scale is not on record.",
    ),
]

EDGES = [
    Edge(
        "wet-bulb-above-dry-bulb",
        "wet-bulb-above-dry-bulb",
        lambda e: charge(log=above_dry_bulb(limit("wet-bulb-above-dry-bulb") + e)),
    ),
    Edge(
        "humidity-disagrees",
        "humidity-disagrees",
        lambda e: charge(
            log=moved("relative-humidity", 0, 252, by=limit("humidity-disagrees") + e)
        ),
    ),
    Edge(
        "stated-emc",
        "stated-emc-low",
        lambda e: charge(sheet_emc(9.0, limit("stated-emc-low") + e)),
    ),
    Edge(
        "stated-emc",
        "stated-emc-high",
        lambda e: charge(sheet_emc(17.0, limit("stated-emc-high") + e)),
    ),
    # the narrow margin applies up to this EMC and the wide one from it on; the error lies between
    # the two
    Edge(
        "stated-emc",
        "stated-emc-high-from",
        lambda e: charge(
            sheet_emc(
                limit("stated-emc-high-from") - e,
                (limit("stated-emc-low") + limit("stated-emc-high")) / 2,
            )
        ),
    ),
    Edge("stated-mc", "stated-mc", lambda e: charge(sheet_mc(limit("stated-mc") + e))),
    Edge(
        "stated-oven-dry-mass",
        "stated-oven-dry-mass",
        lambda e: charge(sheet_dry_mass(limit("stated-oven-dry-mass") + e)),
    ),
    Edge(
        "wet-basis",
        "wet-basis",
        lambda e: charge(wet_basis_section(limit("wet-basis") - e)),
        beyond="fail",
    ),
    Edge(
        "wetter-than-wood-can-be",
        "wetter-than-wood-can-be",
        lambda e: charge(
            {
                "weighings.0.masses.S1": mass_for(
                    "S1", maximum_moisture_content(0.56) * (limit("wetter-than-wood-can-be") + e)
                )
            }
        ),
    ),
    Edge(
        "drier-than-the-air-allows",
        "drier-than-the-air-allows",
        lambda e: charge(board_at_lowest_emc(limit("drier-than-the-air-allows") + e)),
    ),
    Edge(
        "gained-weight-while-drying",
        "gained-weight-while-drying",
        lambda e: charge(mass_after_gain(limit("gained-weight-while-drying") + e)),
    ),
    Edge("water-balance", "water-balance", lambda e: charge(collected(limit("water-balance") + e))),
    # a board that gains 2 % over the last day, in air whose EMC is this far below its MC
    Edge(
        "gained-weight-while-drying",
        "gained-weight-clear-of-emc",
        lambda e: charge(
            mass_after_gain(2.0, 8),
            log=air_at_emc(
                make_case().boards[0].points[9].mc_pct - limit("gained-weight-clear-of-emc") - e
            ),
        ),
    ),
    Edge(
        "water-balance",
        "loading-temperature",
        lambda e: charge(collected(limit("water-balance") + e)),
    ),
    # 60 weights, 6 of a digit expected; these two counts have chi-square 18.7 and 23.0, and 21.7
    # is the value that chance exceeds once in a hundred (9 degrees of freedom, any printed table)
    Edge(
        "hand-weights-rounded",
        "hand-weights-rounded",
        lambda e: charge(last_digits((17, 3, *(5,) * 8) if e > 0 else (16, 4, *(5,) * 8))),
    ),
    Edge(
        "hand-weights-rounded",
        "hand-weights-rounded-count",
        lambda e: charge(
            {
                **last_digits(ALL_ZERO),
                "weighings": lambda w: fewer_weights(
                    last_digits(ALL_ZERO)["weighings"](w),
                    int(limit("hand-weights-rounded-count") + e),
                ),
            }
        ),
        step=1,
        within="no data",
    ),
]


def fewer_weights(weighings: list[Any], count: int) -> list[Any]:
    """Keep only the first so many masses."""
    for weighing in weighings:
        kept = list(weighing["masses"].items())[: max(count, 0)]
        count -= len(kept)
        weighing["masses"] = dict(kept)
        weighing["stated_mc"] = {}
    return [weighing for weighing in weighings if weighing["masses"]]
