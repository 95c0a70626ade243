"""Who may see what: the one list of what leaves the mill, and the guard that keeps to it.

A customer's page is built only through `EditionView`, which hands out the fields named here and nothing
else. A field that nobody has thought about is therefore not published.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from kilnfolio.records.lot import Lot, Order, Pack
from kilnfolio.records.mill import Contact, Mill
from kilnfolio.records.species import Shrinkage, Species
from kilnfolio.review.dossier import (
    Assessment,
    Dossier,
    Finding,
    HeatRun,
    LotDossier,
    SurveyResult,
)

#: Fields of each model that the customer edition may hold; a model not named gives nothing.
CUSTOMER_FIELDS: Mapping[type[BaseModel], frozenset[str]] = {
    Mill: frozenset(
        {
            "name",
            "invented",
            "place",
            "country",
            "language",
            "time_zone",
            "contact",
            "records_address",
            # decides which units come first; its name is never printed
            "practice",
        }
    ),
    Contact: frozenset({"name", "email", "phone"}),
    Lot: frozenset(
        {
            "id",
            "invented",
            "product",
            "species",
            "thickness",
            "width",
            "length",
            "order",
            "packs",
            "heat_treatment_stated",
            "claim",
            "issued",
            "version",
        }
    ),
    Pack: frozenset({"number", "pieces", "volume"}),
    Order: frozenset({"target_mc", "stress"}),
    Species: frozenset({"trade_name", "scientific_name", "shrinkage"}),
    Shrinkage: frozenset({"radial", "tangential", "status"}),
    LotDossier: frozenset({"readings", "judgement", "heat_treated", "findings"}),
    Assessment: frozenset(
        {
            "rule",
            "met",
            "sentence",
            "mean_pct",
            "inside",
            "piece_low_pct",
            "piece_high_pct",
            "share_shown_pct",
            "n",
            "readings_from",
        }
    ),
    Dossier: frozenset({"survey", "heat", "findings"}),
    SurveyResult: frozenset({"at", "method", "correction_words"}),
    HeatRun: frozenset({"threshold_c", "required_minutes"}),
    # read to decide whether a stress class was shown; never printed
    Finding: frozenset({"check", "outcome"}),
}


class NotPublishedError(AttributeError):
    """A page of an edition asked for a field that may not leave the mill."""


class EditionView:
    """A record as an edition sees it: fields off the list cannot be read.

    Parameters
    ----------
    record : BaseModel
        The record.
    fields : mapping of model to field names
        The edition's list.
    """

    __slots__ = ("_fields", "_record")

    def __init__(self, record: BaseModel, fields: Mapping[type[BaseModel], frozenset[str]]):
        self._record, self._fields = record, fields

    def __getattr__(self, name: str) -> Any:
        model = type(self._record)
        if name not in self._fields.get(model, frozenset()):
            raise NotPublishedError(
                f"{model.__name__}.{name} may not leave the mill; see kilnfolio/site/editions.py"
            )
        return _seen(getattr(self._record, name), self._fields)


def _seen(value: Any, fields: Mapping[type[BaseModel], frozenset[str]]) -> Any:
    if isinstance(value, BaseModel):
        return EditionView(value, fields)
    if isinstance(value, (list, tuple)):
        return tuple(_seen(item, fields) for item in value)
    if isinstance(value, Mapping):
        # a mapping has no list of its own keys, so nothing of it is known to be harmless
        raise NotPublishedError("a mapping may not leave the mill")
    return value


def for_customer(record: BaseModel) -> EditionView:
    """Return a record as the customer edition sees it."""
    return EditionView(record, CUSTOMER_FIELDS)
