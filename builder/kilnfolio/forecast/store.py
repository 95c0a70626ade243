"""How the MC of dried timber moves in the shed, and how long it stays inside an order."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kilnfolio.forecast.outdoors import Weather
from kilnfolio.forecast.yard import YARD_FACE
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying import Board, advance

PACKED = {"on stickers": 1.0, "solid pile": 0.1, "wrapped": 0.02}
"""Release at the face against boards on stickers; solid and wrapped are assumed, not measured."""

LABEL = (
    "An estimate from a model of one board; only boards on stickers were compared with "
    "anything. Measure before dispatch."
)
"""Stands beside every estimate."""


@dataclass(frozen=True)
class Store:
    """The MC of stored timber.

    Attributes
    ----------
    days : ndarray, shape (n,)
        Days in store. [day]
    low_pct, mean_pct, high_pct : ndarray, shape (n,)
        MC of boards that exchange half as freely, as usual, twice as freely, sorted. [%]
    packed : str
        A key of `PACKED`.
    """

    days: Floats
    low_pct: Floats
    mean_pct: Floats
    high_pct: Floats
    packed: str

    def inside_until(self, low: float, high: float) -> float | None:
        """Return for how long the mean stays inside limits; None if for all the time [day]."""
        outside = np.flatnonzero((self.mean_pct < low) | (self.mean_pct > high))
        return float(self.days[outside[0]]) if outside.size else None


def estimate(
    stock: Board, weather: Weather, month: int, days: float = 365.0, packed: str = "on stickers"
) -> Store:
    """Return the MC of dried timber in a shed, by day.

    Parameters
    ----------
    stock : Board
        One board at its MC into store.
    weather : Weather
        The air of the shed: outdoors under a roof, or `Weather.warmed`.
    month : int
        Month it goes into store, from 1.
    days : float, default 365
        How far to look, up to 730. [day]
    packed : str, default "on stickers"
        A key of `PACKED`.

    Raises
    ------
    ValueError
        If `packed`, `month` or `days` cannot be.
    """
    if packed not in PACKED:
        raise ValueError(f"packed must be one of {', '.join(PACKED)}; received {packed!r}")
    if not 1 <= month <= 12 or not 0 < days <= 730:
        raise ValueError(f"month must be 1 to 12 and days up to 730; received {month}, {days:g}")
    release = np.asarray(stock.face_m_s, float) * YARD_FACE * PACKED[packed]
    board = replace(stock, face_m_s=release * np.array([0.5, 1.0, 2.0]))
    year, profile, rows = weather.from_month(month), None, []
    profile = board.start()
    for block in range(int(days * 24 / weather.block_h)):
        at = block % year.temp_c.size
        profile, _ = advance(board, profile, weather.block_h, year.temp_c[at], year.emc_pct[at])
        rows.append(profile.mean(axis=-1))
    mc = np.array(rows)
    at_days = np.arange(1, mc.shape[0] + 1) * weather.block_h / 24
    return Store(at_days, mc.min(axis=1), mc[:, 1], mc.max(axis=1), packed)
