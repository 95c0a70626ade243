"""The position map: which places of a kiln stay wetter, and what a few packs say of a whole load."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean

import numpy as np

from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.physics.positions import (
    best_next,
    load_model,
    position_effects,
    predicted_rest,
)
from kilnfolio.records import reading
from kilnfolio.records.folder import mill_of
from kilnfolio.runtime.values import dataclass
from kilnfolio.trends.control import streams
from kilnfolio.trends.past import PastCharge, past_charges

LEAST = 8
"""Fewest charges with readings by place for a map."""
NEWEST = 60
"""Number of newest charges a map looks at."""
CONFIDENCE = 0.95
"""Confidence of the intervals, all together, and of predictions. [-]"""
MEASURED_FIRST = 3
"""Packs measured in the trial of predictions: the best by the other charges."""


@dataclass(frozen=True)
class Place:
    """A place in the kiln.

    Attributes
    ----------
    position : str
    points : float
        Difference from the mean of its charges. [point of MC]
    half : float
        Half of its interval. [point of MC]
    spread : float
        Standard deviation from charge to charge. [point of MC]
    charges : int
    """

    position: str
    points: float
    half: float
    spread: float
    charges: int

    @property
    def stands_out(self) -> bool:
        """Whether the interval leaves out the mean of the charges."""
        return abs(self.points) > self.half


@dataclass(frozen=True)
class PositionMap:
    """What the charges of a kiln show about its places.

    Attributes
    ----------
    places : tuple of Place
        In the order of the kiln's record.
    charges, listed : int
        Number of charges behind it, and of those from the mill's own list.
    order : tuple of (str, float)
        The pack to measure first, next and so on, each with the standard deviation that the mean of
        the load has once it is measured too. [point of MC]
    trial : tuple of int
        In how many past charges the packs left out lay within the interval predicted from the best
        `MEASURED_FIRST`, and how many were tried; nothing of a charge was known to what chose its
        packs and predicted the others.
    half : float
        Mean half-width of those intervals. [point of MC]
    """

    places: tuple[Place, ...]
    charges: int
    listed: int
    order: tuple[tuple[str, float], ...]
    trial: tuple[int, int]
    half: float


def map_of(lines: Sequence[PastCharge], positions: Sequence[str]) -> PositionMap | None:
    """Return the map of a kiln; None with too few charges.

    Parameters
    ----------
    lines : sequence of PastCharge
        Its charges, oldest first.
    positions : sequence of str
        Its places, from the door inward; others follow in alphabetical order.
    """
    placed = [line for line in lines if len({one.position for one in line.placed}) > 1][-NEWEST:]
    if len(placed) < LEAST:
        return None
    seen = {one.position for line in placed for one in line.placed}
    names = [name for name in positions if name in seen]
    names += sorted(seen - set(names))
    table = np.array([_row(line, names) for line in placed])
    often = np.isfinite(table).sum(axis=0) >= LEAST
    names, table = [name for name, kept in zip(names, often, strict=True) if kept], table[:, often]
    if len(names) < 2:
        return None
    effects = position_effects(table, CONFIDENCE)
    whole = table[np.isfinite(table).all(axis=1)]
    order: tuple[tuple[str, float], ...] = ()
    trial, half = (0, 0), 0.0
    if len(whole) >= LEAST and len(names) > MEASURED_FIRST:
        places, spreads = _in_order(whole, whole.shape[1])
        order = tuple(
            (names[at], round(spread, 3)) for at, spread in zip(places, spreads, strict=True)
        )
        trial, half = _tried(whole)
    return PositionMap(
        tuple(
            Place(
                name,
                round(float(effects.effect[at]), 3),
                round(float(effects.half[at]), 3),
                round(float(effects.spread[at]), 3),
                int(effects.charges[at]),
            )
            for at, name in enumerate(names)
        ),
        len(placed),
        sum(line.listed for line in placed),
        order,
        trial,
        half,
    )


def _row(line: PastCharge, names: Sequence[str]) -> list[float]:
    """Return the mean MC less the target at each place; NaN where none was measured."""
    found: dict[str, list[float]] = {}
    for one in line.placed:
        found.setdefault(one.position, []).append(one.mc_pct - line.target_pct)
    return [fmean(found[name]) if name in found else np.nan for name in names]


def _in_order(table: np.ndarray, most: int) -> tuple[list[int], list[float]]:
    """Return the packs that tell most about the mean of the load, in order, and how much is left."""
    model, known = load_model(table), np.zeros(table.shape[1], bool)
    places: list[int] = []
    spreads: list[float] = []
    while len(places) < most:
        left = best_next(model, known)
        at = int(np.nanargmin(left))
        known[at] = True
        places.append(at)
        spreads.append(float(left[at]))
    return places, spreads


def _tried(table: np.ndarray) -> tuple[tuple[int, int], float]:
    """Return how often packs that were left out lay where they were predicted.

    Neither the packs measured first nor the model know the charge that is tried.
    """
    inside, halves = 0, []
    for at, row in enumerate(table):
        others = np.delete(table, at, axis=0)
        first, _ = _in_order(others, MEASURED_FIRST)
        measured = np.full_like(row, np.nan)
        measured[first] = row[first]
        _, low, high = predicted_rest(load_model(others), measured, CONFIDENCE)
        inside += low <= np.delete(row, first).mean() <= high
        halves.append((high - low) / 2.0)
    return (int(inside), len(table)), round(float(np.mean(halves)), 3)


def _kilns(graph: Graph) -> list[str]:
    keys = (key.partition(":") for key in streams(graph))
    return [named for kind, _, named in keys if kind == "kiln"]


@derived("position map", keys=_kilns)
def position_map(graph: Graph, kiln: str) -> PositionMap | None:
    """Return the map of a kiln; None with too few charges."""
    kilns = mill_of(graph).kilns
    positions = kilns[kiln].record.positions if kiln in kilns else ()
    return map_of(past_charges(graph, reading.of_kiln(kiln)), positions)
