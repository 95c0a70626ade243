"""Moist air: humidity from dry and wet bulb, and the inverse.

The saturation pressure is that of Hyland and Wexler, and everything else follows from it. RH is
relative to saturation over liquid water above the triple point and over ice below it, as in the
ASHRAE Handbook.

References
----------
.. [1] ASHRAE Handbook, Fundamentals, 2017, SI edition, chapter 1 "Psychrometrics".
.. [2] Hyland, R. W., and Wexler, A., "Formulations for the thermodynamic properties of the
   saturated phases of H2O from 173.15 K to 473.15 K", ASHRAE Transactions 89(2A), 1983, 500-519.
.. [3] Ferrel, W., Annual Report of the Chief Signal Officer for 1886, appendix 24; the formula
   behind the psychrometric tables of the US Weather Bureau (C. F. Marvin, W.B. No. 235).
.. [4] American Meteorological Society, Glossary of Meteorology, "psychrometric formula".
.. [5] ICAO Doc 7488, Manual of the ICAO Standard Atmosphere, 3rd edition, 1993.
"""

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics._check import in_range, one_of, plain, refuse, some, together
from kilnfolio.physics._solve import rising_root
from kilnfolio.physics._types import FloatOrArray, Floats

STANDARD_PRESSURE_PA = 101325.0
"""Pressure of the standard atmosphere at sea level. [Pa] Source: [5]_."""

MOLAR_MASS_RATIO = 0.621945
"""Molar mass of water over that of dry air. [-] Source: [1]_, eq. 20."""

TRIPLE_POINT_C = 0.01
"""Temperature where ice, water and vapour meet. [°C] Source: the definition in ITS-90."""

SATURATION_RANGE_C = (-100.0, 200.0)
"""Range of the two saturation-pressure equations. [°C] Source: [1]_, eqs. 5 and 6."""

BULB_RANGE_C = (-50.0, 150.0)
"""Dry bulbs accepted: wider than any kiln or shed, but refusing values in a wrong unit. [°C]"""

PRESSURE_RANGE_PA = (50_000.0, 110_000.0)
"""Total pressures accepted: from 5 500 m altitude down to the deepest mine. [Pa]

Narrow on purpose, so that 101.3 (kPa) or 1013 (hPa) is refused.
"""

ALTITUDE_RANGE_M = (-500.0, 5500.0)
"""Altitudes accepted, matching `PRESSURE_RANGE_PA`. [m]"""

VENTILATED_COEFFICIENT = 0.000662
"""Psychrometer coefficient of a well-ventilated wet bulb, constant with temperature. [1/K]

Sprung's 0.5 K⁻¹ mmHg / 755 mmHg for the aspirated psychrometer (from memory; common practice). The
meteorologists' glossary prints 0.000660 [4]_. `relative_humidity` compares the methods.
"""

FERREL_COEFFICIENT = 0.000367 * 1.8
"""Psychrometer coefficient at a wet bulb of 0 °C in Ferrel's formula: 0.000367 per °F. [1/K]

Source: [3]_. It grows with the wet bulb by `FERREL_SLOPE`.
"""

FERREL_SLOPE = 1.8 / 1571.0
"""Relative growth of Ferrel's coefficient per kelvin of wet bulb: (tw - 32)/1571 in °F. [1/K]

Source: [3]_.
"""

WATER_HEAT = (2501.0, 4.186)
"""Heat of vaporization at 0 °C and specific heat of water. [kJ/kg, kJ/(kg K)]

Source: [1]_, eq. 33.
"""

VAPOUR_SPECIFIC_HEAT = 1.86
"""Specific heat of water vapour. [kJ/(kg K)] Source: [1]_, eq. 30."""

DRY_AIR_SPECIFIC_HEAT = 1.006
"""Specific heat of dry air. [kJ/(kg K)] Source: [1]_, eq. 30."""

ICE_HEAT = (2830.0, 2.1)
"""Heat of sublimation at 0 °C and specific heat of ice. [kJ/kg, kJ/(kg K)]

Source: [1]_, eq. 35.
"""

