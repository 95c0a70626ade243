"""A lot's record as data: the contents of its customer's page, which the label's seal binds.

The record is written as canonical JSON, served as ``record.json`` beside the page, attached to the
PDF and sealed. `site.lot_words` makes it, and the page prints all of it. The page's address and
drawings are left out: they point to the record or depict it, and are not part of it.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from kilnfolio import __version__
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.review.versions import rules_version
from kilnfolio.runtime.field_docs import DescribedSchema

#: Path of the JSON Schema of lot records in an edition.
SCHEMA_PATH = "lot-record.schema.json"


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


class RecordPack(_Part):
    """A pack of the lot."""

    number: str
    """Pack number."""
    pieces: int
    """Pieces in it."""
    volume: str
    """Volume, in both unit systems."""


class RecordBar(_Part):
    """Readings that fall within one class of moisture content."""

    mc: str
    """The class, in percent of oven-dry mass."""
    boards: int
    """Readings in it."""


class RecordContact(_Part):
    """The mill's contact for questions."""

    name: str
    """Office or person."""
    email: str
    """E-mail address."""
    phone: str
    """Telephone number; empty if none is given."""


class RecordNumbers(_Part):
    """The figures of a lot, as numbers."""

    target_mc_pct: float
    """Moisture content ordered [% of oven-dry mass]."""
    mean_mc_pct: float | None
    """Mean of the readings [%]; null if the lot was not assessed."""
    driest_mc_pct: float | None
    """Driest reading [%]."""
    wettest_mc_pct: float | None
    """Wettest reading [%]."""
    readings: int
    """Number of readings."""
    inside: int | None
    """Number of readings within the band ordered for a piece."""
    lowest_mc_pct: float | None
    """Lowest MC the order allows for a piece [%]."""
    highest_mc_pct: float | None
    """Highest MC the order allows for a piece [%]."""
    share_shown_pct: float | None
    """Least share of boards within the band that these readings show at 95 % confidence [%]."""
    pieces: int
    """Pieces in its packs."""
    volume_m3: float
    """Volume of its packs [m³]."""


class LotRecord(_Part):
    """The record of one lot, as its customer may read it."""

    format: Literal[1, 2] = 2
    """The version of this format."""
    kilnfolio: str = __version__
    """The version of kilnfolio that wrote it."""
    rules: int = Field(default_factory=rules_version)
    """The version of the rules by which its figures were computed."""
    invented: bool
    """True for a demonstration, whose timber does not exist."""
    lot: str
    """Lot number."""
    version: int
    """Version of the record."""
    issued: dt.date
    """Date of issue."""
    mill: str
    """The mill that dried it."""
    place: str
    """The mill's place."""
    contact: RecordContact
    """The mill's contact for questions."""
    product: str
    """The product."""
    species: str
    """Trade and scientific name."""
    size: str
    """Thickness, width and length."""
    packs: tuple[RecordPack, ...]
    """The packs."""
    statement: str
    """Whether it meets the order, in a sentence."""
    verdict: str
    """The statement as a phrase."""
    ordered: str
    """What the order requires of moisture content."""
    target: str
    """Moisture content ordered, in percent of oven-dry mass."""
    mean: str
    """Mean of the readings; empty if the lot was not assessed."""
    span: str
    """Driest to wettest reading."""
    readings: str
    """Number of readings."""
    supported: str
    """What the readings show about the boards not measured."""
    method: str
    """Method of measurement."""
    measured: tuple[dt.date, ...]
    """Dates of measurement."""
    heat_treatment: str
    """What the mill's record shows of heat treatment; empty if nothing is stated."""
    stress: str
    """Drying stress, if a class was ordered."""
    claim: str
    """Certificate claim exactly as on the invoice."""
    storage: str
    """How to store it."""
    bars: tuple[RecordBar, ...]
    """The readings by class."""
    shown: dict[str, str] = {}
    """Phrases of its page made from the above: packs, measured, issued, boards."""
    asked: dict[str, Any] = {}
    """The mill's own record of the lot as entered, without what stays in the mill; with the charges,
    it is what this record was made from. A pack's ``from`` counts the entry's charges from 0."""
    numbers: RecordNumbers | None = None
    """The figures as numbers; null in format 1."""
    safety: str = SAFETY
    """The safety wording: what this record is not."""


def record_schema() -> str:
    """Return the published JSON Schema of a lot's record."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **LotRecord.model_json_schema(mode="serialization", schema_generator=DescribedSchema),
    }
    return json.dumps(schema, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


#: Unit codes of UN/CEFACT Recommendation 20: per cent, cubic metre, piece, one.
PER_CENT, CUBIC_METRE, PIECE, ONE = "P1", "MTQ", "H87", "C62"


def linked_data(record: LotRecord) -> dict[str, Any]:
    """Return the record in the vocabulary of schema.org, for programs that read pages.

    It says only what the record says, in types of the vocabulary: Product, Organization,
    PropertyValue and QuantitativeValue. Its ``@id`` is a fragment of the page, so it reveals no
    address that the page itself does not show.
    """
    words = (
        ("ordered", record.ordered),
        ("statement", record.statement),
        ("method", record.method),
    )
    return {
        "@context": "https://schema.org",
        "@type": "Product",
        "@id": "#lot",
        "name": record.product,
        "identifier": record.lot,
        "material": record.species,
        "size": record.size,
        "manufacturer": {"@type": "Organization", "name": record.mill, "location": record.place},
        "additionalProperty": [
            {"@type": "PropertyValue", "name": name, "value": value}
            for name, value in (*_quantities(record), *words)
            if value
        ],
    }


def _quantities(record: LotRecord) -> Iterator[tuple[str, Any]]:
    """Yield the figures of a record with their units; in words if it has no numbers."""
    numbers = record.numbers
    if numbers is None:
        yield "moisture content, mean", record.mean
        yield "readings, driest to wettest", record.span
        yield "number of readings", record.readings
        return
    mc = "% of oven-dry mass"
    yield "moisture content, mean", _quantity(PER_CENT, mc, value=numbers.mean_mc_pct)
    yield (
        "readings, driest to wettest",
        _quantity(PER_CENT, mc, minValue=numbers.driest_mc_pct, maxValue=numbers.wettest_mc_pct),
    )
    yield "number of readings", _quantity(ONE, "", value=numbers.readings or None)
    yield "moisture content, ordered", _quantity(PER_CENT, mc, value=numbers.target_mc_pct)
    yield (
        "moisture content, allowed for a piece",
        _quantity(PER_CENT, mc, minValue=numbers.lowest_mc_pct, maxValue=numbers.highest_mc_pct),
    )
    yield "pieces", _quantity(PIECE, "", value=numbers.pieces)
    yield "volume", _quantity(CUBIC_METRE, "m³", value=numbers.volume_m3)


def _quantity(code: str, words: str, **values: float | None) -> dict[str, Any] | None:
    given = {key: value for key, value in values.items() if value is not None}
    if not given:
        return None
    unit = {"unitCode": code, **({"unitText": words} if words else {})}
    return {"@type": "QuantitativeValue", **given, **unit}
