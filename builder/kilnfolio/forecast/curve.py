"""The mill's drying curve of a wood and thickness, learnt from its earlier charges.

Between two weighings a board closes part of its distance to the EMC of the air. Its pace is

    k = ln[(m₁ - E)/(m₂ - E)] / Σ f(T) Δt

where f is the effect of temperature in the red-oak formula. The curve is the usual pace at an MC:

    ln k = φ(m) + γ(m) (a - ā(m)) + κ_charge(m) + κ_board(m) + scatter,   a = ln(1 - RH)

φ is the mean of the charges' local means, so that a slow charge does not count more because it was
weighed more often. γ says how much the dryness of the air matters beyond its EMC: a lot while the
face is wet, hardly at all once water has to come through dry wood.

References
----------
.. [1] Simpson, W. T., and Tschernitz, J. L., Forest Products Journal 30(1), 1980 (the form of the
   pace, for red oak); constants from memory.
.. [2] Nadaraya, E. A., Theory of Probability and its Applications 9(1), 1964 (the local mean).
.. [3] DerSimonian, R., and Laird, N., Controlled Clinical Trials 7(3), 1986 (a mean of groups
   that differ, each with its own scatter).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from kilnfolio.forecast.inputs import Run
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying_formula import FORMULA_UP_TO_MM, THICKNESS_POWER, red_oak_tau
from kilnfolio.runtime.values import dataclass

GRID = np.arange(2.0, 161.0)
"""The MCs at which a curve is tabulated. [%]"""

WEIGHING_NOISE = 0.12
"""Standard uncertainty of an MC by weighing, apart from a steady oven-dry mass error. [point]"""

_USUAL_SPREADS = (0.15, 0.17, 0.17)
"""Prior spread between charges, between boards, and scatter: mid-range values of invented charges
from three models."""

_FAR_SPREAD = 0.5
"""Spread of a charge about a curve learnt from another wood, or about the formula."""

_LEAST_SPREAD = 0.05
_SLOPE_BANDWIDTH = 10.0
_SLOPE_SPREAD = 0.5
_PASSES = 3


@dataclass(frozen=True)
class Curve:
    """The usual pace of drying of a wood at a mill.

    Attributes
    ----------
    level : ndarray, shape (grid,)
        φ, mean of ln k at each MC of `GRID`, k per hour at 45 °C.
    slope : ndarray, shape (grid,)
        γ, from 0 to 1.
    usual_dryness : ndarray, shape (grid,)
        ā, the usual dryness of the air at that MC.
    charge_spread, board_spread, scatter : float
        Standard deviations of κ_charge, κ_board and of single intervals.
    charges : tuple of str
        The charges it was learnt from; empty for the published formula.
    origin : str
        ``own``, ``relative`` or ``formula``.
    """

    level: Floats
    slope: Floats
    usual_dryness: Floats
    charge_spread: float
    board_spread: float
    scatter: float
    charges: tuple[str, ...]
    origin: str = "own"

    def usual(self, mc_pct: Floats, dryness: Floats) -> Floats:
        """Return the usual ln k at an MC, in air of a given dryness."""
        level, slope, dry = (
            np.interp(mc_pct, GRID, row) for row in (self.level, self.slope, self.usual_dryness)
        )
        return np.asarray(level + slope * (dryness - dry))


@dataclass(frozen=True)
class Paces:
    """The pace of each board between weighings, as arrays of equal length without gaps.

    Attributes
    ----------
    mc : ndarray
        Geometric mean of the MCs at both ends. [%]
    log_pace : ndarray
        ln k, k per hour at 45 °C.
    variance : ndarray
        Variance of `log_pace` from the noise of weighing.
    dryness : ndarray
        Mean ln(1 - RH) between the weighings.
    board, interval : ndarray of int
        Index of the board and of the interval.
    """

    mc: Floats
    log_pace: Floats
    variance: Floats
    dryness: Floats
    board: np.ndarray
    interval: np.ndarray


def paces(run: Run) -> Paces:
    """Return each board's pace between its weighings.

    Left out are intervals in which a board gained mass, came within 0.3 point of the EMC, or
    changed less than the noise of weighing.
    """
    hours, mcs = run.weighings.hours, run.weighings.mc_pct
    spans, emc, dry = run.air.between(hours)
    before, after = mcs[:-1] - emc[:, np.newaxis], mcs[1:] - emc[:, np.newaxis]
    with np.errstate(invalid="ignore", divide="ignore"):
        closed = np.log(before / after)
        log_pace = np.log(closed / spans[:, np.newaxis])
        variance = (WEIGHING_NOISE * np.hypot(1 / before, 1 / after) / closed) ** 2
        kept = (before > 0.3) & (after > 0.3) & (closed > 0) & (variance < 0.5)
    kept &= np.isfinite(log_pace)
    interval, board = np.nonzero(kept)
    return Paces(
        np.sqrt(mcs[:-1] * mcs[1:])[kept],
        log_pace[kept],
        variance[kept],
        dry[interval],
        board,
        interval,
    )


def learn(runs: Sequence[Run]) -> Curve:
    """Return a mill's drying curve for the wood and thickness of these charges.

    Parameters
    ----------
    runs : sequence of Run
        Earlier charges of one wood and thickness: at least one, better three.

    Returns
    -------
    Curve

    Raises
    ------
    ValueError
        If no charge has two weighings with logged air between them.

    Notes
    -----
    Local means use a Gaussian kernel over MC [2]_, 4 points wide below 30 % and 6 above. Charges,
    and boards within a charge, are weighted by the inverse of their spread and own scatter
    combined [3]_. γ is the slope of the charges' local means against their dryness, shrunk toward
    0.
    """
    data = [paces(run) for run in runs]
    charges = tuple(run.charge for run, pace in zip(runs, data, strict=True) if pace.mc.size)
    if not charges:
        raise ValueError(
            "runs must hold a charge with two weighings and the air between them; "
            f"received {[run.charge for run in runs]}"
        )
    return _learn(_Charges.of(data), charges)


def from_formula(thickness_mm: float) -> Curve:
    """Return the curve of the published red-oak formula [1]_, for a wood never dried here.

    For timber thicker than it was published for, time grows with its own power of the thickness.
    """
    known_mm = min(thickness_mm, FORMULA_UP_TO_MM)
    tau_hours = 24.0 * float(red_oak_tau(known_mm, 45.0))
    tau_hours *= (thickness_mm / known_mm) ** THICKNESS_POWER
    flat = np.zeros(GRID.size)
    _, board, scatter = _USUAL_SPREADS
    return Curve(flat - np.log(tau_hours), flat, flat, _FAR_SPREAD, board, scatter, (), "formula")


def from_relative(runs: Sequence[Run], thickness_mm: float) -> Curve:
    """Return a curve learnt from charges of another wood or thickness, scaled to this thickness."""
    scaled = []
    for run in runs:
        shift = THICKNESS_POWER * np.log(run.thickness_mm / thickness_mm)
        part = paces(run)
        scaled.append(replace(part, log_pace=part.log_pace + shift))
    if not any(part.mc.size for part in scaled):
        return from_formula(thickness_mm)
    curve = _learn(_Charges.of(scaled), tuple(run.charge for run in runs))
    return replace(curve, charge_spread=_FAR_SPREAD, origin="relative")


def leaving_out(runs: Sequence[Run]) -> list[Curve]:
    """Return, for each charge, the curve learnt from the others; at least two charges.

    It is the published formula if the others show no pace.
    """
    data = [paces(run) for run in runs]
    every, known = _Charges.of(data), np.array([part.mc.size > 0 for part in data])
    curves = []
    for left, out in enumerate(runs):
        others = known & (np.arange(known.size) != left)
        names = tuple(run.charge for run, other in zip(runs, others, strict=True) if other)
        learnt = _learn(every, names, others[known]) if names else from_formula(out.thickness_mm)
        curves.append(learnt)
    return curves


@dataclass(frozen=True)
class _Charges:
    """What charges contribute to a curve: arrays of (charges, boards, intervals), padded.

    Attributes
    ----------
    mc, log_pace, variance, dryness : ndarray
        As in `Paces`.
    kept : ndarray
        1 for an interval, 0 for padding.
    near, wide : ndarray, shape (charges, boards, intervals, grid)
        How much an interval counts at each MC of `GRID`, for paces and for their slope.
    """

    mc: Floats
    log_pace: Floats
    variance: Floats
    dryness: Floats
    kept: Floats
    near: Floats
    wide: Floats

    @classmethod
    def of(cls, data: Sequence[Paces]) -> _Charges:
        """Return the paces of charges; those without any are left out."""
        places = []
        for charge, part in enumerate(one for one in data if one.mc.size):
            board, count = np.unique(part.board, return_inverse=True, return_counts=True)[1:]
            order = np.argsort(board, kind="stable")
            number = np.empty_like(order)
            number[order] = np.arange(order.size) - np.repeat(np.cumsum(count) - count, count)
            places.append((np.full(board.size, charge), board, number))
        place = tuple(np.concatenate(column) for column in zip(*places, strict=True))
        shape = tuple(int(column.max()) + 1 for column in place)

        def padded(name: str) -> Floats:
            rows = np.ones(shape)
            rows[place] = np.concatenate([getattr(part, name) for part in data])
            return rows

        kept = np.zeros(shape)
        kept[place] = 1.0
        mc = padded("mc")
        apart = GRID - mc[..., np.newaxis]
        return cls(
            mc,
            padded("log_pace"),
            padded("variance"),
            padded("dryness"),
            kept,
            np.exp(-0.5 * (apart / np.where(GRID < 30.0, 4.0, 6.0)) ** 2),
            np.exp(-0.5 * (apart / _SLOPE_BANDWIDTH) ** 2),
        )

    @cached_property
    def weighed(self) -> np.ndarray:
        """Which boards have an interval, shape (charges, boards)."""
        return np.asarray(self.kept.any(axis=2))

    def local(
        self, kernel: Floats, value: Floats, spreads: tuple[float, float]
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """Return the boards' local means with weights, and the charges' with their variances."""
        board, scatter = spreads
        weight = self.kept / (scatter**2 + self.variance)
        weights = _summed(weight, kernel)
        means = _summed(weight * value, kernel) / np.maximum(weights, 1e-12)
        worth = 1.0 / (board**2 + 1.0 / np.maximum(weights, 1e-9))
        worth *= self.weighed[..., np.newaxis]
        total = worth.sum(axis=1)
        return means, weights, (worth * means).sum(axis=1) / total, np.asarray(1.0 / total)

    def at_mc(self, rows: Floats) -> Floats:
        """Return boards' values over the grid at the MC of each interval."""
        place = np.clip(self.mc - GRID[0], 0.0, GRID.size - 1.0)
        low = np.minimum(place.astype(int), GRID.size - 2)
        below, above = (np.take_along_axis(rows, at, axis=2) for at in (low, low + 1))
        return np.asarray(below + (place - low) * (above - below))