ZERO_CELSIUS_K = 273.15
"""0 °C on the absolute scale. [K] Source: the definition of the degree Celsius."""

STANDARD_ATMOSPHERE = (0.0065, 288.15, 9.80665, 287.05287)
"""Temperature lapse rate, temperature at sea level, gravity, gas constant of dry air.

[K/m, K, m/s², J/(kg K)] Source: [5]_, the layer below 11 km.
"""

SATURATION_OVER_ICE = (
    -5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019,
)  # fmt: skip
"""a to g of ``ln p = a/T + b + c T + d T² + e T³ + f T⁴ + g ln T``, p in Pa and T in K, over ice.

Source: [1]_, eq. 5.
"""

SATURATION_OVER_WATER = (
    -5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673,
)  # fmt: skip
"""The same coefficients over water. Source: [1]_, eq. 6."""

VAPOUR_ROUNDING_PA = 1e-6
"""A vapour pressure no further below zero than this is a rounding error. [Pa]"""

WET_BULB_FLOOR_C = BULB_RANGE_C[0] - 10.0
"""Lower end of the search for a wet bulb. [°C]

Even perfectly dry air does not cool the wick to 10 K below the coldest dry bulb.
"""


def saturation_pressure(temp_c: ArrayLike) -> FloatOrArray:
    """Return the saturation pressure of water vapour over water, or over ice below 0.01 °C.

    Parameters
    ----------
    temp_c : float or array_like
        Temperature, -100 to 200. [°C]

    Returns
    -------
    float or ndarray
        Saturation vapour pressure. [Pa] NaN where `temp_c` is NaN.

    Raises
    ------
    ValueError
        If a temperature lies outside the range or is infinite.

    Notes
    -----
    Hyland and Wexler's pair of equations [2]_ in the form of ASHRAE Fundamentals eqs. 5 and 6
    [1]_. They were preferred to IAPWS-IF97 eq. 30 because one source covers ice as well as water,
    from a yard in winter to a kiln at 115 °C. They agree with IAPWS-95 within 0.05 % up to 150 °C,
    and with the IAPWS sublimation equation within 0.05 % down to -40 °C. The equations change over
    at the triple point, where they agree within 1 part in 10⁷; changing at 0 °C, as some tables
    do, would leave a step. Above 200 °C the polynomial would be an extrapolation and is refused.
    """
    return plain(_saturation_pressure(in_range("temp_c", temp_c, *SATURATION_RANGE_C, "°C")))


def vapour_pressure(temp_c: ArrayLike, relative_humidity_pct: ArrayLike) -> FloatOrArray:
    """Return the partial pressure of water vapour in air of a given temperature and RH.

    Parameters
    ----------
    temp_c : float or array_like
        Air temperature (dry bulb), -50 to 150. [°C]
    relative_humidity_pct : float or array_like
        RH, 0 to 100. [%]

    Returns
    -------
    float or ndarray
        Vapour pressure, RH/100 of the saturation pressure. [Pa] NaN where either input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    The definition of RH for ideal gases, ASHRAE Fundamentals eqs. 12 and 22 [1]_. Total pressure
    is not an argument, so a pair above the boiling point that no open kiln could hold is not
    refused here, but in `humidity_ratio` and `wet_bulb`.
    """
    temp = in_range("temp_c", temp_c, *BULB_RANGE_C, "°C")
    humidity = in_range("relative_humidity_pct", relative_humidity_pct, 0, 100, "%")
    return plain(_saturation_pressure(temp) * humidity / 100.0)


