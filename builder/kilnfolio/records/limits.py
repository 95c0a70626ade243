"""Limits: the thresholds of all checks, as data that a mill may edit."""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from kilnfolio.records.model import Name, Record, Slug, Text, record_error
from kilnfolio.records.quantities import Length
from kilnfolio.records.sourced import Known

HIGHEST = 100_000.0
"""The highest value that a limit may have, in its own unit."""
#: The range that a formula accepts for a limit, by key.
BOUNDS = {
    "thick-stock-divisor": (1.01, 10.0),
    "daily-loss-light": (0.0, 100.0),
    "daily-loss-medium": (0.0, 100.0),
    "daily-loss-dense": (0.0, 100.0),
    "equalizing-below-target": (0.0, 4.0),
    "conditioning-above-target": (0.0, 8.0),
    "conditioning-above-low-target": (0.0, 8.0),
    "conditioning-low-up-to": (4.0, 30.0),
    "conditioning-full-from": (4.0, 30.0),
}


class Scope(Record):
    """Where a limit applies; a limit without a scope applies everywhere."""

    species: list[Slug] = []
    """Ids of the species it is for."""
    kind: Literal["hardwood", "softwood"] | None = None
    """Only for hardwood, or only for softwood."""
    thicker_than: Length | None = None
    """Timber thicker than this."""
    target_mc: float | None = None
    """Only for this ordered MC [%]."""
    region: Name | None = None
    """Only for mills in this country or region, in the words of the mill's record: its country, or
    words of its place, as in 'Canada' or 'Ontario'."""

    @property
    def narrowness(self) -> int:
        """The number of its conditions; the narrowest limit that matches is used."""
        return sum(
            map(bool, (self.species, self.kind, self.thicker_than, self.target_mc, self.region))
        )


class Limit(Known):
    """One threshold."""

    value: Annotated[float, Field(ge=0, le=HIGHEST)]
    """The number of the threshold."""
    unit: Name
    """Its unit: %, points, K, °C, h, min, readings, mm, ratio."""
    meaning: Text
    """What it limits, in a sentence."""
    scope: Scope = Scope()
    """Where it applies."""


class Limits(Record):
    """``schedules/limits.yaml``."""

    format: Literal[1]
    """The record format."""
    revision: int
    """Revision of the limits; it enters every dossier."""
    limits: dict[Slug, list[Limit]]
    """Limits by key; the narrowest scope that matches a charge is used."""

    @model_validator(mode="after")
    def _within_bounds(self) -> Self:
        for key, (low, high) in BOUNDS.items():
            for place, limit in enumerate(self.limits.get(key, ())):
                if not low <= limit.value <= high:
                    raise record_error(
                        f"{limit.value:g}",
                        f"'{key}' is used in a formula that takes {low:g} to {high:g}",
                        "Write a value in this range",
                        at=("limits", key, place, "value"),
                    )
        return self

    @cached_property
    def everywhere(self) -> dict[str, Limit]:
        """Values of the limits with only one value, which apply to all timber and every kiln."""
        return {
            key: entries[0]
            for key, entries in self.limits.items()
            if len(entries) == 1 and not entries[0].scope.narrowness
        }
