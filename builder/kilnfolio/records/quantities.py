"""Quantities as people write them: ``110 °F``, ``4/4``, ``4 lb 3 oz``, ``12 %``.

A quantity keeps the text as entered beside its value in the house unit, so that pages can show what
the mill wrote while all arithmetic uses one unit system.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from typing import Any, ClassVar, Self

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from kilnfolio.runtime.values import dataclass

_NUMBER = r"[-+]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][-+]?\d+)?"
_PART = re.compile(
    rf"\s*(\d+/\d+|{_NUMBER}(?:\s+\d+/\d+)?)\s*([^\d\s.,+-][^\d\s,+]*[²³23]?)?", re.ASCII
)
_COMMA = re.compile(r"\d,\d")
#: Digits in groups of three separated by spaces, as in 1 200.
_SPACED = re.compile(r"\d{1,3}(?: \d{3})+(?![\d/])")
#: A letter O, l or I in place of a zero or a one.
_LETTER = re.compile(r"(?<=\d)[Oo](?=[\d\s]|$)|(?<![^\W\d])[lI](?=\d)")
#: Most characters of a quantity.
_LONGEST = 60

#: Keys of a quantity's JSON Schema that `kilnfolio.records.schema` turns into words.
QUANTITY, HOUSE_UNIT = "x-quantity", "x-house-unit"

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
    """A value in the house unit of its dimension, with the text as entered."""

    value: float
    entered: str

    #: The name of this dimension, its house unit, and the factor of every accepted unit.
    dimension: ClassVar[str] = "quantity"
    unit: ClassVar[str] = ""
    units: ClassVar[dict[str, Callable[[float], float]]] = {}
    example: ClassVar[str] = ""
    #: The unit of a number without one; None if the unit must be written.
    bare_unit: ClassVar[str | None] = None
    #: Pattern of a notation that needs no unit, such as the trade's 4/4.
    bare_form: ClassVar[str] = ""
    #: Pairs of units that may be combined, the larger first, as in 4 lb 3 oz.
    compound: ClassVar[tuple[tuple[str, str], ...]] = ()
    #: The lowest possible value.
    lowest: ClassVar[float] = -math.inf

    def __hash__(self) -> int:
        """Hash by the value alone, quicker: thousands of results are rounded to the same text."""
        return hash(self.value)

    def __reduce__(self) -> tuple[type[Self], tuple[float, str]]:
        """Pickle by both fields, ten times as fast as the default of a dataclass with slots."""
        return type(self), (self.value, self.entered)

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
            raise cls._no_quantity("" if text is None else text)
        return cls._parsed(" ".join(str(text).split()))

    @classmethod
    @lru_cache(maxsize=4096)  # records of a mill repeat a few amounts
    def _parsed(cls, entered: str) -> Self:
        if not entered:
            raise _refused(entered, "is empty", f"Write it as in '{cls.example}'")
        if len(entered) > _LONGEST:
            raise cls._no_quantity(entered)
        if _COMMA.search(entered):
            raise _comma(entered)
        if spaced := _SPACED.search(entered):
            raise _refused(
                entered,
                "has a space inside the number",
                f"Write '{entered.replace(spaced[0], spaced[0].replace(' ', ''))}'",
            )
        if letter := _LETTER.search(entered):
            digits = _LETTER.sub(lambda found: "0" if found[0] in "Oo" else "1", entered)
            raise _refused(
                entered, f"has the letter {letter[0]} among its digits", f"Write '{digits}'"
            )
        value = cls._value(entered)
        if not math.isfinite(value):
            raise _refused(entered, "is not a finite number", f"Write it as in '{cls.example}'")
        if value < cls.lowest:
            raise _refused(
                entered, f"is below {cls.lowest:g} {cls.unit}, where nothing is", "Check the sign"
            )
        return cls(value, entered)

    @classmethod
    def _no_quantity(cls, entered: object) -> PydanticCustomError:
        """Return the error for text that is not a quantity of this dimension."""
        return _refused(entered, f"is not {_a(cls.dimension)}", f"Write it as in '{cls.example}'")

    @classmethod
    def _value(cls, entered: str) -> float:
        parts, position = [], 0
        while position < len(entered):
            part = _PART.match(entered, position)
            if not part:
                raise cls._no_quantity(entered)
            parts.append((part[1], part[2]))
            position = part.end()
        if len(parts) > 1:
            cls._check_compound(entered, parts)
        return sum(
            cls._convert(entered, cls._number(entered, number), unit) for number, unit in parts
        )

    @classmethod
    def _check_compound(cls, entered: str, parts: list[tuple[str, str | None]]) -> None:
        """Refuse a second number, unless it has the smaller unit of a pair such as lb and oz."""
        pair = tuple((unit or "").rstrip(".") for _, unit in parts)
        if pair not in cls.compound or any(number[0] in "+-" for number, _ in parts):
            pairs = "".join(f", or as in '4 {large} 3 {small}'" for large, small in cls.compound)
            raise _refused(
                entered,
                "holds more than one number",
                f"Write one {cls.dimension}, as in '{cls.example}'{pairs}",
            )

    @classmethod
    def _number(cls, entered: str, digits: str) -> float:
        try:
            return float(
                sum(Fraction(piece) if "/" in piece else float(piece) for piece in digits.split())
            )
        except ZeroDivisionError:
            raise cls._no_quantity(entered) from None

    @classmethod
    def _convert(cls, entered: str, number: float, unit: str | None) -> float:
        if unit is None:
            if cls.bare_unit is None:
                raise _refused(
                    entered,
                    "has no unit",
                    f"Write '{entered} {cls.unit}' if that is "
                    f"its unit; {_a(cls.dimension)} may be in {', '.join(cls.units)}",
                )
            unit = cls.bare_unit
        known = cls.units.get(unit) or cls.units.get(unit.rstrip("."))
        if known is None:
            meant = next(
                (
                    one
                    for one in cls.units
                    if one.lower() == unit.lower().rstrip(".") or f"{one}s" == unit
                ),
                None,
            )
            written = entered.replace(unit, meant) if meant else cls.example
            one_of = "one of " if len(cls.units) > 1 else ""
            raise _refused(
                entered,
                f"has the unit '{unit}', which is not {one_of}" + ", ".join(cls.units),
                f"Did you mean '{written}'?" if meant else f"Write it as in '{cls.example}'",
            )
        return known(number)

    @classmethod
    def __get_pydantic_core_schema__(
        cls, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(
            cls.parse,
            serialization=core_schema.plain_serializer_function_ser_schema(
                lambda quantity: quantity.entered
            ),
        )

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        units = "|".join(re.escape(unit) for unit in sorted(cls.units, key=len, reverse=True))
        words = {
            QUANTITY: f"{_a(cls.dimension).capitalize()} with its unit: " + ", ".join(cls.units),
            HOUSE_UNIT: cls.unit,
            "examples": [cls.example],
        }
        if cls.bare_unit is not None:
            return {
                "type": ["string", "number"],
                **words,
                "pattern": rf"^\s*[-+.]?\d[\d.eE+/ -]*({units})?\.?\s*$",
            }
        pattern = rf"^\s*[-+.]?\d[^,]*({units})\.?\s*$"
        return {
            "type": "string",
            **words,
            "pattern": rf"{pattern}|{cls.bare_form}" if cls.bare_form else pattern,
        }


def _a(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def _comma(entered: str) -> PydanticCustomError:
    """Return the error for a comma, with every possible meaning written out."""
    readings = {entered.replace(",", "")}
    if "." in entered:
        if entered.rfind(",") > entered.rfind("."):  # 1.234,5
            readings = {entered.replace(".", "").replace(",", ".")}
    elif entered.count(",") == 1:
        point = entered.replace(",", ".")
        readings = {point} if entered.startswith("0") else {*readings, point}
    written = " or ".join(f"'{reading}'" for reading in sorted(readings))
    return _refused(
        entered, "has a comma, which may mean thousands or decimals", f"Write {written}"
    )


def _refused(entered: object, why: str, instead: str) -> PydanticCustomError:
    return PydanticCustomError(
        "quantity", "{why}", {"entered": str(entered), "why": why, "instead": instead}
    )


class Temperature(Quantity):
    """A temperature [°C]."""

    dimension, unit, example = "temperature", "°C", "43.3 °C"
    lowest = -273.15
    units = {"°C": float, "C": float, "°F": celsius_from_fahrenheit, "F": celsius_from_fahrenheit}


class TemperatureDifference(Quantity):
    """A difference of two temperatures, such as a wet-bulb depression [K]."""

    dimension, unit, example = "temperature difference", "K", "4 K"
    units = {"K": float, "°C": float, "C": float, "°F": _times(1 / 1.8), "F": _times(1 / 1.8)}


class Mass(Quantity):
    """A mass [g]."""

    dimension, unit, example = "mass", "g", "4862 g"
    compound = (("lb", "oz"),)
    lowest = 0.0
    units = {
        "g": float,
        "kg": _times(1000.0),
        "lb": _times(GRAMS_PER_POUND),
        "oz": _times(GRAMS_PER_POUND / 16.0),
    }


class Length(Quantity):
    """A length [mm]. ``4/4`` and ``8/4`` are quarters of an inch, as hardwood is sold."""

    dimension, unit, example = "length", "mm", "27 mm"
    bare_form = r"^\d+/4$"
    compound = (("ft", "in"),)
    units = {
        "mm": float,
        "cm": _times(10.0),
        "m": _times(1000.0),
        "in": _times(MM_PER_INCH),
        "ft": _times(MM_PER_INCH * 12.0),
    }

    @classmethod
    def _convert(cls, entered: str, number: float, unit: str | None) -> float:
        if unit is None and re.match(cls.bare_form, entered):
            return number * MM_PER_INCH
        if unit is None and "/" in entered:
            raise _refused(
                entered,
                "has no unit",
                f"Write '{entered} in' if that is its unit; only quarters such as 4/4 go without",
            )
        return super()._convert(entered, number, unit)


class Area(Quantity):
    """An area [cm²]."""

    dimension, unit, example = "area", "cm²", "35 cm²"
    lowest = 0.0
    units = {
        "cm²": float,
        "cm2": float,
        "mm²": _times(0.01),
        "mm2": _times(0.01),
        "in²": _times((MM_PER_INCH / 10) ** 2),
        "in2": _times((MM_PER_INCH / 10) ** 2),
    }


class Volume(Quantity):
    """A volume of timber [m³]."""

    dimension, unit, example = "volume", "m³", "42.5 m³"
    lowest = 0.0
    #: A board foot is 144 cubic inches.
    units = {
        "m³": float,
        "m3": float,
        "L": _times(0.001),
        "ft³": _times((12.0 * MM_PER_INCH) ** 3 * 1e-9),
        "ft3": _times((12.0 * MM_PER_INCH) ** 3 * 1e-9),
        "bf": _times(144.0 * MM_PER_INCH**3 * 1e-9),
        "mbf": _times(144_000.0 * MM_PER_INCH**3 * 1e-9),
    }


class Density(Quantity):
    """A density [kg/m³]."""

    dimension, unit, example = "density", "kg/m³", "560 kg/m³"
    lowest = 0.0
    units = {
        "kg/m³": float,
        "kg/m3": float,
        "lb/ft³": _times(GRAMS_PER_POUND / 1000 / (MM_PER_INCH * 12 / 1000) ** 3),
    }


class Duration(Quantity):
    """A length of time [h]."""

    dimension, unit, example = "duration", "h", "24 h"
    compound = (("d", "h"), ("days", "h"), ("h", "min"))
    lowest = 0.0
    units = {"h": float, "min": _times(1 / 60.0), "d": _times(24.0), "days": _times(24.0)}


class Speed(Quantity):
    """An air speed [m/s]."""

    dimension, unit, example = "speed", "m/s", "1.5 m/s"
    lowest = 0.0
    units = {"m/s": float, "ft/min": _times(MM_PER_INCH * 12 / 1000 / 60.0)}


class Energy(Quantity):
    """An amount of energy [kWh]."""

    dimension, unit, example = "amount of energy", "kWh", "3400 kWh"
    lowest = 0.0
    units = {"kWh": float, "MWh": _times(1000.0), "MJ": _times(1 / 3.6), "GJ": _times(1000 / 3.6)}


class EnergyPerMass(Quantity):
    """Energy for each mass of water taken out [kWh/kg]."""

    dimension, unit, example = "energy for each mass", "kWh/kg", "1.4 kWh/kg"
    lowest = 0.0
    units = {
        "kWh/kg": float,
        "MJ/kg": _times(1 / 3.6),
        "kWh/lb": _times(1000.0 / GRAMS_PER_POUND),
    }


class Pressure(Quantity):
    """A pressure [Pa]."""

    dimension, unit, example = "pressure", "Pa", "97.6 kPa"
    lowest = 0.0
    units = {"Pa": float, "hPa": _times(100.0), "kPa": _times(1000.0)}


class Percent(Quantity):
    """A percentage [%]: moisture content, humidity, shrinkage, share."""

    dimension, unit, example = "percentage", "%", "12 %"
    units = {"%": float}
    bare_unit = "%"


class Rate(Quantity):
    """Points of moisture content lost a day [%/day]."""

    dimension, unit, example = "daily loss", "%/day", "3.8 %/day"
    units = {"%/day": float, "points/day": float, "%/d": float}
