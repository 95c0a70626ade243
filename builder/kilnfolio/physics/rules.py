"""Numerical rules of the trade: equalizing, conditioning, safe rates at other thicknesses.

The points that a rule adds or subtracts are arguments: sources differ, and the mill's own choice is
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
"""Thickness for which safe daily losses are published: 4/4. [mm]"""


def equalizing_start(target_pct: ArrayLike, points_below: ArrayLike) -> FloatOrArray:
    """Return the MC of the driest sample board at which equalizing starts.

    Parameters
    ----------
    target_pct : float or array_like
        Desired mean final MC, 4 to 30. [%]
    points_below : float or array_like
        Points below the target, 0 to 4; 2 by [1]_, 3 by [3]_. [% MC]

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
    """Return the EMC of the equalizing air: the MC of the driest board at its start.

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
    The driest board then neither loses nor gains water while the wetter ones catch up [2]_.
    """
    return equalizing_start(target_pct, points_below)


def conditioning_emc(target_pct: ArrayLike, points_above: ArrayLike) -> FloatOrArray:
    """Return the EMC of the conditioning air.

    Parameters
    ----------
    target_pct : float or array_like
        Desired mean final MC, 4 to 30. [%]
    points_above : float or array_like
        Points above the target, 0 to 8; 4 for hardwoods, 3 for softwoods by [2]_. [% MC]

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
    ``target + points_above``. Targets below 8 % use fewer points; see
    `conditioning_points`.
    """
    target = in_range("target_pct", target_pct, 4, 30, "%")
    return plain(target + in_range("points_above", points_above, 0, 8, "points"))


def conditioning_points(
    target_pct: ArrayLike,
    points: ArrayLike,
    points_low: ArrayLike,
    low_up_to_pct: ArrayLike,
    full_from_pct: ArrayLike,
) -> FloatOrArray:
    """Return the points above the target for the conditioning EMC.

    Parameters
    ----------
    target_pct : float or array_like
        Desired mean final MC, 4 to 30. [%]
    points : float or array_like
        Points above targets from `full_from_pct` upward, 0 to 8; 4 for hardwoods, 3 for softwoods
        by [2]_. [% MC]
    points_low : float or array_like
        Points above targets up to `low_up_to_pct`, 0 to 8; 3 and 2 by [2]_. [% MC]
    low_up_to_pct, full_from_pct : float or array_like
        Targets up to which, and from which, the two apply, 4 to 30. [%]

    Returns
    -------
    float or ndarray
        Points above the target. [% MC] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    Linear between the two targets: our own interpolation of a table printed in whole per cent. A
    published case agrees with the lower value: boards at 6.75 %, conditioned at 9.6 % EMC.
    """
    target = in_range("target_pct", target_pct, 4, 30, "%")
    high = in_range("points", points, 0, 8, "points")
    low = in_range("points_low", points_low, 0, 8, "points")
    first = in_range("low_up_to_pct", low_up_to_pct, 4, 30, "%")
    last = in_range("full_from_pct", full_from_pct, 4, 30, "%")
    share = np.clip((target - first) / np.maximum(last - first, 1e-9), 0.0, 1.0)
    return plain(low + share * (high - low))


def safe_rate(
    thickness_mm: ArrayLike,
    thicknesses_mm: ArrayLike,
    rates_pct_day: ArrayLike,
    divisor: ArrayLike,
) -> FloatOrArray:
    """Return the safe daily loss at a thickness from the rates published for others.

    Parameters
    ----------
    thickness_mm : float or array_like
        Thickness of the board, 5 to 300. [mm]
    thicknesses_mm, rates_pct_day : array_like
        Thicknesses with a published rate, 5 to 300 and all different, [mm] and those rates, more
        than 0 to 100. [% MC/d] They fall as the thickness grows.
    divisor : float
        Divisor of the rate for twice the thickness, above 1, at most 10; 2.5 by [1]_. [-]

    Returns
    -------
    float or ndarray
        Safe loss. [% MC/d] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range, or the rates do not fall with the thickness.

    Notes
    -----
    Between published thicknesses the logarithm of the rate is interpolated over the logarithm of
    the thickness; beyond them the rule for twice the thickness applies, ``rate × (t0/t)^log2(2.5)``
    [1]_. The limit therefore falls strictly with thickness, and boards a tenth of a millimetre
    apart get nearly the same. Our own interpolation: the source prints only 4/4 and 8/4.
    """
    wanted = np.asarray(in_range("thickness_mm", thickness_mm, 5, 300, "mm"), float)
    known = np.atleast_1d(in_range("thicknesses_mm", thicknesses_mm, 5, 300, "mm"))
    rates = np.atleast_1d(in_range("rates_pct_day", rates_pct_day, 1e-6, 100, "% MC/d"))
    order = np.argsort(known)
    known, rates = known[order], rates[order]
    if len(known) != len(rates) or (np.diff(known) <= 0).any() or (np.diff(rates) >= 0).any():
        raise ValueError(
            f"rates_pct_day: {rates.tolist()} must fall as the thickness grows, one "
            f"for each of {known.tolist()} mm"
        )
    slope = -np.log2(in_range("divisor", divisor, 1.000001, 10, ""))
    x, xs, ys = np.log(wanted), np.log(known), np.log(rates)
    between = np.interp(x, xs, ys)
    beyond = np.where(x < xs[0], slope * (x - xs[0]), np.where(x > xs[-1], slope * (x - xs[-1]), 0))
    return plain(np.exp(between + beyond))


def thickness_scaled_rate(
    rate_pct_day: ArrayLike,
    thickness_mm: ArrayLike,
    divisor: ArrayLike,
    from_thickness_mm: ArrayLike = FOUR_QUARTER_MM,
) -> FloatOrArray:
    """Return a safe daily loss converted from one thickness to another.

    Parameters
    ----------
    rate_pct_day : float or array_like
        Safe loss at `from_thickness_mm`, 0 to 100. [% MC/d]
    thickness_mm : float or array_like
        Thickness of the board, 5 to 300. [mm]
    divisor : float or array_like
        Divisor of the rate for twice the thickness, 1 to 10; 2.5 by [1]_. [-]
    from_thickness_mm : float or array_like, default 25.4
        Thickness of the published rate, 5 to 300. [mm]

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
    The source gives the rate for twice the thickness [1]_. For other thicknesses a power law
    through that point is used, ``rate × (t0/t)^log2(divisor)``: our own interpolation.
    """
    rate = in_range("rate_pct_day", rate_pct_day, 0, 100, "% MC/d")
    thickness = in_range("thickness_mm", thickness_mm, 5, 300, "mm")
    published = in_range("from_thickness_mm", from_thickness_mm, 5, 300, "mm")
    falls = in_range("divisor", divisor, 1, 10, "")
    return plain(rate * (published / thickness) ** np.log2(falls))
