"""The kinds of sheet, by the word after ``import``."""

from __future__ import annotations

from collections.abc import Mapping

from kilnfolio.adopt.sheets.boards import boards_text
from kilnfolio.adopt.sheets.survey import survey_text
from kilnfolio.adopt.sheets.table import Kind
from kilnfolio.adopt.sheets.weighings import board_columns, day_columns, weighings_text

#: By the word after ``import``.
SHEETS: Mapping[str, Kind] = {
    "weighings": Kind(
        "weighings",
        "weighings",
        (("at", "board", "mass"), ("at",), ("board",)),
        weighings_text,
        lambda table, known: (
            {"at", "board", "mass"} <= table.roles.keys()
            or bool(board_columns(table, known) if "at" in table.roles else day_columns(table))
        ),
        "a date, a board and a mass; or a date and the tag of each board; or a board and each date",
        ("at", "time", "board", "mass"),
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
}
