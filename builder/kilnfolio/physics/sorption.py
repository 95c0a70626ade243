"""Wood in equilibrium with air: equilibrium moisture content.

References
----------
.. [1] Glass, S. V., and Zelinka, S. L., "Moisture relations and physical properties of wood",
   chapter 4 of Wood Handbook, FPL-GTR-190, USDA Forest Service, 2010, eq. 4-5 and table 4-2.
.. [2] Simpson, W. T., "Predicting equilibrium moisture content of wood by mathematical models",
   Wood and Fiber 5(1), 1973, 41-49.
.. [3] JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM), 5.1.2.
"""

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics import air
from kilnfolio.physics._check import in_range, numbers, plain, refuse, together
from kilnfolio.physics._solve import rising_root
from kilnfolio.physics._types import FloatOrArray, Floats

EMC_TEMP_RANGE_C = (-30.0, 132.3)
"""Temperatures accepted by the EMC equation. [°C]

The upper end is the last row of the handbook's table, 270 °F; beyond it the equation turns back
and gives negative EMC. The lower end covers a yard in winter; see `FITTED_TEMP_RANGE_C`.
"""

FITTED_TEMP_RANGE_C = (-1.2, 132.3)
"""Temperatures the handbook tabulates, 30 to 270 °F. [°C] Source: [1]_, table 4-2.

Below this range `equilibrium_moisture_content` is a smooth but unsupported extrapolation.
"""

HYDRATE_COEFFICIENTS = (
    (349.0, 1.29, 0.0135),
    (0.805, 0.000736, -0.00000273),
    (6.27, -0.00938, -0.000303),
    (1.91, 0.0407, -0.000293),
)
"""W, K, K1 and K2 of the EMC equation: polynomials in t [°C], rising powers.

Source: [1]_, eq. 4-5, metric coefficients.
"""

HYDRATE_SCALE = 1800.0
"""Numerator over W in the EMC equation. [% kg/kmol] Source: [1]_, eq. 4-5."""


def equilibrium_moisture_content(
    temp_c: ArrayLike, relative_humidity_pct: ArrayLike
) -> FloatOrArray:
    """Return the MC at which wood neither gains nor loses water in given air.

    Parameters
    ----------
    temp_c : float or array_like
        Temperature of air and wood, -30 to 132.3. [°C]
    relative_humidity_pct : float or array_like
        RH, 0 to 100. [%]

    Returns
    -------
    float or ndarray
        EMC on the oven-dry basis. [%] Zero at 0 % RH; NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    The two-hydrate Hailwood-Horrobin equation, which Simpson found the best of ten [2]_, with the
    handbook's metric coefficients [1]_ and h the RH as a fraction::

        EMC = 1800/W [ Kh/(1 - Kh) + (K1 Kh + 2 K1 K2 K²h²) / (1 + K1 Kh + K1 K2 K²h²) ]

    It generated the handbook's table and agrees with it within 0.06 point. Wood varies far more:
    one curve represents all species, drying and wetting differ by 1 to 4 points at 50 % RH, and
    0.1 point is "not meaningful" physically (the handbook's words in its 2021 edition). Above
    about 120 °C the curve is very flat and then steep near saturation; above 100 °C an open kiln
    cannot reach high RH anyway. At 100 % RH the value is the end of the curve, not a fibre
    saturation point.
    """
    temp = in_range("temp_c", temp_c, *EMC_TEMP_RANGE_C, "°C")
    humidity = in_range("relative_humidity_pct", relative_humidity_pct, 0, 100, "%")
    return plain(_emc(temp, humidity))


def coefficients(temp_c: ArrayLike) -> tuple[FloatOrArray, ...]:
    """Return W, K, K1 and K2 of the EMC equation at a temperature, to show the working.

    Parameters
    ----------
    temp_c : float or array_like
        Temperature, -30 to 132.3. [°C]

    Returns
    -------
    tuple of float or ndarray
        W, K, K1, K2, as in the notes of `equilibrium_moisture_content`. [-]

    Raises
    ------
    ValueError
        If a temperature lies outside its range.
    """
    temp = in_range("temp_c", temp_c, *EMC_TEMP_RANGE_C, "°C")
    return tuple(map(plain, _coefficients(temp)))


