"""Quantities as people write them: ``110 °F``, ``4/4``, ``4 lb 3 oz``, ``12 %``.

A quantity keeps the words as entered beside its value in the house unit, so that a page can show
what the mill wrote and the arithmetic never sees two unit systems.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, ClassVar, Self

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

_NUMBER = r"[-+]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][-+]?\d+)?"
_PART = re.compile(rf"\s*(\d+/\d+|{_NUMBER}(?:\s+\d+/\d+)?)\s*([^\d\s.,+-][^\d\s,+]*[²³23]?)?")
_COMMA = re.compile(r"\d,\d")

#: Exact by definition (international yard and pound agreement, 1959).
MM_PER_INCH = 25.4
GRAMS_PER_POUND = 453.59237


def celsius_from_fahrenheit(temp_f: float) -> float:
    """Return a temperature in °C from °F."""
    return (temp_f - 32.0) / 1.8


def fahrenheit_from_celsius(temp_c: float) -> float:
    """Return a temperature in °F from °C."""
    return temp_c * 1.8 + 32.0


def _times(factor: float) -> Callable[[float], float]:
    return lambda number: number * factor


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value in the house unit of its dimension, and the words as entered."""

    value: float
    entered: str

    #: What a person calls this dimension, the house unit, and every unit taken.
    dimension: ClassVar[str] = "quantity"
    unit: ClassVar[str] = ""
    units: ClassVar[dict[str, Callable[[float], float]]] = {}
    example: ClassVar[str] = ""
    #: Taken for a number without a unit; None means the unit must be written.
    bare_unit: ClassVar[str | None] = None

    @classmethod
    def parse(cls, text: object) -> Self:
        """Return the quantity a person wrote.

        Raises
        ------
        PydanticCustomError
            Not a number with a unit of this dimension; the message says what to write.
        """
        if isinstance(text, cls):
            return text
        if isinstance(text, bool) or not isinstance(text, (str, int, float)):
            raise _refused(text, f"is not a {cls.dimension}", f"Write it as in '{cls.example}'")
        entered = " ".join(str(text).split())
        if _COMMA.search(entered):
            point = entered.replace(",", ".", 1)
            raise _refused(entered, "has a comma, which may mean thousands or decimals",
                           f"Write '{point}' or '{entered.replace(',', '')}'")
        value = cls._value(entered)
        if not math.isfinite(value):
            raise _refused(entered, "is not a finite number", f"Write it as in '{cls.example}'")
        return cls(value, entered)

    @classmethod
    def _value(cls, entered: str) -> float:
        total, position = 0.0, 0
        while position < len(entered):
            part = _PART.match(entered, position)
            if not part:
                raise _refused(entered, f"is not a {cls.dimension}",
                               f"Write it as in '{cls.example}'")
            number = sum(float(Fraction(piece)) if "/" in piece else float(piece)
                         for piece in part[1].split())
            total += cls._convert(entered, number, part[2])
            position = part.end()
        if not entered:
            raise _refused(entered, "is empty", f"Write it as in '{cls.example}'")
        return total

    @classmethod
    def _convert(cls, entered: str, number: float, unit: str | None) -> float:
        if unit is None:
            if cls.bare_unit is None:
                raise _refused(entered, "has no unit",
                               f"A {cls.dimension} needs its unit: write it as in '{cls.example}'")
            unit = cls.bare_unit
        known = cls.units.get(unit) or cls.units.get(unit.rstrip("."))
        if known is None:
            raise _refused(entered, f"has the unit '{unit}', which is not one of "
                           + ", ".join(cls.units), f"Write it as in '{cls.example}'")
        return known(number)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler
                                     ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(
            cls.parse, serialization=core_schema.plain_serializer_function_ser_schema(
                lambda quantity: quantity.entered))

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: core_schema.CoreSchema,
                                     handler: GetJsonSchemaHandler) -> dict[str, Any]:
        kinds = ["string", "number"] if cls.bare_unit is not None else ["string"]
        return {"type": kinds if len(kinds) > 1 else kinds[0], "examples": [cls.example],
                "description": f"A {cls.dimension} with its unit: " + ", ".join(cls.units)}


