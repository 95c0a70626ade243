"""A lot: what is shipped to a customer, and from which charges."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from kilnfolio.records.charge import Answer
from kilnfolio.records.gs1 import Gtin
from kilnfolio.records.model import Day, Moment, Name, Number, Record, Slug, Text, in_range
from kilnfolio.records.quantities import Percent, Temperature, Volume
from kilnfolio.records.ranges import Thickness


class Pack(Record):
    """A pack of the lot."""

    number: Number
    """Number of the pack, as on its label."""
    charge: Number
    """The charge it was dried in."""
    pieces: Annotated[int, Field(ge=1)]
    """How many pieces are in it."""
    volume: Volume
    """Volume of it."""


class Order(Record):
    """What was ordered about moisture content."""

    target_mc: Annotated[Percent, in_range(3, 30)]
    """The MC ordered."""
    rule: Literal["en-14298", "band", "maximum"]
    """en-14298: the standard's bands about the target; band: a contract band; maximum: a
    ceiling."""
    lowest: Percent | None = None
    """Lowest MC of a piece, for a contract band."""
    highest: Percent | None = None
    """Highest MC of a piece, for a contract band or maximum."""
    share: Annotated[Percent, in_range(50, 100)] | None = None
    """Share of pieces that must lie within; the standard's own share for en-14298."""
    mean_lowest: Percent | None = None
    """Lowest lot mean, for a contract band."""
    mean_highest: Percent | None = None
    """Highest lot mean, for a contract band."""
    claimed_confidence: Annotated[Percent, in_range(50, 99.9)] | None = None
    """Confidence of the share, if the order asks that the readings show it."""
    stress: Text | None = None
    """Stress class ordered, in words."""


class Storage(Record):
    """The air the lot waits in."""

    temperature: Annotated[Temperature, in_range(-30, 60)]
    """Mean temperature."""
    relative_humidity: Annotated[Percent, in_range(0, 100)]
    """Mean RH."""


class Customer(Record):
    """Who bought it. Never published."""

    name: Name
    """The customer's name."""
    order_number: Name | None = None
    """The customer's order number."""


class Lot(Record):
    """``content/lots/ID.yaml``."""

    format: Literal[1]
    """The record format."""
    id: Number
    """The lot's number; its file is named the same."""
    invented: bool = False
    """Made for show."""
    product: Name
    """What it is, in words a customer uses."""
    gtin: Gtin | None = None
    """The product's GTIN, in quotes; published with the lot's number as the batch."""
    species: Slug
    """Id of the species, as in schedules/species."""
    thickness: Thickness
    """Thickness sold."""
    width: Name | None = None
    """Width sold, in words."""
    length: Name | None = None
    """Length sold, in words."""
    order: Order
    """The MC ordered, and the rule by which pieces are judged."""
    packs: Annotated[list[Pack], Field(min_length=1)]
    """The packs of the lot, each with the charge it was dried in."""
    storage: Storage | None = None
    """The air in which the lot is stored, for the forecast of its MC."""
    heat_treatment_stated: bool = False
    """Whether a heat-treatment statement is asked for."""
    claim: Name | None = None
    """Certificate claim exactly as on the invoice."""
    shipped: Moment | None = None
    """When it was dispatched."""
    customer: Customer | None = None
    """Who bought it; never published."""
    issued: Day
    """The day this record was issued."""
    version: Annotated[int, Field(ge=1)] = 1
    """Version of the record."""
    answers: list[Answer] = []
    """Signed answers to findings about the lot, one each; never published."""
    notes: Text | None = None
    """Free notes; never leave the mill."""