def relative_humidity_for_emc(temp_c: ArrayLike, emc_pct: ArrayLike) -> FloatOrArray:
    """Return the RH that keeps wood at an EMC: the inverse of `equilibrium_moisture_content`.

    Parameters
    ----------
    temp_c : float or array_like
        Temperature of air and wood, -30 to 132.3. [°C]
    emc_pct : float or array_like
        EMC, 0 to the value at 100 % RH for this temperature. [%]

    Returns
    -------
    float or ndarray
        RH. [%] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If the temperature lies outside its range, or if no RH up to 100 % gives this EMC.

    Notes
    -----
    Solved by bisection: the equation rises with RH over its whole range, so the answer is unique.
    """
    temp = in_range("temp_c", temp_c, *EMC_TEMP_RANGE_C, "°C")
    emc = numbers("emc_pct", emc_pct)
    temp, emc = together(temp, emc)
    refuse(
        (emc < 0.0) | (emc > _emc(temp, np.asarray(100.0))),
        "emc_pct must lie between 0 and the EMC at 100 % RH for temp_c",
        emc_pct=emc,
        temp_c=temp,
    )
    low, high = np.zeros(temp.shape), np.full(temp.shape, 100.0)
    coefficients = _coefficients(temp)
    return plain(rising_root(lambda rh: _two_hydrates(coefficients, rh) - emc, low, high))


def emc_uncertainty(
    dry_bulb_c: ArrayLike,
    wet_bulb_c: ArrayLike,
    dry_bulb_error_k: ArrayLike,
    wet_bulb_error_k: ArrayLike,
    pressure_pa: ArrayLike = air.STANDARD_PRESSURE_PA,
    *,
    method: str = "ventilated",
) -> FloatOrArray:
    """Return the uncertainty of the EMC due to the uncertainties of the two bulbs.

    Parameters
    ----------
    dry_bulb_c, wet_bulb_c : float or array_like
        The bulbs, as for `air.relative_humidity`; the dry bulb from -30 to 132.3. [°C]
    dry_bulb_error_k, wet_bulb_error_k : float or array_like
        Uncertainty of each bulb, 0 to 10, both standard or both expanded, and so is the result.
        [K]
    pressure_pa : float or array_like, default 101325
        Total air pressure, 50 000 to 110 000. [Pa]
    method : str, default "ventilated"
        As for `air.relative_humidity`.

    Returns
    -------
    float or ndarray
        Uncertainty of the EMC, never negative. [%] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range, or the pair of bulbs is refused by
        `air.relative_humidity`.

    Notes
    -----
    Each bulb is shifted up and down by its error, and the larger of the two changes of EMC counts;
    the two contributions add in quadrature, as for independent inputs [3]_. The guide's linear
    slope would do in the middle of the range, but near saturation the EMC curves steeply upward and
    a wet bulb can only be wrong downward: there the shifted RH stops at 100 %, and the other
    direction decides. At the dry end it stops at 0 % in the same way. The variation of wood itself
    is not included.
    """
    dry = in_range("dry_bulb_c", dry_bulb_c, *EMC_TEMP_RANGE_C, "°C")
    wet = numbers("wet_bulb_c", wet_bulb_c)
    dry_error = in_range("dry_bulb_error_k", dry_bulb_error_k, 0, 10, "K")
    wet_error = in_range("wet_bulb_error_k", wet_bulb_error_k, 0, 10, "K")
    pressure = numbers("pressure_pa", pressure_pa)
    centre = _emc(dry, air.relative_humidity(dry, wet, pressure, method=method))
    dry, wet, dry_error, wet_error, pressure = np.broadcast_arrays(
        dry, wet, dry_error, wet_error, pressure
    )
    moved_dry = np.stack([dry + dry_error, dry - dry_error, dry, dry])
    moved_wet = np.stack([wet, wet, wet + wet_error, wet - wet_error])
    vapour = air.vapour_pressure_of_bulbs(moved_dry, moved_wet, pressure, method=method)
    humidity = 100.0 * vapour / air.saturation_pressure(moved_dry)
    # a shifted dry bulb must stay within the range of the EMC equation
    emc = _emc(np.clip(moved_dry, *EMC_TEMP_RANGE_C), np.clip(humidity, 0, 100))
    change = np.abs(emc - centre)
    return plain(np.hypot(change[:2].max(axis=0), change[2:].max(axis=0)))


def _coefficients(temp: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    w, k, k1, k2 = (c[0] + temp * (c[1] + temp * c[2]) for c in HYDRATE_COEFFICIENTS)
    return w, k, k1, k2


def _emc(temp: Floats, humidity_pct: Floats) -> Floats:
    return _two_hydrates(_coefficients(temp), humidity_pct)


def _two_hydrates(
    coefficients: tuple[Floats, Floats, Floats, Floats], humidity_pct: Floats
) -> Floats:
    w, k, k1, k2 = coefficients
    kh = k * humidity_pct / 100.0
    dissolved = kh / (1.0 - kh)
    first, second = k1 * kh, k1 * k2 * kh**2
    return HYDRATE_SCALE / w * (dissolved + (first + 2.0 * second) / (1.0 + first + second))
