"""Inversion of monotonically rising functions."""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics._types import Floats

_HALVINGS = 64
"""Number of halvings, enough to shrink any bracket used here to the last bit of a double."""


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
    """
    low, high = (np.array(end, dtype=float) for end in np.broadcast_arrays(low, high))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        below = function(middle) < 0.0
        low = np.where(below, middle, low)
        high = np.where(below, high, middle)
    middle = 0.5 * (low + high)
    return np.where(np.isnan(function(middle)), np.nan, middle)
