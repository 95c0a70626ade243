"""What drying costs a mill: prices of its own, for the cost of a cubic metre."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, model_validator

from kilnfolio.records.model import Name, Record, in_range, record_error
from kilnfolio.records.quantities import Percent

#: Where a mill keeps them: apart from mill.yaml, of which seals and bags hold a copy.
PRICES = "content/prices.yaml"

_PRICE = re.compile(r"(\d+(?:\.\d+)?) ([A-Z]{3})/(\S+)")


def price_per(unit: str, example: str, what: str = "") -> AfterValidator:
    """Return the validator of a price for each unit of something.

    Parameters
    ----------
    unit : str
        The unit, as in ``kWh``.
    example : str
        A price as it should be written.
    what : str, optional
        The price in words; by default "a price with its currency for each" unit.
    """

    def check(text: str) -> str:
        found = _PRICE.fullmatch(text)
        if found is None or found[3] != unit:
            raise record_error(
                text,
                f"it is not {what or f'a price with its currency for each {unit}'}",
                f"Write it as in '{example}'",
            )
        return text

    return AfterValidator(check)


class Prices(Record):
    """``content/prices.yaml``."""

    format: Literal[1]
    """The record format."""
    kiln_day: Annotated[Name, price_per("day", "95 CAD/day")] | None = None
    """A day in the kiln, as in 95 CAD/day: capital, upkeep, insurance and the labour of watching."""
    handling: Annotated[Name, price_per("m³", "22 CAD/m³")] | None = None
    """Stacking, stickers and unstacking, as in 22 CAD/m³."""
    timber: Annotated[Name, price_per("m³", "650 CAD/m³")] | None = None
    """Value of the timber as it goes into the kiln, as in 650 CAD/m³; interest is computed on it."""
    interest: Annotated[Percent, in_range(0, 100)] | None = None
    """Interest for a year on the value of the timber, as in 7 %."""

    @model_validator(mode="after")
    def _together(self) -> Self:
        currencies = dict.fromkeys(currency for _, currency in self._given())
        if len(currencies) > 1:
            raise record_error(
                " and ".join(currencies),
                "the prices are in several currencies, and a cost adds them up",
                "Write all of them in one",
            )
        if (self.timber is None) != (self.interest is None):
            missing = "interest" if self.interest is None else "timber"
            raise record_error(
                "timber or interest alone",
                f"interest is computed from both, and '{missing}' is missing",
                "Write both, as in 'timber: 650 CAD/m³' and 'interest: 7 %'",
            )
        return self

    def _given(self) -> Iterator[tuple[float, str]]:
        yield from filter(None, (amount(self.kiln_day), amount(self.handling), amount(self.timber)))

    @property
    def currency(self) -> str:
        """The currency of all prices; empty if there is none."""
        return next((currency for _, currency in self._given()), "")


def amount(price: str | None) -> tuple[float, str] | None:
    """Return the number of a price and its currency; None if it is not stated."""
    found = _PRICE.fullmatch(price or "")
    return (float(found[1]), found[2]) if found else None
