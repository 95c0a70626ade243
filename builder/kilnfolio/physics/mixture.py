"""Whether readings form one group or two: a mixture of two normal distributions of equal spread.

References
----------
.. [1] Dempster, A. P., Laird, N. M., and Rubin, D. B., "Maximum likelihood from incomplete data
   via the EM algorithm", J. R. Statist. Soc. B 39(1), 1977, 1-38.
.. [2] Kass, R. E., and Raftery, A. E., "Bayes factors", J. Am. Statist. Assoc. 90, 1995, 773-795
   (from memory): a difference of the Bayesian information criterion above 10 is very strong
   evidence.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics._check import numbers, refuse
from kilnfolio.physics._types import Floats

LEAST_SHARE = 0.1
"""A group smaller than this share is a tail or a stray piece, not a group. [-]"""
#: Least standard deviation of a group, because readings are written to a tenth of a point. [%]
_LEAST_SD = 0.05
_ROUNDS = 200
#: Where no value moves by more than this, a further round changes no printed digit.
_SAME = 1e-12


class Groups(NamedTuple):
    """Two groups fitted to readings.

    Attributes
    ----------
    evidence : float
        Difference of the Bayesian information criterion between one group and two; above 10, two
        groups fit very much better [2]_. [-] Minus infinity if a group is below `LEAST_SHARE`.
    means : tuple of float
        Means of the lower and the higher group, in the unit of the readings.
    sd : float
        Their common standard deviation.
    share_high : float
        Share of the readings in the higher group, 0 to 1. [-]
    """

    evidence: float
    means: tuple[float, float]
    sd: float
    share_high: float


def two_groups(values: ArrayLike) -> Groups:
    """Return the two normal groups of equal spread that fit readings best.

    Parameters
    ----------
    values : array_like
        Readings, 4 or more, without NaN.

    Returns
    -------
    Groups

    Raises
    ------
    ValueError
        If there are fewer than four readings, or one is missing.

    Notes
    -----
    Expectation-maximization [1]_, starting from the split of the sorted readings with the least
    spread within groups. Two groups have two more parameters than one: a second mean and a share.
    """
    readings = np.sort(numbers("values", values))
    if readings.ndim != 1 or readings.size < 4:
        raise ValueError(
            f"values must be a list of 4 readings or more; received shape {readings.shape}"
        )
    refuse(np.isnan(readings), "values must hold no missing reading", values=readings)
    low, high, sd, share = _fitted(readings)
    one = _log_likelihood(
        readings,
        float(readings.mean()),
        float(readings.mean()),
        max(float(readings.std()), _LEAST_SD),
        0.5,
    )
    two = _log_likelihood(readings, low, high, sd, share)
    evidence = 2.0 * (two - one) - 2.0 * float(np.log(readings.size))
    if not LEAST_SHARE <= share <= 1.0 - LEAST_SHARE:
        evidence = -np.inf
    return Groups(evidence, (low, high), sd, share)


def _fitted(readings: Floats) -> tuple[float, float, float, float]:
    """Return both means, the common standard deviation and the share of the higher group."""
    count, middle = readings.size, float(readings.mean())
    centred = readings - middle  # so that little is lost where squares are subtracted
    total, squares = float(centred.sum()), float(centred @ centred)
    k, within = _best_split(readings)
    low, high = float(centred[:k].mean()), float(centred[k:].mean())
    sd = max(math.sqrt(within / count), _LEAST_SD)
    share = 1.0 - k / count
    for _ in range(_ROUNDS):
        before = low, high, sd, share
        # with equal spreads the odds of the higher group are exponential in a reading, so that its
        # share of each is (1 + tilt) / 2
        slope = 0.5 * (high - low) / sd**2
        odds = 0.5 * math.log(share / (1.0 - share)) - 0.5 * (high + low) * slope
        tilt = np.tanh(slope * centred + odds)
        weight = 0.5 * (count + float(tilt.sum()))
        if not 1e-9 < weight < count - 1e-9:
            break
        of_high = 0.5 * (total + float(tilt @ centred))
        share, high, low = weight / count, of_high / weight, (total - of_high) / (count - weight)
        spread = squares - weight * high**2 - (count - weight) * low**2
        sd = max(math.sqrt(max(spread, 0.0) / count), _LEAST_SD)
        if math.dist(before, (low, high, sd, share)) < _SAME:
            break
    return low + middle, high + middle, sd, share


def _best_split(readings: Floats) -> tuple[int, float]:
    """Return after how many sorted readings a split leaves least spread, and that sum of squares."""
    count, below = readings.size, np.arange(1, readings.size)
    between = np.cumsum(readings - readings.mean())[:-1] ** 2 * (
        1.0 / below + 1.0 / (count - below)
    )
    # few splits are near the best one, and only their spread is worked out to the last bit
    near = below[between >= (1.0 - 1e-9) * between.max()].tolist()
    within = {k: _variance(readings[:k]) * k + _variance(readings[k:]) * (count - k) for k in near}
    best = min(near, key=within.__getitem__)
    return best, within[best]


def _variance(readings: Floats) -> float:
    """Return what `readings.var()` returns, to the last bit, in a third of the time."""
    apart = readings - np.add.reduce(readings) / readings.size
    return float(np.add.reduce(apart * apart) / readings.size)


def _log_likelihood(readings: Floats, low: float, high: float, sd: float, share: float) -> float:
    density = (1.0 - share) * np.exp(-0.5 * ((readings - low) / sd) ** 2) + share * np.exp(
        -0.5 * ((readings - high) / sd) ** 2
    )
    return float(np.sum(np.log(np.maximum(density, 1e-300))) - readings.size * np.log(sd))
