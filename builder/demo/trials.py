"""Trials of the invented mill's scale and meter: repeated readings, and pairs with the oven."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

import numpy as np

from demo.yamltext import Line

KILNS = ["kiln-1", "kiln-2", "kiln-3"]
ROUNDS = (dt.date(2026, 3, 9), dt.date(2026, 9, 14))
#: Repeatability of the meter [% MC] and of the scale [g].
METER_SD, SCALE_SD = 0.28, 1.1
#: By species: intercept [% MC] and slope from the meter to the oven, and pairs on each day.
LINES = {"quercus-rubra": (0.9, 0.93, 2), "acer-saccharum": (0.1, 1.02, 1)}
SCATTER = 0.35
FIRST_PAIR, APART, DAYS = dt.date(2025, 10, 6), 42, 9


def instrument_records() -> Iterator[dict[str, Any]]:
    """Yield the records of the trials, the same on every run."""
    rng = np.random.default_rng(20261129)
    yield _record("pin-meter", "resistance meter") | {
        "repeats": list(_meter_repeats(rng)),
        "oven_pairs": list(_pairs(rng)),
    }
    yield _record("board-scale", "scale") | {"repeats": list(_scale_repeats(rng))}


def _record(name: str, kind: str) -> dict[str, Any]:
    return {
        "format": 1,
        "id": name,
        "invented": True,
        "kind": kind,
        "instrument": name,
        "kilns": KILNS,
    }


def _meter_repeats(rng: np.random.Generator) -> Iterator[Line]:
    for day, pieces in zip(
        ROUNDS, ({"A": 7.1, "B": 8.4, "C": 9.9}, {"D": 6.8, "E": 8.0, "F": 11.6}), strict=True
    ):
        for piece, mc in pieces.items():
            shown = [f"{one:.1f} %" for one in rng.normal(mc, METER_SD, 5)]
            yield Line(on=day, piece=piece, mc=shown)


def _scale_repeats(rng: np.random.Generator) -> Iterator[Line]:
    for day in ROUNDS:
        for piece, mass in (("board 1", 2312), ("board 2", 3154), ("reference mass", 5000)):
            shown = [f"{one:.0f} g" for one in rng.normal(mass, SCALE_SD, 4)]
            yield Line(on=day, piece=piece, masses=shown)


def _pairs(rng: np.random.Generator) -> Iterator[Line]:
    for species, (intercept, slope, count) in LINES.items():
        for number in range(DAYS * count):
            day = FIRST_PAIR + dt.timedelta(days=APART * (number // count))
            meter = round(float(rng.uniform(6.3, 13.5)), 1)
            oven = intercept + slope * meter + float(rng.normal(0, SCATTER))
            yield Line(on=day, species=species, meter=f"{meter} %", oven=f"{oven:.1f} %")
