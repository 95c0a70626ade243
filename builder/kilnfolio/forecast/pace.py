"""Each board's pace against what is usual at the mill, from its weighings so far.

A charge may run fast while it is wet and slow when it is nearly dry, so the pace is a smooth
function of MC: a Gaussian process [1]_ shared by the charge, and one more for each board. Where
nothing was weighed it returns to the usual.

References
----------
.. [1] Rasmussen, C. E., and Williams, C. K. I., Gaussian Processes for Machine Learning, MIT Press,
   2006, eqs. 2.25 and 2.26.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kilnfolio.forecast.curve import GRID, Curve, paces
from kilnfolio.forecast.inputs import Run
from kilnfolio.physics._types import Floats

LENGTH = 20.0
"""How far apart in MC two paces of one charge still tell of each other. [point]"""

_MOST = 600
"""Intervals used of a charge, the newest first."""


@dataclass(frozen=True)
class BoardPaces:
    """How each board dries against the mill's usual.

    Attributes
    ----------
    boards : tuple of str
        Tags of the boards.
    log_ratio : ndarray, shape (boards, grid)
        Natural logarithm of the board's pace over the usual, at each MC of `curve.GRID`.
    now : ndarray, shape (boards,)
        Pace over the usual at the board's last MC; 1 is usual. [-]
    uncertainty : ndarray, shape (boards,)
        Standard uncertainty of ln `now`. [-]
    """

    boards: tuple[str, ...]
    log_ratio: Floats
    now: Floats
    uncertainty: Floats


def boards(curve: Curve, run: Run) -> BoardPaces:
    """Return the pace of each board of a charge against the mill's usual.

    Parameters
    ----------
    curve : Curve
        What is usual.
    run : Run
        The charge as it was known (`Run.until`).

    Returns
    -------
    BoardPaces
        Before the second weighing, the usual for every board.

    Notes
    -----
    Observations are ln k less the curve; their covariance is that of charge and board, squared
    exponential over MC with `LENGTH`, and on the diagonal scatter and weighing noise [1]_.
    """
    from scipy.linalg import cho_factor, cho_solve  # slow to import, and few commands forecast

    data = paces(run)
    newest = np.argsort(data.interval, kind="stable")[-_MOST:]
    mc, board = data.mc[newest], data.board[newest]
    off = data.log_pace[newest] - curve.usual(mc, data.dryness[newest])
    charge, single = curve.charge_spread**2, curve.board_spread**2
    names = run.weighings.boards
    last = _last(run.weighings.mc_pct)
    if not mc.size:
        flat = np.zeros((len(names), GRID.size))
        return BoardPaces(
            names, flat, np.ones(len(names)), np.full(len(names), np.sqrt(charge + single))
        )
    same = board[:, np.newaxis] == board
    covariance = _near(mc, mc) * (charge + single * same)
    covariance[np.diag_indices_from(covariance)] += curve.scatter**2 + data.variance[newest]
    factor = cho_factor(covariance, lower=True, check_finite=False)
    weights = cho_solve(factor, off, check_finite=False)
    near = _near(GRID, mc)
    own = np.arange(len(names))[:, np.newaxis] == board
    log_ratio = charge * (near @ weights) + single * (own * weights) @ near.T
    here = _near(last, mc) * (charge + single * own)
    shown = np.einsum("ij,ji->i", here, cho_solve(factor, here.T, check_finite=False))
    now = np.exp([np.interp(at, GRID, row) for at, row in zip(last, log_ratio, strict=True)])
    return BoardPaces(
        names, log_ratio, np.asarray(now), np.sqrt(np.maximum(charge + single - shown, 0.0))
    )


def _near(first: Floats, second: Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * ((first[:, np.newaxis] - second) / LENGTH) ** 2))


def _last(mc_pct: Floats) -> Floats:
    """Return each board's last weighed MC; the mean of the others where it never was weighed."""
    last = np.full(mc_pct.shape[1], np.nan)
    for row in mc_pct:
        last = np.where(np.isfinite(row), row, last)
    return np.where(np.isfinite(last), last, np.nanmean(last) if np.isfinite(last).any() else 50.0)
