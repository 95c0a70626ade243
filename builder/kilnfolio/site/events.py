"""A lot's events for traceability systems: EPCIS 2.0, in JSON-LD.

What is said comes from the lot's sealed record and from the dates of its seals, so a customer reads
nothing here that the page does not say. No event is given a time that nobody wrote down: drying is
dated by the last measurement, packing by the seal of the record that lists the packs.

References
----------
.. [1] GS1, EPCIS Standard 2.0, 2022, and Core Business Vocabulary 2.0 (from memory); the tests
   validate against the standard's JSON Schema.
"""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections.abc import Iterator
from typing import Any
from zoneinfo import ZoneInfo

from kilnfolio.records.gs1 import batch_uri
from kilnfolio.records.unit_codes import UNIT_CODES
from kilnfolio.site.lot_record import LotRecord, properties
from kilnfolio.site.seals import SealLine, SealView

_CONTEXT = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"


def lot_events(record: LotRecord, seal: SealView, address: str, zone: ZoneInfo) -> str:
    """Return the events of a sealed lot as JSON-LD; "" if it is not sealed.

    Parameters
    ----------
    record : LotRecord
        Its sealed record.
    seal : SealView
        Its entries in the ledger.
    address : str
        The address of its page, which identifies lot and packs where the product has no GTIN.
    zone : ZoneInfo
        The mill's zone.
    """
    last = seal.last
    if last is None or not record.numbers:
        return ""
    document = {
        "@context": [_CONTEXT, {"schema": "https://schema.org/"}],
        "type": "EPCISDocument",
        "schemaVersion": "2.0",
        "creationDate": _time(last.at, zone),
        "epcisBody": {"eventList": list(_events(record, seal, last, address, zone))},
    }
    return json.dumps(document, ensure_ascii=False, indent=1) + "\n"


def _events(
    record: LotRecord, seal: SealView, last: SealLine, address: str, zone: ZoneInfo
) -> Iterator[dict[str, Any]]:
    lot = batch_uri(record.gtin, record.lot) if record.gtin else f"{address}#lot"
    numbers = record.numbers
    assert numbers is not None
    whole = {"epcClass": lot, "quantity": numbers.volume_m3, "uom": UNIT_CODES["m³"]}
    if record.measured:
        # a day was published, not an hour: its end, when the lot had been dried and measured
        day = dt.datetime.combine(record.measured[-1], dt.time(23, 59, 59), zone)
        yield {
            **_event("TransformationEvent", day, zone, f"{address}#dried"),
            "transformationID": f"{address}#drying",
            "bizStep": "commissioning",
            "outputQuantityList": [whole],
            "ilmd": {"schema:additionalProperty": _prefixed(properties(record))},
        }
    for place, pack in enumerate(record.packs):
        pieces = {"epcClass": lot, "quantity": pack.pieces}
        yield {
            **_event("AggregationEvent", last.at, zone, f"{address}#packed-{place}"),
            "action": "ADD",
            "bizStep": "packing",
            "parentID": f"{address}#pack-{pack.number}",
            "childQuantityList": [pieces],
        }
    for line in seal.lines[1:]:
        yield {
            **_event("ObjectEvent", line.at, zone, f"{address}#amended-{line.digits}"),
            "action": "OBSERVE",
            "bizStep": "inspecting",
            "quantityList": [whole],
            "schema:description": "The mill amended the record of this lot.",
        }


def _event(kind: str, at: dt.datetime, zone: ZoneInfo, about: str) -> dict[str, Any]:
    return {
        "type": kind,
        "eventID": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, about)}",
        "eventTime": _time(at, zone),
        "eventTimeZoneOffset": _time(at, zone)[-6:],
    }


def _time(at: dt.datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).isoformat(timespec="seconds")


def _prefixed(value: Any) -> Any:
    """Return data in the vocabulary of schema.org with the prefix that the document declares."""
    if isinstance(value, dict):
        return {
            key if key.startswith("@") else f"schema:{key}": (
                f"schema:{item}" if key == "@type" else _prefixed(item)
            )
            for key, item in value.items()
        }
    return [_prefixed(item) for item in value] if isinstance(value, list) else value
