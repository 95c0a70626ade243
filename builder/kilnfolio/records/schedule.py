"""A drying schedule: the air of each step, when it ends, and for which timber.

A schedule is either explicit steps or a notation code that a notation table expands into steps.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import model_validator

from kilnfolio.records.kiln import KilnKind
from kilnfolio.records.model import (
    Change,
    Name,
    Record,
    Signature,
    Slug,
    Text,
    in_range,
    record_error,
)
from kilnfolio.records.quantities import (
    Duration,
    Percent,
    Temperature,
    TemperatureDifference,
)
from kilnfolio.records.ranges import Thickness
from kilnfolio.records.sourced import Citation, Status

DryBulb = Annotated[Temperature, in_range(10, 130)]
Depression = Annotated[TemperatureDifference, in_range(0, 60)]

#: The keys by which a schedule may state how dry the air is; each step uses exactly one.
AIR_KEYS = ("depression", "wet_bulb", "relative_humidity", "emc")


class Air(Record):
    """A set-point: a dry bulb, and exactly one way of saying how dry the air is."""

    dry_bulb: DryBulb
    """Dry-bulb temperature."""
    depression: Depression | None = None
    """Wet-bulb depression, or"""
    wet_bulb: DryBulb | None = None
    """wet-bulb temperature, or"""
    relative_humidity: Annotated[Percent, in_range(1, 100)] | None = None
    """relative humidity, or"""
    emc: Annotated[Percent, in_range(1, 30)] | None = None
    """equilibrium moisture content."""

    @model_validator(mode="after")
    def _one_air_key(self) -> Self:
        given = [key for key in AIR_KEYS if getattr(self, key) is not None]
        if len(given) != 1:
            raise record_error(
                ", ".join(given) or "no humidity",
                "a step needs exactly one of " + ", ".join(AIR_KEYS),
                "Keep the one the operator sets",
            )
        if self.wet_bulb and self.wet_bulb.value > self.dry_bulb.value:
            raise record_error(
                self.wet_bulb.entered,
                f"it is above the dry bulb, {self.dry_bulb.entered}",
                "Check whether the two are swapped",
                at=("wet_bulb",),
            )
        return self


class Step(Air):
    """Air held until a moisture content is reached, or for a time."""

    until_mc: Annotated[Percent, in_range(2, 150)] | Literal["final"] | None = None
    """Held until the controlling MC reaches this; 'final' for the last step."""
    hours: Duration | None = None
    """Held for this long, in a time-based schedule."""
    name: Name | None = None
    """What the step is for, as in 'warm-up'."""

    @model_validator(mode="after")
    def _one_end(self) -> Self:
        if (self.until_mc is None) == (self.hours is None):
            raise record_error(
                "until_mc and hours",
                "a step ends at an MC or after a time",
                "Keep until_mc or hours",
            )
        return self


class Treatment(Air):
    """Equalizing or conditioning air."""

    hours: Duration | None = None
    """How long it commonly takes; the boards decide."""


class Modification(Record):
    """A declared departure from the book's steps."""

    what: Text
    """What is changed, as in 'depression a step smaller while above 30 %'."""
    why: Text
    """The reason for the departure."""
    humidity_points: float | None = None
    """Points of RH added to every step it applies to."""
    depression_change: TemperatureDifference | None = None
    """Kelvin added to every step's depression (negative for milder air)."""
    dry_bulb_change: TemperatureDifference | None = None
    """Kelvin added to every step's dry bulb."""
    while_above: Percent | None = None
    """It applies to steps that begin above this MC; by default to all steps."""


class Stock(Record):
    """The timber a schedule is for."""

    species: list[Slug]
    """Ids of the species it is for."""
    thickness: list[Thickness]
    """The thicknesses, as in 4/4 or 27 mm."""
    start: Literal["green", "air-dried", "any"] = "green"
    """The state it starts in."""
    sort: Name | None = None
    """The sort of the wood, if the schedule is for only one, as in sapwood."""


class Schedule(Record):
    """``schedules/hardwood/ID.yaml`` or ``schedules/softwood/ID.yaml``."""

    format: Literal[1]
    """The record format."""
    id: Slug
    """The schedule's name in files and addresses."""
    title: Name
    """The title people read."""
    revision: Annotated[int, "from 1"] = 1
    """Revision, from 1."""
    approved: Signature | None = None
    """Who approved this revision; a schedule without it is a draft."""
    for_stock: Stock
    """The timber the schedule is for."""
    notation: Name | None = None
    """A code expanded by the notation tables, as in T4-D2."""
    steps: list[Step] = []
    """The steps, if no notation is given."""
    equalizing: Treatment | None = None
    """Equalizing air for the target below; otherwise from the rule."""
    conditioning: Treatment | None = None
    """Conditioning air for the target below; otherwise from the rule."""
    target_mc: Annotated[Percent, in_range(3, 30)] | None = None
    """The final MC that equalizing and conditioning above are set for."""
    modifications: list[Modification] = []
    """Declared departures from the book."""
    kiln_types: list[KilnKind] = []
    """Kiln types it suits; empty for any."""
    governs: Text | None = None
    """What governs a step change, in a sentence."""
    notes: Text | None = None
    """What an operator should know."""
    source: Citation
    """The publication it comes from, and where in it."""
    status: Status
    """How far it may be trusted."""
    invented: bool = False
    """Written by the demo mill for show."""
    changes: list[Change] = []
    """Revision history, newest first."""

    @model_validator(mode="after")
    def _steps_or_notation(self) -> Self:
        if bool(self.notation) == bool(self.steps):
            raise record_error(
                "notation and steps",
                "a schedule has steps or a notation code, exactly one of the two",
                "Remove one" if self.steps else "Write one",
                at=("notation",) if self.notation else (),
            )
        for index, (before, step) in enumerate(pairwise(self.steps), 1):
            at = ("steps", index)
            if (step.hours is None) != (before.hours is None):
                raise record_error(
                    "hours" if step.hours else "until_mc",
                    "some steps end at an MC and some after a time",
                    "Write all with until_mc, or all with hours",
                    at=at,
                )
            if before.until_mc == "final":
                raise record_error(
                    step.dry_bulb.entered,
                    "it comes after the step that runs to the final MC",
                    "Put the steps in the order they are run",
                    at=at,
                )
            if (
                isinstance(before.until_mc, Percent)
                and isinstance(step.until_mc, Percent)
                and step.until_mc.value >= before.until_mc.value
            ):
                raise record_error(
                    step.until_mc.entered,
                    f"it is not below the step before, {before.until_mc.entered}",
                    "Put the steps in the order they are run",
                    at=(*at, "until_mc"),
                )
        return self

    @property
    def time_based(self) -> bool:
        """Whether the steps end after a time rather than at an MC."""
        return bool(self.steps) and self.steps[0].hours is not None
