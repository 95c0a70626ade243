"""The store holds only data: every value round-trips, and nothing in it can run."""

import base64
import datetime as dt
import json
import math
import pickle
import tracemalloc
import zlib
from collections import Counter
from pathlib import Path, PurePosixPath
from typing import Annotated
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup
from pydantic_core import TzInfo
from tests.archive.sealing import review
from tests.minimal import minimal_mill

from kilnfolio.graph import codec
from kilnfolio.graph.codec import UnreadableError, decode, encode, size_in_memory
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.model import in_range
from kilnfolio.records.problems import Place
from kilnfolio.records.quantities import Density, Mass
from kilnfolio.records.sourced import Sourced
from kilnfolio.records.yaml_source import WrittenFloat, parse_yaml

SIMPLE = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False)
    | st.binary()
    | st.text(st.characters(codec="utf-8"))
    | st.dates()
    | st.timedeltas()
    | st.datetimes(timezones=st.just(ZoneInfo("America/Toronto")))
    | st.datetimes()
)
VALUES = st.recursive(
    SIMPLE,
    lambda inner: (
        st.lists(inner)
        | st.dictionaries(st.text() | st.integers() | st.tuples(st.integers(), st.text()), inner)
        | st.lists(inner).map(tuple)
        | st.frozensets(SIMPLE.filter(lambda v: v == v))
    ),
    max_leaves=20,
)


@given(VALUES)
def test_every_value_round_trips(value):
    again = decode(encode(value))
    assert again == value
    assert type(again) is type(value)


@pytest.mark.parametrize(
    "value",
    [
        math.inf,
        -math.inf,
        Place("a.yaml", 3, 4),
        Mass(2380.0, "2380 g"),
        WrittenFloat("12.50"),
        Markup("<b>"),
        Path("a/b"),
        PurePosixPath("a/b"),
        ZoneInfo("Europe/Berlin"),
        Counter("abba"),
        dt.datetime(2026, 10, 25, 2, 30, fold=1, tzinfo=ZoneInfo("Europe/Berlin")),
        dt.datetime(2026, 6, 2, 7, 10, tzinfo=TzInfo(-14400)),
        dt.datetime(2026, 6, 2, 7, 10, tzinfo=dt.timezone(dt.timedelta(hours=-4))),
        "\ud800",
        {1: {2}},
        [1, [2, (3, [])]],
        {"tuple": [1]},
        "x" * 600,
    ],
)
def test_field_values_of_records_keep_their_type(value):
    again = decode(encode(value))
    assert (repr(again), type(again)) == (repr(value), type(value))
    assert encode(again) == encode(value)
    assert getattr(again, "fold", 0) == getattr(value, "fold", 0)
    assert getattr(again, "text", "") == getattr(value, "text", "")


def test_nan_and_arrays_round_trip():
    assert math.isnan(decode(encode(math.nan)))
    for array in (
        np.arange(6.0).reshape(2, 3),
        np.array(["2026-06-02T07:10"], "datetime64[s]"),
        np.array([True, False]),
        np.array(["a", "bc"]),
    ):
        again = decode(encode(array))
        assert again.dtype == array.dtype
        assert (again == array).all()
    assert decode(encode(np.float64(2.5))) == np.float64(2.5)


def test_a_mill_and_a_dossier_round_trip(tmp_path):
    root = minimal_mill(tmp_path)
    folder = checked_mill(root)
    for value in (
        review(root),
        folder.charges["C1"],
        folder.lots["L1"],
        folder.limits,
        folder.schedules["red-oak-4-4"],
        folder.species["quercus-rubra"],
        folder.mill,
        # a model made for one kind of quantity
        Sourced[Density](value="560 kg/m³", source="common practice", status="common practice"),
        # and for one whose values are limited, as a species' density
        Sourced[Annotated[Density, in_range(80, 1300)]](
            value="560 kg/m³", source="common practice", status="common practice"
        ),
    ):
        again = decode(encode(value))
        assert again == value
        assert encode(again) == encode(value)


def test_a_decoded_record_changes_no_other():
    """Records of a kind share what says which of their fields were given."""
    given = Sourced[Density](value="560 kg/m³", source="common practice", status="common practice")
    one, other = decode(encode(given)), decode(encode(given))
    changed = one.model_copy(update={"table": "2"})
    assert "table" in changed.model_fields_set
    assert one.model_fields_set == other.model_fields_set == given.model_fields_set
    assert decode(encode(given)) == given


