"""The invented check charges of tests/data/drying as runs, and their true times."""

import csv
import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from kilnfolio.forecast.inputs import AirLog, PlannedStep, Run, Weighings
from kilnfolio.physics import air, sorption

DATA = Path(__file__).parent.parent / "data" / "drying" / "charges"
STARTED = dt.datetime(2026, 1, 5, 8, tzinfo=dt.UTC)
TARGET = 8.0


@dataclass(frozen=True)
class CheckCharge:
    """A check charge: the run, its group (model), role and true times [h]."""

    run: Run
    group: str
    role: str
    end: float
    crossings: tuple[float, ...]


@cache
def check_charges():
    """Every check charge by its number."""
    weighings, airs = _by_charge("weighings.csv"), _by_charge("air.csv")
    plans = {wood: plan(wood) for wood in ("oak", "maple")}
    found = {}
    for row in _rows("answers.csv"):
        name = row["charge"]
        boards = [
            key
            for key in weighings[name][0]
            if key.startswith("board") and any(line[key] for line in weighings[name])
        ]
        run = Run(
            name,
            row["wood"],
            27.0,
            STARTED,
            Weighings(
                _column(weighings[name], "hour"),
                np.array(
                    [[float(line[key] or "nan") for key in boards] for line in weighings[name]]
                ),
                tuple(key.removesuffix("_mc_pct") for key in boards),
            ),
            AirLog(
                _column(airs[name], "hour_end"),
                _column(airs[name], "dry_bulb_c"),
                _column(airs[name], "emc_pct"),
            ),
            plans[row["wood"]],
        )
        crossings = tuple(
            float(row[f"cross_step_{i}_hour"] or "nan") for i in range(1, len(run.steps))
        )
        found[name] = CheckCharge(
            run, row["group"], row["role"], float(row["end_hour_controlling_8pct"]), crossings
        )
    return found


def plan(wood):
    """The schedule of a wood; its last step ends at the target."""
    rows = [row for row in _rows("schedules.csv") if row["wood"] == wood]
    triggers = [float(row["when_controlling_mc_at_or_below_pct"]) for row in rows[1:]] + [TARGET]
    steps = []
    for row, until in zip(rows, triggers, strict=True):
        dry, depression = float(row["dry_bulb_c"]), float(row["depression_c"])
        humidity = air.relative_humidity(dry, dry - depression)
        emc = sorption.equilibrium_moisture_content(dry, humidity)
        steps.append(PlannedStep(dry, float(emc), until))
    return tuple(steps)


def group(wood, model, role=None):
    """The check charges of a wood and model."""
    return [
        one
        for one in check_charges().values()
        if one.run.wood == wood and one.group == model and role in (None, one.role)
    ]


def _rows(name):
    with (DATA / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _by_charge(name):
    found = defaultdict(list)
    for row in _rows(name):
        found[row["charge"]].append(row)
    return found


def _column(rows, name):
    return np.array([float(row[name]) for row in rows])
