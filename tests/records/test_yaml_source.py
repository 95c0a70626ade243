"""YAML to plain values: places are kept, only the plain core is read, and hostile files are
stopped."""

from __future__ import annotations

import math
import time
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.conftest import examples
from tests.records.refusal import refused

from kilnfolio.records.problems import Place, RecordProblems
from kilnfolio.records.yaml_source import (
    MAX_BYTES,
    MAX_DEPTH,
    MAX_PROBLEMS,
    Document,
    parse_yaml,
    read_yaml,
)


def parse(text: str) -> Document:
    return parse_yaml(text.encode(), "f.yaml")


def value(text: str) -> Any:
    return parse(text).value


def says(text: str | bytes) -> list[str]:
    return refused(parse_yaml, text.encode() if isinstance(text, str) else text, "f.yaml")


# --- places ---------------------------------------------------------------------------------------

CHARGE = """\
# weighed by hand
id: C1
boards:
  - id: S1
    mass:   4862 g
  - {id: S2, mass: 4.1 kg}
note: >-
  folded
'é': "ü"
"""


@pytest.mark.parametrize(
    ("path", "line", "column"),
    [
        (("id",), 2, 5),
        (("boards",), 4, 3),
        (("boards", 0), 4, 5),
        (("boards", 0, "mass"), 5, 13),
        (("boards", 1, "id"), 6, 10),
        (("boards", 1, "mass"), 6, 20),
        (("note",), 7, 7),
        (("é",), 9, 6),
    ],
)
def test_place_of_a_value(path, line, column):
    assert parse(CHARGE).place(*path) == Place("f.yaml", line, column)


@pytest.mark.parametrize(
    ("path", "line", "column"),
    [
        (("id",), 2, 1),
        (("boards", 0, "mass"), 5, 5),
        (("boards", 1, "mass"), 6, 14),
        (("é",), 9, 1),
    ],
)
def test_place_of_a_key(path, line, column):
    assert parse(CHARGE).key_place(*path) == Place("f.yaml", line, column)


def test_a_missing_key_has_the_place_of_its_parent():
    document = parse(CHARGE)
    assert document.place("boards", 1, "species") == document.place("boards", 1)
    assert document.place("boards", 7) == document.place("boards")
    assert document.key_place("kiln") == Place("f.yaml", 2, 1)


def test_places_count_characters_after_a_byte_order_mark():
    document = parse_yaml(b"\xef\xbb\xbf\xc3\xa9: 1\r\nb: 2\r\n", "f.yaml")
    assert document.value == {"é": 1, "b": 2}
    assert document.place("é") == Place("f.yaml", 1, 4)
    assert document.place("b") == Place("f.yaml", 2, 4)


_PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**12), 10**12)
    | st.text(
        st.characters(min_codepoint=32, max_codepoint=0x2FF, exclude_categories=["Cc", "Nd"]),
        max_size=12,
    ),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.text("abcdefghij_-", min_size=1, max_size=8).filter(
                lambda key: yaml.safe_load(key) == key
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@given(st.dictionaries(st.sampled_from("abcdef"), _PLAIN, min_size=1), st.booleans())
def test_plain_values_come_back_and_every_one_has_a_place(plain, flow):
    text = yaml.safe_dump(plain, allow_unicode=True, default_flow_style=flow, width=200)
    document = parse(text)
    assert document.value == plain
    lines = text.split("\n")

    def walk(inner: Any, path: tuple[str | int, ...]) -> None:
        assert path in document.marks
        place = document.place(*path)
        assert 1 <= place.line <= len(lines)
        assert 1 <= place.column <= len(lines[place.line - 1]) + 1
        if isinstance(inner, dict):
            for key, below in inner.items():
                spot = document.key_place(*path, key)
                written = lines[spot.line - 1][spot.column - 1 :].lstrip("'\"? ")
                assert written.startswith(key)
                walk(below, (*path, key))
        elif isinstance(inner, list):
            for index, below in enumerate(inner):
                walk(below, (*path, index))

    walk(document.value, ())


# --- scalars --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        # YAML 1.2.2, section 10.3.2: the core schema's tables and example 10.9
        ("null", None),
        ("Null", None),
        ("NULL", None),
        ("~", None),
        ("", None),
        ("true", True),
        ("True", True),
        ("TRUE", True),
        ("false", False),
        ("FALSE", False),
        ("0", 0),
        ("12", 12),
        ("-19", -19),
        ("+3", 3),
        ("0.", 0.0),
        ("-0.0", -0.0),
        (".5", 0.5),
        ("+12e03", 12000.0),
        ("-2E+05", -200000.0),
        # words in YAML 1.2, though not in 1.1
        ("no", "no"),
        ("yes", "yes"),
        ("on", "on"),
        ("off", "off"),
        ("y", "y"),
        ("12:30", "12:30"),
        ("1_000", "1_000"),
        ("2026-03-02", "2026-03-02"),
        ("2026-03-02T07:10", "2026-03-02T07:10"),
        # read as words here: no mill writes such numbers
        ("007", "007"),
        ("0o14", "0o14"),
        ("0xC", "0xC"),
        (".inf", ".inf"),
        ("-.INF", "-.INF"),
        (".nan", ".nan"),
        ("12345678901234567890", "12345678901234567890"),
        # quotes make words
        ('"12"', "12"),
        ("'true'", "true"),
        ('"null"', "null"),
        ('""', ""),
        ("|\n  7", "7"),
        ("=", "="),
        ("110 °F", "110 °F"),
        ("4/4", "4/4"),
        ("12 %", "12 %"),
    ],
)
def test_scalar(written, meant):
    found = value(f"a: {written}")["a"]
    assert found == meant
    assert type(found) is type(meant) or (isinstance(meant, float) and isinstance(found, float))
    if isinstance(meant, float):
        assert math.copysign(1, found) == math.copysign(1, meant)


