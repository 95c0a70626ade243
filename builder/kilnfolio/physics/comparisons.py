"""Comparisons of groups and of ranks, with intervals, and the correction for many of them.

scipy is imported inside the functions that need it, because it would slow the start of every build.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, https://doi.org/10.18434/M32189, 1.3.5.3,
   "Two-Sample t-Test for Equal Means", and 7.3.1 for unequal variances (Welch).
.. [2] Holm, S. (1979), A simple sequentially rejective multiple test procedure, Scand. J. Stat. 6,
   65-70.
.. [3] Bonett, D. G., and Wright, T. A. (2000), Sample size requirements for estimating Pearson,
   Kendall and Spearman correlations, Psychometrika 65, 23-28 (from memory).
.. [4] Westfall, P. H., and Young, S. S., Resampling-Based Multiple Testing (1993), chapter 2: the
   largest of several statistics against its largest in random orders (from memory).
.. [5] NIST/SEMATECH e-Handbook, 1.3.5.2, "Confidence Limits for the Mean".
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics._check import numbers
from kilnfolio.physics._types import Floats

CONFIDENCE = 0.95
"""Confidence of an interval, unless another is asked for. [-]"""
DRAWS = 9_999
"""Number of random divisions or orders behind a p-value."""
MORE_DRAWS = 199_999
"""Number of them once `DRAWS` give a p-value below `RARE`."""
RARE = 0.001
"""A p-value below it is worked out from `MORE_DRAWS`, so that it survives many comparisons. [-]"""

_WORTH_SHUFFLING = 0.05
#: Most values shuffled at a time, for the memory.
_AT_ONCE = 2_000_000


@dataclass(frozen=True)
class Compared:
    """A difference or a correlation with its interval.

    Attributes
    ----------
    effect : float
        Mean of the first group less that of the second, or the rank correlation. [unit of the
        values, or -]
    low, high : float
        Confidence interval. [same unit]
    p_value : float
        Chance of an effect as far from none, if there is none. [-]
    """

    effect: float
    low: float
    high: float
    p_value: float


def interval_of_mean(values: ArrayLike, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return the mean of some values and half the width of its interval [5]_.

    Parameters
    ----------
    values : array_like
        Two or more. [any unit]
    confidence : float
        Confidence of the interval, between 0 and 1. [-]

    Returns
    -------
    mean, half : float
        [unit of the values]

    Raises
    ------
    ValueError
        If there are fewer than two values, or one is not finite.
    """
    from scipy.special import stdtrit

    found = _known("values", values, 2)
    reach = float(stdtrit(found.size - 1, 0.5 + confidence / 2.0))
    return float(found.mean()), reach * float(found.std(ddof=1)) / math.sqrt(found.size)


def difference_of_means(
    first: ArrayLike, second: ArrayLike, confidence: float = CONFIDENCE
) -> Compared:
    """Return how far the means of two groups differ; their variances may differ too [1]_.

    A p-value below 0.05 comes from random divisions of all values into two such groups, which holds
    whatever their distribution; one above it from Student's t.

    Parameters
    ----------
    first, second : array_like
        Two values or more each. [any unit]
    confidence : float
        Confidence of the interval, between 0 and 1. [-]

    Returns
    -------
    Compared
        The difference. Its p-value is 1 if all values are the same.

    Raises
    ------
    ValueError
        If a group has fewer than two values, or one is not finite.
    """
    from scipy import stats

    groups = [_known(name, values, 2) for name, values in (("first", first), ("second", second))]
    effect = float(groups[0].mean() - groups[1].mean())
    if all(group.std() == 0.0 for group in groups):
        return Compared(effect, effect, effect, 1.0 if effect == 0.0 else 0.0)
    found = stats.ttest_ind(*groups, equal_var=False)
    interval, p_value = found.confidence_interval(confidence), float(found.pvalue)
    if p_value < _WORTH_SHUFFLING:
        p_value = _shuffled(groups, DRAWS)
    if p_value < RARE:
        p_value = _shuffled(groups, MORE_DRAWS)
    return Compared(effect, float(interval.low), float(interval.high), p_value)


