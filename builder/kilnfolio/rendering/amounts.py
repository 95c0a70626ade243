"""Amounts inside sentences: metric words turned into the customary units a region reads first."""

from __future__ import annotations

import re
from typing import TypeVar

from kilnfolio.records.quantities import Quantity, fahrenheit_from_celsius
from kilnfolio.review import figures

Q = TypeVar("Q", bound=Quantity)

_SPACE = rf"[ {figures.NBSP}]"
_NUMBER = rf"{figures.MINUS}?\d+(?:\.\d+)?"
_JOINT = r"(?:, | and | or | to | – |–|, and )"
#: Temperatures and differences: one, several with one unit, or one with a tolerance.
_LONE = re.compile(
    rf"(?<![\w.])(?P<numbers>{_NUMBER}(?:{_JOINT}{_NUMBER})*)"
    rf"(?:{_SPACE}?±{_SPACE}?(?P<tolerance>{_NUMBER}))?"
    rf"{_SPACE}(?P<unit>°C|K)(?![\w·/²]|{_SPACE}h\b)"
)
#: A pair that a region's words already have in order: 110 °F (43.3 °C).
_IN_ORDER = re.compile(rf"{_NUMBER}{_SPACE}°F \([^()]*(?:°C|{_SPACE}K)\)")
#: A pair of temperatures typed by hand, with plain spaces.
_TYPED = re.compile(rf"(?P<celsius>{_NUMBER}{_SPACE}°C) \((?P<fahrenheit>{_NUMBER}{_SPACE}°F)\)")
_ANY = re.compile(
    f"(?P<ordered>{_IN_ORDER.pattern})|(?P<pair>{figures.PAIR.pattern})"
    f"|(?P<typed>{_TYPED.pattern})|(?P<lone>{_LONE.pattern})"
)


def customary_first(words: str) -> str:
    """Return words with US customary amounts first.

    Each pair is turned round: ``43.3 °C (110 °F)``. A temperature or temperature difference that
    stands alone gets its °F: ``2.0 K`` becomes ``3.6 °F (2.0 K)``.
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
    difference = match["unit"] == "K"
    several = bool(re.search(_JOINT, match["numbers"]))
    turned = re.sub(
        _NUMBER, lambda found: _fahrenheit(found[0], difference, several), match["numbers"]
    )
    if match["tolerance"]:
        turned += f" ± {_fahrenheit(match['tolerance'], True, False)}"
    return figures.beside(turned + figures.NBSP + "°F", match[0])


def _fahrenheit(number: str, difference: bool, several: bool) -> str:
    """Return a number of °C or K as one of °F, to a fitting number of decimals."""
    value = float(number.replace(figures.MINUS, "-"))
    decimals = len(number.partition(".")[2])
    if difference:
        degrees = value * 1.8
        return figures.number(degrees, max(decimals, 0 if degrees.is_integer() else 1))
    # several readings are compared with one another: a tenth of a degree tells them apart
    return figures.number(fahrenheit_from_celsius(value), decimals if several else 0)


def restated(quantity: Q, unit: str, step: float) -> Q:
    """Return a quantity in another unit, rounded to a step of it, as a person would enter it.

    Parameters
    ----------
    quantity : Quantity
        What is restated.
    unit : str
        A unit of its dimension.
    step : float
        What its number is rounded to; an amount too small for the step stays as it is.
    """
    zero = quantity.units[unit](0.0)
    number = (quantity.value - zero) / (quantity.units[unit](1.0) - zero)
    rounded = round(number / step) * step
    if abs(rounded - number) > 0.1 * abs(number) and quantity.units[unit](0.0) == 0.0:
        return quantity
    return type(quantity).parse(f"{rounded:g} {unit}")
