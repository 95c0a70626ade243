"""The published drying time of red oak, and the effect of temperature on the pace of drying.

References
----------
.. [1] Simpson, W. T., and Tschernitz, J. L., "Importance of thickness variation in kiln drying red
   oak lumber", Forest Products Journal 30(1), 1980; constants from memory.
"""

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics import air
from kilnfolio.physics._check import in_range, moisture_content, plain, refuse
from kilnfolio.physics._types import FloatOrArray

RATE_CONSTANTS = (0.0575, 0.00142)
"""Intercept [1/day] and slope [1/(day mmHg)] of the rate of 1 in red oak. Source: [1]_."""

FORMULA_UP_TO_MM = 100.0
"""Greatest thickness that the formula takes. [mm]"""

THICKNESS_POWER = 1.52
"""Power of the thickness in the drying time. [-] Source: [1]_."""

_PA_PER_MMHG = 133.322
_REFERENCE_C = 45.0


def temperature_factor(temp_c: ArrayLike) -> FloatOrArray:
    """Return the pace of drying of red oak at a temperature relative to 45 °C.

    Parameters
    ----------
    temp_c : float or array_like
        Dry bulb, 0 to 120. [°C] The formula was fitted from 32 to about 80.

    Returns
    -------
    float or ndarray
        1 at 45 °C. [-] NaN where the temperature is NaN.

    Raises
    ------
    ValueError
        If a temperature lies outside its range.

    Notes
    -----
    ``f = (0.0575 + 0.00142 p)/(the same at 45 °C)``, p the saturation pressure in mmHg [1]_.
    """
    temp = in_range("temp_c", temp_c, 0, 120, "°C")
    return plain(np.asarray(_rate(temp) / _rate(np.asarray(_REFERENCE_C))))


def red_oak_days(
    thickness_mm: ArrayLike,
    temp_c: ArrayLike,
    mc_from_pct: ArrayLike,
    mc_to_pct: ArrayLike,
    emc_pct: ArrayLike,
) -> FloatOrArray:
    """Return the days red oak takes to dry from one MC to another in constant air.

    Parameters
    ----------
    thickness_mm : float or array_like
        Thickness, 5 to 100. [mm]
    temp_c : float or array_like
        Dry bulb, 0 to 120. [°C]
    mc_from_pct, mc_to_pct : float or array_like
        MC at the start and end. [%]
    emc_pct : float or array_like
        EMC of the air, below `mc_to_pct`. [%]

    Returns
    -------
    float or ndarray
        Time. [day]

    Raises
    ------
    ValueError
        If an argument lies outside its range, or the MCs do not fall toward the EMC.

    Notes
    -----
    ``t = -τ ln E``, ``E = (to - EMC)/(from - EMC)``, ``τ = L^1.52/(0.0575 + 0.00142 p)``, L in
    inches and p in mmHg [1]_. For other woods it is only a first guess.
    """
    thickness = in_range("thickness_mm", thickness_mm, 5, FORMULA_UP_TO_MM, "mm")
    temp = in_range("temp_c", temp_c, 0, 120, "°C")
    start, end, emc = (
        moisture_content(name, value)
        for name, value in (
            ("mc_from_pct", mc_from_pct),
            ("mc_to_pct", mc_to_pct),
            ("emc_pct", emc_pct),
        )
    )
    refuse(
        ~((start >= end) & (end > emc)) & ~np.isnan(start + end + emc),
        "MC must fall from mc_from_pct to mc_to_pct and stay above emc_pct",
        mc_from_pct=start,
        mc_to_pct=end,
        emc_pct=emc,
    )
    tau = red_oak_tau(thickness, temp)
    return plain(np.asarray(-tau * np.log((end - emc) / (start - emc))))


def red_oak_tau(thickness_mm: ArrayLike, temp_c: ArrayLike) -> FloatOrArray:
    """Return the time constant of red oak: the time until 1/e of its distance to the EMC is left.

    Parameters
    ----------
    thickness_mm : float or array_like
        Thickness, 5 to 100. [mm]
    temp_c : float or array_like
        Dry bulb, 0 to 120. [°C]

    Returns
    -------
    float or ndarray
        τ. [day]

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``τ = L^1.52/(0.0575 + 0.00142 p)``, L in inches and p in mmHg [1]_.
    """
    thickness = in_range("thickness_mm", thickness_mm, 5, FORMULA_UP_TO_MM, "mm")
    temp = in_range("temp_c", temp_c, 0, 120, "°C")
    return plain(np.asarray((thickness / 25.4) ** THICKNESS_POWER / _rate(temp)))


def _rate(temp_c: FloatOrArray) -> FloatOrArray:
    intercept, slope = RATE_CONSTANTS
    return intercept + slope * air.saturation_pressure(temp_c) / _PA_PER_MMHG