def relative_humidity(
    dry_bulb_c: ArrayLike,
    wet_bulb_c: ArrayLike,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
    *,
    method: str = "ventilated",
) -> FloatOrArray:
    """Return the RH given by a dry and a wet bulb.

    Parameters
    ----------
    dry_bulb_c : float or array_like
        Dry-bulb temperature, -50 to 150. [°C]
    wet_bulb_c : float or array_like
        Wet-bulb temperature, at most the dry bulb. [°C]
    pressure_pa : float or array_like, default 101325
        Total air pressure, 50 000 to 110 000. [Pa]
    method : {"ventilated", "weather-bureau", "thermodynamic"}
        How the wet bulb is interpreted; see Notes.

    Returns
    -------
    float or ndarray
        RH. [%] Exactly 100 where the bulbs are equal; NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range; if the wet bulb is above the dry bulb (never
        clipped to 100 %, so that swapped or faulty bulbs are noticed); if the depression is larger
        than in perfectly dry air, so that the vapour pressure would be negative; or if water would
        boil on the wet bulb at this pressure.

    Notes
    -----
    The wet bulb of a kiln is a thermometer in a wet wick in moving air. Two of the three methods
    use the psychrometer equation, with e the vapour pressure, e_w the saturation pressure at the
    wet bulb, p the total pressure and t, tw the bulbs in °C::

        e = e_w - A p (t - tw),      RH = 100 e / e_s(t)

    "ventilated", the default: A = 0.000662 per °C, constant.
    "weather-bureau": Ferrel's A = 0.0006606 (1 + 0.001146 tw) per °C [3]_, which is
    0.000367 (1 + (tw - 32)/1571) per °F converted exactly. The humidity tables of the US Weather
    Bureau follow it at 30 inHg, and so, it is believed, do the RH tables used with kilns there.

    At tw = 50 °C the two coefficients are 0.000662 and 0.000698. For bulbs of 60 and 50 °C at sea
    level they give 58.6 and 58.4 % RH; between 30 and 115 °C they differ by at most 0.4 point of
    RH. The constant is the default because it is closer to the thermodynamic value throughout.

    "thermodynamic" takes the wet bulb as the temperature of adiabatic saturation, ASHRAE
    Fundamentals eqs. 33 and 35 [1]_ (58.8 % in the same example). It needs no coefficient but
    describes no real instrument; it gives up to 0.8 point more than "ventilated".

    Below 0.01 °C the wick is frozen, and an ice-covered bulb has a coefficient about 12 % smaller
    [4]_. The two psychrometer methods ignore this: kilns do not run there, and a step would give
    two answers near 0 °C. Do not take RH from a frozen wick.
    """
    one_of("method", method, METHODS)
    dry = in_range("dry_bulb_c", dry_bulb_c, *BULB_RANGE_C, "°C")
    wet = in_range("wet_bulb_c", wet_bulb_c, SATURATION_RANGE_C[0], BULB_RANGE_C[1], "°C")
    pressure = in_range("pressure_pa", pressure_pa, *PRESSURE_RANGE_PA, "Pa")
    bulbs = {"dry_bulb_c": dry, "wet_bulb_c": wet}
    refuse(wet > dry, "wet_bulb_c must not be above dry_bulb_c", **bulbs)
    refuse(
        _saturation_pressure(wet) >= pressure,
        "wet_bulb_c must lie below the boiling point of water at pressure_pa",
        wet_bulb_c=wet,
        pressure_pa=pressure,
    )
    vapour = _vapour_pressure_of_bulbs(dry, wet, pressure, method)
    refuse(
        vapour < -VAPOUR_ROUNDING_PA,
        "wet_bulb_c is further below dry_bulb_c than perfectly dry air would put it"
        " (the vapour pressure would be negative)",
        **bulbs,
    )
    humidity = 100.0 * np.maximum(vapour, 0.0) / _saturation_pressure(dry)
    return plain(np.where(dry == wet, 100.0 + 0.0 * humidity, humidity))


