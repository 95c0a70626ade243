"""What is known of a scale, a balance or a meter from trials of its own."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from kilnfolio.records.model import Day, Name, Record, Slug, Text, in_range, record_error
from kilnfolio.records.quantities import Mass, Percent


class Repeats(Record):
    """One piece, or one reference mass, read several times in a row without looking back."""

    on: Day
    """The day of the readings."""
    piece: Name
    """The piece or mass, as in 'board 3' or '2 kg'."""
    masses: list[Mass] = []
    """What a scale or balance showed, or"""
    mc: list[Annotated[Percent, in_range(0, 100)]] = []
    """what a meter showed."""

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if bool(self.masses) == bool(self.mc):
            raise record_error(
                self.piece,
                "repeated readings are either masses or MC",
                "Write one of 'masses:' and 'mc:'",
            )
        if len(self.masses or self.mc) < 2:
            raise record_error(
                self.piece, "one reading shows no repeatability", "Read the piece again"
            )
        return self


class MeterPair(Record):
    """One piece by meter and by oven."""

    on: Day
    """The day the meter was read."""
    species: Slug
    """Id of the species."""
    meter: Annotated[Percent, in_range(0, 100)]
    """What the meter showed, corrected as the mill corrects it."""
    oven: Annotated[Percent, in_range(0, 100)]
    """The MC from the oven."""


class InstrumentTrials(Record):
    """``content/instruments/ID.yaml``. Nothing of it leaves the mill, and no verdict rests on it."""

    format: Literal[1]
    """The record format."""
    id: Slug
    """Its name; the file is named the same."""
    invented: bool = False
    """Made for show."""
    kind: Literal["scale", "balance", "resistance meter"]
    """What it is."""
    instrument: Slug
    """Its id among the instruments of the kilns below."""
    kilns: Annotated[list[Slug], Field(min_length=1)]
    """The kilns it is used at."""
    repeats: list[Repeats] = []
    """Readings of one piece repeated in a row."""
    oven_pairs: list[MeterPair] = []
    """Pieces measured by it and by the oven, apart from those in final surveys."""
    notes: Text | None = None
    """Free notes; they never leave the mill."""

    @model_validator(mode="after")
    def _fits_its_kind(self) -> Self:
        is_meter = self.kind == "resistance meter"
        for place, one in enumerate(self.repeats):
            if bool(one.mc) != is_meter:
                raise record_error(
                    one.piece,
                    f"a {self.kind} shows {'MC' if is_meter else 'masses'}",
                    f"Write its readings under '{'mc' if is_meter else 'masses'}:'",
                    at=("repeats", place),
                )
        if self.oven_pairs and not is_meter:
            raise record_error(
                self.kind,
                "only a meter has pairs with the oven",
                "Take them out",
                at=("oven_pairs",),
            )
        return self
