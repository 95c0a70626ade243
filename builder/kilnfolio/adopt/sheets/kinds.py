"""The kinds of sheet, by the word after ``import``."""

from __future__ import annotations

from collections.abc import Mapping

from kilnfolio.adopt.sheets.boards import boards_text
from kilnfolio.adopt.sheets.survey import survey_text
from kilnfolio.adopt.sheets.table import Kind
from kilnfolio.adopt.sheets.weighings import holds_mc, holds_weighings, mc_text, weighings_text

#: By the word after ``import``.
SHEETS: Mapping[str, Kind] = {
    "weighings": Kind(
        "weighings",
        "weighings",
        (("at", "board", "mass"), ("at",), ("time",), ("hours",), ("board",)),
        weighings_text,
        holds_weighings,
        "a date, a board and a mass; or a date and the tag of each board; or a board and each date",
        ("at", "time", "board", "mass"),
        otherwise="; MC without masses goes in by 'kilnfolio import mc'",
    ),
    "boards": Kind(
        "boards",
        "sample boards with their sections",
        (("board", "section", "green", "oven_dry", "board_mass"),),
        boards_text,
        proposes=("at", "time", "section", "green", "oven_dry", "board_mass"),
        completes=("at", "time"),
    ),
    "survey": Kind("survey", "a survey", (("mc",),), survey_text, proposes=("mc",)),
    "mc": Kind(
        "mc_rounds",
        "the MC of boards",
        (("at",), ("time",), ("hours",), ("board",)),
        mc_text,
        holds_mc,
        "a date, or hours since heating began, and the tag of each board; or a date, a board and "
        "an MC; or a board and each date",
        ("at", "time", "board", "mc"),
        of_charges=True,
    ),
}
