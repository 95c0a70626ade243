"""Rows for the checks of lots."""

from __future__ import annotations

from typing import Any

from tests.review.inline import MODELS, ZONE, day, limit, texts
from tests.review.table import Blank, Edge, Fault, NotRun, lot

from kilnfolio.physics.sorption import relative_humidity_for_emc
from kilnfolio.records.charge import Charge
from kilnfolio.records.lot import Lot
from kilnfolio.records.model import Located
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.review.assessment import readings_of

UNSHIPPED = {"lot:shipped": None}


def other(kind: str, identity: str, changes: dict[str, Any]) -> dict[str, Any]:
    """Return another charge or lot of the mill."""
    text = texts({f"{kind}:id": identity, **{f"{kind}:{k}": v for k, v in changes.items()}})[kind]
    located: Located[Charge | Lot] = validate(
        parse_yaml(text.encode(), f"other/{identity}.yaml"), MODELS[kind], zone=ZONE
    )
    return {f"{kind}s": {identity: located}}


def spread(*readings: tuple[float, int], target: float = 8.0) -> dict[str, Any]:
    """Return a survey with so many readings at each MC."""
    return {
        "target_mc": f"{target} %",
        "lot:order.target_mc": f"{target} %",
        "equalizing": None,
        "conditioning": None,
        "survey.readings": [{"mc": f"{mc:.4f} %"} for mc, count in readings for _ in range(count)],
        "survey.oven_pairs": [],
    }


#: The rows of EN 14298 available, as quoted by TraGuiden: target, lot mean from and to. [% MC]
ROWS = ((8.0, 7.0, 9.0), (12.0, 10.5, 13.5), (16.0, 13.5, 18.0))


def mean_off(index: int, side: int, e: float) -> Any:
    """Return a lot whose mean is `e` beyond a bound of the row, every piece well within."""
    key = "en-14298-mean-high" if side > 0 else "en-14298-mean-low"
    mean = limit(key, index) + side * e
    return lot(spread((mean - 0.1, 30), (mean + 0.1, 30), target=ROWS[index][0]))


def outside(count: int, of: int = 46) -> dict[str, Any]:
    """Return readings of which some are wetter than EN 14298 allows a piece, at target 12 %."""
    return spread((12.0, of - count), (15.9, count), target=12.0)


def piece_at(mc: float) -> dict[str, Any]:
    """Return ten readings: nine at the target, and one, which is more than 6.5 % of them."""
    return spread((12.0, 9), (mc, 1), target=12.0)


def shed_humidity(below: float) -> str:
    """Return the RH at 18 °C that keeps timber this far below the mean of the clean lot's survey."""
    mean = float(readings_of(lot()).mean())
    return f"{relative_humidity_for_emc(18.0, mean - below):.4f} %"


