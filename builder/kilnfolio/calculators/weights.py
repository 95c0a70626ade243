"""Calculators of moisture content from masses."""

from __future__ import annotations

from kilnfolio.calculators.fields import MC, mass, percent
from kilnfolio.calculators.form import Calculator, Step, Trusted


def weights() -> tuple[Calculator, ...]:
    """Return the calculators that start from weighing."""
    return (
        _moisture_content(),
        _sample_board(),
    )


def _moisture_content() -> Calculator:
    return Calculator(
        "moisture-content",
        "MC from two weights",
        "A piece is weighed, dried in the oven until it loses no more, and weighed again.",
        (
            mass("mass", "Mass as weighed", "237.4 g"),
            mass("oven_dry_mass", "Oven-dry mass", "152.6 g"),
        ),
        (Step("mc", "MC", "moisture_content", {"mass": "mass", "oven_dry_mass": "oven_dry_mass"}),),
        "Both masses of the same piece, on the same balance. A piece that was not yet oven-dry "
        "makes the MC come out too low.",
        (("Moisture content", "calculations", "moisture-content"),),
        trusted=(Trusted("mc", MC, "Hardly any wood holds so much: look for a slip in a mass."),),
    )


def _sample_board() -> Calculator:
    return Calculator(
        "sample-board",
        "Sample board: oven-dry mass and change masses",
        "From the MC of its sections, the oven-dry mass of a sample board, and the mass at which "
        "each MC falls due.",
        (
            percent("first", "MC of one section", "78.4 %", range=MC),
            percent("second", "MC of the other section", "75.2 %", optional=True, range=MC),
            mass("mass", "Mass of the board when they were cut", "4862 g"),
            percent("due", "MCs to look out for", "50 40 35 30 25 20 15 8 %", many=True),
            mass("today", "Mass today", "3890 g", optional=True),
        ),
        (
            Step("mc", "MC when cut", "mean", {"of": ("first", "second")}, intermediate=True),
            Step("oven_dry", "Oven-dry mass", "oven_dry_mass", {"mass": "mass", "mc": "mc"}),
            Step(
                "now",
                "MC today",
                "moisture_content",
                {"mass": "today", "oven_dry_mass": "oven_dry"},
            ),
            Step(
                "at", "Mass at", "mass_at", {"oven_dry_mass": "oven_dry", "mc": "due"}, each="due"
            ),
        ),
        "The board is taken to be as wet as its sections were; one point of error there stays in "
        "every later MC. Near the end, cut and weigh again.",
        (
            ("From sections to a sample board", "calculations", "oven-dry-mass"),
            ("Cutting again", "sampling", "re-sectioning"),
        ),
    )
