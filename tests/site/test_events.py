"""A lot's data for other systems: EPCIS events, and the address by GS1 Digital Link."""

import datetime as dt
import json
from pathlib import Path

import jsonschema
import pytest
from tests.conftest import PROJECT
from tests.trust.sealing import labelled_mill

from kilnfolio.pipeline.build import build_site

SCHEMA = json.loads((PROJECT / "tests/data/epcis/EPCISDocument.schema.json").read_text("utf-8"))
#: The GTIN of the examples of GS1 Digital Link (from memory).
GTIN = "9521234543213"


def validate(document):
    """Validate a document by GS1's own schema of EPCIS 2.0."""
    jsonschema.Draft7Validator(
        SCHEMA, format_checker=jsonschema.Draft7Validator.FORMAT_CHECKER
    ).validate(document)


@pytest.fixture(scope="module")
def amended(amended_site):
    """The lot's events, its record and its folder in a mill whose lot was amended."""
    [found] = (amended_site / "site/customer").glob("*/events.json")
    record = json.loads((found.parent / "record.json").read_bytes())
    return json.loads(found.read_bytes()), record, found.parent


def events(document, kind):
    return [one for one in document["epcisBody"]["eventList"] if one["type"] == kind]


def test_the_events_are_valid_by_the_standards_schema(amended):
    document, _, _ = amended
    validate(document)
    for broken in (
        {**document, "schemaVersion": "two"},
        {**document, "epcisBody": {"eventList": [{"type": "AggregationEvent"}]}},
    ):
        with pytest.raises(jsonschema.ValidationError):
            validate(broken)


def test_the_events_say_what_the_record_says(amended):
    document, record, _ = amended
    [dried] = events(document, "TransformationEvent")
    assert dried["eventTime"][:10] == record["measured"][-1]
    [made] = dried["outputQuantityList"]
    # UN/CEFACT Recommendation 20: MTQ, cubic metre
    assert (made["quantity"], made["uom"]) == (record["numbers"]["volume_m3"], "MTQ")
    packed = events(document, "AggregationEvent")
    assert [one["parentID"].rpartition("#")[2] for one in packed] == [
        f"pack-{pack['number']}" for pack in record["packs"]
    ]
    assert [one["childQuantityList"][0]["quantity"] for one in packed] == [
        pack["pieces"] for pack in record["packs"]
    ]
    assert len(events(document, "ObjectEvent")) == 1  # it was amended once
    ids = [one["eventID"] for one in document["epcisBody"]["eventList"]]
    assert len(set(ids)) == len(ids)


def test_the_events_name_nobody_and_no_charge(amended):
    _, _, folder = amended
    text = (folder / "events.json").read_text("utf-8")
    for secret in ("C1", "A. N. Other", "survey was amended", "Red oak 4/4"):
        assert secret not in text


def test_times_carry_the_offset_of_the_mills_zone(amended):
    for event in amended[0]["epcisBody"]["eventList"]:
        at = dt.datetime.fromisoformat(event["eventTime"])
        assert event["eventTimeZoneOffset"] == "-04:00"  # Ontario in June
        assert at.utcoffset() == dt.timedelta(hours=-4)


def built(root: Path, *, link: bool) -> Path:
    labelled_mill(root, lot={"gtin": GTIN}, mill={"digital_link": link})
    build_site(root, root / "site", workers=1, pdfs=False)
    return root / "site/customer"


def test_a_gtin_identifies_the_batch_and_publishes_no_second_address(tmp_path):
    customer = built(tmp_path, link=False)
    [record] = customer.rglob("record.json")
    assert json.loads(record.read_bytes())["gtin"] == GTIN
    page = (record.parent / "index.html").read_text("utf-8")
    assert f'"gtin":"{GTIN}"' in page
    assert "guesses them" not in page
    document = json.loads((record.parent / "events.json").read_bytes())
    validate(document)
    [dried] = events(document, "TransformationEvent")
    # the URI of GS1 Digital Link in EPCIS 2.0: GTIN in 14 digits and batch
    assert dried["outputQuantityList"][0]["epcClass"] == f"https://id.gs1.org/01/0{GTIN}/10/L1"


def test_a_mill_may_publish_the_address_that_can_be_guessed(tmp_path):
    customer = built(tmp_path, link=True)
    second = customer / f"01/0{GTIN}/10/L1"
    records = sorted(customer.rglob("record.json"))
    assert len(records) == 2
    assert second / "record.json" in records
    assert len({path.read_bytes() for path in records}) == 1
    page = (second / "index.html").read_text("utf-8")
    assert "guesses them" in page
    assert 'src="../../../../assets/label.js"' in page
