"""Rows for the checks of record keeping."""

from __future__ import annotations

from tests.review.inline import day
from tests.review.table import Blank, Fault, NotRun

FAULTS = [
    Fault(
        "who-wrote-it",
        {"weighings.3.by": None},
        ("Nobody signed the entry in weighings number 4.",),
        f"- at: {day(4)}",
    ),
    Fault("signed", {"signatures": []}, ("The record is not signed.",), "format: 1"),
    Fault(
        "dates-in-order",
        {"stock.0.intake.0.sawn": "2026-04-08"},
        ("Sawn on 2026-04-08, after loading.",),
        "sawn: '2026-04-08'",
    ),
    Fault(
        "dates-in-order",
        {"stacking.on": "2026-04-07"},
        ("Stacked on 2026-04-07, after loading.",),
        "'on': '2026-04-07'",
    ),
    Fault(
        "dates-in-order",
        {"boards.2.weighed_at": day(1)},
        ("Board S3 was cut on 2026-04-07 08:00, after heating began.",),
        "weighed_at: ",
    ),
    Fault(
        "dates-in-order",
        {"weighings.9.at": day(12)},
        ("Weighed on 2026-04-18 08:00, after unloading.",),
        f"- at: {day(12)}",
    ),
    Fault(
        "dates-in-order",
        {"survey.at": day(9)},
        ("Surveyed on 2026-04-15 08:00, before drying ended.",),
        f"at: {day(9)}",
    ),
    Fault(
        "corrections-kept",
        {"boards.1.position": "door"},
        (
            "boards.S2.position was corrected to middle, but the record now says door: it was "
            "overwritten without a reason.",
        ),
        "position: door",
    ),
    Fault(
        "corrections-kept",
        {"corrections.0.field": "boards.S9.position"},
        ("The correction of boards.S9.position names nothing in this record.",),
        "- field: boards.S9.position",
    ),
    Fault(
        "corrections-kept",
        {"corrections.0.old": "middle"},
        ("The correction of boards.S2.position keeps no old value: it says middle twice.",),
        "- field: boards.S2.position",
    ),
    Fault(
        "waivers-explained",
        {"waivers.0.check": "section-pairs"},
        ("An answer names 'section-pairs', which is not a check; 'section-pair' is.",),
        "- check: section-pairs",
    ),
    Fault(
        "waivers-explained",
        {"waivers.0.at": day(-2)},
        (
            "The answer to 'section-pair' was signed on 2026-04-04 08:00, before the charge was "
            "loaded.",
        ),
        f"at: {day(-2)}",
    ),
]

BLANKS = [
    Blank(
        "who-wrote-it",
        {kind: [] for kind in ("weighings", "hand_readings", "step_changes", "events", "stops")},
        "The record holds no hand entries.",
    ),
    NotRun("corrections-kept", {"corrections": []}, "No correction is on record."),
    NotRun("waivers-explained", {"waivers": []}, "No answer is on record."),
]

EDGES: list = []
