"""The files an invented mill already has: a workbook, a survey sheet, a differently shaped export.

The figures are those of the minimal mill, which are consistent; only the formats differ.
"""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import numpy as np
import openpyxl
from tests.minimal import BOARDS, ENDED, STARTED, STEP_2, board_mc, minimal_records

from kilnfolio.physics.air import relative_humidity

MILL = [
    "--name",
    "Alder Brook Timber",
    "--place",
    "Alder Brook (invented)",
    "--country",
    "Canada",
    "--time-zone",
    "America/Toronto",
    "--altitude",
    "1017 ft",
    "--email",
    "records@alder-brook.example",
    "--practice",
    "North American",
    "--kiln",
    "Kiln 1, steam, 60 m³, 85 °C",
]
CHARGE = [
    "--schedule",
    "quercus-rubra-4-4",
    "--species",
    "quercus-rubra",
    "--thickness",
    "4/4",
    "--volume",
    "40 m³",
    "--start",
    "air-dried",
    "--target-mc",
    "12 %",
    "--loaded",
    "2026-06-01T07:00",
    "--started",
    "2026-06-01T08:00",
    "--ended",
    "2026-06-07T08:00",
    "--unloaded",
    "2026-06-07T14:00",
]
LOT = [
    "--product",
    "Red oak boards, 4/4",
    "--target-mc",
    "12 %",
    "--lowest",
    "10 %",
    "--highest",
    "14 %",
    "--share",
    "90 %",
    "--charge",
    "26-001",
    "--pack",
    "P1",
    "--pieces",
    "220",
    "--volume",
    "2.1 m³",
    "--issued",
    "2026-06-09",
]


def write_workbook(path: Path) -> Path:
    """Write a workbook of three sheets: a merged title, real dates, kg, units in cells."""
    book = openpyxl.Workbook()
    notes = book.active
    notes.title = "Notes"
    notes.append(["Kiln 1", "ask for the new scale"])
    cutting = book.create_sheet("Cutting")
    cutting.append(
        ["Board", "Section", "Green (g)", "Oven-dry (g)", "Board mass [kg]", "Date", "Cut by"]
    )
    for board in minimal_records()["charge"]["boards"]:
        for number, section in enumerate(board["sections"]):
            first = number == 0
            cutting.append(
                [
                    board["id"],
                    section["id"],
                    float(section["green"].removesuffix(" g")),
                    section["oven_dry"],  # with its unit in the cell
                    float(board["green_mass"].removesuffix(" g")) / 1000 if first else None,
                    dt.datetime.fromisoformat(board["weighed_at"]),
                    "A. N. Other",
                ]
            )
    weights = book.create_sheet("Weights")
    weights.append(["Boards of June 2026, all in kg"])
    weights.merge_cells("A1:E1")
    weights.append(["Date", "Weighed by", *(f"Board {tag} [kg]" for tag in BOARDS)])
    for day in range(7):
        masses = [
            round(oven_dry * (1 + board_mc(mc, day) / 100) / 1000, 3)
            for oven_dry, mc in BOARDS.values()
        ]
        weights.append([STARTED + dt.timedelta(days=day), "A. N. Other", *masses])
    weights["C4"] = f"{weights['C4'].value} kg"  # a number that somebody typed as text
    book.save(path)
    return path


def write_survey(path: Path) -> Path:
    """Write a survey as a semicolon file with decimal commas."""
    with path.open("w", newline="", encoding="utf-8-sig") as file:
        sheet = csv.writer(file, delimiter=";")
        sheet.writerow(["Pack no.", "Position", "MC %"])
        for reading in minimal_records()["charge"]["survey"]["readings"]:
            sheet.writerow(
                [
                    reading["pack"],
                    reading["position"],
                    reading["mc"].removesuffix(" %").replace(".", ","),
                ]
            )
    return path


def write_log(path: Path) -> Path:
    """Write an export:

    Latin-1, CRLF, three heading rows, date and time in separate columns, °F, a mark for missing
    values.
    """
    noise = np.random.default_rng(7).normal(0.0, 0.1, (289, 2))
    rows = [
        "Station;Chamber 4;;;;",
        "Day;Clock;Dry;Wet;RH;Damper",
        "dd.mm.yyyy;hh:mm;[°F];[°F];[%];[%]",
    ]
    for number, (dry, wet) in enumerate(noise):
        moment = STARTED + dt.timedelta(minutes=30 * number)
        base = (50.0, 41.0) if moment < STEP_2 else (55.0, 42.0)
        bulbs = base[0] + dry, base[1] + wet
        cells = [f"{bulb * 1.8 + 32:.1f}".replace(".", ",") for bulb in bulbs]
        if number == 77:
            cells[1] = "----"
        humidity = f"{float(relative_humidity(*bulbs)):.1f}".replace(".", ",")
        rows.append(
            f"{moment:%d.%m.%Y};{moment:%H:%M};{cells[0]};{cells[1]};{humidity};{number % 40}"
        )
    path.write_bytes(("\r\n".join(rows) + "\r\n").encode("latin-1"))
    assert moment == ENDED
    return path
