"""The invented mill's list of the two years before its records: figures drawn at random.

Unlike the charges of record, these are not simulated board by board: a row holds what a mill
typically kept. Four stories are planted, which the truth file tells; all else is chance.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from demo import scenario

INVENTED = "# Invented, like all of Heron Bend Hardwoods: drawn at random by builder/demo.\n"
FIRST, LAST = dt.date(2023, 10, 2), dt.date(2025, 9, 20)
SUPPLIERS = (
    "Wolf Narrows Sawmill (invented)",
    "Cedar Ford Lumber (invented)",
    "Loon Portage Mill (invented)",
)
#: Share of pieces with each defect, where nothing is planted.
USUAL_SHARE = {"surface-checks": 0.02, "end-checks": 0.03, "bow": 0.025, "cup": 0.02, "stain": 0.01}
EXAMINED = 120
READINGS_EACH = 3

#: The stories: what changed, from when, and by how much.
WICK = {"kiln": "kiln-2", "until": dt.date(2024, 6, 1), "k_per_day": -0.25}
CORNER = {"kiln": "kiln-1", "position": "bay 6 high", "points": 0.9}
REVISION = {"schedule": "acer-saccharum-4-4", "revision": 1, "until": dt.date(2024, 9, 1)}
CHECKED_SHARE = 0.09
BOWED = {"kiln": "kiln-1", "position": "bay 3 high", "defect": "bow", "times": 8.0}
#: How often hours too fast, or stops, lie in each step.
IN_STEP = (0.15, 0.3, 0.25, 0.15, 0.1, 0.05)


@dataclass(frozen=True)
class Timber:
    """A stock of the list: its schedule, usual days, and chance of being loaded."""

    species: str
    thickness: str
    schedule: str
    days: float
    kwh_kg: float


KILNS: dict[str, Sequence[Timber]] = {
    "kiln-1": (
        Timber("acer-saccharum", "4/4", "acer-saccharum-4-4", 17.0, 1.85),
        Timber("quercus-rubra", "4/4", "quercus-rubra-4-4", 27.0, 1.95),
    ),
    "kiln-2": (
        Timber("prunus-serotina", "4/4", "prunus-serotina-4-4", 14.0, 2.4),
        Timber("acer-saccharum", "4/4", "acer-saccharum-4-4", 18.0, 2.1),
    ),
    "kiln-3": (Timber("acer-saccharum", "4/4", "acer-saccharum-4-4-dh", 28.0, 0.62),),
}


@dataclass(frozen=True)
class List:
    """The three tables, and what was planted in them.

    Attributes
    ----------
    charges, readings, inspected : list of dict
        Rows, by column.
    planted : dict
        The stories, for the truth file.
    """

    charges: list[dict[str, Any]] = field(default_factory=list)
    readings: list[dict[str, Any]] = field(default_factory=list)
    inspected: list[dict[str, Any]] = field(default_factory=list)
    planted: dict[str, Any] = field(default_factory=dict)


def make_list(seed: int = 1923, *, planted: bool = True) -> List:
    """Return the list, with or without its stories."""
    rng, where = np.random.default_rng(seed), np.random.default_rng([seed, 1])
    made = List(planted=_stories() if planted else {})
    for kiln, timbers in KILNS.items():
        day, count = FIRST + dt.timedelta(days=int(rng.integers(0, 10))), 0
        while day < LAST:
            timber = timbers[int(rng.integers(len(timbers)))]
            count += 1
            row = _row(rng, kiln, timber, day, f"{kiln[-1]}{day:%y}{count:03d}", planted)
            made.charges.append(_with_steps(where, row))
            made.readings.extend(_readings(rng, row, planted))
            made.inspected.extend(_inspected(where, row, planted))
            day = row["ended"] + dt.timedelta(days=int(rng.integers(2, 6)))
    made.charges.sort(key=lambda row: (row["started"], row["charge"]))
    return made


def _row(
    rng: np.random.Generator, kiln: str, timber: Timber, day: dt.date, number: str, planted: bool
) -> dict[str, Any]:
    hours = timber.days * 24.0 * float(np.exp(rng.normal(0.0, 0.06)))
    wick = rng.normal(0.0, 0.09)
    if planted and kiln == WICK["kiln"] and day < WICK["until"]:
        wick += WICK["k_per_day"]
    revision, shares = 1, dict(USUAL_SHARE)
    if timber.schedule == REVISION["schedule"]:
        revision = 1 if day < REVISION["until"] else 2
        if planted and revision == REVISION["revision"]:
            shares["surface-checks"] = CHECKED_SHARE
    return {
        "charge": f"E{number}",
        "kiln": kiln,
        "species": timber.species,
        "thickness": timber.thickness,
        "schedule": timber.schedule,
        "revision": revision,
        "supplier": SUPPLIERS[int(rng.integers(len(SUPPLIERS)))],
        "started": day,
        "ended": day + dt.timedelta(days=round(hours / 24.0)),
        "hours [h]": round(hours),
        "hours_forecast [h]": round(timber.days * 24.0),
        "target_mc": 8,
        "final_mc": round(8.3 + float(rng.normal(0.0, 0.3)), 2),
        "energy [kWh/kg]": round(timber.kwh_kg * float(np.exp(rng.normal(0.0, 0.09))), 2),
        "wick_per_day [K]": round(float(wick), 3),
        "side_difference [K]": round(float(rng.normal(0.85, 0.2)), 2) if kiln == "kiln-1" else "",
        "too_fast [h]": round(float(rng.gamma(1.2, 12.0))),
        "too_hot [h]": round(float(rng.gamma(1.2, 4.0))),
        "stress_index": round(float(rng.normal(4.5, 0.6)), 2),
        "stops": int(rng.poisson(0.5)),
        "examined": EXAMINED,
        **{name: _pieces(rng, share) for name, share in shares.items()},
    }


def _pieces(rng: np.random.Generator, share: float) -> int:
    """Return pieces with a defect; loads differ by more than chance alone."""
    own = rng.beta(share * 60.0, (1.0 - share) * 60.0)
    return int(rng.binomial(EXAMINED, own))


def _readings(
    rng: np.random.Generator, row: dict[str, Any], planted: bool
) -> Iterator[dict[str, Any]]:
    positions = scenario.KILN_RECORDS[row["kiln"]]["positions"]
    scatter = 0.42 * float(np.exp(rng.normal(0.0, 0.08)))
    for position in positions:
        pack = row["final_mc"] + rng.normal(0.0, 0.2)
        if planted and (row["kiln"], position) == (CORNER["kiln"], CORNER["position"]):
            pack += CORNER["points"]
        for _ in range(READINGS_EACH):
            mc = round(float(pack + rng.normal(0.0, scatter)), 1)
            yield {"charge": row["charge"], "position": position, "mc": mc}


def _with_steps(rng: np.random.Generator, row: dict[str, Any]) -> dict[str, Any]:
    """Return a row with the step in which most of its hours too fast, and of its stops, lay."""
    steps = rng.choice(np.arange(1, len(IN_STEP) + 1), size=2, p=IN_STEP)
    with_steps: dict[str, Any] = {}
    for name, amount in row.items():
        with_steps[name] = amount
        if name == "too_fast [h]":
            with_steps["too_fast_step"] = int(steps[0]) if amount else ""
        elif name == "stops":
            with_steps["stops_step"] = int(steps[1]) if amount else ""
    return with_steps


def _inspected(
    rng: np.random.Generator, row: dict[str, Any], planted: bool
) -> Iterator[dict[str, Any]]:
    """Yield a row for each pack: the charge's pieces with a defect, dealt out at random."""
    positions = scenario.KILN_RECORDS[row["kiln"]]["positions"]
    each = EXAMINED // len(positions)
    dealt = {}
    for defect in USUAL_SHARE:
        weights = np.ones(len(positions))
        if planted and (row["kiln"], defect) == (BOWED["kiln"], BOWED["defect"]):
            weights[positions.index(BOWED["position"])] = BOWED["times"]
        keys = rng.exponential(1.0, EXAMINED) / np.repeat(weights, each)
        taken = np.argsort(keys)[: row[defect]] // each
        dealt[defect] = np.bincount(taken, minlength=len(positions))
    for at, position in enumerate(positions):
        yield {
            "charge": row["charge"],
            "position": position,
            "examined": each,
            **{defect: int(found[at]) for defect, found in dealt.items()},
        }


def _stories() -> dict[str, Any]:
    return {
        "wick": {
            "kiln": WICK["kiln"],
            "what": f"before {WICK['until']} its depression shrank by a further "
            f"{-WICK['k_per_day']:g} K a day: the wick had aged, and was changed then",
        },
        "corner": {
            "kiln": CORNER["kiln"],
            "what": f"{CORNER['position']} stayed {CORNER['points']:g} points wetter than the rest",
        },
        "revision": {
            "schedule": REVISION["schedule"],
            "what": f"revision {REVISION['revision']} checked {CHECKED_SHARE:.0%} of the faces, "
            f"revision 2 {USUAL_SHARE['surface-checks']:.0%}",
        },
        "bowed": {
            "kiln": BOWED["kiln"],
            "what": f"pieces of {BOWED['position']} bowed {BOWED['times']:g} times as often as others",
        },
    }


def table(rows: Sequence[dict[str, Any]]) -> str:
    """Return rows as CSV under a line that says they are invented."""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return INVENTED + text.getvalue()
