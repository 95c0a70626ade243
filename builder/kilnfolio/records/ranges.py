"""Quantities of timber, limited to what is possible, so that physics is defined for them."""

from __future__ import annotations

from typing import Annotated

from kilnfolio.records.model import in_range
from kilnfolio.records.quantities import (
    Length,
    Mass,
    Percent,
    Temperature,
    TemperatureDifference,
    Volume,
)

MoistureContent = Annotated[Percent, in_range(0, 300)]
Thickness = Annotated[Length, in_range(5, 300)]
LoadVolume = Annotated[Volume, in_range(0.001, 10_000)]
BoardMass = Annotated[Mass, in_range(1, 1_000_000)]

#: Of wood that a resistance meter was used on, or is calibrated for.
WoodTemperature = Annotated[Temperature, in_range(-40, 110)]
#: Of a core that was heated, and how far a probe in it may be wrong.
CoreTemperature = Annotated[Temperature, in_range(20, 120)]
CoreUncertainty = Annotated[TemperatureDifference, in_range(0, 20)]