def test_a_number_keeps_the_text_it_was_written_as():
    assert str(value("a: 12.50")["a"]) == "12.50"
    assert value("a: 12.50")["a"] == 12.5


def test_empty_files_hold_nothing():
    for text in ("", "\n\n", "# only a comment\n", "---\n", "\ufeff"):
        assert value(text) is None


# --- the plain core only --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "a: 1\nb: 2\na: 3\n",
            "f.yaml:3:1: the key 'a' stands twice: it is already at line 1. Keep one of them.",
        ),
        (
            "x:\n  - {mass: 1 g, mass: 2 g}\n",
            "f.yaml:2:17: the key 'mass' stands twice: it is already at line 2. Keep one of them.",
        ),
        (
            "a: !!python/object/apply:os.system [ls]\n",
            "f.yaml:1:4: a tag (!): tags are not taken in records. "
            "Remove it, or put the text in quotes if '!' belongs to it.",
        ),
        (
            "a: !!str 5\n",
            "f.yaml:1:4: a tag (!): tags are not taken in records. "
            "Remove it, or put the text in quotes if '!' belongs to it.",
        ),
        (
            "note: !do not open\n",
            "f.yaml:1:7: a tag (!): tags are not taken in records. "
            "Remove it, or put the text in quotes if '!' belongs to it.",
        ),
        (
            "!!map {a: 1}\n",
            "f.yaml:1:1: a tag (!): tags are not taken in records. "
            "Remove it, or put the text in quotes if '!' belongs to it.",
        ),
        (
            "!!str a: 1\n",
            "f.yaml:1:1: a tag (!): tags are not taken in records. "
            "Remove it, or put the text in quotes if '!' belongs to it.",
        ),
        (
            "a: 1\n&k b: 2\n",
            "f.yaml:2:1: an anchor (&): anchors are not taken in records. "
            "Remove it, or put the text in quotes if '&' belongs to it.",
        ),
        (
            "by: &Sons of Bend\n",
            "f.yaml:1:5: an anchor (&): anchors are not taken in records. "
            "Remove it, or put the text in quotes if '&' belongs to it.",
        ),
        (
            "note: * see below\n",
            "f.yaml:1:8: '*' or '&' stands alone: YAML keeps these characters for "
            'itself. Put the text in quotes, as in "* see note".',
        ),
        (
            "note: *see\n",
            "f.yaml:1:7: '*' starts an alias: aliases are not taken in records. "
            'Put the text in quotes, as in "* see note".',
        ),
        (
            "<<: {a: 1}\nb: 2\n",
            "f.yaml:1:1: '<<' merges another mapping: merge keys are not taken in records. "
            "Write the keys out.",
        ),
        ("? [1, 2]\n: 3\n", "f.yaml:1:3: a list or mapping is used as a key: a key is a word."),
        (
            "a: 1\n---\nb: 2\n",
            "f.yaml:2:1: a second '---' begins another document: "
            "a file holds one record. Move it to a file of its own.",
        ),
        (
            "a:\n\tb: 1\n",
            "f.yaml:2:1: a tab indents this line: YAML indents with spaces only. "
            "Replace the tab by spaces.",
        ),
        (
            "kiln:k1\nid: C1\n",
            "f.yaml:1:5: no space after the ':': YAML takes the whole line for "
            "text. Write 'key: value' with a space.",
        ),
        (
            "note: wick: changed\n",
            "f.yaml:1:11: a second ':' on this line: YAML takes it for another "
            'key. Put the text in quotes, as in note: "wick: changed".',
        ),
        (
            "id: C1\n  kiln: k1\n",
            "f.yaml:2:7: this line is indented deeper than the one above: lines "
            "that belong together begin in the same column. Indent it as far as its neighbours.",
        ),
        (
            "id: C1\nkiln\nnote: x\n",
            "f.yaml:2:1: this line has no ': ': every line here is "
            "'key: value'. Add ': ' after the key, or indent the line if the text above goes on in it.",
        ),
        (
            "share: %90\n",
            "f.yaml:1:8: '%' begins a value: YAML keeps that character for itself. "
            "Write the number first, as in '12 %', or put the text in quotes.",
        ),
        (
            "packs: [P1, P2\nid: C1\n",
            "f.yaml:1:8: '[' opens a list that does not end: every '[' needs "
            "its ']'. Close it with ']', or put the text in quotes.",
        ),
        (
            'note: "dry\nid: C1\n',
            "f.yaml:1:7: a quote opens and does not end: the file ends first. Close the quote.",
        ),
        (
            "note: 'it's dry'\n",
            "f.yaml:1:11: text goes on after the closing quote: the quote ends the "
            'value. Put the other kind of quote around the whole, as in "it\'s dry".',
        ),
        (
            "a: - b\n",
            "f.yaml:1:4: '- ' begins a list in the middle of a line: a list stands below its "
            "key. Put each '- ' on a line of its own, or the text in quotes.",
        ),
        (  # YAML 1.1 also ends a line at U+2028 and U+0085, where editors may not
            "\u2028format: 1\x85a:\n  l\n  k: x\n",
            "f.yaml:5:4: this line is indented deeper than the one above: lines "
            "that belong together begin in the same column. Indent it as far as its neighbours.",
        ),
        (
            "packs:\n  - id: P1\n   pieces: 4\n",
            "f.yaml:3:4: this line does not fit the list above: "
            "items of a list begin with '- ' in the same column. Indent it as far as its neighbours.",
        ),
    ],
)
def test_refusal(text, sentence):
    assert sentence in says(text)


