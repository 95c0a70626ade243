"""Rules of the trade that are sums: equalizing, conditioning, a safe rate at another thickness.

What a rule takes off or puts on is not kept here: sources differ, and the mill's own choice stands
in its limits.

References
----------
.. [1] Wengert, E. M., extension articles: equalizing begins when the driest sample is 2 points
   below the target; 8/4 stock is dried at 1/2.5 of the 4/4 rate.
.. [2] Dry Kiln Operator's Manual, USDA Agriculture Handbook 188, 1991, ch. 7 (from memory):
   conditioning EMC 4 points above the target for hardwoods, 3 for softwoods.
.. [3] FPL-GTR-57, app. A: 3 points below the target where equalizing begins, for some woods.
"""

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics._check import in_range, plain
from kilnfolio.physics._types import FloatOrArray

FOUR_QUARTER_MM = 25.4
"""Thickness that safe daily losses are published for: 4/4. [mm]"""


def equalizing_start(target_pct: ArrayLike, points_below: ArrayLike) -> FloatOrArray:
    """Return the MC of the driest sample board at which equalizing starts.

    Parameters
    ----------
    target_pct : float or array_like
        Desired mean final MC, 4 to 30. [%]
    points_below : float or array_like
        How far below the target, 0 to 4; 2 by [1]_, 3 by [3]_. [% MC]

    Returns
    -------
    float or ndarray
        MC of the driest board. [%] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``target - points_below`` [1]_.
    """
    target = in_range("target_pct", target_pct, 4, 30, "%")
    return plain(target - in_range("points_below", points_below, 0, 4, "points"))


def equalizing_emc(target_pct: ArrayLike, points_below: ArrayLike) -> FloatOrArray:
    """Return the EMC of the equalizing air: that of the driest board when it starts.

    Parameters
    ----------
    target_pct : float or array_like
        As for `equalizing_start`. [%]
    points_below : float or array_like
        As for `equalizing_start`. [% MC]

    Returns
    -------
    float or ndarray
        EMC. [%] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    The driest board then neither loses nor gains while the wetter ones follow it down [2]_.
    """
    return equalizing_start(target_pct, points_below)


def conditioning_emc(target_pct: ArrayLike, points_above: ArrayLike) -> FloatOrArray:
    """Return the EMC of the conditioning air.

    Parameters
    ----------
    target_pct : float or array_like
        Desired mean final MC, 4 to 30. [%]
    points_above : float or array_like
        How far above the target, 0 to 8; 4 for hardwoods, 3 for softwoods by [2]_. [% MC]

    Returns
    -------
    float or ndarray
        EMC. [%] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``target + points_above``. The printed table may depart from the rule at targets of 5 to 7 %.
    """
    target = in_range("target_pct", target_pct, 4, 30, "%")
    return plain(target + in_range("points_above", points_above, 0, 8, "points"))


def thickness_scaled_rate(
    rate_pct_day: ArrayLike,
    thickness_mm: ArrayLike,
    divisor: ArrayLike,
    from_thickness_mm: ArrayLike = FOUR_QUARTER_MM,
) -> FloatOrArray:
    """Return a safe daily loss carried from one thickness to another.

    Parameters
    ----------
    rate_pct_day : float or array_like
        Safe loss at `from_thickness_mm`, 0 to 100. [% MC/d]
    thickness_mm : float or array_like
        Thickness it is wanted for, 5 to 300. [mm]
    divisor : float or array_like
        What the rate is divided by for twice the thickness, 1 to 10; 2.5 by [1]_. [-]
    from_thickness_mm : float or array_like, default 25.4
        Thickness it is published for, 5 to 300. [mm]

    Returns
    -------
    float or ndarray
        Safe loss at `thickness_mm`. [% MC/d] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    The published point is twice the thickness [1]_. Between and beyond, a power of the thickness
    through that point is used, ``rate × (t0/t)^log2(divisor)``: our own interpolation.
    """
    rate = in_range("rate_pct_day", rate_pct_day, 0, 100, "% MC/d")
    thickness = in_range("thickness_mm", thickness_mm, 5, 300, "mm")
    published = in_range("from_thickness_mm", from_thickness_mm, 5, 300, "mm")
    falls = in_range("divisor", divisor, 1, 10, "")
    return plain(rate * (published / thickness) ** np.log2(falls))