def _summed(weight: Floats, kernel: Floats) -> Floats:
    """Return the sum over a board's intervals at each MC of the grid."""
    return np.asarray((weight[..., np.newaxis, :] @ kernel)[..., 0, :])


def _learn(every: _Charges, charges: tuple[str, ...], used: np.ndarray | None = None) -> Curve:
    """Return the curve of all charges, or of those that are `used`."""
    used = np.ones(len(every.mc), bool) if used is None else used
    between, board, scatter = _USUAL_SPREADS
    for _ in range(_PASSES):
        spreads = (board, scatter)
        slope = _slope(every, used, between, spreads)
        dry, _ = _mean_of(*every.local(every.near, every.dryness, spreads)[2:], used, between)
        unusual = every.dryness - np.interp(every.mc, GRID, dry)
        rest = every.log_pace - np.interp(every.mc, GRID, slope) * unusual
        local = every.local(every.near, rest, spreads)
        level, seen = _mean_of(*local[2:], used, between)
        level = _extended(level, seen)
        between, board, scatter = _spreads(every, used, rest, local, level)
    widened = between * np.sqrt(1.0 + 1.0 / used.sum())
    return Curve(level, slope, _extended(dry, seen), widened, board, scatter, charges)


def _mean_of(
    means: Floats, variances: Floats, used: np.ndarray, spread: float
) -> tuple[Floats, np.ndarray]:
    """Return the mean of charges that differ by a spread, and whether there is data at each MC."""
    worth = used[:, np.newaxis] / (spread**2 + variances)
    seen = np.asarray((used[:, np.newaxis] & (variances < 0.1)).any(axis=0))
    return (worth * means).sum(axis=0) / worth.sum(axis=0), seen