def test_every_duplicate_is_named_in_one_run():
    assert [line.split(": ")[0] for line in says("a: 1\na: 2\nb: {c: 1, c: 2}\nb: 3\n")] == [
        "f.yaml:2:1",
        "f.yaml:3:11",
        "f.yaml:4:1",
    ]


@pytest.mark.parametrize(
    ("raw", "place", "what"),
    [
        (b"a: 1\nname: Caf\xe9\n", "2:10", "byte 0xe9 is not UTF-8"),  # Latin-1
        ("a: 1\n".encode("utf-16"), "1:1", "byte 0xff is not UTF-8"),
        (b"a: 1\nb: x\x00y\n", "2:5", "the character U+0000"),
        (b"a: \x07\n", "1:4", "the character U+0007"),
        ("é: \x7f\n".encode(), "1:4", "the character U+007F"),
    ],
)
def test_bytes_that_are_not_text(raw, place, what):
    (problem,) = says(raw)
    assert problem.startswith(f"f.yaml:{place}: {what}: ")


# --- hostile files --------------------------------------------------------------------------------


def quickly_refused(raw: bytes, seconds: float = 10.0) -> list[str]:
    start = time.process_time()
    problems = says(raw)
    assert time.process_time() - start < seconds
    return problems


def test_billion_laughs():
    lines = ["a0: &a0 lol"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 12)]
    problems = quickly_refused("\n".join(lines).encode())
    assert len(problems) == 12
    assert all("anchors are not taken in records" in problem for problem in problems)


