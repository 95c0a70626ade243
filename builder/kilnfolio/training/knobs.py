"""The sliders of the bench: each with a range in round numbers of both unit systems."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from kilnfolio.records.quantities import GRAMS_PER_POUND, MM_PER_INCH
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review import figures
from kilnfolio.runtime.values import dataclass

_FOOT_M = MM_PER_INCH * 12.0 / 1000.0
_POUND_KG = GRAMS_PER_POUND / 1000.0


@dataclass(frozen=True)
class Unit:
    """A unit in which the bench shows a value: ``shown = times · value + plus``."""

    unit: str
    """As printed."""
    decimals: int = 0
    """Decimals of a computed value."""
    times: float = 1.0
    """How many of it make one of the metric unit."""
    plus: float = 0.0
    """What the metric unit's zero is in it."""

    def words(self, value: float) -> str:
        """Return a value, given in the metric unit, as the bench prints it."""
        return figures.measure(self.times * value + self.plus, self.unit, self.decimals)


#: What the bench shows, in the metric unit and in the US customary one.
UNITS: dict[str, tuple[Unit, Unit]] = {
    "temperature": (Unit("°C", 1), Unit("°F", 1, 1.8, 32.0)),
    "difference": (Unit("K", 1), Unit("°F", 1, 1.8)),
    "thickness": (Unit("mm", 1), Unit("in", 2, 1.0 / MM_PER_INCH)),
    "length": (Unit("m", 1), Unit("ft", 1, 1.0 / _FOOT_M)),
    "speed": (Unit("m/s", 1), Unit("ft/min", 0, 60.0 / _FOOT_M)),
    "flow": (Unit("m³/s"), Unit("ft³/min", 0, 60.0 / _FOOT_M**3)),
    "mass": (Unit("kg"), Unit("lb", 0, 1.0 / _POUND_KG)),
    "daily-water": (Unit("kg/day"), Unit("lb/day", 0, 1.0 / _POUND_KG)),
    "share": (Unit("%", 1), Unit("%", 1)),
    "rate": (Unit("points/day", 1), Unit("points/day", 1)),
    "count": (Unit(""), Unit("")),
}


@dataclass(frozen=True)
class Range:
    """A slider's range in one unit system."""

    least: float
    most: float
    step: float
    value: float
    """Where it stands at first."""

    @property
    def decimals(self) -> int:
        """Decimals that its steps need."""
        return len(f"{self.step:g}".partition(".")[2])

    def words(self, unit: str) -> str:
        """Return where it stands at first, as the script prints it beside the slider."""
        return figures.measure(self.value, unit, len(f"{self.value:g}".partition(".")[2]))


@dataclass(frozen=True)
class Knob:
    """A slider of the bench."""

    of: str
    """What it sets, a key of `UNITS`."""
    metric: Range
    customary: Range

    def in_order(self, regional: RegionalFormat) -> tuple[Range, Unit]:
        """Return the range and the unit of a region."""
        place = int(regional.customary_first)
        return (self.metric, self.customary)[place], UNITS[self.of][place]

    def first(self, regional: RegionalFormat) -> float:
        """Return where it stands at first in a region, in the metric unit."""
        reach, unit = self.in_order(regional)
        return (reach.value - unit.plus) / unit.times

    def first_words(self, regional: RegionalFormat) -> str:
        """Return where it stands at first in a region, in words."""
        reach, unit = self.in_order(regional)
        return reach.words(unit.unit)


def _same(of: str, *reach: float) -> Knob:
    return Knob(of, Range(*reach), Range(*reach))


def _both(of: str, metric: tuple[float, ...], customary: tuple[float, ...]) -> Knob:
    return Knob(of, Range(*metric), Range(*customary))


#: Every slider by the id of its field: least, most, step and first value, in metric units and in US
#: customary ones.
KNOBS: dict[str, Knob] = {
    "air-dry": _both("temperature", (15, 100, 0.5, 45), (60, 212, 1, 110)),
    "air-depression": _both("difference", (0.2, 40, 0.1, 2.2), (0.5, 72, 0.5, 4)),
    "air-error": _both("difference", (0, 1, 0.1, 0.5), (0, 2, 0.2, 1)),
    "board-thickness": _both("thickness", (12, 80, 1, 27), (0.5, 3, 0.125, 1.125)),
    "board-temperature": _both("temperature", (20, 80, 1, 45), (70, 175, 1, 110)),
    "board-emc": _same("share", 3, 22, 0.5, 14),
    "board-day": _same("count", 1, 60, 1, 4),
    "cut-y": _both("thickness", (0, 200, 5, 80), (0, 8, 0.25, 3)),
    "cut-x": _both("thickness", (-150, 150, 5, 0), (-6, 6, 0.25, 0)),
    "cut-width": _both("thickness", (50, 250, 5, 200), (2, 10, 0.25, 8)),
    "cut-thickness": _both("thickness", (20, 80, 1, 27), (0.75, 3, 0.125, 1.125)),
    "cut-mc": _same("share", 6, 30, 1, 8),
    "stack-flow": _both("flow", (2, 60, 1, 20), (4000, 128_000, 1000, 42_000)),
    "stack-bypass": _same("share", 0, 70, 5, 20),
    "stack-sticker": _both("thickness", (10, 40, 1, 20), (0.375, 1.5, 0.125, 0.75)),
    "stack-width": _both("length", (1.2, 6, 0.2, 2.4), (4, 20, 0.5, 8)),
    "stack-loss": _same("rate", 0.2, 20, 0.2, 3),
    "stack-depression": _both("difference", (0.5, 20, 0.5, 3), (1, 36, 0.5, 5)),
    "survey-readings": _same("count", 5, 200, 1, 30),
    "survey-failures": _same("count", 0, 20, 1, 0),
    "survey-confidence": _same("share", 80, 99, 1, 95),
}


def script_units() -> Mapping[str, Any]:
    """Return sliders and units for the page's script, metric first in each pair."""
    return {
        "knobs": {
            name: {
                "of": knob.of,
                "ranges": [
                    asdict(reach) | {"decimals": reach.decimals}
                    for reach in (knob.metric, knob.customary)
                ],
            }
            for name, knob in KNOBS.items()
        },
        "units": {of: [asdict(unit) for unit in pair] for of, pair in UNITS.items()},
    }
