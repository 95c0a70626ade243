"""Formats numbers for people: sign, spaces, decimals, and both unit systems side by side."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from functools import lru_cache

from kilnfolio.records.quantities import (
    GRAMS_PER_POUND,
    MM_PER_INCH,
    Density,
    Duration,
    Energy,
    Length,
    Mass,
    Percent,
    Pressure,
    Quantity,
    Rate,
    Speed,
    Temperature,
    TemperatureDifference,
    Volume,
    fahrenheit_from_celsius,
)
from kilnfolio.runtime.values import dataclass

NBSP = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"
#: Stands for a missing number in a table.
NOTHING = "\N{EN DASH}"

_PASCAL_PER_INCH_MERCURY = 3386.389  # conventional inch of mercury at 0 °C
_KWH_PER_MILLION_BTU = 293.07107  # international table Btu


def number(value: float | None, decimals: int = 1) -> str:
    """Return a number with a true minus sign, and digits grouped in threes from 10 000 upward.

    Parameters
    ----------
    value : float or None
        The number; None and NaN give a dash.
    decimals : int
        Digits after the point.
    """
    if value is None or math.isnan(value):
        return NOTHING
    if 0.0 < value < 1000.0:  # most of them, which need neither sign nor groups
        return "%.*f" % (decimals, value)  # noqa: UP031 (a third quicker)
    text = f"{abs(value):.{decimals}f}"
    whole, point, rest = text.partition(".")
    if len(whole) > 4:
        whole = f"{int(whole):,}".replace(",", NBSP)
    negative = value < 0 and float(text) != 0.0
    return (MINUS if negative else "") + whole + point + rest


def measure(value: float | None, unit: str, decimals: int = 1) -> str:
    """Return a number with its unit, kept on one line."""
    return number(value, decimals) + (NBSP + unit if unit and value is not None else "")


def significant(value: float, digits: int) -> str:
    """Return a number to this many significant digits, without an exponent."""
    if value == 0.0:
        return "0"
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, decimals)
    decimals = digits - 1 - math.floor(math.log10(abs(rounded)))  # 9.96 to two digits is 10
    return number(round(rounded, decimals), max(decimals, 0))


@dataclass(frozen=True)
class Scale:
    """A unit in which a dimension is printed."""

    unit: str
    """As printed."""
    of: Callable[[float], float]
    """From the house unit."""
    from_value: float = 0.0
    """Used where the size of the value, in the house unit, is at least this."""


def _per(size: float) -> Callable[[float], float]:
    return lambda value: value / size


_POUND_PER_CUBIC_FOOT = GRAMS_PER_POUND / 1000 / (MM_PER_INCH * 12 / 1000) ** 3
_BOARD_FOOT = 144.0 * MM_PER_INCH**3 * 1e-9

#: US customary units by dimension, smallest first; other dimensions are the same in both systems.
CUSTOMARY: dict[type[Quantity], tuple[Scale, ...]] = {
    Temperature: (Scale("°F", fahrenheit_from_celsius),),
    TemperatureDifference: (Scale("°F", lambda kelvin: kelvin * 1.8),),
    Mass: (Scale("oz", _per(GRAMS_PER_POUND / 16)), Scale("lb", _per(GRAMS_PER_POUND), 454.0)),
    Length: (Scale("in", _per(MM_PER_INCH)), Scale("ft", _per(MM_PER_INCH * 12), 2000.0)),
    Volume: (Scale("board feet", _per(_BOARD_FOOT)),),
    Density: (Scale("lb/ft³", _per(_POUND_PER_CUBIC_FOOT)),),
    Speed: (Scale("ft/min", _per(MM_PER_INCH * 12 / 1000 / 60)),),
    Energy: (Scale("million Btu", _per(_KWH_PER_MILLION_BTU)),),
    Pressure: (Scale("inHg", _per(_PASCAL_PER_INCH_MERCURY)),),
}
#: Metric units by dimension, smallest first.
METRIC: dict[type[Quantity], tuple[Scale, ...]] = {
    Temperature: (Scale("°C", float),),
    TemperatureDifference: (Scale("K", float),),
    Mass: (Scale("g", float), Scale("kg", _per(1000.0), 10_000.0)),
    Length: (Scale("mm", float), Scale("m", _per(1000.0), 2000.0)),
    Volume: (Scale("m³", float),),
    Density: (Scale("kg/m³", float),),
    Duration: (Scale("h", float),),
    Speed: (Scale("m/s", float),),
    Energy: (Scale("kWh", float),),
    Pressure: (Scale("kPa", _per(1000.0)),),
    Percent: (Scale("%", float),),
    Rate: (Scale("points/day", float),),
}
_CUSTOMARY_WORDS = re.compile(r"(?:°F|\bF|\blb|\boz|\bin|\bft|\bbf|\bmbf|lb/ft³|ft/min|\d/4)\.?$")
_PARTS = re.compile(r"([-+]?[\d./]+(?: \d+/\d+)?)\s*(.*)", re.DOTALL)
_DECIMAL = re.compile(r"[-+]?\d+(\.\d+)?")


def _fitting(scales: tuple[Scale, ...], value: float) -> Scale:
    return [scale for scale in scales if abs(value) >= scale.from_value or scale is scales[0]][-1]


def as_entered(quantity: Quantity) -> str:
    """Return text as a person entered it, with a true minus sign and non-breaking spaces."""
    # mypy takes the hash of a quantity for that of its class
    return _in_print(type(quantity), quantity.entered)  # type: ignore[arg-type]


@lru_cache(maxsize=4096)
def _in_print(dimension: type[Quantity], words: str) -> str:
    if dimension is Percent and not words.endswith("%"):
        words += " %"
    if issubclass(dimension, Rate):
        words = words.replace("%/day", "points/day").replace("%/d", "points/day")
    part = _PARTS.fullmatch(words)
    if part and _DECIMAL.fullmatch(part[1]):
        decimals = len(part[1].partition(".")[2])
        words = measure(float(part[1]), part[2], decimals)
    return (
        words.replace("-", MINUS, 1).replace(" ", NBSP)
        if words[:1] == "-"
        else words.replace(" ", NBSP)
    )


def metric(value: float, dimension: type[Quantity], decimals: int = 1) -> str:
    """Return a value in the metric unit that suits its size."""
    scale = _fitting(METRIC[dimension], value)
    return measure(scale.of(value), scale.unit, decimals)


def customary(value: float, dimension: type[Quantity], digits: int = 3) -> str:
    """Return a value in US customary units, or "" if the dimension has none of its own.

    Parameters
    ----------
    value : float
        In the house unit.
    dimension : type of Quantity
        Its dimension.
    digits : int
        Significant digits; temperatures are rounded to whole degrees, or to tenths from four
        digits.
    """
    scales = CUSTOMARY.get(dimension)
    if not scales:
        return ""
    scale = _fitting(scales, value)
    if dimension is Temperature:
        return measure(scale.of(value), scale.unit, 1 if digits > 3 else 0)
    if dimension is TemperatureDifference:
        return _tenths(scale.of(value), scale.unit)
    return significant(scale.of(value), digits) + NBSP + scale.unit


def _tenths(value: float, unit: str) -> str:
    """Return a number to a tenth, or as a whole number if the tenth is zero."""
    return measure(value, unit, 0 if abs(value - round(value)) < 0.05 else 1)


@lru_cache(maxsize=4096)
def both(quantity: Quantity) -> tuple[str, str]:
    """Return a quantity in metric and in US customary units, with the entered one unchanged.

    Returns
    -------
    tuple of str
        Metric first; the second is "" if the dimension has the same unit in both systems.
    """
    words, dimension = as_entered(quantity), type(quantity)
    written = _PARTS.match(quantity.entered)
    digits = max(2, len(re.sub(r"\D|^[0.]+", "", written[1]))) if written else 3
    if not _CUSTOMARY_WORDS.search(quantity.entered):
        fine = 4 if dimension is Temperature and "." in quantity.entered else min(digits, 4)
        return words, customary(quantity.value, dimension, fine)
    scale = _fitting(METRIC[dimension], quantity.value)
    value = scale.of(quantity.value)
    if dimension is Temperature:
        return measure(value, scale.unit, 1), words
    if dimension is TemperatureDifference:
        return _tenths(value, scale.unit), words
    return significant(value, min(digits, 4)) + NBSP + scale.unit, words


def is_customary(quantity: Quantity) -> bool:
    """Return whether a quantity was entered in a US customary unit."""
    return bool(_CUSTOMARY_WORDS.search(quantity.entered))


def side_by_side(quantity: Quantity) -> str:
    """Return a quantity in both unit systems as plain text: ``25 mm (0.98 in)``."""
    return beside(*both(quantity))


def beside(first: str, second: str) -> str:
    """Return two amounts as one phrase; the first alone if there is no second."""
    return f"{first} ({second})" if second else first


def _either(words: set[str]) -> str:
    return "|".join(re.escape(word) for word in sorted(words, key=lambda word: (-len(word), word)))


_SYSTEMS = {
    is_customary: {
        unit
        for dimension, scales in CUSTOMARY.items()
        for unit in (*dimension.units, *(scale.unit for scale in scales))
        if is_customary == bool(_CUSTOMARY_WORDS.search(f"1 {unit}") or unit not in dimension.units)
    }
    for is_customary in (False, True)
}
#: Pattern of a phrase from `beside`, with its parts: the metric amount, then the customary one.
PAIR = re.compile(
    rf"({MINUS}?\d[\d.{NBSP}]*{NBSP}(?:{_either(_SYSTEMS[False])})) "
    rf"\((?=[{MINUS}\d.])([^()]*?(?:{NBSP}(?:{_either(_SYSTEMS[True])})|\d/4))\)"
)
