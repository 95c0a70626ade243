"""Inversion of monotonically rising functions.

References
----------
.. [1] Dowell, M., and Jarratt, P., "A modified regula falsi method for computing the root of an
   equation", BIT 11, 1971, 168-174 (the Illinois method).
"""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics._types import Floats

_HALVINGS = 64
"""Most halvings, enough to shrink any bracket used here to the last bit of a double."""

_SECANTS = 30
"""Most steps of the Illinois method, which needs about ten."""

_CLOSE = 1e-13
"""A step no longer than this, relative to the root or to 1, ends the Illinois method."""

_MARGIN = 4.0
"""Distance on either side within which rounding may decide the sign, in units of `_CLOSE`."""


def rising_root(function: Callable[[Floats], Floats], low: ArrayLike, high: ArrayLike) -> Floats:
    """Return the root of a rising function, element by element.

    Uses bisection, which cannot leave the bracket and needs no derivative. It is slow, but the
    functions inverted here are cheap.

    Parameters
    ----------
    function : callable
        Takes an array and returns one of the same shape; rising, negative at `low` and not
        negative at `high`. It may return infinity to mean "too high".
    low, high : scalar or ndarray
        The bracket; the two broadcast to the shape of the result.

    Returns
    -------
    ndarray
        NaN where `function` is NaN.

    Notes
    -----
    A single root, which most are, is first located by the Illinois method [1]_. Bisection then
    takes the same path without asking the function where the answer is plain, and so comes to the
    same number, to the last bit.
    """
    if np.ndim(low) == np.ndim(high) == 0:

        def single(at: float) -> float:
            return float(function(np.float64(at)))  # type: ignore[arg-type]  # of no dimensions

        root = _single_root(single, float(low), float(high))  # type: ignore[arg-type]  # one number
        return np.float64(root)  # type: ignore[return-value]  # an array of no dimensions
    low, high = (np.array(end, dtype=float) for end in np.broadcast_arrays(low, high))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if not ((low < middle) & (middle < high)).any():
            break  # no number lies between
        below = function(middle) < 0.0
        low = np.where(below, middle, low)
        high = np.where(below, high, middle)
    middle = 0.5 * (low + high)
    return np.where(np.isnan(function(middle)), np.nan, middle)


def _single_root(function: Callable[[float], float], low: float, high: float) -> float:
    low, high = narrowed(function, low, high)
    middle = 0.5 * (low + high)
    return math.nan if math.isnan(function(middle)) else middle


def narrowed(function: Callable[[float], float], low: float, high: float) -> tuple[float, float]:
    """Return a bracket of the root of a rising function, between whose ends no number lies.

    Parameters
    ----------
    function : callable
        Takes a number and returns one; rising.
    low, high : float
        A bracket, as for `rising_root`.
    """
    surely_below, surely_above = _located(function, low, high)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if not low < middle < high:
            break
        if middle <= surely_below or (middle < surely_above and function(middle) < 0.0):
            low = middle
        else:
            high = middle
    return low, high


def _located(function: Callable[[float], float], low: float, high: float) -> tuple[float, float]:
    """Return a narrow bracket of the root by the Illinois method; the given one if that fails."""
    left, right, at_left, at_right = low, high, function(low), function(high)
    before, side = math.nan, 0
    for _ in range(_SECANTS):
        if not at_left < 0.0 <= at_right < math.inf:
            break
        guess = right - at_right * (right - left) / (at_right - at_left)
        close = _CLOSE * max(abs(guess), 1.0)
        if abs(guess - before) < close:
            below, above = guess - _MARGIN * close, guess + _MARGIN * close
            if (below <= low or function(below) < 0.0) and (above >= high or function(above) > 0.0):
                return below, above
            break
        before, value = guess, function(guess)
        # an end that stays twice has its value halved, so that it moves too
        if value < 0.0:
            left, at_left, at_right = guess, value, at_right / 2.0 if side < 0 else at_right
            side = -1
        else:
            right, at_right, at_left = guess, value, at_left / 2.0 if side > 0 else at_left
            side = 1
    return low, high
