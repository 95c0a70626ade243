"""Rows for the checks of sample boards."""

from __future__ import annotations

from typing import Any

from tests.review.inline import BOARDS, day, limit, make_case, mass_for, resection
from tests.review.rows_arithmetic import NO_BOARDS
from tests.review.table import Blank, Edge, Fault, NotRun, charge


def boards_left(count: int) -> dict[str, Any]:
    return {"boards": lambda boards: boards[:count]}


MIXED = {
    "stock": lambda stock: [*stock, {"species": "pine", "thickness": "8/4", "volume": "5 m³"}],
    **{f"boards.{n}.species": "maple" for n in range(6)},
}


def sections_apart(pct: float) -> dict[str, Any]:
    """Return changes that put the sections of a board this far apart, as a share of their mean."""
    mean = make_case().boards[0].mean_mc_pct
    return {
        f"boards.0.sections.{n}.green": f"{120 * (1 + mean * (1 + side * pct / 200) / 100):.5f} g"
        for n, side in enumerate((1, -1))
    }


def weighed_at(mc: float, number: int) -> dict[str, str]:
    """Return changes that weigh every board at one MC."""
    return {f"weighings.{number}.masses.{name}": mass_for(name, mc) for name in BOARDS}


def stated_control(off: float) -> dict[str, str]:
    found = make_case().controls[3].mc_pct
    return {"weighings.2.stated_controlling_mc": f"{found + off:.4f} %"}


def percent_over(grams: float, pct: float) -> str:
    return f"{grams * (1 + pct / 100)} g"


def resectioned(off: float) -> dict[str, Any]:
    """Return a change that makes the late section read this much less than the masses."""
    calculated = make_case().boards[0].points[8].mc_pct
    return {"boards.0.resections.0": resection(calculated - off)}


FAULTS = [
    Fault(
        "sample-count",
        boards_left(3),
        ("Too few samples for this load: 3, at least 4 are usual.",),
        "- id: S1",
        3,
        4,
    ),
    Fault("sample-coverage", MIXED, ("No sample represents Test pine, 8/4.",), "- species: pine"),
    Fault(
        "section-pair",
        {"boards.0.sections.1.green": "168.0 g"},
        ("Sections of board S1 disagree: 62.4 % and 40.0 %; check knot or tag.",),
        "- id: S1a",
        43.8,
        15.0,
    ),
    Fault(
        "oven-constancy",
        {"boards.0.sections.0.oven_dry_before": "121.0 g"},
        (
            "Section S1a of board S1 may not be fully dry: it still lost 0.83 % in its last two "
            "hours in the oven.",
        ),
        "oven_dry_before: 121.0 g",
        0.83,
        0.1,
    ),
    Fault(
        "board-sides",
        {f"boards.{n}.side": "entering-air" for n in range(6)},
        ("Samples all on one side: entering-air.",),
        "- id: S1",
    ),
    Fault(
        "weighing-interval",
        {"weighings.2": None},
        ("No weighing for 48 h after 2026-04-08 08:00 at 49 % MC.",),
        f"- at: {day(4)}",
        48,
        26,
    ),
    Fault(
        "controlling-mc",
        {"weighings.2.stated_controlling_mc": "39.5 %"},
        ("Controlling MC on 2026-04-09 08:00 is 42.8 %, not 39.5 % (boards S1, S2, S3).",),
        "stated_controlling_mc: 39.5 %",
        -3.3,
        1.0,
    ),
    Fault(
        "re-section",
        {"boards.0.resections.0": resection(14.0)},
        (
            "Board S1 on 2026-04-14 08:00: sections say 14.0 %, calculation 10.4 %. The oven-dry "
            "mass becomes 2884 g.",
        ),
        "- at: ",
        -3.6,
        1.0,
    ),
]

BLANKS = [
    *(
        Blank(slug, NO_BOARDS, "No sample boards are on record.")
        for slug in ("sample-count", "sample-coverage")
    ),
    Blank(
        "section-pair",
        {f"boards.{n}.sections.1": None for n in range(6)},
        "No board has two sections.",
    ),
    Blank(
        "oven-constancy",
        {f"boards.{n}.sections.{m}.oven_dry_before": None for n in range(6) for m in range(2)},
        "No section was weighed twice in the oven.",
    ),
    Blank(
        "board-sides",
        {f"boards.{n}.side": None for n in range(6)},
        "No board says which side it sits on.",
    ),
    NotRun(
        "weighing-interval", {"species:refractory": False}, "No timber in the charge is refractory."
    ),
    Blank("weighing-interval", NO_BOARDS, "Fewer than two weighings are on record."),
    NotRun(
        "controlling-mc",
        {f"weighings.{n}.stated_controlling_mc": None for n in range(10)},
        "The sheet states no controlling MC.",
    ),
    NotRun("re-section", {"boards.0.resections": []}, "No board was sectioned again."),
]

EDGES = [
    Edge(
        "sample-count",
        "sample-count",
        lambda e: charge(boards_left(round(limit("sample-count") - e))),
        step=1,
    ),
    Edge(
        "section-pair", "section-pair", lambda e: charge(sections_apart(limit("section-pair") + e))
    ),
    Edge(
        "oven-constancy",
        "oven-constancy",
        lambda e: charge(
            {"boards.0.sections.0.oven_dry_before": percent_over(120, limit("oven-constancy") + e)}
        ),
    ),
    Edge(
        "weighing-interval",
        "weighing-interval",
        lambda e: charge({"weighings.2.at": day(2, limit("weighing-interval") + e)}),
        step=0.1,
    ),
    Edge(
        "weighing-interval",
        "weighing-interval-above",
        lambda e: charge(
            {**weighed_at(limit("weighing-interval-above") + e, 5), "weighings.6": None}
        ),
    ),
    Edge(
        "controlling-mc",
        "controlling-mc",
        lambda e: charge(stated_control(limit("controlling-mc") + e)),
    ),
    Edge(
        "re-section",
        "re-section",
        lambda e: charge(resectioned(limit("re-section") + e)),
        step=0.02,
    ),
]
