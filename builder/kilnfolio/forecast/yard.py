"""How long timber takes to air-dry in the yard, by month of stacking."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kilnfolio.forecast.outdoors import MONTHS, YEAR_H, Weather
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying import Board, SingleBoard
from kilnfolio.runtime.values import dataclass

YARD_FACE = 0.5
"""Release at the face in a yard stack relative to a kiln; 0.25 to 0.5 gives published seasons."""

LONGEST_YEARS = 3

LABEL = (
    "An estimate from a model of one board and one year's weather; stacking, roof, sun and "
    "wind move it by half and more. The timber decides: weigh a sample board."
)
"""Printed with every estimate."""


@dataclass(frozen=True)
class Yard:
    """Days of air-drying to an MC, by month of stacking.

    Attributes
    ----------
    target_pct : float
        The MC to reach. [%]
    days : ndarray, shape (12,)
        Days from the first of each month; NaN if three years are not enough. [day]
    source : str
        How the weather was averaged: a key of `outdoors.SOURCES`.
    """

    target_pct: float
    days: Floats
    source: str

    @property
    def best(self) -> tuple[str, float]:
        """The fastest month to stack in, and its days."""
        month = int(np.nanargmin(self.days))
        return MONTHS[month], float(self.days[month])

    @property
    def worst(self) -> tuple[str, float]:
        """The slowest month to stack in, and its days."""
        month = int(np.nanargmax(np.where(np.isnan(self.days), np.inf, self.days)))
        return MONTHS[month], float(self.days[month])


def estimate(stock: Board, weather: Weather, target_pct: float = 20.0) -> Yard:
    """Return how long boards take to reach an MC in the yard.

    Parameters
    ----------
    stock : Board
        A board with the face release of a kiln; in the yard, half of it is used.
    weather : Weather
        A year of weather, which is repeated.
    target_pct : float, default 20
        The MC to reach. [%]

    Raises
    ------
    ValueError
        If the boards start below the target.
    """
    if float(np.max(stock.initial_mc_pct)) <= target_pct:
        raise ValueError(
            f"target_pct must lie below the start, {stock.initial_mc_pct!r}; "
            f"received {target_pct:g}"
        )
    board = replace(stock, face_m_s=float(stock.face_m_s) * YARD_FACE)  # type: ignore[arg-type]
    days = [_days(board, weather.from_month(month), target_pct) for month in range(1, 13)]
    return Yard(target_pct, np.array(days), weather.source)


def _days(board: Board, year: Weather, target_pct: float) -> float:
    """Return the days to the target from the first block of a year; NaN if it is never reached."""
    piece, block = SingleBoard(board), year.block_h
    temp, emc = year.temp_c.tolist(), year.emc_pct.tolist()
    before = piece.mean
    for count in range(int(LONGEST_YEARS * YEAR_H / block)):
        at = count % len(temp)
        piece.advance(block, temp[at], emc[at])
        after = piece.mean
        if after <= target_pct:
            share = (before - target_pct) / max(before - after, 1e-12)
            return (count + min(max(share, 0.0), 1.0)) * block / 24
        before = after
    return float("nan")
