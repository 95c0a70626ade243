"""Fields that several calculators share, and remarks on the EMC equation."""

from __future__ import annotations

from typing import Any

from kilnfolio.calculators.form import Field, Range
from kilnfolio.physics import moisture, sorption
from kilnfolio.records.mill import Mill
from kilnfolio.records.quantities import Length, Mass, Percent, Temperature
from kilnfolio.review import figures


def temperature(name: str, label: str, example: str, **more: Any) -> Field:
    """Return a field for a temperature."""
    return Field(name, label, Temperature, example, ("°C", "°F"), "°F", **more)


def mass(name: str, label: str, example: str, **more: Any) -> Field:
    """Return a field for a mass."""
    return Field(name, label, Mass, example, ("g", "kg", "lb", "oz"), "lb", **more)


def size(name: str, label: str, example: str) -> Field:
    """Return a field for a length."""
    return Field(name, label, Length, example, ("mm", "cm", "in", "ft"), "in")


def percent(name: str, label: str, example: str, **more: Any) -> Field:
    """Return a field for a percentage."""
    return Field(name, label, Percent, example, ("%",), **more)


def altitude(mill: Mill) -> Field:
    """Return a field for the altitude, with the mill's own as the example."""
    return Field(
        "altitude",
        "Height above the sea",
        Length,
        f"{mill.altitude.value / 1000.0:g} m",
        ("m", "ft"),
        "ft",
    )


MC = Range(*moisture.MC_RANGE_PCT)
FITTED = Range(*sorption.FITTED_TEMP_RANGE_C)
EMC_HOLDS = (
    f"The EMC equation is fitted from {figures.number(FITTED.low)} to "
    f"{figures.metric(FITTED.high, Temperature)}; its tenths carry no physical meaning, and wood "
    "that dries rests a point or more above wood that takes up water."
)
