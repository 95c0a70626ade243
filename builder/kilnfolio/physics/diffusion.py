"""Fick's law in a board: how far uptake, or loss, has gone after a time.

A board is a plane sheet of half thickness l that dries through both faces, with one diffusion
coefficient D throughout. Its clock is the dimensionless time T = D t/l². "Uptake" is the share of
the whole change that has happened, whichever way the water goes. Real boards are less simple (D
changes with MC and temperature), so this serves for teaching and for invented examples, not for
judging a charge.

References
----------
.. [1] Crank, J., The Mathematics of Diffusion, 2nd edition, Oxford, 1975, sections 4.3.2 (eqs.
   4.17, 4.18, 4.20) and 4.3.6 (eqs. 4.50 to 4.53); equation numbers from memory.
"""

import math
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kilnfolio.physics._check import in_range, plain
from kilnfolio.physics._solve import rising_root
from kilnfolio.physics._types import FloatOrArray, Floats

_TERMS = 400
"""Terms of a series with surface resistance. Those left out weigh under 1e-4 at T = 0, and nothing
once T passes 0.00003."""

_SHORT_TIME = 0.03
"""Below this T the average follows the square root of time, with an error under 1e-15."""

_STILL_CENTRE = 0.005
"""Below this T nothing has reached the centre: the uptake there is under 1e-22."""

LARGEST_BIOT = 1000.0
"""Largest finite surface coefficient accepted; beyond it the resistance hardly shows. [-]"""


def average_uptake(dimensionless_time: ArrayLike, biot: float = math.inf) -> FloatOrArray:
    """Return the share of the whole change of MC that a board has undergone on average.

    Parameters
    ----------
    dimensionless_time : float or array_like
        D t/l² with l the half thickness, 0 or more. [-]
    biot : float, default infinity
        l α/D, how freely the surface exchanges, above 0, at most 1000. Infinity: the surface is at
        equilibrium from the start. [-]

    Returns
    -------
    float or ndarray
        0 at the start, 1 in the end. [-] NaN where the time is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    Without resistance, Crank's eq. 4.18, ``1 - Σ 8/((2n+1)²π²) exp(-(2n+1)²π²T/4)``, and below T
    = 0.03, where it converges slowly, the leading term ``2 √(T/π)`` of eq. 4.20. With resistance,
    eq. 4.53, ``1 - Σ 2L² exp(-β²T)/(β² (β² + L² + L))`` over the roots of ``β tan β = L`` [1]_.
    """
    time = _time(dimensionless_time)
    if _is_free(biot):
        odd = 2 * np.arange(16) + 1
        late = 1.0 - _sum(8.0 / (odd * math.pi) ** 2, (odd * math.pi / 2.0) ** 2, time)
        return plain(np.where(time < _SHORT_TIME, 2.0 * np.sqrt(time / math.pi), late))
    biot = _biot(biot)
    roots = surface_roots(biot)
    weights = 2.0 * biot**2 / (roots**2 * (roots**2 + biot**2 + biot))
    return plain(np.where(time == 0.0, 0.0, 1.0 - _sum(weights, roots**2, time)))


def centre_uptake(dimensionless_time: ArrayLike, biot: float = math.inf) -> FloatOrArray:
    """Return the share of the whole change of MC that the middle of a board has undergone.

    Parameters
    ----------
    dimensionless_time : float or array_like
        D t/l² with l the half thickness, 0 or more. [-]
    biot : float, default infinity
        l α/D, as for `average_uptake`. [-]

    Returns
    -------
    float or ndarray
        0 at the start, 1 in the end, never ahead of the average. [-] NaN where the time is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    Crank's eqs. 4.17 and 4.50 at x = 0 [1]_: ``1 - 4/π Σ (-1)ⁿ/(2n+1) exp(-(2n+1)²π²T/4)`` and
    ``1 - Σ 2L exp(-β²T)/((β² + L² + L) cos β)``. Below T = 0.005 the change has not arrived and
    the result is 0.
    """
    time = _time(dimensionless_time)
    if _is_free(biot):
        n = np.arange(32)
        odd = 2 * n + 1
        weights, rates = 4.0 / math.pi * (-1.0) ** n / odd, (odd * math.pi / 2.0) ** 2
    else:
        biot = _biot(biot)
        roots = surface_roots(biot)
        weights = 2.0 * biot / ((roots**2 + biot**2 + biot) * np.cos(roots))
        rates = roots**2
    uptake = 1.0 - _sum(weights, rates, np.maximum(time, _STILL_CENTRE))
    return plain(np.where(time < _STILL_CENTRE, 0.0, uptake))


@lru_cache(maxsize=64)
def surface_roots(biot: float, count: int = _TERMS) -> Floats:
    """Return the first positive roots of β tan β = L.

    Parameters
    ----------
    biot : float
        L, above 0, at most 1000. [-]
    count : int, default 400
        How many roots, the smallest first.

    Returns
    -------
    ndarray, shape (count,)
        The roots, one in each interval from nπ to (n + ½)π. Read-only, because it is shared.

    Raises
    ------
    ValueError
        If `biot` lies outside its range.
    """
    biot = _biot(biot)
    n = np.arange(count)
    sign = (-1.0) ** n
    # β sin β - L cos β has the same roots and no poles; the sign makes it rise in each interval.
    roots = rising_root(
        lambda beta: sign * (beta * np.sin(beta) - biot * np.cos(beta)),
        n * math.pi,
        (n + 0.5) * math.pi,
    )
    roots.flags.writeable = False
    return roots


def _sum(weights: NDArray[Any], rates: NDArray[Any], time: Floats) -> Floats:
    total: Floats = np.exp(-rates * time[..., np.newaxis]) @ weights
    return total


def _time(value: ArrayLike) -> Floats:
    return in_range("dimensionless_time", value, 0, 1e6, "")


def _biot(value: ArrayLike) -> float:
    biot = in_range("biot", value, 0, LARGEST_BIOT, "", above_low=True)
    if biot.ndim:
        raise ValueError(f"biot must be a single number; received {value!r}")
    return float(biot)


def _is_free(biot: float) -> bool:
    return np.ndim(biot) == 0 and biot == math.inf
