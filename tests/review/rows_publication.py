"""Rows for the checks of what is about to be published."""

from __future__ import annotations

from tests.review.table import Blank, Edge, Fault

FAULTS = [
    Fault(
        "archive-unchanged",
        {"differences": ["content/kilns/kiln-1.yaml is not the file that was sealed"]},
        ("Archive changed since issue: content/kilns/kiln-1.yaml is not the file that was sealed",),
        None,
    ),
    Fault(
        "safety-wording",
        {"without_wording": ["mill/index.html", "customer/a/index.html"]},
        (
            "Safety wording missing: mill/index.html.",
            "Safety wording missing: customer/a/index.html.",
        ),
        None,
    ),
    Fault(
        "customer-fields",
        {"beyond_list": ["Intake.supplier"]},
        ("Internal data would be published: Intake.supplier.",),
        None,
    ),
]

BLANKS = [
    Blank(
        "archive-unchanged",
        {"differences": None},
        "No sealed record was compared with its files.",
    ),
    Blank("safety-wording", {"without_wording": None}, "No page was looked at."),
    Blank("customer-fields", {"beyond_list": None}, "No customer edition was made."),
]

EDGES: list[Edge] = []
