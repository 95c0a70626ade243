"""A mill's regional format: which units come first, and which words of the trade are used.

A mill's region is resolved once, to a value that is passed to templates and view models. Records,
reviews and seals do not depend on it: sealed words are the same in every region. Pages, charts and
printed findings put the region's units first, and set-points are rounded in the unit people set.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import field, replace
from functools import cache
from typing import TypeVar

from kilnfolio.records.mill import Mill
from kilnfolio.records.quantities import (
    Length,
    Quantity,
    Speed,
    Temperature,
    TemperatureDifference,
    celsius_from_fahrenheit,
    fahrenheit_from_celsius,
)
from kilnfolio.records.region import RegionName, regions
from kilnfolio.records.setpoints import AirState, PlannedStep, state_of
from kilnfolio.rendering import amounts
from kilnfolio.review import figures
from kilnfolio.runtime.values import dataclass

T = TypeVar("T")

_SLOT = re.compile(r"\{([\w -]+)\}")


@dataclass(frozen=True)
class RegionalFormat:
    """The units and words of a mill's pages."""

    customary_first: bool = False
    """Whether US customary units come before metric ones."""
    words: Mapping[str, str] = field(default_factory=dict)
    """The region's words by ours, where they differ."""

    def ordered(self, metric: T, customary: T) -> tuple[T, T]:
        """Return a pair, such as figures, units or column headings, in the region's order.

        Without a customary one, the metric one always comes first.
        """
        return (customary, metric) if self.customary_first and customary else (metric, customary)

    def both(self, quantity: Quantity) -> tuple[str, str]:
        """Return a quantity in both unit systems; the second is "" if they share a unit."""
        return self.ordered(*figures.both(quantity))

    def side_by_side(self, quantity: Quantity) -> str:
        """Return a quantity in both unit systems as plain text."""
        return figures.beside(*self.both(quantity))

    def temperature(self, celsius: float | None, decimals: int = 1) -> str:
        """Return a temperature given in °C in both unit systems."""
        if celsius is None:
            return figures.NOTHING
        return figures.beside(
            *self.ordered(
                figures.measure(celsius, "°C", decimals),
                figures.measure(fahrenheit_from_celsius(celsius), "°F", 0),
            )
        )

    def difference(self, kelvin: float | None, decimals: int = 1) -> str:
        """Return a temperature difference given in K in both unit systems."""
        if kelvin is None:
            return figures.NOTHING
        return figures.beside(
            *self.ordered(
                figures.measure(kelvin, "K", decimals),
                figures.measure(kelvin * 1.8, "°F", decimals),
            )
        )

    @property
    def temperature_scale(self) -> figures.Scale:
        """The unit of temperature in charts and tables of readings."""
        return figures.CUSTOMARY[Temperature][0] if self.customary_first else _CELSIUS

    @property
    def difference_scale(self) -> figures.Scale:
        """The unit of temperature differences and degree-hours."""
        return figures.CUSTOMARY[TemperatureDifference][0] if self.customary_first else _KELVIN

    @property
    def temperature_decimals(self) -> int:
        """Decimals of a temperature reading: a tenth of a °C, a whole °F."""
        return 0 if self.customary_first else 1

    def reading(self, celsius: float | None) -> str:
        """Return a temperature given in °C in the region's unit only, for charts and lists."""
        if celsius is None:
            return figures.NOTHING
        scale = self.temperature_scale
        return figures.measure(scale.of(celsius), scale.unit, self.temperature_decimals)

    def as_set(self, air: AirState, pressure_pa: float) -> AirState:
        """Return the air as people set it: both bulbs rounded, with RH and EMC from that pair.

        Parameters
        ----------
        air : AirState
            The air requested by a schedule.
        pressure_pa : float
            Air pressure. [Pa]
        """
        if self.customary_first:
            dry, wet = (
                celsius_from_fahrenheit(round(fahrenheit_from_celsius(bulb)))
                for bulb in (air.dry_bulb_c, air.wet_bulb_c)
            )
        else:
            dry, wet = round(air.dry_bulb_c, 1), round(air.wet_bulb_c, 1)
        return state_of(dry, min(wet, dry), pressure_pa)

    def steps_as_set(
        self, steps: Iterable[PlannedStep], pressure_pa: float
    ) -> tuple[PlannedStep, ...]:
        """Return a schedule's steps with their air as people set it."""
        return tuple(replace(step, air=self.as_set(step.air, pressure_pa)) for step in steps)

    def native(self, quantity: Quantity) -> Quantity:
        """Return an example's quantity as this region would write it, such as 45 °C as 113 °F.

        Temperatures are rounded to whole degrees, lengths to eighths of an inch to whole inches, and
        altitudes to 50 ft.
        Quantities written in the region's own unit, and masses, stay as they are.
        """
        sizes = NATIVE.get(type(quantity))
        if not self.customary_first or sizes is None or figures.is_customary(quantity):
            return quantity
        _, unit, step = next(size for size in sizes if abs(quantity.value) < size[0])
        return amounts.restated(quantity, unit, step)

    def localized(self, words: str) -> str:
        """Return words of a record with the region's units first.

        Records and workings always put metric first. A page swaps each pair and adds °F to a
        single temperature; it changes nothing else.
        """
        return amounts.customary_first(words) if self.customary_first else words

    def term(self, word: str) -> str:
        """Return the region's word for one of ours, keeping capital and plural."""
        ours = word[0].lower() + word[1:]
        theirs = self.words.get(ours)
        if theirs is None and ours.endswith("s") and ours[:-1] in self.words:
            theirs = self.words[ours[:-1]] + "s"
        if theirs is None:
            return word
        return theirs[0].upper() + theirs[1:] if word[0].isupper() else theirs

    def defect(self, slug: str) -> str:
        """Return a defect's name in the region's words."""
        return " ".join(self.term(word) for word in slug.split("-"))

    def phrase(self, words: str) -> str:
        """Return a phrase with its words in braces replaced by the region's.

        For example ``Volume of {timber}``; other words stay as they are.
        """
        return _SLOT.sub(lambda slot: self.term(slot[1]), words)


_CELSIUS = figures.METRIC[Temperature][0]
_KELVIN = figures.METRIC[TemperatureDifference][0]
_ANY_SIZE = float("inf")
#: For examples in a region with customary units, by dimension: below each size in the house unit, the
#: unit and the rounding step.
NATIVE: dict[type[Quantity], tuple[tuple[float, str, float], ...]] = {
    Temperature: ((_ANY_SIZE, "°F", 1.0),),
    TemperatureDifference: ((_ANY_SIZE, "°F", 1.0),),
    Length: (
        (50.0, "in", 0.125),
        (100.0, "in", 0.25),
        (600.0, "in", 0.5),
        (20_000.0, "in", 1.0),
        (_ANY_SIZE, "ft", 50.0),
    ),
    Speed: ((_ANY_SIZE, "ft/min", 10.0),),
}

#: Metric first and our own words, for pages that belong to no mill.
PLAIN = RegionalFormat()


def regional_format(mill: Mill) -> RegionalFormat:
    """Return the regional format of a mill."""
    return _of_region(mill.practice)


@cache
def _of_region(name: RegionName) -> RegionalFormat:
    region = regions()[name]
    return RegionalFormat(
        region.customary_first,
        {ours: custom.is_ for ours, custom in region.words.items() if custom.is_ != ours},
    )