def vapour_pressure_of_bulbs(
    dry_bulb_c: ArrayLike,
    wet_bulb_c: ArrayLike,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
    *,
    method: str = "ventilated",
) -> FloatOrArray:
    """Return the vapour pressure by the psychrometer equation, even if physically impossible.

    The bare equation, for callers that invert it or vary its inputs; `relative_humidity` refuses
    impossible pairs.

    Parameters
    ----------
    dry_bulb_c, wet_bulb_c : float or array_like
        The bulbs, -100 to 200; either may be the higher. [°C]
    pressure_pa : float or array_like, default 101325
        Total air pressure. [Pa]
    method : {"ventilated", "weather-bureau", "thermodynamic"}
        As for `relative_humidity`.

    Returns
    -------
    float or ndarray
        Vapour pressure. [Pa] Negative where the depression is impossibly large; above saturation
        where the wet bulb is above the dry bulb; infinite where water would boil on the wet bulb;
        NaN where an input is NaN.

    Raises
    ------
    ValueError
        If a bulb lies outside the range or anything is infinite.
    """
    one_of("method", method, METHODS)
    dry = in_range("dry_bulb_c", dry_bulb_c, *SATURATION_RANGE_C, "°C")
    wet = in_range("wet_bulb_c", wet_bulb_c, *SATURATION_RANGE_C, "°C")
    pressure = in_range("pressure_pa", pressure_pa, *PRESSURE_RANGE_PA, "Pa")
    return plain(_vapour_pressure_of_bulbs(dry, wet, pressure, method))


def wet_bulb(
    dry_bulb_c: ArrayLike,
    relative_humidity_pct: ArrayLike,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
    *,
    method: str = "ventilated",
) -> FloatOrArray:
    """Return the wet bulb at a dry bulb and RH: the inverse of `relative_humidity`.

    Parameters
    ----------
    dry_bulb_c : float or array_like
        Dry-bulb temperature, -50 to 150. [°C]
    relative_humidity_pct : float or array_like
        RH, 0 to 100. [%]
    pressure_pa : float or array_like, default 101325
        Total air pressure, 50 000 to 110 000. [Pa]
    method : {"ventilated", "weather-bureau", "thermodynamic"}
        As for `relative_humidity`.

    Returns
    -------
    float or ndarray
        Wet-bulb temperature. [°C] Equal to the dry bulb, within rounding, at 100 %; NaN where an
        input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range; if the vapour pressure would reach the total
        pressure, which is impossible; or if it comes so close that the psychrometer equation would
        put the wet bulb above the boiling point.

    Notes
    -----
    Solved by bisection on the equation of `relative_humidity`, so that a round trip reproduces the
    inputs within rounding over the whole domain. With "thermodynamic" and air just above 0 °C, a
    water-covered and an ice-covered bulb can both satisfy the balance; either answer gives back
    the same RH.
    """
    one_of("method", method, METHODS)
    dry = in_range("dry_bulb_c", dry_bulb_c, *BULB_RANGE_C, "°C")
    humidity = in_range("relative_humidity_pct", relative_humidity_pct, 0, 100, "%")
    pressure = in_range("pressure_pa", pressure_pa, *PRESSURE_RANGE_PA, "Pa")
    dry, humidity, pressure = together(dry, humidity, pressure)
    target = _possible_vapour_pressure(dry, humidity, pressure)

    def excess(wet: Floats) -> Floats:
        return _vapour_pressure_of_bulbs(dry, wet, pressure, method) - target

    found = rising_root(excess, WET_BULB_FLOOR_C, dry)
    refuse(
        np.abs(excess(found)) > VAPOUR_ROUNDING_PA,
        f"no wet bulb below the boiling point of water answers to this air by method {method!r}",
        dry_bulb_c=dry,
        relative_humidity_pct=humidity,
        pressure_pa=pressure,
    )
    return plain(found)


