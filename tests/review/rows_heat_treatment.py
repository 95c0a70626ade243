"""Rows for the checks of heat-treatment evidence."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
from tests.review.inline import INTERVAL, NO_LOG, STARTED, both, held, limit, moved
from tests.review.table import Blank, Edge, Fault, NotRun, charge

NO_CLAIM = {"heat_treatment": None}
NO_PROBES = {"heat_treatment.probes": []}
CLAIMLESS = "No heat-treatment claim is made for this charge."
PROBELESS = "No core probe is on record."


def core_hot_for(minutes: float, at: float) -> Any:
    """Return a log whose second core is at `at` °C for some minutes, else cooler."""
    return both(held("core-2", 0, 252, to=50.0), held("core-2", 200, minutes / 60, to=at))


def wet_bulb_hot_for(minutes: float, at: float) -> Any:
    return both(held("wet-bulb", 0, 252, to=30.0), held("wet-bulb", 200, minutes / 60, to=at))


def in_air(lag: float, rise: float = 45.0) -> Any:
    """Return a log whose cores follow, with a constant lag, air that rises this far."""

    def change(channels: Any) -> None:
        dry = 65.0 - rise * np.linspace(1, 0, len(channels["dry-bulb"]))
        channels["dry-bulb"] = dry
        channels["core-1"], channels["core-2"] = dry - 2 * lag, dry - lag

    return change


def calibrated(months: float, days: float) -> dict[str, Any]:
    """Return a change that calibrates a core probe this long before the start."""
    on = STARTED.date() - dt.timedelta(days=int(months * 365.2425 / 12) + days)
    return {"kiln:instruments.1.calibrations.0.on": str(on)}


FAULTS = [
    Fault(
        "heat-treatment-run",
        {},
        ("Probe core-2: longest run 20 min at or above 56 °C; highest reading 57.0 °C.",),
        "- channel: core-2",
        20,
        30,
        make={"log": core_hot_for(20, 57.0)},
    ),
    Fault(
        "heat-treatment-run",
        {},
        ("Probe core-2: longest run 0 min at or above 56 °C; highest reading 55.5 °C.",),
        "- channel: core-2",
        0,
        30,
        make={"log": core_hot_for(120, 55.5)},
    ),
    Fault(
        "heat-treatment-run",
        {"heat_treatment.threshold": "54 °C"},
        ("The claim asks 54 °C; ISPM 15 asks 56 °C.",),
        "claim: ISPM 15",
        54,
        56,
    ),
    Fault(
        "heat-treatment-run",
        {"heat_treatment.probes.1.channel": "core-7"},
        ("Probe core-7: the log has no such channel.",),
        "- channel: core-7",
    ),
    Fault(
        "air-record-alone",
        NO_PROBES,
        (
            "Air record alone cannot show 56 °C in the core: no core probe is on record, and "
            "the wet "
            "bulb held 56 °C for 0 min.",
        ),
        "claim: ISPM 15",
        0,
        30,
        make={"log": moved("wet-bulb", 0, 252, by=-5.0)},
    ),
    Fault(
        "air-record-alone",
        NO_PROBES,
        (
            "No core probe is on record; an air record serves only under a schedule the "
            "authority has "
            "approved.",
        ),
        "claim: ISPM 15",
        490,
        30,
        outcome="question",
        make={"log": wet_bulb_hot_for(490, 58.0)},
    ),
    Fault(
        "probe-in-air",
        {},
        (
            "Probe core-2 may be in air: it never lagged by more than 2.0 K while the kiln rose "
            "45 K.",
        ),
        "- channel: core-2",
        2.0,
        3.0,
        make={"log": in_air(2.0)},
    ),
    Fault(
        "probe-placement",
        {"heat_treatment.probes.0.sealed": False},
        ("Probe core-1 was not sealed.",),
        "- channel: core-1",
    ),
    Fault(
        "probe-placement",
        {"heat_treatment.thickest_piece": "52 mm"},
        (
            "Probe core-1 sits in 26 mm; the thickest piece is 52 mm.",
            "Probe core-2 sits in 26 mm; the thickest piece is 52 mm.",
        ),
        "- channel: core-1",
        26,
        52,
    ),
    Fault(
        "probe-placement",
        {"heat_treatment.thickest_piece": None},
        ("Probe placement is not shown: nobody wrote down the thickest piece.",),
        "claim: ISPM 15",
    ),
    Fault(
        "heat-treatment-margin",
        {},
        ("Probe core-2: the pass is within sensor error (± 0.5 K).",),
        "- channel: core-2",
        0,
        30,
        make={"log": core_hot_for(120, 56.3)},
    ),
    Fault(
        "core-probe-calibration",
        {"kiln:instruments.1.calibrations": []},
        ("sensor-core-1 has no calibration before 2026-04-06.",),
        "- id: sensor-core-1",
    ),
    Fault(
        "core-probe-calibration",
        {"kiln:instruments.2": None},
        ("Probe core-2 is not in the kiln's record, so its calibration is not shown.",),
        "- channel: core-2",
    ),
    Fault(
        "heat-treatment-review",
        {"heat_treatment.reviewed": None},
        ("Heat treatment not reviewed.",),
        "claim: ISPM 15",
    ),
    Fault(
        "residual-bark",
        {"heat_treatment.bark": {"widest": "42 mm", "largest": "63 cm²"}},
        ("Bark exceeds limit: a patch 42 mm wide, the largest of 63 cm².",),
        "largest: 63 cm²",
        63,
        50,
    ),
    Fault(
        "residual-bark",
        {"heat_treatment.bark": {"widest": "42 mm"}},
        ("Bark 42 mm wide: the area of the largest such patch is not written down.",),
        "widest: 42 mm",
        42,
        30,
    ),
]

BLANKS = [
    *(
        NotRun(slug, NO_CLAIM, CLAIMLESS)
        for slug in (
            "heat-treatment-run",
            "air-record-alone",
            "probe-in-air",
            "probe-placement",
            "heat-treatment-margin",
            "core-probe-calibration",
            "heat-treatment-review",
            "residual-bark",
        )
    ),
    *(
        Blank(slug, NO_PROBES, PROBELESS)
        for slug in (
            "heat-treatment-run",
            "probe-in-air",
            "probe-placement",
            "heat-treatment-margin",
            "core-probe-calibration",
        )
    ),
    Blank("heat-treatment-run", {}, "No logger file is on record.", {"log": NO_LOG}),
    Blank(
        "heat-treatment-margin",
        {f"kiln:instruments.{n}.uncertainty": None for n in (1, 2)},
        "No probe has an uncertainty on record.",
    ),
    NotRun(
        "heat-treatment-margin",
        {},
        "No probe held the required temperature for the required time.",
        {"log": both(*(held(f"core-{n}", 0, 252, to=50.0) for n in (1, 2)))},
    ),
    Blank("residual-bark", {"heat_treatment.bark": None}, "No inspection for bark is on record."),
]

EDGES = [
    # at the limit itself the rule is kept: 30 min pass, one reading fewer does not
    Edge(
        "heat-treatment-run",
        "heat-treatment-minutes",
        lambda e: charge(log=core_hot_for(limit("heat-treatment-minutes") - max(e, 0), 57.0)),
        step=INTERVAL,
    ),
    Edge(
        "heat-treatment-run",
        "heat-treatment-temperature",
        lambda e: charge(log=core_hot_for(240, limit("heat-treatment-temperature") - e)),
    ),
    Edge(
        "heat-treatment-run",
        "heat-treatment-temperature",
        lambda e: charge(
            {"heat_treatment.threshold": f"{limit('heat-treatment-temperature') - e} °C"}
        ),
    ),
    Edge(
        "heat-treatment-run",
        "heat-treatment-minutes",
        lambda e: charge({"heat_treatment.minutes": limit("heat-treatment-minutes") - e}),
    ),
    Edge(
        "air-record-alone",
        "heat-treatment-temperature",
        lambda e: charge(
            NO_PROBES, log=wet_bulb_hot_for(240, limit("heat-treatment-temperature") - e)
        ),
        within="question",
        beyond="fail",
    ),
    Edge("probe-in-air", "probe-lag", lambda e: charge(log=in_air(limit("probe-lag") - e))),
    Edge(
        "probe-in-air",
        "probe-lag-rise",
        lambda e: charge(log=in_air(1.0, limit("probe-lag-rise") + e)),
        within="not applicable",
    ),
    Edge(
        "probe-placement",
        "heat-treatment-probes",
        lambda e: charge(
            {
                "heat_treatment.probes": lambda probes: (probes * 2)[
                    : round(limit("heat-treatment-probes") - max(e, 0))
                ]
            }
        ),
        step=1,
    ),
    Edge(
        "core-probe-calibration",
        "core-probe-calibration-months",
        lambda e: charge(calibrated(limit("core-probe-calibration-months"), e)),
        step=1,
    ),
    # at 3 cm and at 50 cm² bark is no longer 'less than'
    Edge(
        "residual-bark",
        "bark-width",
        lambda e: charge(
            {
                "heat_treatment.bark": {
                    "widest": f"{limit('bark-width') + e} mm",
                    "largest": "90 cm²",
                }
            }
        ),
    ),
    Edge(
        "residual-bark",
        "bark-area",
        lambda e: charge(
            {"heat_treatment.bark": {"widest": "60 mm", "largest": f"{limit('bark-area') + e} cm²"}}
        ),
    ),
]
