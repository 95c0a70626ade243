"""An order: timber that must be ready by a date, and the charges it is dried in."""

from __future__ import annotations

from typing import Annotated, Literal

from kilnfolio.records.model import Day, Name, Number, Record, Slug, Text, in_range
from kilnfolio.records.quantities import Percent, Volume
from kilnfolio.records.ranges import Thickness


class OpenOrder(Record):
    """``content/orders/ID.yaml``. Nothing of it is ever published."""

    format: Literal[1]
    """The record format."""
    id: Number
    """The order's number; its file is named the same."""
    invented: bool = False
    """Made for show."""
    customer: Name | None = None
    """Who ordered it."""
    species: Slug
    """Id of the species, as in schedules/species."""
    thickness: Thickness
    """Thickness to be dried."""
    volume: Volume | None = None
    """Volume ordered."""
    target_mc: Annotated[Percent, in_range(3, 30)]
    """The MC ordered."""
    due: Day
    """The date by which it must be dry and out of the kiln."""
    schedule: Slug | None = None
    """Id of the schedule to dry it by; by default one for its timber."""
    charges: list[Number] = []
    """The charges it is dried in, once they are known."""
    shipped: Day | None = None
    """The date it left; from then on it is no longer planned."""
    notes: Text | None = None
    """Free notes; they never leave the mill."""