def test_an_alias_of_itself():
    for raw in (b"a: &a [1, *a]\n", b"&a {b: *a}\n"):
        (problem,) = quickly_refused(raw)
        assert "anchors are not taken in records" in problem


@pytest.mark.parametrize(
    "text",
    [
        "[" * 100_000,
        "{a: " * 50_000,
        "- " * 100_000,
        "? " * 100_000,
        "".join(" " * n + "a:\n" for n in range(1200)),
    ],
)
def test_very_deep_nesting_is_refused(text):
    (problem,) = quickly_refused(text.encode())
    assert "nested too deep" in problem


def test_nesting_depth_is_limited_below_what_yaml_allows():
    deep = "a: " + "[" * (MAX_DEPTH - 1) + "]" * (MAX_DEPTH - 1)
    assert value(deep)
    assert "nested too deep" in says("a: " + "[" * (MAX_DEPTH + 1) + "]" * (MAX_DEPTH + 1))[0]


def test_a_huge_file_is_refused_without_being_read(tmp_path: Path):
    """Five hundred billion bytes, sparse: more than memory holds."""
    path = tmp_path / "huge.yaml"
    with path.open("wb") as file:
        file.truncate(500_000_000_000)
    (problem,) = refused(read_yaml, path, "huge.yaml")
    assert problem == (
        "huge.yaml:1:1: the file has 500,000,000,000 bytes: a record may have at most 524,288. "
        "Keep long series in the logger's own file and name it in the record."
    )


@pytest.mark.parametrize(
    "unit", ["- a\n", "[a,", "- &a b\n", "a: {b: 1}\n", "'", "x", "é\n", "a:\n "]
)
def test_the_largest_accepted_file_is_read_in_seconds(unit):
    """Every file up to the limit is read in seconds, whatever it holds; one is typical."""
    raw = (unit * (MAX_BYTES // len(unit.encode())))[:MAX_BYTES].encode()
    start = time.process_time()
    try:
        parse_yaml(raw, "f.yaml")
    except RecordProblems as error:
        assert 1 <= len(error.problems) <= MAX_PROBLEMS  # noqa: PT017  or no problem at all
    assert time.process_time() - start < 30


def test_a_very_long_line_is_read_as_text():
    assert value("note: " + "x" * 500_000)["note"] == "x" * 500_000


def test_a_file_that_is_not_there(tmp_path: Path):
    assert refused(read_yaml, tmp_path / "none.yaml", "none.yaml") == [
        "none.yaml:1:1: the file cannot be read: no such file or directory. Check the name, "
        "its ending and its folder."
    ]
    (tmp_path / "folder.yaml").mkdir()
    assert refused(read_yaml, tmp_path / "folder.yaml", "folder.yaml") == [
        "folder.yaml:1:1: the file cannot be read: is a directory. Name a file in it."
    ]


_SNIPPETS = st.lists(
    st.sampled_from(
        [
            "a",
            "b",
            ": ",
            ":",
            "\n",
            "  ",
            "- ",
            "[",
            "]",
            "{",
            "}",
            ",",
            "'",
            '"',
            "|",
            ">",
            "&a ",
            "*a",
            "!",
            "!!str ",
            "? ",
            "<<",
            "---",
            "...",
            "%YAML 1.1",
            "\t",
            "#",
            "é",
            "\r",
            "\x85",
            "\u2028",
            "\ufeff",
            "12",
            ".5",
            "~",
            "true",
            "@",
            "`",
            "\\",
            "\\x00",
        ]
    ),
    max_size=30,
).map("".join)


@settings(max_examples=examples(600))
@given(
    st.binary(max_size=60)
    | _SNIPPETS.map(str.encode)
    | st.text(max_size=40).map(lambda text: text.encode("utf-8", "surrogatepass"))
)
def test_any_bytes_give_a_document_or_problems(raw):
    try:
        document = parse_yaml(raw, "f.yaml")
    except RecordProblems as error:
        lines = (
            raw.count(b"\n")
            + raw.count(b"\r")
            + raw.count(b"\xc2\x85")
            + raw.count(b"\xe2\x80\xa8")
            + raw.count(b"\xe2\x80\xa9")
            + 1
        )
        for problem in error.problems:
            assert 1 <= problem.place.line <= lines
            assert problem.place.column >= 1
            assert problem.what
            assert problem.why
            assert str(problem).endswith((".", "?", "!"))
    else:
        assert document.place().file == "f.yaml"