def test_the_size_in_memory_is_about_what_python_allocates(tmp_path):
    root = minimal_mill(tmp_path)
    for value in (review(root), checked_mill(root).charges["C1"], ["a word " * 100] * 50):
        data = encode(value)
        decode(data)  # imports what it needs
        tracemalloc.start()
        read = decode(data)
        taken, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert read == value
        assert taken / 3 < size_in_memory(data) < taken * 3


#: The class of a place and a sum over the names of its fields (zlib.crc32, as ISO 3309 defines it).
PLACE = f"kilnfolio.records.problems:Place#{zlib.crc32(b'file line column'):08x}"


class Runs:
    ran = False

    def __reduce__(self):
        return setattr, (Runs, "ran", True)


def packed(data):
    return bytes(4) + zlib.compress(json.dumps(data).encode())


@pytest.mark.parametrize(
    "data",
    [
        pickle.dumps(Runs()),
        zlib.compress(pickle.dumps(Runs())),
        bytes(4) + zlib.compress(pickle.dumps(Runs())),
        b"",
        bytes(2),
        bytes(9),
        zlib.compress(b"1"),
        bytes(4) + zlib.compress(b""),
        bytes(4) + zlib.compress(b"\xff"),
        packed({"os:system": []}),
        packed({"call": ["print"]}),
        packed({"subprocess:Popen": ["id"]}),
        packed({"kilnfolio.runtime.workers:Workers": []}),
        packed({"kilnfolio.runtime.workers:os": []}),
        packed({"kilnfolio.records.problems:Place": ["a", 1, 1]}),
        packed({f"kilnfolio.records.problems:Place#{0:08x}": ["a", 1, 1]}),
        packed({PLACE: ["a"]}),
        packed({PLACE: ["a", 1, 1, 1]}),
        packed({PLACE: {"file": "a"}}),
        packed({PLACE: ["a", 1, 1], "tuple": []}),
        packed({"kilnfolio.no_such_module:Place": []}),
        packed({"enum": ["kilnfolio.records.problems:Place", "a"]}),
        packed({"named": ["kilnfolio.records.problems:Place", "a"]}),
        packed({"word": ["kilnfolio.records.problems:Place", "a"]}),
        packed({"a": 1}),
        packed({}),
        packed({"tuple": 1}),
        packed({"array": ["|O", [1], base64.b64encode(bytes(8)).decode()]}),
        packed({"array": ["<f8", [10**9], ""]}),
        packed({"datetime": ["yesterday", None, 0]}),
        packed({"datetime": ["2026-06-02T07:10", [], 0]}),
        packed({"markup": [1]}),
        packed({"zone": ["../../etc/passwd"]}),
        json.dumps({"os:system": []}).encode(),
        b"xyz",
        bytes(4) + zlib.compress(b"[" * 100_000),
    ],
)
def test_foreign_bytes_are_refused_and_not_executed(data):
    with pytest.raises(UnreadableError):
        decode(data)
    assert not Runs.ran


DOCUMENT = "kilnfolio.records.yaml_source:Document"


def test_a_document_is_decoded_when_one_of_its_fields_is_asked_for():
    given = parse_yaml(b"a: {b: 12.50, c: [x, y]}\n", "f.yaml")
    read = decode(encode(given))
    assert "marks" not in vars(read)
    assert encode(read) == encode(given)
    assert read.place("a", "c", 1) == Place("f.yaml", 1, 22)
    assert (read, repr(read), str(read.value["a"]["b"])) == (given, repr(given), "12.50")


@pytest.mark.parametrize("text", ["", "[", "1", "[]", '["f", null, 1, 2]'])
def test_a_damaged_document_is_refused_when_asked_for(text):
    read = decode(packed({"late": [DOCUMENT, text]}))
    with pytest.raises(UnreadableError):
        read.place("a")


@pytest.mark.parametrize(
    "data",
    [
        {"late": [DOCUMENT, 1]},
        {"late": ["kilnfolio.records.problems:Place", "1"]},
        {"late": ["os:x", ""]},
    ],
)
def test_only_a_class_decoded_late_is_stored_as_text(data):
    with pytest.raises(UnreadableError):
        decode(packed(data))


@pytest.mark.parametrize("value", [object(), Runs(), len, Runs, np.array([object()])])
def test_objects_that_are_no_data_cannot_be_stored(value):
    with pytest.raises(TypeError):
        encode(value)


def test_no_module_reads_pickles():
    """Python pickles between a build and its own processes, over pipes nobody else can reach."""
    package = Path(codec.__file__).parents[1]
    assert [
        path.name
        for path in package.rglob("*.py")
        if "pickle" in path.read_text("utf-8")
        and path.parent.name in ("graph", "pipeline", "site", "archive", "records")
    ] == []