def _refused(entered: object, why: str, instead: str) -> PydanticCustomError:
    return PydanticCustomError("quantity", "{why}",
                               {"entered": str(entered), "why": why, "instead": instead})


class Temperature(Quantity):
    """A temperature [°C]."""

    dimension, unit, example = "temperature", "°C", "43.3 °C"
    units = {"°C": float, "C": float, "°F": celsius_from_fahrenheit, "F": celsius_from_fahrenheit}


class TemperatureDifference(Quantity):
    """A difference of two temperatures, such as a wet-bulb depression [K]."""

    dimension, unit, example = "temperature difference", "K", "4 K"
    units = {"K": float, "°C": float, "C": float, "°F": _times(1 / 1.8), "F": _times(1 / 1.8)}


class Mass(Quantity):
    """A mass [g]."""

    dimension, unit, example = "mass", "g", "4862 g"
    units = {"g": float, "kg": _times(1000.0), "lb": _times(GRAMS_PER_POUND),
             "oz": _times(GRAMS_PER_POUND / 16.0)}


class Length(Quantity):
    """A length [mm]. ``4/4`` and ``8/4`` are quarters of an inch, as hardwood is sold."""

    dimension, unit, example = "length", "mm", "27 mm"
    units = {"mm": float, "cm": _times(10.0), "m": _times(1000.0), "in": _times(MM_PER_INCH),
             "ft": _times(MM_PER_INCH * 12.0)}

    @classmethod
    def _convert(cls, entered: str, number: float, unit: str | None) -> float:
        if unit is None and re.fullmatch(r"\d+/4", entered):
            return number * MM_PER_INCH
        return super()._convert(entered, number, unit)


class Volume(Quantity):
    """A volume of timber [m³]."""

    dimension, unit, example = "volume", "m³", "42.5 m³"
    #: A board foot is 144 cubic inches.
    units = {"m³": float, "m3": float, "L": _times(0.001),
             "bf": _times(144.0 * MM_PER_INCH**3 * 1e-9),
             "mbf": _times(144_000.0 * MM_PER_INCH**3 * 1e-9)}


class Density(Quantity):
    """A density [kg/m³]."""

    dimension, unit, example = "density", "kg/m³", "560 kg/m³"
    units = {"kg/m³": float, "kg/m3": float,
             "lb/ft³": _times(GRAMS_PER_POUND / 1000 / (MM_PER_INCH * 12 / 1000) ** 3)}


class Duration(Quantity):
    """A length of time [h]."""

    dimension, unit, example = "duration", "h", "24 h"
    units = {"h": float, "min": _times(1 / 60.0), "d": _times(24.0), "days": _times(24.0)}


class Speed(Quantity):
    """An air speed [m/s]."""

    dimension, unit, example = "speed", "m/s", "1.5 m/s"
    units = {"m/s": float, "ft/min": _times(MM_PER_INCH * 12 / 1000 / 60.0)}


class Energy(Quantity):
    """An amount of energy [kWh]."""

    dimension, unit, example = "amount of energy", "kWh", "3400 kWh"
    units = {"kWh": float, "MWh": _times(1000.0), "MJ": _times(1 / 3.6), "GJ": _times(1000 / 3.6)}


class Pressure(Quantity):
    """A pressure [Pa]."""

    dimension, unit, example = "pressure", "Pa", "97.6 kPa"
    units = {"Pa": float, "hPa": _times(100.0), "kPa": _times(1000.0)}


class Percent(Quantity):
    """A percentage [%]: moisture content, humidity, shrinkage, share."""

    dimension, unit, example = "percentage", "%", "12 %"
    units = {"%": float}
    bare_unit = "%"


class Rate(Quantity):
    """Points of moisture content lost a day [%/day]."""

    dimension, unit, example = "daily loss", "%/day", "3.8 %/day"
    units = {"%/day": float, "%/d": float}