def dew_point(dry_bulb_c: ArrayLike, relative_humidity_pct: ArrayLike) -> FloatOrArray:
    """Return the dew point: the temperature at which air cooled at constant pressure saturates.

    Parameters
    ----------
    dry_bulb_c : float or array_like
        Air temperature, -50 to 150. [°C]
    relative_humidity_pct : float or array_like
        RH, above 0 and at most 100. [%]

    Returns
    -------
    float or ndarray
        Dew point, or frost point below 0.01 °C. [°C] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range, or if the dew point would lie below -100 °C, where
        the saturation-pressure equation ends. Perfectly dry air has no dew point.

    Notes
    -----
    `saturation_pressure` inverted by bisection instead of the handbook's regression, so that a
    round trip reproduces the inputs within rounding.
    """
    dry = in_range("dry_bulb_c", dry_bulb_c, *BULB_RANGE_C, "°C")
    humidity = in_range("relative_humidity_pct", relative_humidity_pct, 0, 100, "%", above_low=True)
    dry, humidity = together(dry, humidity)
    target = _saturation_pressure(dry) * humidity / 100.0
    refuse(
        target < _saturation_pressure(np.asarray(SATURATION_RANGE_C[0])),
        f"relative_humidity_pct puts the dew point below {SATURATION_RANGE_C[0]:g} °C",
        dry_bulb_c=dry,
        relative_humidity_pct=humidity,
    )
    return plain(
        rising_root(lambda temp: _saturation_pressure(temp) - target, SATURATION_RANGE_C[0], dry)
    )


def humidity_ratio(
    dry_bulb_c: ArrayLike,
    relative_humidity_pct: ArrayLike,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
) -> FloatOrArray:
    """Return the humidity ratio: the mass of water vapour per mass of dry air.

    Parameters
    ----------
    dry_bulb_c : float or array_like
        Air temperature, -50 to 150. [°C]
    relative_humidity_pct : float or array_like
        RH, 0 to 100. [%]
    pressure_pa : float or array_like, default 101325
        Total air pressure, 50 000 to 110 000. [Pa]

    Returns
    -------
    float or ndarray
        Humidity ratio. [kg/kg] It grows without bound as the vapour pressure nears the total
        pressure; NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range, or if the vapour pressure reaches the total
        pressure.

    Notes
    -----
    ASHRAE Fundamentals eq. 20 [1]_, with air and vapour as ideal gases. A real-gas calculation
    gives about 0.5 % more at kiln temperatures.
    """
    dry = in_range("dry_bulb_c", dry_bulb_c, *BULB_RANGE_C, "°C")
    humidity = in_range("relative_humidity_pct", relative_humidity_pct, 0, 100, "%")
    pressure = in_range("pressure_pa", pressure_pa, *PRESSURE_RANGE_PA, "Pa")
    vapour = _possible_vapour_pressure(dry, humidity, pressure)
    return plain(MOLAR_MASS_RATIO * vapour / (pressure - vapour))


def pressure_at_altitude(altitude_m: ArrayLike) -> FloatOrArray:
    """Return the pressure of the standard atmosphere at an altitude.

    Parameters
    ----------
    altitude_m : float or array_like
        Geopotential altitude above sea level, -500 to 5500. [m] In this range it equals the
        surveyed altitude within 5 m.

    Returns
    -------
    float or ndarray
        Pressure. [Pa] NaN where `altitude_m` is NaN.

    Raises
    ------
    ValueError
        If an altitude lies outside the range.

    Notes
    -----
    The lowest layer of the ICAO standard atmosphere [5]_: 101 325 Pa and 288.15 K at sea level,
    the temperature falling 6.5 K per kilometre, g = 9.80665 m/s², R = 287.05287 J/(kg K). Weather
    changes the true pressure by about 2 % either way, which changes RH by about a tenth of a point
    in usual kiln air.
    """
    altitude = in_range("altitude_m", altitude_m, *ALTITUDE_RANGE_M, "m")
    lapse, sea_level_k, gravity, gas_constant = STANDARD_ATMOSPHERE
    fall = 1.0 - lapse * altitude / sea_level_k
    return plain(STANDARD_PRESSURE_PA * fall ** (gravity / (gas_constant * lapse)))


def latent_heat(temp_c: ArrayLike) -> FloatOrArray:
    """Return the heat of vaporization of water at a temperature.

    Parameters
    ----------
    temp_c : float or array_like
        Temperature, 0 to 150. [°C]

    Returns
    -------
    float or ndarray
        Heat of vaporization. [kJ/kg] NaN where `temp_c` is NaN.

    Raises
    ------
    ValueError
        If a temperature lies outside the range.

    Notes
    -----
    2501 + 1.86 t - 4.186 t, the enthalpies of vapour and water in ASHRAE Fundamentals eqs. 30 and
    33 [1]_; it exceeds IAPWS-95 by 0.04 % at 20 °C, 0.16 % at 60 °C, 0.5 % at 100 °C and 1.8 % at
    150 °C.
    """
    return plain(_latent_heat(in_range("temp_c", temp_c, 0.0, BULB_RANGE_C[1], "°C")))


