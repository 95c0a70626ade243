"""Rules of the trade that are sums: equalizing, conditioning, and a safe rate carried to another thickness.

References
----------
.. [1] Wengert, E. M., extension articles: equalizing begins when the driest sample is 2 points below
   the target; 8/4 stock is dried at 1/2.5 of the 4/4 rate.
.. [2] Dry Kiln Operator's Manual, USDA Agriculture Handbook 188, 1991, ch. 7 (from memory).
"""

import math

from kilnfolio.physics import _check
from kilnfolio.physics._check import in_range, one_of, plain

EQUALIZING_POINTS_BELOW = 2.0
"""How far below the target the driest sample, and the EMC, stand when equalizing starts. [% MC]

Source: [1]_. Wood Handbook FPL-GTR-57 uses 3 for some woods; a mill's own value stands in its limits.
"""

CONDITIONING_POINTS_ABOVE = {"hardwood": 4.0, "softwood": 3.0}
"""How far above the target the conditioning EMC stands. [% MC] Source: [2]_, from memory.

The printed table may depart from the rule at targets of 5 to 7 %.
"""

TWICE_AS_THICK = 2.5
"""The factor by which the safe daily loss falls from 4/4 to 8/4. [-] Source: [1]_."""

FOUR_QUARTER_MM = 25.4
"""Thickness that safe daily losses are published for: 4/4. [mm]"""


def equalizing_start(target_pct, points_below=EQUALIZING_POINTS_BELOW):
    """Return the MC of the driest sample board at which equalizing starts.

    Parameters
    ----------
    target_pct : float or array_like
        Desired mean final MC, 4 to 30. [%]
    points_below : float or array_like, default 2
        How far below the target, 0 to 4. [% MC]

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


def equalizing_emc(target_pct, points_below=EQUALIZING_POINTS_BELOW):
    """Return the EMC of the equalizing air: that of the driest board when it starts.

    Parameters
    ----------
    target_pct, points_below
        As for `equalizing_start`.

    Returns
    -------
    float or ndarray
        EMC. [%]

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    The driest board then neither loses nor gains while the wetter ones follow it down [2]_.
    """
    return equalizing_start(target_pct, points_below)


def conditioning_emc(target_pct, kind):
    """Return the EMC of the conditioning air.

    Parameters
    ----------
    target_pct : float or array_like
        Desired mean final MC, 4 to 30. [%]
    kind : {"hardwood", "softwood"}
        What is dried.

    Returns
    -------
    float or ndarray
        EMC. [%] NaN where the input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``target + 4`` for hardwoods, ``target + 3`` for softwoods [2]_.
    """
    points = CONDITIONING_POINTS_ABOVE[one_of("kind", kind, tuple(CONDITIONING_POINTS_ABOVE))]
    return plain(in_range("target_pct", target_pct, 4, 30, "%") + points)


def thickness_scaled_rate(rate_pct_day, thickness_mm, from_thickness_mm=FOUR_QUARTER_MM):
    """Return a safe daily loss carried from one thickness to another.

    Parameters
    ----------
    rate_pct_day : float or array_like
        Safe loss at `from_thickness_mm`, 0 to 100. [% MC/d]
    thickness_mm : float or array_like
        Thickness it is wanted for, 5 to 300. [mm]
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
    The published point is that twice the thickness takes 1/2.5 of the rate [1]_. Between and beyond,
    a power of the thickness through that point is used: rate × (t0/t)^log2(2.5), which is our own
    interpolation.
    """
    rate = _check.in_range("rate_pct_day", rate_pct_day, 0, 100, "% MC/d")
    thickness = in_range("thickness_mm", thickness_mm, 5, 300, "mm")
    published = in_range("from_thickness_mm", from_thickness_mm, 5, 300, "mm")
    return plain(rate * (published / thickness) ** math.log2(TWICE_AS_THICK))
