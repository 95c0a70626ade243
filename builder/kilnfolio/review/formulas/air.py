"""Air and wood: humidity from the bulbs, EMC, wet bulb, pressure."""

from __future__ import annotations

from collections.abc import Mapping

from kilnfolio.physics import air, sorption, sums
from kilnfolio.records.quantities import (
    Length,
    Percent,
    Pressure,
    Temperature,
    TemperatureDifference,
)
from kilnfolio.review.figures import measure, number
from kilnfolio.review.working import Argument, Formula, Given, Points, bare, term

_DB, _WB = Argument("dry_bulb", Temperature), Argument("wet_bulb", Temperature)
_RH = Argument("relative_humidity", Percent)
_TEMPERATURE, _EMC = Argument("temperature", Temperature), Argument("emc", Percent)
_PLACE = (
    Argument("altitude", Length, optional=True),
    Argument("pressure", Pressure, optional=True),
)
_PSYCHROMETER = "RH = 100 × [psat(WB) − A × p × (DB − WB)] ÷ psat(DB)"
_SATURATION = "saturation pressure: ASHRAE Fundamentals, ch. 1, eqs. 5 and 6"
_VENTILATED = (
    f"ventilated wet bulb, A = {air.VENTILATED_COEFFICIENT:.6f} per °C (common practice); "
    f"{_SATURATION}"
)
_HAILWOOD = (
    "EMC = 1800/W × [Kh ÷ (1 − Kh) + (K₁Kh + 2K₁K₂K²h²) ÷ (1 + K₁Kh + K₁K₂K²h²)], "
    "with W, K, K₁ and K₂ from t"
)
_EQ_4_5 = "wood-handbook, eq. 4-5"


def _pressure(altitude: float | None, pressure: float | None) -> float:
    if pressure is not None:
        return pressure
    return float(air.pressure_at_altitude((altitude or 0.0) / 1000.0))


def _humidity(
    dry_bulb: float, wet_bulb: float, altitude: float | None, pressure: float | None
) -> float:
    return float(air.relative_humidity(dry_bulb, wet_bulb, _pressure(altitude, pressure)))


def _emc_of_bulbs(
    dry_bulb: float, wet_bulb: float, altitude: float | None, pressure: float | None
) -> float:
    humidity = _humidity(dry_bulb, wet_bulb, altitude, pressure)
    return float(sorption.equilibrium_moisture_content(dry_bulb, humidity))


def _wet_bulb(
    dry_bulb: float, relative_humidity: float, altitude: float | None, pressure: float | None
) -> float:
    return float(air.wet_bulb(dry_bulb, relative_humidity, _pressure(altitude, pressure)))


def _bulbs_put_in(given: Mapping[str, Given]) -> str:
    values = {name: bare(value) for name, value in given.items()}
    pressure = _pressure(values["altitude"], values["pressure"])
    at_wet, at_dry = (
        measure(float(air.saturation_pressure(values[name])) / 1000.0, "kPa", 3)
        for name in ("wet_bulb", "dry_bulb")
    )
    return (
        f"100 × [{at_wet} − {air.VENTILATED_COEFFICIENT:.6f} × "
        f"{measure(pressure / 1000.0, 'kPa', 2)} × ({term(given['dry_bulb'])} − "
        f"{term(given['wet_bulb'])})] ÷ {at_dry}"
    )


def _emc_put_in(given: Mapping[str, Given]) -> str:
    return _emc_at(bare(given["temperature"]), bare(given["relative_humidity"]))


def _emc_at(temp_c: float, humidity_pct: float) -> str:
    """Return the coefficients of the EMC equation at a temperature and RH, with their letters."""
    w, k, k1, k2 = (float(value) for value in sorption.coefficients(temp_c))
    return (
        f"the same with t = {measure(temp_c, '°C', 1)}: W = {number(w, 1)}, K = {number(k, 4)}, "
        f"K₁ = {number(k1, 3)}, K₂ = {number(k2, 3)}; h = {number(humidity_pct / 100.0, 3)}"
    )


def _emc_bulbs_put_in(given: Mapping[str, Given]) -> str:
    values = {name: bare(value) for name, value in given.items()}
    humidity = _humidity(**values)
    return (
        f"RH = {_bulbs_put_in(given)} = {measure(humidity, '%', 1)}; then EMC, "
        f"{_emc_at(values['dry_bulb'], humidity)}"
    )


def _wet_bulb_put_in(given: Mapping[str, Given]) -> str:
    pressure = _pressure(bare(given["altitude"]), bare(given["pressure"]))
    return (
        f"solved for DB = {term(given['dry_bulb'])}, RH = {term(given['relative_humidity'])}, "
        f"p = {measure(pressure / 1000.0, 'kPa', 2)}"
    )


