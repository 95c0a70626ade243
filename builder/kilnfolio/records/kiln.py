"""A kiln: its capabilities, and the instruments behind its records."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from kilnfolio.records.model import Day, Name, Record, Slug, Text, in_range
from kilnfolio.records.quantities import Duration, Speed, Temperature, TemperatureDifference, Volume

#: What a log column can measure. ``emc`` is a sensor that shows EMC itself, such as a wood wafer;
#: ``core-1`` to ``core-9`` are temperature probes in the timber, ``pin-1`` to ``pin-9`` pairs of
#: pins in it that show MC.
CHANNELS = (
    "dry-bulb",
    "dry-bulb-entering",
    "dry-bulb-leaving",
    "wet-bulb",
    "depression",
    "relative-humidity",
    "emc",
    "vent",
    "spray",
    "fan",
    *(f"core-{n}" for n in range(1, 10)),
    *(f"pin-{n}" for n in range(1, 10)),
)
Channel = Literal[
    "dry-bulb",
    "dry-bulb-entering",
    "dry-bulb-leaving",
    "wet-bulb",
    "depression",
    "relative-humidity",
    "emc",
    "vent",
    "spray",
    "fan",
    "core-1",
    "core-2",
    "core-3",
    "core-4",
    "core-5",
    "core-6",
    "core-7",
    "core-8",
    "core-9",
    "pin-1",
    "pin-2",
    "pin-3",
    "pin-4",
    "pin-5",
    "pin-6",
    "pin-7",
    "pin-8",
    "pin-9",
]


KilnKind = Literal[
    "steam",
    "dehumidification",
    "hot-water",
    "vacuum",
    "solar",
    "progressive",
    "pre-dryer",
    "dryer shed",
    "air-drying yard",
]
"""Kinds of kiln, and plant that a load dries in without one."""


class Calibration(Record):
    """One calibration of an instrument."""

    on: Day
    """The day it was calibrated."""
    by: Name
    """Who calibrated it."""
    method: Text
    """Against what, as in 'ice point and boiling water'."""


class Instrument(Record):
    """A sensor, balance or meter."""

    id: Slug
    """Its name in records."""
    kind: Literal[
        "temperature sensor",
        "wet-bulb sensor",
        "humidity sensor",
        "EMC sensor",
        "MC pins",
        "balance",
        "scale",
        "resistance meter",
        "oven",
        "anemometer",
    ]
    """What kind of instrument it is."""
    channel: Channel | None = None
    """The log channel it feeds."""
    uncertainty: TemperatureDifference | None = None
    """Expanded uncertainty of a temperature reading (about 95 %)."""
    offset: Annotated[float, Field(ge=-10, le=10)] | None = None
    """Points of MC or EMC to add to the readings of an EMC sensor or pins, from a comparison."""
    uncertainty_points: Annotated[float, Field(gt=0, le=10)] | None = None
    """Expanded uncertainty of the MC or EMC it shows, in points (about 95 %)."""
    calibration_temperature: Temperature | None = None
    """Temperature that the scale of pins assumes; by default they are not corrected for it."""
    corrected_for: list[Literal["temperature", "species"]] = []
    """Corrections already in what pins show; others are applied here, once."""
    resolution: Name | None = None
    """Smallest step it shows, with its unit, as in '0.1 g'."""
    calibrations: list[Calibration] = []
    """Its calibrations, newest first."""


class Kiln(Record):
    """``content/kilns/ID.yaml``."""

    format: Literal[1]
    """The record format."""
    id: Slug
    """Name in records and addresses."""
    name: Name
    """The name people use."""
    kind: KilnKind
    """How it heats and removes water, or what kind of plant it is."""
    capacity: Volume
    """Stacked timber it holds."""
    hottest: Annotated[Temperature, in_range(20, 130)]
    """The hottest dry bulb it can hold."""
    air_speed: Speed | None = None
    """Air speed through the load."""
    reversal: Duration | None = None
    """Hours between fan reversals."""
    instruments: list[Instrument] = []
    """Its sensors, and the scales and meters used with it."""
    positions: list[Name] = []
    """Names of the pack positions, from the door inward, for the wet-spot map."""
    notes: Text | None = None
    """What an operator should know."""