def rank_correlation(x: ArrayLike, y: ArrayLike, confidence: float = CONFIDENCE) -> Compared:
    """Return Spearman's rank correlation, with the interval of Bonett and Wright [3]_.

    Parameters
    ----------
    x, y : array_like
        Pairs, five or more. [any unit]
    confidence : float
        Confidence of the interval, between 0 and 1. [-]

    Returns
    -------
    Compared
        The correlation, from -1 to 1; 0 with a p-value of 1 if either is always the same.

    Raises
    ------
    ValueError
        If there are fewer than five pairs, their numbers differ, or a value is not finite.
    """
    from scipy import special, stats

    xs, ys = _known("x", x, 5), _known("y", y, 5)
    if xs.size != ys.size:
        raise ValueError("x and y must have as many values")
    if np.ptp(xs) == 0.0 or np.ptp(ys) == 0.0:
        return Compared(0.0, -1.0, 1.0, 1.0)
    found = stats.spearmanr(xs, ys)
    rho = float(found.statistic)
    spread = math.sqrt((1.0 + rho**2 / 2.0) / (xs.size - 3))
    half = float(special.ndtri(0.5 + confidence / 2.0)) * spread
    z = math.atanh(min(max(rho, -0.999999), 0.999999))
    return Compared(rho, math.tanh(z - half), math.tanh(z + half), float(found.pvalue))


def corrected_for_many(p_values: ArrayLike) -> Floats:
    """Return p-values corrected for their number by Holm's method [2]_.

    Parameters
    ----------
    p_values : array_like, shape (n,)
        p-values of n comparisons. [-]

    Returns
    -------
    ndarray, shape (n,)
        Below 0.05 for any of them with a chance of at most 0.05 if there is no effect at all. [-]

    Raises
    ------
    ValueError
        If one is not between 0 and 1.
    """
    found = numbers("p_values", p_values)
    if found.ndim != 1 or not ((found >= 0.0) & (found <= 1.0)).all():
        raise ValueError("p_values must lie between 0 and 1")
    order = np.argsort(found, kind="stable")
    stepped = np.maximum.accumulate(found[order] * np.arange(found.size, 0, -1))
    corrected: Floats = np.empty_like(found)
    corrected[order] = np.minimum(stepped, 1.0)
    return corrected


def place_that_differs(table: ArrayLike, confidence: float = CONFIDENCE) -> tuple[int, Compared]:
    """Return the place whose mean differs most from the others of its charges [4]_.

    The p-value comes from random orders of each charge's values among its places, and is that of
    the largest of all places; so it holds although the place was chosen for its difference.

    Parameters
    ----------
    table : array_like, shape (charges, places)
        A value for each charge and place; two charges or more and two places or more. [any unit]
    confidence : float
        Confidence that the intervals of all places together would hold (Bonferroni), between 0 and
        1. [-]

    Returns
    -------
    place : int
        Its column.
    compared : Compared
        Mean of its values less that of the other places, with a p-value of 1 if no place differs.

    Raises
    ------
    ValueError
        If there are fewer than two charges or places, or a value is not finite.
    """
    from scipy.special import stdtrit

    found = numbers("table", table)
    if found.ndim != 2 or min(found.shape) < 2 or not np.isfinite(found).all():
        raise ValueError("table must hold finite values of two charges and two places or more")
    charges, places = found.shape
    away = (found - found.mean(axis=1, keepdims=True)) * (places / (places - 1.0))
    at = int(np.argmax(np.abs(away.mean(axis=0))))
    reach = stdtrit(charges - 1, 1.0 - (1.0 - confidence) / (2.0 * places))
    effect = float(away[:, at].mean())
    half = float(reach * away[:, at].std(ddof=1) / math.sqrt(charges))

    def largest(rng: np.random.Generator, draws: int) -> Floats:
        drawn = rng.permuted(np.broadcast_to(away, (draws, *away.shape)), axis=2)
        highest: Floats = np.abs(drawn.mean(axis=1)).max(axis=1)
        return highest

    p_value = _largest_p_value(abs(effect), largest, found.size)
    return at, Compared(effect, effect - half, effect + half, p_value)


