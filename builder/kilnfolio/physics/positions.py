"""Positions in a kiln: which stay wetter, and what a few packs say about the whole load.

scipy is imported inside the functions that need it, because it would slow the start of every build.

References
----------
.. [1] Searle, S. R., Casella, G., and McCulloch, C. E., Variance Components (1992), chapter 7: best
   linear prediction of a random effect (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics._check import numbers
from kilnfolio.physics._types import Floats


@dataclass(frozen=True)
class PositionEffects:
    """How far each position is from the mean of its charges.

    Attributes
    ----------
    effect : ndarray, shape (positions,)
        Mean difference. [point of MC]
    half : ndarray, shape (positions,)
        Half of its interval. [point of MC]
    spread : ndarray, shape (positions,)
        Standard deviation of the difference from charge to charge. [point of MC]
    charges : ndarray of int, shape (positions,)
        Number of charges with a value there.
    """

    effect: Floats
    half: Floats
    spread: Floats
    charges: np.ndarray


@dataclass(frozen=True)
class LoadModel:
    """What earlier charges say about the positions of a new one.

    Attributes
    ----------
    mean : ndarray, shape (positions,)
        Usual MC over the target at each position. [point of MC]
    between : float
        Variance of whole charges about the usual. [point²]
    within : ndarray, shape (positions,)
        Variance of each position about its charge. [point²]
    charges : int
        Number of charges behind it.
    """

    mean: Floats
    between: float
    within: Floats
    charges: int


def position_effects(table: ArrayLike, confidence: float = 0.95) -> PositionEffects:
    """Return the difference of each position from its charges, with intervals right for all at once.

    Parameters
    ----------
    table : array_like, shape (charges, positions)
        Mean MC by charge and position; NaN where none was measured. [% MC]
    confidence : float
        Confidence that all intervals together hold (Bonferroni), between 0 and 1. [-]

    Returns
    -------
    PositionEffects
        Half-widths are infinite for positions with fewer than two charges.

    Raises
    ------
    ValueError
        If `table` has not two dimensions.
    """
    from scipy.special import stdtrit

    found = _table(table)
    away = found - np.nanmean(found, axis=1, keepdims=True)
    counts = np.isfinite(away).sum(axis=0)
    effect = np.array(
        [np.nanmean(row) if n else np.nan for row, n in zip(away.T, counts, strict=True)]
    )
    half, spread = np.full(found.shape[1], np.inf), np.full(found.shape[1], np.nan)
    chance = (1.0 - confidence) / max(found.shape[1], 1)
    for at in np.flatnonzero(counts >= 2):
        n = int(counts[at])
        spread[at] = np.nanstd(away[:, at], ddof=1)
        half[at] = stdtrit(n - 1, 1.0 - chance / 2.0) * spread[at] / np.sqrt(n)
    return PositionEffects(effect, half, spread, counts)


def load_model(table: ArrayLike) -> LoadModel:
    """Return what earlier charges say about positions, by the method of moments [1]_.

    Parameters
    ----------
    table : array_like, shape (charges, positions)
        Mean MC less the target by charge and position, two charges or more; NaN where none was
        measured. [point of MC]

    Returns
    -------
    LoadModel

    Raises
    ------
    ValueError
        If a position was measured in fewer than two charges.
    """
    found = _table(table)
    if found.shape[0] < 2 or (np.isfinite(found).sum(axis=0) < 2).any():
        raise ValueError("each position must have been measured in two charges or more")
    mean = np.nanmean(found, axis=0)
    rest = found - mean
    of_charge = np.nanmean(rest, axis=1)
    inner = rest - of_charge[:, np.newaxis]
    measured = np.isfinite(found).sum(axis=1)
    # a charge's own mean takes up one of its positions, and the positions' means one of the charges
    used = np.mean(1.0 - 1.0 / measured) * (1.0 - 1.0 / found.shape[0])
    within = np.nanmean(inner**2, axis=0) / max(used, 1e-9)
    pooled = float(np.mean(within))
    within = (within * found.shape[0] + pooled * 4.0) / (found.shape[0] + 4.0)
    between = float(np.var(of_charge, ddof=1) - np.mean(pooled / measured))
    return LoadModel(mean, max(between, 0.0), within, found.shape[0])


def predicted_rest(
    model: LoadModel, measured: ArrayLike, confidence: float = 0.95
) -> tuple[float, float, float]:
    """Return the mean of the positions not measured in a new charge, with its interval [1]_.

    Parameters
    ----------
    model : LoadModel
        From `load_model`.
    measured : array_like, shape (positions,)
        Mean MC less the target of those measured; NaN for the others, of which there is at least
        one. [point of MC]
    confidence : float
        Confidence of the interval, between 0 and 1. [-]

    Returns
    -------
    mean, low, high : float
        Over the positions not measured. [point of MC]

    Raises
    ------
    ValueError
        If every position is measured, or the number of positions is not that of the model.
    """
    from scipy.special import stdtrit

    values = numbers("measured", measured)
    if values.shape != model.mean.shape or np.isfinite(values).all():
        raise ValueError("measured must leave out at least one position of the model")
    known = np.isfinite(values)
    mean, variance = _rest(model, known, values)
    half = float(stdtrit(model.charges - 1, 0.5 + confidence / 2.0) * np.sqrt(variance))
    return mean, mean - half, mean + half


def best_next(model: LoadModel, known: ArrayLike) -> Floats:
    """Return how uncertain the load's mean would be with each further position measured.

    Parameters
    ----------
    model : LoadModel
        From `load_model`.
    known : array_like of bool, shape (positions,)
        Whether each position has been measured.

    Returns
    -------
    ndarray, shape (positions,)
        Standard deviation of the mean of all positions; NaN for those measured already.
        [point of MC]

    Raises
    ------
    ValueError
        If the number of positions is not that of the model.
    """
    have = np.asarray(known, bool)
    if have.shape != model.mean.shape:
        raise ValueError("known must have a value for each position of the model")
    found = np.full(have.shape, np.nan)
    for at in np.flatnonzero(~have):
        then = have.copy()
        then[at] = True
        if then.all():
            found[at] = 0.0
            continue
        _, variance = _rest(model, then, np.where(then, model.mean, np.nan))
        found[at] = np.sqrt(variance) * (~then).mean()
    return found


def _rest(model: LoadModel, known: np.ndarray, values: Floats) -> tuple[float, float]:
    """Return the mean of the unmeasured positions of a charge and its variance."""
    weights = 1.0 / model.within[known]
    precision = (1.0 / model.between if model.between > 0.0 else np.inf) + weights.sum()
    about = float((weights * (values[known] - model.mean[known])).sum() / precision)
    unknown = ~known
    count = int(unknown.sum())
    mean = float(model.mean[unknown].mean()) + about
    of_charge = 1.0 / precision if np.isfinite(precision) else 0.0
    own = float(model.within[unknown].sum()) / count**2
    return mean, (of_charge + own) * (1.0 + 1.0 / model.charges)


def _table(table: ArrayLike) -> Floats:
    found = numbers("table", table)
    if found.ndim != 2:
        raise ValueError("table must have a row for each charge and a column for each position")
    return found
