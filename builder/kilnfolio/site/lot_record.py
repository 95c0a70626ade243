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
from kilnfolio.records.unit_codes import unit_code, unit_of
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
    volume_m3: float | None = None
    """Volume [m³]; null before format 3."""


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
    thickness_mm: float | None = None
    """Thickness sold [mm]; null before format 3."""
    confidence_pct: float | None = None
    """Confidence of the share shown [%]; null if no share is shown."""
    heat_core_c: float | None = None
    """Temperature that the core of the pieces measured is shown to have kept [°C]; null if no heat
    treatment is stated or none is shown."""
    heat_minutes: float | None = None
    """For how long, without a break [min]."""


def units_of_figures() -> dict[str, str]:
    """Return the UN/CEFACT code of the unit of each figure of a record, by its name."""
    return {name: unit_code(name) for name in RecordNumbers.model_fields}


class LotRecord(_Part):
    """The record of one lot, as its customer may read it."""

    format: Literal[1, 2, 3] = 3
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
    gtin: str = ""
    """The product's GTIN; empty if it has none. With the lot's number, it identifies the batch."""
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
    units: dict[str, str] = {}
    """The unit of each figure of `numbers` and `packs`, by its name: common codes of UN/CEFACT
    Recommendation 20. Empty before format 3."""
    safety: str = SAFETY
    """The safety wording: what this record is not."""


def record_schema() -> str:
    """Return the published JSON Schema of a lot's record."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **LotRecord.model_json_schema(mode="serialization", schema_generator=DescribedSchema),
    }
    return json.dumps(schema, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def linked_data(record: LotRecord) -> dict[str, Any]:
    """Return the record in the vocabulary of schema.org, for programs that read pages.

    It says only what the record says, in types of the vocabulary: Product, Organization,
    PropertyValue and QuantitativeValue. Its ``@id`` is a fragment of the page, so it reveals no
    address that the page itself does not show.
    """
    return {
        "@context": "https://schema.org",
        "@type": "Product",
        "@id": "#lot",
        "name": record.product,
        "identifier": record.lot,
        **({"gtin": record.gtin} if record.gtin else {}),
        "material": record.species,
        "size": record.size,
        "manufacturer": {"@type": "Organization", "name": record.mill, "location": record.place},
        "additionalProperty": properties(record),
    }


def properties(record: LotRecord) -> list[dict[str, Any]]:
    """Return what a record says of its lot, as PropertyValue of schema.org."""
    words = (
        ("ordered", record.ordered),
        ("statement", record.statement),
        ("method", record.method),
    )
    return [
        {"@type": "PropertyValue", "name": name, "value": value}
        for name, value in (*_quantities(record), *words)
        if value
    ]


#: What a unit's code leaves out.
_OF = {"%": "% of oven-dry mass", "1": "", "piece": ""}


def _quantities(record: LotRecord) -> Iterator[tuple[str, Any]]:
    """Yield the figures of a record with their units; in words if it has no numbers."""
    numbers = record.numbers
    if numbers is None:
        yield "moisture content, mean", record.mean
        yield "readings, driest to wettest", record.span
        yield "number of readings", record.readings
        return

    def one(name: str) -> dict[str, Any] | None:
        return _quantity(name, value=getattr(numbers, name) or None)

    yield "moisture content, mean", one("mean_mc_pct")
    yield (
        "readings, driest to wettest",
        _quantity("mean_mc_pct", minValue=numbers.driest_mc_pct, maxValue=numbers.wettest_mc_pct),
    )
    yield "number of readings", one("readings")
    yield "moisture content, ordered", one("target_mc_pct")
    yield (
        "moisture content, allowed for a piece",
        _quantity("target_mc_pct", minValue=numbers.lowest_mc_pct, maxValue=numbers.highest_mc_pct),
    )
    yield "pieces", one("pieces")
    yield "volume", one("volume_m3")
    yield "thickness", one("thickness_mm")


def _quantity(figure: str, **values: float | None) -> dict[str, Any] | None:
    given = {key: value for key, value in values.items() if value is not None}
    if not given:
        return None
    unit = unit_of(figure)
    words = _OF.get(unit, unit)
    return {
        "@type": "QuantitativeValue",
        **given,
        "unitCode": unit_code(figure),
        **({"unitText": words} if words else {}),
    }
