"""How the MC of dried timber changes in store, and how long it stays within an order."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from kilnfolio.forecast.outdoors import Weather
from kilnfolio.forecast.yard import YARD_FACE
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying import Board
from kilnfolio.physics.drying_board import CELLS, GAS_CONSTANT, REFERENCE_TEMP_K
from kilnfolio.runtime.values import dataclass

PACKED: Mapping[str, float] = {"on stickers": 1.0, "solid pile": 0.1, "wrapped": 0.02}
"""Release at the face relative to boards on stickers; the others are assumed, not measured."""

LABEL = (
    "An estimate from a model of one board; only boards on stickers were compared with "
    "anything. Measure before dispatch."
)
"""Printed with every estimate."""

_SPREAD = (0.5, 1.0, 2.0)
_DAY_H = 24.0
#: Days whose decay is computed one by one, and then repeated, where the air is steady.
_RUN = 21
#: How cells exchange moisture, each with the next: a graph Laplacian.
_NEIGHBOURS = np.diag(np.r_[1.0, np.full(CELLS - 2, 2.0), 1.0])
_NEIGHBOURS -= np.eye(CELLS, k=1) + np.eye(CELLS, k=-1)


@dataclass(frozen=True)
class Store:
    """The MC of stored timber.

    Attributes
    ----------
    days : ndarray, shape (n,)
        Days in store. [day]
    low_pct, mean_pct, high_pct : ndarray, shape (n,)
        MC of boards that exchange moisture at half, once and twice the usual rate, sorted. [%]
    packed : str
        A key of `PACKED`.
    """

    days: Floats
    low_pct: Floats
    mean_pct: Floats
    high_pct: Floats
    packed: str

    def inside_until(self, low: float, high: float) -> float | None:
        """Return how long the mean stays within limits [day]; None if to the end."""
        outside = np.flatnonzero((self.mean_pct < low) | (self.mean_pct > high))
        return float(self.days[outside[0]]) if outside.size else None


def estimate(
    stock: Board, weather: Weather, month: int, days: float = 365.0, packed: str = "on stickers"
) -> Store:
    """Return the daily MC of dried timber in a shed, packed in one way; see `estimates`."""
    return estimates(stock, weather, month, days, (packed,))[0]


def estimates(
    stock: Board,
    weather: Weather,
    month: int,
    days: float = 365.0,
    packed: Sequence[str] = tuple(PACKED),
) -> list[Store]:
    """Return the daily MC of dried timber in a shed, for each way of packing it.

    Parameters
    ----------
    stock : Board
        A board at its MC when it goes into store.
    weather : Weather
        The air of the shed: outdoors under a roof, `Weather.warmed`, or steady.
    month : int
        Month it goes into store, from 1.
    days : float, default 365
        How far ahead to compute, up to 730. [day]
    packed : sequence of str
        Keys of `PACKED`; by default all.

    Raises
    ------
    ValueError
        If `packed`, `month` or `days` is invalid.

    Notes
    -----
    Near its EMC a board behaves linearly: D is fixed at the MC half way between the board's and the
    mean EMC, and the cells of `physics.drying_board` advance day by day by their eigenmodes, exact
    within a day. D and h depend on temperature alike, so temperature only scales time. The result
    is within 0.2 point of `advance` in steps of 4 h over a year.
    """
    if unknown := [name for name in packed if name not in PACKED]:
        raise ValueError(f"packed must be one of {', '.join(PACKED)}; received {unknown[0]!r}")
    if not 1 <= month <= 12 or not 1 <= days <= 730:
        raise ValueError(f"month must be 1 to 12 and days 1 to 730; received {month}, {days:g}")
    year = weather.from_month(month).by_day()
    count = int(days)
    at = np.arange(count) % year.temp_c.size
    temp, emc = year.temp_c[at], year.emc_pct[at]
    warmth = np.exp(
        float(stock.activation_j_mol)  # type: ignore[arg-type]
        / GAS_CONSTANT
        * (1.0 / REFERENCE_TEMP_K - 1.0 / (temp + 273.15))
    )
    start = float(stock.initial_mc_pct)  # type: ignore[arg-type]
    shares = [share * PACKED[name] for name in packed for share in _SPREAD]
    courses = _courses(stock, shares, start, warmth * _DAY_H * 3600.0, emc)
    at_days = np.arange(1, count + 1, dtype=float)
    return [
        Store(at_days, mc.min(axis=0), mc[1], mc.max(axis=0), name)
        for name, mc in zip(packed, courses.reshape(len(packed), len(_SPREAD), -1), strict=True)
    ]


def _courses(
    stock: Board, shares: Sequence[float], start: float, seconds: Floats, emc: Floats
) -> Floats:
    """Return the mean MC at the end of each day, a row for each share of the usual release.

    `seconds` are the days' equivalents at 45 °C.
    """
    rates, weights = _modes(stock, shares, (start + float(emc.mean())) / 2.0)
    if np.ptp(emc) < 1e-9 and np.ptp(seconds) < 1e-6:  # constant air needs no stepping
        return np.asarray(emc[0] + (start - emc[0]) * _left(rates, weights, seconds))
    states = np.empty((len(shares), emc.size, rates.shape[1]))
    state = np.full(rates.shape, start)
    kept = np.exp(-seconds[:, np.newaxis, np.newaxis] * rates)
    for day, (left, there) in enumerate(zip(kept, emc.tolist(), strict=True)):
        state = there + (state - there) * left
        states[:, day] = state
    return np.array([course @ weight for course, weight in zip(states, weights, strict=True)])


def _left(rates: Floats, weights: Floats, seconds: Floats) -> Floats:
    """Return the share of a first difference that is left after each day, each as long as the first.

    A decay over some weeks and some days is the product of both, which takes few exponentials.
    """
    decay = -rates[..., np.newaxis] * seconds[0]
    weeks = np.exp(decay * np.arange(0, seconds.size, _RUN)) * weights[..., np.newaxis]
    days = np.exp(decay * np.arange(1, _RUN + 1))
    left: Floats = (weeks.swapaxes(1, 2) @ days).reshape(len(rates), -1)
    return left[:, : seconds.size]


def _modes(stock: Board, shares: Sequence[float], mc_pct: float) -> tuple[Floats, Floats]:
    """Return the decay rate of each eigenmode of the cells [1/s], and its weight in the mean [-].

    Every mode relaxes toward the EMC of the air, because a uniform board at the EMC is at rest.
    A mode is therefore represented by the MC of a uniform board that has this mode alone.
    """
    thickness, d0, face, effect, fsp = (
        float(value)  # type: ignore[arg-type]
        for value in (
            stock.thickness_mm,
            stock.diffusivity_m2_s,
            stock.face_m_s,
            stock.mc_effect,
            stock.fsp_pct,
        )
    )
    inside = d0 * math.exp(effect * (min(mc_pct, fsp) - fsp))
    width = thickness / 2000.0 / CELLS
    matrices = np.repeat((inside / width**2 * _NEIGHBOURS)[np.newaxis], len(shares), axis=0)
    for matrix, share in zip(matrices, shares, strict=True):
        release = 1.0 / (1.0 / (face * YARD_FACE * share) + width / (2.0 * inside))
        matrix[0, 0] += release / width
    rates, shapes = np.linalg.eigh(matrices)
    # a uniform board is 1 in every cell: its component in a mode, times the mode's mean
    return rates, shapes.sum(axis=1) * shapes.mean(axis=1)
