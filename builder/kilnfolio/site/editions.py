"""What each reader may see: the list of fields that leave the mill, and the class that enforces it.

A customer's page is built only through `EditionView`, which gives access to the fields listed here
and no others, so a new field stays unpublished until somebody lists it.
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

#: Fields of each model that the customer edition may show; an unlisted model shows nothing.
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
            "digital_link",
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
            "gtin",
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


#: What contains nothing; most values of a record are of these.
_PLAIN = frozenset({bool, float, int, str})


class NotPublishedError(AttributeError):
    """A page asked for a field that may not leave the mill."""


class EditionView:
    """A record restricted to the fields an edition may show; reading any other raises.

    Parameters
    ----------
    record : BaseModel
        The record.
    fields : mapping of model to field names
        The edition's list.
    """

    def __init__(self, record: BaseModel, fields: Mapping[type[BaseModel], frozenset[str]]):
        self._record, self._fields = record, fields

    def __getattr__(self, name: str) -> Any:
        model = type(self._record)
        if name not in self._fields.get(model, ()):
            raise NotPublishedError(
                f"{model.__name__}.{name} may not leave the mill; see kilnfolio/site/editions.py"
            )
        found = _restricted(getattr(self._record, name), self._fields)
        setattr(self, name, found)  # asked for once: Python finds it from now on
        return found


def _restricted(value: Any, fields: Mapping[type[BaseModel], frozenset[str]]) -> Any:
    if value is None or type(value) in _PLAIN:
        return value
    if isinstance(value, BaseModel):
        return EditionView(value, fields)
    if isinstance(value, (list, tuple)):
        return tuple(_restricted(item, fields) for item in value)
    if isinstance(value, Mapping):
        # the list names no keys of a mapping, so none of its contents is known to be harmless
        raise NotPublishedError("a mapping may not leave the mill")
    return value


def for_customer(record: BaseModel) -> EditionView:
    """Return a record restricted to the fields of the customer edition."""
    return EditionView(record, CUSTOMER_FIELDS)