def rank_that_stands_out(
    several: ArrayLike, y: ArrayLike, confidence: float = CONFIDENCE
) -> tuple[int, Compared]:
    """Return which of several quantities has the largest rank correlation with another [4]_.

    The p-value comes from random orders of `y`, and is that of the largest of all; so it holds
    although the quantity was chosen for its correlation.

    Parameters
    ----------
    several : array_like, shape (quantities, n)
        A row for each quantity, five pairs or more. [any unit]
    y : array_like, shape (n,)
        The other. [any unit]
    confidence : float
        Confidence that the intervals of all quantities together would hold (Bonferroni), between 0
        and 1. [-]

    Returns
    -------
    quantity : int
        Its row.
    compared : Compared
        Spearman's rank correlation, as from `rank_correlation`.

    Raises
    ------
    ValueError
        If there are fewer than five pairs, their numbers differ, or a value is not finite.
    """
    xs, ys = numbers("several", several), _known("y", y, 5)
    if xs.ndim != 2 or not xs.size or xs.shape[1] != ys.size or not np.isfinite(xs).all():
        raise ValueError("several must hold rows of as many finite values as y")
    ranks, of_y = _standard_ranks(xs), _standard_ranks(ys)
    rhos = np.abs(ranks @ of_y)
    at = int(np.argmax(rhos))
    one = rank_correlation(xs[at], ys, 1.0 - (1.0 - confidence) / len(xs))

    def largest(rng: np.random.Generator, draws: int) -> Floats:
        drawn = rng.permuted(np.broadcast_to(of_y, (draws, of_y.size)), axis=1)
        highest: Floats = np.abs(drawn @ ranks.T).max(axis=1)
        return highest

    p_value = _largest_p_value(float(rhos[at]), largest, ys.size)
    return at, Compared(one.effect, one.low, one.high, p_value)


def _largest_p_value(
    found: float, largest: Callable[[np.random.Generator, int], Floats], size: int
) -> float:
    """Return the share of random orders whose largest statistic is as large, itself among them."""
    p_value = 1.0
    for draws in (DRAWS, MORE_DRAWS):
        rng, left, reached = np.random.default_rng(1), draws, 1
        while left:
            batch = min(left, max(1, _AT_ONCE // size))
            reached += int((largest(rng, batch) >= found * (1.0 - 1e-9)).sum())
            left -= batch
        p_value = reached / (draws + 1)
        if p_value >= RARE:
            break
    return p_value


def _standard_ranks(values: Floats) -> Floats:
    """Return ranks along the last axis, of mean 0 and length 1; all 0 if the values are the same."""
    from scipy import stats

    ranks = stats.rankdata(values, axis=-1)
    ranks = ranks - ranks.mean(axis=-1, keepdims=True)
    length = np.sqrt((ranks**2).sum(axis=-1, keepdims=True))
    standard: Floats = ranks / np.where(length > 0.0, length, np.inf)
    return standard


def _shuffled(groups: Sequence[Floats], draws: int) -> float:
    """Return the p-value of a difference among random divisions of all values into two groups."""
    from scipy import stats

    shuffled = stats.permutation_test(
        groups,
        _welch,
        vectorized=True,
        n_resamples=draws,
        batch=max(1, _AT_ONCE // sum(group.size for group in groups)),
        rng=np.random.default_rng(1),
    )
    return float(shuffled.pvalue)


def _welch(first: Floats, second: Floats, axis: int = -1) -> Floats:
    """Return Welch's t; 0 where neither group varies."""
    away = first.mean(axis=axis) - second.mean(axis=axis)
    variance = first.var(axis=axis, ddof=1) / first.shape[axis]
    variance = variance + second.var(axis=axis, ddof=1) / second.shape[axis]
    scores: Floats = away / np.sqrt(np.where(variance > 0.0, variance, np.inf))
    return scores


def _known(name: str, values: ArrayLike, least: int) -> Floats:
    found = numbers(name, values)
    if found.ndim != 1 or found.size < least or not np.isfinite(found).all():
        raise ValueError(f"{name} must hold {least} finite values or more")
    return found
