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

import numpy as np

from kilnfolio.forecast.inputs import Run
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying_formula import THICKNESS_POWER, red_oak_tau
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
    parts = [_Part.of(paces(run)) for run in runs]
    named = [(part, run.charge) for part, run in zip(parts, runs, strict=True) if part is not None]
    if not named:
        raise ValueError(
            "runs must hold a charge with two weighings and the air between them; "
            f"received {[run.charge for run in runs]}"
        )
    return _learn([part for part, _ in named if part], tuple(charge for _, charge in named))


def from_formula(thickness_mm: float) -> Curve:
    """Return the curve of the published red-oak formula [1]_, for a wood never dried here."""
    tau_hours = 24.0 * float(red_oak_tau(thickness_mm, 45.0))
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
    parts = [part for part in map(_Part.of, scaled) if part is not None]
    if not parts:
        return from_formula(thickness_mm)
    curve = _learn(parts, tuple(run.charge for run in runs))
    return replace(curve, charge_spread=_FAR_SPREAD, origin="relative")


def leaving_out(runs: Sequence[Run]) -> list[Curve]:
    """Return, for each charge, the curve learnt from the others; at least two charges."""
    parts = [_Part.of(paces(run)) for run in runs]
    curves = []
    for left in range(len(runs)):
        others = [i for i, part in enumerate(parts) if i != left and part is not None]
        curves.append(
            _learn(
                [part for i in others if (part := parts[i])], tuple(runs[i].charge for i in others)
            )
        )
    return curves


