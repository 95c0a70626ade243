"""Control charts of single values: whether a process is in control or has changed.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, https://doi.org/10.18434/M32189, 6.3.2.2,
   "Individuals Control Charts": limits from the mean moving range, d2 = 1.128.
.. [2] The same, 6.3.2, "What are Variables Control Charts?": the Western Electric rules.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics._check import numbers
from kilnfolio.physics._types import Floats

D2 = 1.128
"""Mean range of two normal values, in standard deviations [1]_. [-]"""

LEAST = 8
"""Fewest values for a statement; the second rule also needs eight in a row [2]_."""

RUN = 8
"""Number of values in a row on one side of the mean that is a signal [2]_."""


@dataclass(frozen=True)
class ControlLimits:
    """Mean and three-sigma limits of single values.

    Attributes
    ----------
    n : int
        Number of values.
    mean : float
        Their mean. [unit of the values]
    sigma : float
        Their standard deviation, estimated from the mean moving range. [same unit]
    """

    n: int
    mean: float
    sigma: float

    @property
    def low(self) -> float:
        """Lower limit: three sigma below the mean. [unit of the values]."""
        return self.mean - 3.0 * self.sigma

    @property
    def high(self) -> float:
        """Upper limit: three sigma above the mean. [unit of the values]."""
        return self.mean + 3.0 * self.sigma


def control_limits(values: ArrayLike) -> ControlLimits:
    """Return the mean and control limits of single values in order of time [1]_.

    The spread is estimated from successive differences, so that a slow change does not widen the
    limits that are meant to show it.

    Parameters
    ----------
    values : array_like
        Two values or more, oldest first. [any unit]

    Returns
    -------
    ControlLimits
        Mean and limits.

    Raises
    ------
    ValueError
        If there are fewer than two values, or one is not finite.
    """
    found = _known(values)
    moving = np.abs(np.diff(found))
    return ControlLimits(found.size, float(found.mean()), float(moving.mean()) / D2)


def beyond_limits(values: ArrayLike) -> list[int]:
    """Return the indices of values beyond the limits: the first Western Electric rule [2]_.

    Parameters
    ----------
    values : array_like
        As for `control_limits`. [any unit]

    Returns
    -------
    list of int
        Their indices.

    Raises
    ------
    ValueError
        As for `control_limits`.
    """
    found, limits = _known(values), control_limits(values)
    return [int(at) for at in np.flatnonzero((found < limits.low) | (found > limits.high))]


def runs_on_one_side(values: ArrayLike) -> list[tuple[int, int]]:
    """Return the first and last index of each run of `RUN` or more on one side of the mean [2]_.

    Parameters
    ----------
    values : array_like
        As for `control_limits`. [any unit]

    Returns
    -------
    list of tuple of int
        Index of the first and last value of each run.

    Raises
    ------
    ValueError
        As for `control_limits`.
    """
    found = _known(values)
    sides = np.sign(found - found.mean())
    runs, start = [], 0
    for at in range(1, found.size + 1):
        if at == found.size or sides[at] != sides[start]:
            if at - start >= RUN and sides[start]:
                runs.append((start, at - 1))
            start = at
    return runs


def _known(values: ArrayLike) -> Floats:
    found = numbers("values", values)
    if found.ndim != 1 or found.size < 2:
        raise ValueError("values must hold two values or more in order of time")
    if np.isnan(found).any():
        raise ValueError("values must all be known; leave out a charge without one")
    return found
