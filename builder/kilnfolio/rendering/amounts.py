"""Amounts inside sentences, converted so that US customary units come first."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TypeVar

from kilnfolio.records.quantities import (
    Quantity,
    TemperatureDifference,
    fahrenheit_from_celsius,
)
from kilnfolio.review import figures

Q = TypeVar("Q", bound=Quantity)

_SPACE = rf"[ {figures.NBSP}]"
_NUMBER = rf"{figures.MINUS}?\d+(?:\.\d+)?"
_JOINT = r"(?:, | and | or | to | – |–|, and )"
#: Temperatures and differences: one, several with a common unit, or one with a tolerance. What something
#: was lowered by is a difference, also where its writer put °C.
_LONE = re.compile(
    rf"(?P<moved>\b(?:lower|rais|higher|hotter|cooler|warmer|colder)(?:ed)? by )?"
    rf"(?<![\w.])(?P<numbers>{_NUMBER}(?:{_JOINT}{_NUMBER})*)"
    rf"(?:{_SPACE}?±{_SPACE}?(?P<tolerance>{_NUMBER}))?"
    rf"{_SPACE}(?P<unit>°C|K)(?![\w·/²]|{_SPACE}h\b)"
)
#: A pair already in the region's order: 110 °F (43.3 °C).
_IN_ORDER = re.compile(rf"{_NUMBER}{_SPACE}°F \([^()]*(?:°C|{_SPACE}K)\)")
#: A pair of temperatures typed by hand, with ordinary spaces.
_TYPED = re.compile(rf"(?P<celsius>{_NUMBER}{_SPACE}°C) \((?P<fahrenheit>{_NUMBER}{_SPACE}°F)\)")
_ANY = re.compile(
    f"(?P<ordered>{_IN_ORDER.pattern})|(?P<pair>{figures.PAIR.pattern})"
    f"|(?P<typed>{_TYPED.pattern})|(?P<lone>{_LONE.pattern})"
)


def script_patterns() -> dict[str, str]:
    """Return the patterns by name, as JavaScript writes them, for scripts that do the same."""
    patterns = {
        "any": _ANY.pattern,
        "pair": figures.PAIR.pattern,
        "joint": _JOINT,
        "number": _NUMBER,
    }
    return {name: pattern.replace("(?P<", "(?<") for name, pattern in patterns.items()}


@lru_cache(maxsize=4096, typed=True)  # markup and plain words that are equal stay apart
def customary_first(words: str) -> str:
    """Return text with US customary amounts first.

    Each pair is swapped, such as ``43.3 °C (110 °F)``. A single temperature or temperature
    difference gets its °F: ``2.0 K`` becomes ``3.6 °F (2.0 K)``.
    """
    if "°" not in words and "(" not in words and "K" not in words:
        return words
    return _ANY.sub(_turned, words)


def _turned(match: re.Match[str]) -> str:
    if match["ordered"]:
        return match[0]
    if match["pair"]:
        pair = figures.PAIR.fullmatch(match["pair"])
        assert pair is not None
        return figures.beside(pair[2], pair[1])
    if match["typed"]:
        return figures.beside(match["fahrenheit"], match["celsius"])
    difference = match["unit"] == "K" or bool(match["moved"])
    several = bool(re.search(_JOINT, match["numbers"]))
    turned = re.sub(
        _NUMBER, lambda found: _fahrenheit(found[0], difference, several), match["numbers"]
    )
    if match["tolerance"]:
        turned += f" ± {_fahrenheit(match['tolerance'], True, False)}"
    written = match[0].removeprefix(match["moved"] or "")
    return (match["moved"] or "") + figures.beside(turned + figures.NBSP + "°F", written)


def _fahrenheit(number: str, difference: bool, several: bool) -> str:
    """Return a number of °C or K converted to °F, with a suitable number of decimals."""
    value = float(number.replace(figures.MINUS, "-"))
    decimals = len(number.partition(".")[2])
    if difference:
        degrees = value * 1.8
        if _is_whole(degrees, decimals):
            return figures.number(degrees, 0)
        return figures.number(degrees, max(decimals, 1))
    # readings that are compared with one another need a tenth of a degree
    return figures.number(fahrenheit_from_celsius(value), decimals if several else 0)


def _is_whole(degrees: float, decimals: int) -> bool:
    """Return whether a difference in K, so rounded, may have been a whole number of °F: 5.6 K, 10."""
    return abs(degrees - round(degrees)) <= (0.09 if decimals == 1 else 1e-9)


def as_set(difference: TemperatureDifference) -> TemperatureDifference:
    """Return a difference typed in K as the whole number of °F that it stands for, if it does.

    A depression of 10 °F is 5.6 K to a tenth, and would come back as 10.1 °F.
    """
    number, _, unit = difference.entered.partition(" ")
    decimals = len(number.partition(".")[2])
    degrees = difference.value * 1.8
    if unit == "K" and decimals == 1 and _is_whole(degrees, decimals):
        return TemperatureDifference.parse(f"{round(degrees)} °F")
    return difference


def restated(quantity: Q, unit: str, step: float) -> Q:
    """Return a quantity in another unit, rounded as a person would enter it.

    Parameters
    ----------
    quantity : Quantity
        The quantity.
    unit : str
        Another unit of its dimension.
    step : float
        Round to a multiple of this; an amount too small for it stays unrounded.
    """
    zero = quantity.units[unit](0.0)
    number = (quantity.value - zero) / (quantity.units[unit](1.0) - zero)
    # what is halfway between two steps must not depend on how a unit is converted
    rounded = round(round(number / step, 9)) * step
    if abs(rounded - number) > 0.1 * abs(number) and quantity.units[unit](0.0) == 0.0:
        return quantity
    return type(quantity).parse(f"{rounded:g} {unit}")
