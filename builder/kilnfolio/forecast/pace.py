"""Each board's pace relative to the mill's usual, from its weighings so far.

A charge may run fast while wet and slow when nearly dry, so the pace is a smooth function of MC: a
Gaussian process [1]_ shared by the charge, plus one for each board. Away from weighings it returns
to the usual pace.

References
----------
.. [1] Rasmussen, C. E., and Williams, C. K. I., Gaussian Processes for Machine Learning, MIT Press,
   2006, eqs. 2.25 and 2.26.
"""

from __future__ import annotations

import numpy as np

from kilnfolio.forecast.curve import GRID, Curve, paces
from kilnfolio.forecast.inputs import Run
from kilnfolio.physics._types import Floats
from kilnfolio.runtime.values import dataclass

LENGTH = 20.0
"""Distance in MC over which paces of one charge are correlated. [point]"""

_MOST = 600
"""Most intervals of a charge used, newest first."""


@dataclass(frozen=True)
class BoardPaces:
    """Each board's pace relative to the mill's usual.

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
    """Return the pace of each board of a charge relative to the mill's usual.

    Parameters
    ----------
    curve : Curve
        The usual pace.
    run : Run
        The charge as known at the time (`Run.until`).

    Returns
    -------
    BoardPaces
        Before the second weighing, the usual pace for every board.

    Notes
    -----
    Observations are ln k minus the curve. Their covariance is the sum of the charge's and the
    board's, both squared exponential over MC with `LENGTH`, plus scatter and weighing noise on the
    diagonal [1]_.
    """
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
    own = np.arange(len(names))[:, np.newaxis] == board
    here = _near(last, mc) * (charge + single * own)
    weights, *gains = np.linalg.solve(covariance, np.column_stack([off, here.T])).T
    near = _near(GRID, mc)
    log_ratio = charge * (near @ weights) + single * (own * weights) @ near.T
    shown = (here * gains).sum(axis=1)
    now = np.exp([np.interp(at, GRID, row) for at, row in zip(last, log_ratio, strict=True)])
    return BoardPaces(
        names, log_ratio, np.asarray(now), np.sqrt(np.maximum(charge + single - shown, 0.0))
    )


def _near(first: Floats, second: Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * ((first[:, np.newaxis] - second) / LENGTH) ** 2))


def _last(mc_pct: Floats) -> Floats:
    """Return each board's last weighed MC; if never weighed, the mean of the others."""
    last = np.full(mc_pct.shape[1], np.nan)
    for row in mc_pct:
        last = np.where(np.isfinite(row), row, last)
    return np.where(np.isfinite(last), last, np.nanmean(last) if np.isfinite(last).any() else 50.0)