def _extended(level: Floats, seen: np.ndarray) -> Floats:
    """Return a curve extended level beyond the MCs with data."""
    return np.interp(GRID, GRID[seen], level[seen]) if seen.any() else level


def _slope(
    every: _Charges, used: np.ndarray, between: float, spreads: tuple[float, float]
) -> Floats:
    """Return γ by ridge regression of the charges' local means, clipped to 0 to 1."""
    if used.sum() < 3:
        return np.zeros(GRID.size)
    pace, variances = every.local(every.wide, every.log_pace, spreads)[2:]
    dry = every.local(every.wide, every.dryness, spreads)[2]
    worth = np.where(variances < 0.1, used[:, np.newaxis] / (between**2 + variances), 0.0)
    total = np.maximum(worth.sum(axis=0), 1e-9)
    y = pace - (worth * pace).sum(axis=0) / total
    x = dry - (worth * dry).sum(axis=0) / total
    ridge = (worth * x * x).sum(axis=0) + 1.0 / _SLOPE_SPREAD**2
    return np.asarray(np.clip((worth * x * y).sum(axis=0) / ridge, 0.0, 1.0))


def _spreads(
    every: _Charges, used: np.ndarray, rest: Floats, local: tuple[Floats, ...], level: Floats
) -> tuple[float, float, float]:
    """Return the spreads of charges, boards and intervals from their moments about the curve."""
    means, weights, mean, variance = local
    smooth = every.local(every.wide, rest, (0.17, 0.17))[0]
    weight = every.kept * used[:, np.newaxis, np.newaxis] / (0.15**2 + every.variance)
    squares = (weight * (rest - every.at_mc(smooth)) ** 2).sum()
    noise = (weight * every.variance).sum()
    held = used[:, np.newaxis, np.newaxis] & (weights > _usual_weight(weights) / 4.0)
    spread = (means - mean[:, np.newaxis])[held]
    boards = (spread**2 - 1.0 / weights[held]).sum()
    count = every.weighed.sum(axis=1)
    board_n = (held.sum(axis=(1, 2)) * np.maximum(count - 1, 1) / count).sum()
    seen = used[:, np.newaxis] & (variance < 0.02)
    charges = ((mean - level)[seen] ** 2 - variance[seen]).sum()
    usual = _USUAL_SPREADS
    few = 2.0  # the prior counts as two charges
    n = used.sum() - 1
    found = charges / max(seen.sum(), 1.0) * (n + 1) / max(n, 1)
    between = (n * max(found, 0.0) + few * usual[0] ** 2) / (n + few)
    # about a tenth of the scatter is absorbed by the boards' own local means
    within = 1.1 * max(squares - noise, 0.0) / max(weight.sum(), 1e-9)
    least = _LEAST_SPREAD**2
    return (
        float(np.sqrt(max(between, least))),
        float(np.sqrt(max(boards / max(board_n, 1.0), least))),
        float(np.sqrt(max(within, least))),
    )


def _usual_weight(weights: Floats) -> Floats:
    """Return each charge's median of the weights above 1, 0 if it has none; shape (charges, 1, 1).

    A row sorted with infinity for all else has its median in the middle of what is left.
    """
    known = (weights > 1.0).sum(axis=(1, 2))
    rows = np.sort(np.where(weights > 1.0, weights, np.inf).reshape(len(weights), -1), axis=1)
    charge = np.arange(len(weights))
    middle = (rows[charge, np.maximum(known - 1, 0) // 2] + rows[charge, known // 2]) / 2.0
    return np.where(known > 0, middle, 0.0)[:, np.newaxis, np.newaxis]