def _emc_error(
    dry_bulb: float,
    wet_bulb: float,
    dry_error: float,
    wet_error: float,
    altitude: float | None,
    pressure: float | None,
) -> float:
    return float(
        sorption.emc_uncertainty(
            dry_bulb, wet_bulb, dry_error, wet_error, _pressure(altitude, pressure)
        )
    )


def _emc_error_put_in(given: Mapping[str, Given]) -> str:
    values = {name: bare(value) for name, value in given.items()}
    by_dry, by_wet = (
        measure(_emc_error(**(values | {name: 0.0})), "points", 2)
        for name in ("wet_error", "dry_error")
    )
    return (
        f"√[({by_dry})² + ({by_wet})²], for {term(given['dry_bulb'])} ± "
        f"{term(given['dry_error'])} and {term(given['wet_bulb'])} ± {term(given['wet_error'])}"
    )


def _pressure_put_in(given: Mapping[str, Given]) -> str:
    altitude = given["altitude"]
    return f"the standard atmosphere at {term(altitude)}"


#: In the order the guide lists them.
AIR = (
    Formula(
        "relative_humidity",
        _humidity,
        (_DB, _WB, *_PLACE),
        _PSYCHROMETER,
        _bulbs_put_in,
        _VENTILATED,
        Percent,
    ),
    Formula(
        "equilibrium_moisture_content",
        lambda temperature, relative_humidity: sorption.equilibrium_moisture_content(
            temperature, relative_humidity
        ),
        (_TEMPERATURE, _RH),
        _HAILWOOD,
        _emc_put_in,
        _EQ_4_5,
        Percent,
    ),
    Formula(
        "emc_from_bulbs",
        _emc_of_bulbs,
        (_DB, _WB, *_PLACE),
        f"{_PSYCHROMETER}, then {_HAILWOOD}",
        _emc_bulbs_put_in,
        f"{_VENTILATED}; EMC: {_EQ_4_5}",
        Percent,
    ),
    Formula(
        "wet_bulb",
        _wet_bulb,
        (_DB, _RH, *_PLACE),
        f"WB at which {_PSYCHROMETER}",
        _wet_bulb_put_in,
        _VENTILATED,
        Temperature,
    ),
    Formula(
        "wet_bulb_of_depression",
        lambda dry_bulb, depression: sums.difference(dry_bulb, depression),
        (_DB, Argument("depression", TemperatureDifference)),
        "WB = DB − depression",
        "{dry_bulb} − {depression}",
        "the definition",
        Temperature,
    ),
    Formula(
        "dew_point",
        lambda dry_bulb, relative_humidity: air.dew_point(dry_bulb, relative_humidity),
        (_DB, _RH),
        "temperature at which psat(t) = RH ÷ 100 % × psat(DB)",
        "solved for DB = {dry_bulb}, RH = {relative_humidity}",
        _SATURATION,
        Temperature,
    ),
    Formula(
        "relative_humidity_for_emc",
        lambda temperature, emc: sorption.relative_humidity_for_emc(temperature, emc),
        (_TEMPERATURE, _EMC),
        "RH at which the EMC equation gives the wanted EMC",
        "solved for t = {temperature}, EMC = {emc}",
        _EQ_4_5,
        Percent,
    ),
    Formula(
        "saturation_pressure",
        lambda temperature: air.saturation_pressure(temperature),
        (_TEMPERATURE,),
        "psat(t), Hyland and Wexler's equation",
        "psat({temperature})",
        "ashrae-fundamentals, ch. 1, eqs. 5 and 6",
        Pressure,
        3,
        "kPa",
    ),
    Formula(
        "pressure_at_altitude",
        lambda altitude: _pressure(altitude, None),
        (Argument("altitude", Length),),
        "p = 101.325 kPa × (1 − 2.25577 × 10⁻⁵ × z)^5.2559, z in m",
        _pressure_put_in,
        "ICAO Doc 7488",
        Pressure,
        2,
        "kPa",
    ),
    Formula(
        "emc_uncertainty",
        _emc_error,
        (
            _DB,
            _WB,
            Argument("dry_error", TemperatureDifference),
            Argument("wet_error", TemperatureDifference),
            *_PLACE,
        ),
        "U(EMC) = √[ΔEMC(DB)² + ΔEMC(WB)²], each the larger change of EMC when that bulb alone "
        "moves by its uncertainty",
        _emc_error_put_in,
        "JCGM 100:2008, 5.1.2",
        Points,
    ),
)
