"""Simple arithmetic: mean, difference, spread, volume, green and dry sizes.

Each function is one line; they are here so that all arithmetic is in `physics`.

References
----------
.. [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM), 5.1.2.
.. [2] Glass, S. V., and Zelinka, S. L., chapter 4 of Wood Handbook, FPL-GTR-282, USDA Forest
   Service, 2021, p. 4-6: shrinkage is expressed on the green size.
"""

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics._check import in_range, numbers, plain, refuse
from kilnfolio.physics._types import FloatOrArray, Floats
from kilnfolio.physics.survey import Limits, tolerance_factor

PIECE_RANGE_MM = (0.0, 100_000.0)
"""Sizes of a piece accepted. [mm]"""

SHRUNK_RANGE_PCT = (0.0, 40.0)
"""Shrinkages so far accepted. [% of the green size]"""

_LARGEST = 1e12  # far above anything a mill records; only needed so that messages can name a range


def mean(values: ArrayLike) -> FloatOrArray:
    """Return the arithmetic mean.

    Parameters
    ----------
    values : array_like
        One value or more along the last axis. [any unit]

    Returns
    -------
    float or ndarray
        Their mean. [same unit] NaN where a value is NaN.

    Raises
    ------
    ValueError
        If there is no value, or one is infinite.
    """
    return plain(np.mean(_several(values), axis=-1))


def total(values: ArrayLike) -> FloatOrArray:
    """Return the sum.

    Parameters
    ----------
    values : array_like
        One value or more along the last axis. [any unit]

    Returns
    -------
    float or ndarray
        Their sum. [same unit] NaN where a value is NaN.

    Raises
    ------
    ValueError
        If there is no value, or one is infinite.
    """
    return plain(np.sum(_several(values), axis=-1))


def difference(a: ArrayLike, b: ArrayLike) -> FloatOrArray:
    """Return the first value minus the second.

    Parameters
    ----------
    a, b : float or array_like
        Two values in the same unit. [any unit]

    Returns
    -------
    float or ndarray
        ``a - b``. [same unit] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If a value is infinite.
    """
    return plain(numbers("a", a) - numbers("b", b))


def ratio(a: ArrayLike, b: ArrayLike) -> FloatOrArray:
    """Return the first value divided by the second.

    Parameters
    ----------
    a, b : float or array_like
        Two values in the same unit, `b` not zero. [any unit]

    Returns
    -------
    float or ndarray
        ``a/b``. [-] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If a value is infinite or `b` is zero.
    """
    below = numbers("b", b)
    refuse(below == 0.0, "b must not be zero", b=below)
    return plain(numbers("a", a) / below)


def interest(value: ArrayLike, rate_pct: ArrayLike, days: ArrayLike) -> FloatOrArray:
    """Return the simple interest on a value that lies still for some days.

    Parameters
    ----------
    value : float or array_like
        The value. [any currency]
    rate_pct : float or array_like
        Rate for a year of 365 days. [%]
    days : float or array_like
        How long it lies. [d]

    Returns
    -------
    float or ndarray
        The interest. [same currency] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an input is negative or infinite, or the rate above 100 %.

    Notes
    -----
    ``value (rate/100) days/365``, the definition.

    Examples
    --------
    >>> round(interest(19_500.0, 7.0, 21.0), 2)
    78.53
    """
    worth = in_range("value", value, 0.0, _LARGEST, "")
    rate = in_range("rate_pct", rate_pct, 0.0, 100.0, "%")
    time = in_range("days", days, 0.0, _LARGEST, "d")
    return plain(worth * (rate / 100.0) * time / 365.0)


def combined_uncertainty(parts: ArrayLike) -> FloatOrArray:
    """Return the combined uncertainty of independent parts: the root of the sum of squares.

    Parameters
    ----------
    parts : array_like
        The change of the result due to each cause alone, along the last axis. [any unit]

    Returns
    -------
    float or ndarray
        Combined uncertainty, never negative. [same unit] NaN where a part is NaN.

    Raises
    ------
    ValueError
        If there is no part, or one is infinite.

    Notes
    -----
    The law of propagation for uncorrelated inputs [1]_, eq. 10; each part is the input's
    uncertainty times its sensitivity.
    """
    return plain(np.sqrt(np.sum(_several(parts) ** 2, axis=-1)))