@dataclass(frozen=True)
class _Part:
    """A charge's contribution to a curve, with its kernels over the grid computed once."""

    data: Paces
    near: Floats  # (grid, n)
    wide: Floats  # (grid, n)
    boards: Floats  # (n, boards), 1 if the interval belongs to that board

    @classmethod
    def of(cls, data: Paces) -> _Part | None:
        if not data.mc.size:
            return None
        apart = GRID[:, np.newaxis] - data.mc
        width = np.where(GRID < 30.0, 4.0, 6.0)[:, np.newaxis]
        boards = (data.board[:, np.newaxis] == np.unique(data.board)).astype(float)
        return cls(
            data,
            np.exp(-0.5 * (apart / width) ** 2),
            np.exp(-0.5 * (apart / _SLOPE_BANDWIDTH) ** 2),
            boards,
        )

    def local(
        self, kernel: Floats, value: Floats, spreads: tuple[float, float]
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """Return the boards' local means with weights, and the charge's with its variance."""
        board, scatter = spreads
        weight = 1.0 / (scatter**2 + self.data.variance)
        weights = kernel @ (weight[:, np.newaxis] * self.boards)
        sums = kernel @ ((weight * value)[:, np.newaxis] * self.boards)
        means = sums / np.maximum(weights, 1e-12)
        worth = 1.0 / (board**2 + 1.0 / np.maximum(weights, 1e-9))
        mean = (worth * means).sum(axis=1) / worth.sum(axis=1)
        return means, weights, mean, np.asarray(1.0 / worth.sum(axis=1))


def _learn(parts: Sequence[_Part], charges: tuple[str, ...]) -> Curve:
    between, board, scatter = _USUAL_SPREADS
    slope = np.zeros(GRID.size)
    for _ in range(_PASSES):
        spreads = (board, scatter)
        slope = _slope(parts, between, spreads)
        dry, _ = _mean_of(
            [part.local(part.near, part.data.dryness, spreads)[2:] for part in parts], between
        )
        rest = [
            part.data.log_pace
            - np.interp(part.data.mc, GRID, slope)
            * (part.data.dryness - np.interp(part.data.mc, GRID, dry))
            for part in parts
        ]
        locals_ = [
            part.local(part.near, value, spreads) for part, value in zip(parts, rest, strict=True)
        ]
        level, seen = _mean_of([local[2:] for local in locals_], between)
        level = _extended(level, seen)
        between, board, scatter = _spreads(parts, rest, locals_, level)
    widened = between * np.sqrt(1.0 + 1.0 / len(parts))
    return Curve(level, slope, _extended(dry, seen), widened, board, scatter, charges)


def _mean_of(groups: Sequence[tuple[Floats, Floats]], spread: float) -> tuple[Floats, Floats]:
    """Return the mean of groups that differ by a spread, and the amount of data at each MC."""
    means, variances = (np.array(rows) for rows in zip(*groups, strict=True))
    worth = 1.0 / (spread**2 + variances)
    seen = (variances < 0.1).sum(axis=0) / 1.0
    return (worth * means).sum(axis=0) / worth.sum(axis=0), seen


def _extended(level: Floats, seen: Floats) -> Floats:
    """Return a curve extended level beyond the MCs with data."""
    known = np.flatnonzero(seen > 0)
    return np.interp(GRID, GRID[known], level[known]) if known.size else level


def _slope(parts: Sequence[_Part], between: float, spreads: tuple[float, float]) -> Floats:
    """Return γ by ridge regression of the charges' local means, clipped to 0 to 1."""
    if len(parts) < 3:
        return np.zeros(GRID.size)
    pace = [part.local(part.wide, part.data.log_pace, spreads)[2:] for part in parts]
    dry = [part.local(part.wide, part.data.dryness, spreads)[2] for part in parts]
    means, variances = (np.array(rows) for rows in zip(*pace, strict=True))
    worth = np.where(variances < 0.1, 1.0 / (between**2 + variances), 0.0)
    total = np.maximum(worth.sum(axis=0), 1e-9)
    y = means - (worth * means).sum(axis=0) / total
    x = np.array(dry) - (worth * np.array(dry)).sum(axis=0) / total
    ridge = (worth * x * x).sum(axis=0) + 1.0 / _SLOPE_SPREAD**2
    return np.asarray(np.clip((worth * x * y).sum(axis=0) / ridge, 0.0, 1.0))


def _spreads(
    parts: Sequence[_Part],
    rest: Sequence[Floats],
    locals_: Sequence[tuple[Floats, ...]],
    level: Floats,
) -> tuple[float, float, float]:
    """Return the spreads of charges, boards and intervals from their moments about the curve."""
    noise = squares = boards = charges = board_n = charge_n = count = 0.0
    for part, value, (means, weights, mean, variance) in zip(parts, rest, locals_, strict=True):
        column = part.boards.argmax(axis=1)
        smooth = part.local(part.wide, value, (0.17, 0.17))[0]
        own = np.array([np.interp(part.data.mc, GRID, row) for row in smooth.T])
        off = value - own[column, np.arange(value.size)]
        weight = 1.0 / (0.15**2 + part.data.variance)
        squares += float((weight * off**2).sum())
        noise += float((weight * part.data.variance).sum())
        count += float(weight.sum())
        held = (
            weights > np.median(weights[weights > 1.0]) / 4
            if (weights > 1.0).any()
            else weights > 0
        )
        spread = (means - mean[:, np.newaxis])[held]
        boards += float((spread**2 - 1.0 / weights[held]).sum())
        board_n += held.sum() * max(part.boards.shape[1] - 1, 1) / part.boards.shape[1]
        seen = variance < 0.02
        charges += float(((mean - level)[seen] ** 2 - variance[seen]).sum())
        charge_n += float(seen.sum())
    usual = _USUAL_SPREADS
    few = 2.0  # the prior counts as two charges
    n = max(len(parts) - 1, 0)
    found = charges / max(charge_n, 1.0) * len(parts) / max(n, 1)
    between = (n * max(found, 0.0) + few * usual[0] ** 2) / (n + few)
    # about a tenth of the scatter is absorbed by the boards' own local means
    within = 1.1 * max(squares - noise, 0.0) / max(count, 1e-9)
    least = _LEAST_SPREAD**2
    return (
        float(np.sqrt(max(between, least))),
        float(np.sqrt(max(boards / max(board_n, 1.0), least))),
        float(np.sqrt(max(within, least))),
    )