FAULTS = [
    Fault(
        "lot-moisture",
        spread((9.4, 48)),
        (
            "Lot misses its order (EN 14298, target 8 %: mean 7 to 9 %, 93.5 % of pieces from 5.6 "
            "to 10.4 %): 48 of 48 readings within, mean 9.4 %.",
        ),
        "target_mc: 8.0 %",
    ),
    Fault(
        "sample-size-for-claim",
        {"survey.readings": [{"mc": "8.0 %"}] * 30},
        (
            "Too few readings for that sentence: 30 readings, 30 within, show at least 90.5 % "
            "of the "
            "lot at 95 % confidence, not 93.5 %. With none outside, 45 readings would.",
        ),
        "claimed_confidence: 95 %",
        30,
        45,
    ),
    Fault(
        "sample-size-for-claim",
        {"survey.chosen": "convenience"},
        (
            "The survey of charge 26-001 took whatever pieces were at hand: however many they are, they do not show a share of the lot.",
        ),
        "chosen: convenience",
    ),
    Fault(
        "sample-size-for-claim",
        {
            "lot:order": {
                "target_mc": "8 %",
                "rule": "maximum",
                "highest": "12 %",
                "claimed_confidence": "95 %",
            }
        },
        ("No number of readings shows 100 % of a lot, unless every piece is measured.",),
        "claimed_confidence: 95 %",
        93.95,
        100,
    ),
    Fault(
        "survey-age",
        {"lot:shipped": day(60)},
        ("Re-measure before dispatch: the survey was 48 days old.",),
        "shipped: ",
        48,
        30,
    ),
    Fault(
        "storage-air",
        {"lot:storage.relative_humidity": "75 %"},
        ("Shed will change this lot: its air is at 14.5 % EMC, the lot at 8.0 %.",),
        "temperature: 18 °C",
        6.5,
        2.0,
    ),
    Fault(
        "pack-in-charge",
        {"lot:packs.1.number": "P9"},
        ("Pack P9 is not in the stacking record of charge 26-001.",),
        "- number: P9",
    ),
    Fault(
        "pack-in-charge",
        {},
        ("Pack P1 is in two charges: 26-001 and 26-002.",),
        "- number: P1",
        make={"more": other("charge", "26-002", {"stacking.packs": {"P1": "back"}})},
    ),
    Fault(
        "shipped-in-order",
        {"lot:shipped": day(11.5)},
        ("Shipped before charge 26-001 was unloaded and tested.",),
        "shipped: ",
    ),
    Fault(
        "volume-out",
        {"lot:packs.0.volume": "25 m³"},
        ("More timber out than in: 43.00 m³ of charge 26-001, which held 40.00 m³.",),
        "- number: P1",
        43,
        40,
    ),
    Fault(
        "volume-out",
        {},
        ("More timber out than in: 54.00 m³ of charge 26-001, which held 40.00 m³.",),
        "- number: P1",
        54,
        40,
        make={
            "more": other(
                "lot",
                "L-2",
                {"packs": [{"number": "P3", "charge": "26-001", "pieces": 9, "volume": "18 m³"}]},
            )
        },
    ),
    Fault(
        "volume-out",
        {"lot:packs.0.volume": "8 m³"},
        ("35 % of charge 26-001 is lost between loading and packing: 40.00 m³ in, 26.00 m³ out.",),
        "- number: P1",
        35,
        15,
        outcome="question",
    ),
    Fault(
        "claim-evidence",
        {"stock.0.intake.0.claim": None},
        ("Claim lacks input record: the intake of charge 26-001 has none.",),
        "claim: claim A",
    ),
]

BLANKS = [
    Blank("lot-moisture", {"survey": None}, "Not assessed: no final survey is on record."),
    Blank(
        "lot-moisture",
        {"lot:order.target_mc": "10 %"},
        "Not assessed: the row of EN 14298 for this target is not available.",
    ),
    Blank(
        "lot-moisture",
        {"weighings.9.masses.S1": "2900 g"},
        "Not assessed: the drying record of this lot is under review at the mill.",
    ),
    NotRun(
        "sample-size-for-claim",
        {"lot:order.claimed_confidence": None},
        "The order asks for no share to be shown at a confidence.",
    ),
    Blank("sample-size-for-claim", {"survey": None}, "Not assessed: no final survey is on record."),
    NotRun("survey-age", UNSHIPPED, "The lot is not shipped."),
    Blank("survey-age", {"survey": None}, "No survey is on record."),
    Blank("storage-air", {"lot:storage": None}, "The shed's air or the survey is not on record."),
    Blank("pack-in-charge", {"stacking.packs": {}}, "No stacking record lists packs."),
    NotRun("shipped-in-order", UNSHIPPED, "The lot is not shipped."),
    NotRun("claim-evidence", {"lot:claim": None}, "No certificate claim is made."),
]

EDGES = [
    *(
        Edge(
            "lot-moisture",
            f"en-14298-mean-{'high' if side > 0 else 'low'}",
            lambda e, index=index, side=side: mean_off(index, side, e),
        )
        for index in range(3)
        for side in (1, -1)
    ),
    Edge(
        "lot-moisture",
        "en-14298-piece-low",
        lambda e: lot(piece_at(12 * limit("en-14298-piece-low") - e)),
    ),
    Edge(
        "lot-moisture",
        "en-14298-piece-high",
        lambda e: lot(piece_at(12 * limit("en-14298-piece-high") + e)),
    ),
    # of 46 readings 43 are 93.48 %, 44 are 95.7 %
    Edge("lot-moisture", "en-14298-share", lambda e: lot(outside(3 if e > 0 else 2))),
    Edge(
        "survey-age",
        "survey-age",
        lambda e: lot({"lot:shipped": day(12, 24 * (limit("survey-age") + e))}),
        step=1,
    ),
    Edge(
        "storage-air",
        "storage-air",
        lambda e: lot(
            {
                "lot:storage": {
                    "temperature": "18 °C",
                    "relative_humidity": shed_humidity(limit("storage-air") + e),
                }
            }
        ),
        step=0.03,
    ),
    Edge(
        "volume-out",
        "volume-loss",
        lambda e: lot(
            {"lot:packs.0.volume": f"{40 * (1 - (limit('volume-loss') + e) / 100) - 18} m³"}
        ),
        beyond="question",
    ),
]