def volume_of_pieces(
    pieces: ArrayLike, thickness_mm: ArrayLike, width_mm: ArrayLike, length_mm: ArrayLike
) -> FloatOrArray:
    """Return the volume of a number of pieces of one size.

    Parameters
    ----------
    pieces : int or array_like
        Number, 1 or more.
    thickness_mm, width_mm, length_mm : float or array_like
        Size of a piece, above 0, at most 100 000. [mm]

    Returns
    -------
    float or ndarray
        Volume. [m³] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.
    """
    count = in_range("pieces", pieces, 1, 1e7, "")
    sizes = [
        in_range(name, value, *PIECE_RANGE_MM, "mm", above_low=True)
        for name, value in (
            ("thickness_mm", thickness_mm),
            ("width_mm", width_mm),
            ("length_mm", length_mm),
        )
    ]
    return plain(count * np.prod(np.broadcast_arrays(*sizes), axis=0) * 1e-9)


def shrunk_size(size_mm: ArrayLike, shrinkage_pct: ArrayLike) -> FloatOrArray:
    """Return the size of a piece after shrinking.

    Parameters
    ----------
    size_mm : float or array_like
        Green size, 0 to 100 000. [mm]
    shrinkage_pct : float or array_like
        Shrinkage so far, of the green size, 0 to 40. [%]

    Returns
    -------
    float or ndarray
        Present size. [mm] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``D = D_green (1 - S/100)``: shrinkage is relative to the green size [2]_.
    """
    size = in_range("size_mm", size_mm, *PIECE_RANGE_MM, "mm")
    shrunk = in_range("shrinkage_pct", shrinkage_pct, *SHRUNK_RANGE_PCT, "%")
    return plain(size * (1.0 - shrunk / 100.0))


def green_size(dry_size_mm: ArrayLike, shrinkage_pct: ArrayLike) -> FloatOrArray:
    """Return the green size that shrinks to a given size: the inverse of `shrunk_size`.

    Parameters
    ----------
    dry_size_mm : float or array_like
        Size after shrinking, 0 to 100 000. [mm]
    shrinkage_pct : float or array_like
        Shrinkage until then, of the green size, 0 to 40. [%]

    Returns
    -------
    float or ndarray
        Green size. [mm] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``D_green = D/(1 - S/100)`` [2]_. Adding the percentage to the dry size gives too little.
    """
    size = in_range("dry_size_mm", dry_size_mm, *PIECE_RANGE_MM, "mm")
    shrunk = in_range("shrinkage_pct", shrinkage_pct, *SHRUNK_RANGE_PCT, "%")
    return plain(size / (1.0 - shrunk / 100.0))


def tolerance_limits_of(
    mean_value: float, sd: float, n: int, share: float, confidence: float
) -> Limits:
    """Return two-sided tolerance limits for a share of the lot, from mean and spread alone.

    Parameters
    ----------
    mean_value : float
        Mean of the readings. [any unit]
    sd : float
        Their standard deviation, 0 or more. [same unit]
    n : int
        Their number, 2 or more.
    share, confidence : float
        Above 0 and below 1. [-]

    Returns
    -------
    Limits
        ``mean ± k sd``, k from `survey.tolerance_factor`. [same unit]

    Raises
    ------
    ValueError
        If an argument lies outside its range.
    """
    reach = tolerance_factor(n, share, confidence) * in_range("sd", sd, 0, _LARGEST, "")
    middle = in_range("mean_value", mean_value, -_LARGEST, _LARGEST, "")
    return Limits(plain(middle - reach), plain(middle + reach))


def _several(values: ArrayLike) -> Floats:
    array = np.atleast_1d(numbers("values", values))
    if array.shape[-1] == 0:
        raise ValueError("values must hold at least one value; received none")
    return in_range("values", array, -_LARGEST, _LARGEST, "")
