"""JSON Schemas: valid by the published meta-schema, complete, and satisfied by every record."""

import functools

import jsonschema
import pytest
from tests.conftest import PROJECT
from tests.minimal import minimal_records
from tests.own_house import BRAND
from tests.rows import each_of

from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.quantities import Length, Mass, Percent, Quantity, Temperature
from kilnfolio.records.schema import record_schema
from kilnfolio.records.yaml_source import read_yaml

RECORDS = [
    (kind.name, path)
    for kind in RECORD_KINDS.values()
    for glob in kind.globs
    for path in sorted(PROJECT.glob(glob))
]


def follows(schema, value):
    """Return the errors that the jsonschema package's validator finds in a value."""
    validator = jsonschema.Draft202012Validator(schema)
    return [error.message for error in validator.iter_errors(value)]


@pytest.mark.parametrize("kind", RECORD_KINDS)
def test_every_schema_is_valid_by_the_meta_schema(kind):
    schema = record_schema(kind)
    assert schema["$schema"] == jsonschema.Draft202012Validator.META_SCHEMA["$id"]
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("kind", RECORD_KINDS)
def test_every_key_of_every_kind_has_a_description(kind):
    schema = record_schema(kind)
    models = [schema, *schema.get("$defs", {}).values()]
    assert models
    for model in models:
        assert model["title"]
        assert model["description"]
        for key, field in model["properties"].items():
            assert field["title"], key
            assert len(field["description"].split()) > 2, (model["title"], key)
            assert field["description"].endswith((".", "?")), (model["title"], key)
            assert "x-" not in field, key


def test_the_demonstration_mill_has_a_record_of_every_kind():
    # a brand belongs to a mill; the demonstration uses our colours
    assert {kind for kind, _ in RECORDS} == set(RECORD_KINDS) - {"brand"}
    assert follows(record_schema("brand"), BRAND) == []


@each_of(RECORDS, name=lambda record: record[1].relative_to(PROJECT))
def test_every_record_of_the_demonstration_mill_follows_its_schema(record):
    kind, path = record
    assert follows(_schema(kind), read_yaml(path, path.name).value) == []


_schema = functools.cache(record_schema)


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        ("kiln", {"capacity": "60"}),  # the unit forgotten
        ("kiln", {"capacity": "60,5 m³"}),  # a decimal comma
        ("kiln", {"capacity": "60 kg"}),  # a unit of something else
        ("kiln", {"kind": "steam-heated"}),  # not one of the words
        ("kiln", {"hotest": "85 °C"}),  # a misspelt key
        ("kiln", {"format": 2}),
        ("kiln", {"id": "Kiln 1"}),
        ("charge", {"boards": "S1"}),
        ("charge", {"target_mc": [12]}),
        ("mill", {"contact": None}),
    ],
    ids=str,
)
def test_the_schema_rejects_common_slips(kind, change):
    record = minimal_records()[kind]
    plain = {key: value for key, value in record.items() if key != "signatures"}
    if kind != "charge":
        assert not [e for e in follows(record_schema(kind), plain) if "2026" not in e]
    errors = follows(record_schema(kind), {**plain, **change})
    assert any(str(part) in error for error in errors for part in (*change, *change.values()))


@pytest.mark.parametrize(
    ("quantity", "entered"),
    [
        (Length, "4/4"),
        (Length, "1 1/2 in"),
        (Length, "6 ft 2 in."),
        (Length, "27 mm"),
        (Mass, "4 lb 3 oz"),
        (Mass, "4862 g"),
        (Mass, "4.862 kg"),
        (Temperature, "-5 °C"),
        (Temperature, "110 °F"),
        (Percent, "12 %"),
        (Percent, 12),
        (Percent, "12.5"),
        (Percent, 12.5),
    ],
    ids=str,
)
def test_reader_and_schema_accept_the_same_ways_to_write_a_quantity(quantity, entered):
    quantity.parse(entered)
    assert follows(schema_of(quantity), entered) == []


@pytest.mark.parametrize(
    ("quantity", "entered"),
    [
        (Length, "27"),
        (Length, "27 kg"),
        (Mass, "4,862 g"),
        (Temperature, "110"),
        (Percent, "12 °C"),
        (Percent, "twelve"),
        (Length, 27),
    ],
    ids=str,
)
def test_reader_and_schema_refuse_the_same_quantities(quantity, entered):
    with pytest.raises(ValueError):  # noqa: PT011  the sentence is the quantities' own test
        quantity.parse(entered)
    assert follows(schema_of(quantity), entered)


def schema_of(quantity: type[Quantity]) -> dict[str, object]:
    from pydantic import TypeAdapter

    return TypeAdapter(quantity).json_schema()