def _saturation_pressure(temp_c: Floats) -> Floats:
    kelvin = temp_c + ZERO_CELSIUS_K
    log_kelvin = np.log(kelvin)

    def log_pressure(c: tuple[float, ...]) -> Floats:
        powers = c[1] + kelvin * (c[2] + kelvin * (c[3] + kelvin * (c[4] + kelvin * c[5])))
        return c[0] / kelvin + powers + c[6] * log_kelvin

    pressure = log_pressure(SATURATION_OVER_WATER)
    frozen = temp_c < TRIPLE_POINT_C
    if some(frozen):
        pressure = np.where(frozen, log_pressure(SATURATION_OVER_ICE), pressure)
    return np.exp(pressure)


def _latent_heat(temp_c: Floats) -> Floats:
    heat, water = WATER_HEAT
    return heat + (VAPOUR_SPECIFIC_HEAT - water) * temp_c


def _possible_vapour_pressure(temp: Floats, humidity: Floats, pressure: Floats) -> Floats:
    vapour = _saturation_pressure(temp) * humidity / 100.0
    refuse(
        vapour >= pressure,
        "dry_bulb_c and relative_humidity_pct ask for a vapour pressure not below pressure_pa",
        dry_bulb_c=temp,
        relative_humidity_pct=humidity,
        pressure_pa=pressure,
    )
    return vapour


def _vapour_pressure_of_bulbs(dry: Floats, wet: Floats, pressure: Floats, method: str) -> Floats:
    at_wet_bulb = _saturation_pressure(wet)
    boiling = at_wet_bulb >= pressure
    if not some(boiling):
        return _METHODS[method](dry, wet, pressure, at_wet_bulb)
    vapour = _METHODS[method](dry, wet, pressure, np.where(boiling, np.nan, at_wet_bulb))
    return np.where(boiling, np.inf, vapour)


def _ventilated(dry: Floats, wet: Floats, pressure: Floats, at_wet_bulb: Floats) -> Floats:
    return at_wet_bulb - VENTILATED_COEFFICIENT * pressure * (dry - wet)


def _weather_bureau(dry: Floats, wet: Floats, pressure: Floats, at_wet_bulb: Floats) -> Floats:
    coefficient = FERREL_COEFFICIENT * (1.0 + FERREL_SLOPE * wet)
    return at_wet_bulb - coefficient * pressure * (dry - wet)


def _thermodynamic(dry: Floats, wet: Floats, pressure: Floats, at_wet_bulb: Floats) -> Floats:
    saturated = MOLAR_MASS_RATIO * at_wet_bulb / (pressure - at_wet_bulb)

    def ratio(heat: float, specific_heat: float) -> Floats:
        # ASHRAE Fundamentals eq. 33 for water on the bulb, eq. 35 for ice
        bulb_heat = heat + (VAPOUR_SPECIFIC_HEAT - specific_heat) * wet
        air_heat = heat + VAPOUR_SPECIFIC_HEAT * dry - specific_heat * wet
        return (bulb_heat * saturated - DRY_AIR_SPECIFIC_HEAT * (dry - wet)) / air_heat

    humidity_ratio_ = np.where(wet < TRIPLE_POINT_C, ratio(*ICE_HEAT), ratio(*WATER_HEAT))
    return pressure * humidity_ratio_ / (MOLAR_MASS_RATIO + humidity_ratio_)


_METHODS = {
    "ventilated": _ventilated,
    "weather-bureau": _weather_bureau,
    "thermodynamic": _thermodynamic,
}

METHODS = tuple(_METHODS)
"""The values of `method` that `relative_humidity` and `wet_bulb` accept."""
