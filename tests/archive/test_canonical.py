"""Canonical JSON against the examples of RFC 8785, and against a second implementation.

The RFC's examples are from memory; those of its appendix B and its example of sorting agree with
what the RFC's author published as a draft, and all of them are run through an ECMAScript engine,
whose number formatting the RFC adopts.
"""

import json
import math
import shutil
import struct
import subprocess

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st
from tests.archive import sealing

from kilnfolio.archive.canonical import canonical, read_canonical, read_json, sha256
from kilnfolio.review.dossier import BoardPoint

#: RFC 8785, appendix B: IEEE 754 bits and the number as written.
NUMBERS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]

#: RFC 8785, section 3.2.2.
LITERALS = (
    r'{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001], '
    r'"string": "\u20ac$\u000F\u000aA' + r"'" + r'\u0042\u0022\u005c\\\"\/", '
    r'"literals": [null, true, false]}'
)
LITERALS_CANONICAL = (
    r'{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    r'"string":"€$\u000f\nA' + "'" + r'B\"\\\\\"/"}'
)

#: RFC 8785, section 3.2.3: the order of keys by UTF-16 code units.
SORTED = {
    "\u20ac": "Euro Sign",
    "\r": "Carriage Return",
    "1": "One",
    "\u0080": "Control",
    "\ufb33": "Hebrew Letter Dalet With Dagesh",
    "\U0001f600": "Emoji: Grinning Face",
    "\u00f6": "Latin Small Letter O With Diaeresis",
}
SORTED_VALUES = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]

#: The RFC's appendix A in short, for an ECMAScript engine.
SCRIPT = """
const order = v => v === null || typeof v !== 'object' ? JSON.stringify(v)
  : Array.isArray(v) ? '[' + v.map(order).join(',') + ']'
  : '{' + Object.keys(v).sort().map(k => JSON.stringify(k) + ':' + order(v[k])).join(',') + '}';
process.stdout.write(order(JSON.parse(require('fs').readFileSync(0, 'utf8'))));
"""


def by_engine(text: str) -> bytes:
    node = shutil.which("node")
    if node is None:
        pytest.skip("no ECMAScript engine on the PATH")
    return subprocess.run(
        [node, "-e", SCRIPT], input=text.encode(), capture_output=True, check=True
    ).stdout


@pytest.mark.parametrize(("bits", "written"), NUMBERS)
def test_the_numbers_of_appendix_b_are_written_as_printed(bits, written):
    number = struct.unpack(">d", bytes.fromhex(bits))[0]
    assert canonical(number).decode() == written


def test_an_engine_writes_the_numbers_of_appendix_b_as_printed():
    numbers = [struct.unpack(">d", bytes.fromhex(bits))[0] for bits, _ in NUMBERS]
    assert by_engine(json.dumps(numbers)).decode() == f"[{','.join(w for _, w in NUMBERS)}]"


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000", "fff0000000000000"])
def test_values_without_a_json_form_are_refused(bits):
    with pytest.raises(ValueError, match="not representable"):
        canonical({"mc_pct": struct.unpack(">d", bytes.fromhex(bits))[0]})


def test_a_record_with_nan_is_refused_not_sealed_as_null():
    point = BoardPoint(
        at=sealing.SEALED_AT, mass_g=float("nan"), mc_pct=12.0, mc_uncertainty_pct=0.2
    )
    with pytest.raises(ValueError, match="nan"):
        canonical(point)


def test_an_integer_beyond_the_doubles_is_refused():
    assert canonical(2**53 - 1) == b"9007199254740991"
    with pytest.raises(ValueError, match="9007199254740993"):
        canonical(2**53 + 1)


def test_the_example_of_section_3_2_2_is_reproduced():
    assert canonical(json.loads(LITERALS)).decode() == LITERALS_CANONICAL
    assert by_engine(LITERALS).decode() == LITERALS_CANONICAL


def test_the_sorting_example_of_section_3_2_3_is_reproduced():
    assert list(json.loads(canonical(SORTED)).values()) == SORTED_VALUES
    assert by_engine(json.dumps(SORTED)) == canonical(SORTED)


def test_a_dossier_is_written_as_an_engine_writes_it(tmp_path):
    sealing.minimal_mill(tmp_path)
    dossier = sealing.review(tmp_path)
    assert by_engine(dossier.model_dump_json()) == canonical(dossier)


json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: (
        st.lists(inner) | st.dictionaries(st.text(st.characters(exclude_categories=["Cs"])), inner)
    ),
    max_leaves=20,
)


@given(json_values)
def test_canonical_json_reads_back_and_stays_canonical(value):
    data = canonical(value)
    assert read_canonical(data) == value  # and so canonical(value read) == data


@pytest.mark.parametrize(
    "other",
    [
        b'{"a": 1}',
        b'{"b":1,"a":2}',
        b'{"a":1.0}',
        b'{"a":1,"a":1}',
        b'{"a":1}\n',
        b'{"a":"\\u0041"}',
        b'{"a":-0}',
    ],
)
def test_only_the_canonical_spelling_is_read(other):
    json.loads(other)
    with pytest.raises(ValueError, match="canonical"):
        read_canonical(other)


@pytest.mark.parametrize(
    "other", [b"NaN", b"-Infinity", b"1e999", b'"\\ud800"', b"9" * 400, b"1" * 5000, b"{", b"\xff"]
)
def test_json_without_a_canonical_form_is_not_read(other):
    with pytest.raises(ValueError):  # noqa: PT011  the wording depends on which reader refuses
        read_json(other)


def test_deep_nesting_is_refused_with_a_message():
    with pytest.raises(ValueError, match="nested"):
        read_canonical(b"[" * 100_000 + b"]" * 100_000)


def test_sha256_of_the_standards_examples_is_right():
    # FIPS 180-2, appendix B.1 and B.2.
    assert sha256(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert (
        sha256(b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq")
        == "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    )


NEAR_AN_EDGE = st.sampled_from([1e-4, 1e-6, 1e-7, 1e15, 1e16, 2.0**53, 1e21]).flatmap(
    lambda edge: st.floats(edge * 0.99, edge * 1.01)
)
WHOLE_NUMBERS = st.integers(-(2**53) + 1, 2**53 - 1)
JSON = st.recursive(
    st.none()
    | st.booleans()
    | WHOLE_NUMBERS
    | WHOLE_NUMBERS.map(float)
    | st.floats(allow_nan=False, allow_infinity=False)
    | NEAR_AN_EDGE
    | st.text(st.characters(codec="utf-8")),
    lambda inner: (
        st.lists(inner)
        | st.lists(inner).map(tuple)
        | st.dictionaries(st.text(st.characters(codec="utf-8")) | st.text('abc\n"'), inner)
    ),
)


@given(JSON)
def test_it_writes_what_the_reference_library_writes(value):
    assert canonical(value) == rfc8785.dumps(value)


@pytest.mark.parametrize(
    "value", [math.nan, math.inf, 2**53, -(2**53), "\ud800", {1: 2}, {"a": b""}]
)
def test_what_has_no_form_is_refused_as_by_the_reference_library(value):
    refused = (rfc8785.CanonicalizationError, UnicodeEncodeError)
    with pytest.raises(refused):
        rfc8785.dumps({"a": [value]})
    with pytest.raises(refused):
        canonical({"a": [value]})
