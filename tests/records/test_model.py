"""Records from documents: every problem of a file in one run, in words that people can act on."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from tests.conftest import examples
from tests.minimal import minimal_records
from tests.records.refusal import refused

from kilnfolio.records.kiln import CHANNELS, Channel, Kiln
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.model import Located, Record
from kilnfolio.records.problems import Place, RecordProblems
from kilnfolio.records.validation import model_at, validate
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.runtime.field_docs import field_doc

TORONTO = ZoneInfo("America/Toronto")
NOUNS = ("mill", "kiln", "logger", "charge", "lot", "species", "schedule")


def written(noun: str, *changes: tuple[str, str]) -> str:
    """Return a minimal record as text, each change made once."""
    text = yaml.safe_dump(minimal_records()[noun], allow_unicode=True, sort_keys=False, width=1000)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return text


def read(noun: str, text: str, zone: ZoneInfo | None = TORONTO) -> Located[Any]:
    return validate(parse_yaml(text.encode(), "f.yaml"), RECORD_KINDS[noun].model, zone=zone)


def says(noun: str, *changes: tuple[str, str]) -> list[str]:
    return refused(read, noun, written(noun, *changes))


@pytest.mark.parametrize("noun", NOUNS)
def test_minimal_record_is_read(noun):
    located = read(noun, written(noun))
    assert located.file == "f.yaml"
    assert located.place("format") == Place("f.yaml", 1, 9)


# --- mistakes people make -------------------------------------------------------------------------

LOADED = "loaded: 2026-06-01T07:00"
LOG = "log:\n- file: bulbs.csv\n  profile: two-bulbs"

#: Noun, the correct text, what a person wrote instead, and the message they read.
MISTAKES = [
    # keys
    (
        "charge",
        "kiln: k1",
        "kilm: k1",
        "4:1: the key 'kilm' is not known here: unknown keys are refused, so that a slip of the pen "
        "is not lost. Did you mean 'kiln'?",
    ),
    (
        "charge",
        "green_mass: 2410 g",
        "green_weight: 2410 g",
        "28:3: the key 'green_weight' is not known here: unknown keys are refused, so that a slip of "
        "the pen is not lost. Did you mean 'green_mass'?",
    ),
    (
        "charge",
        "  profile: two-bulbs",
        "  profil: two-bulbs",
        "101:3: the key 'profil' is not known here: unknown keys are refused, so that a slip of the "
        "pen is not lost. Did you mean 'profile'?",
    ),
    (
        "charge",
        "kiln: k1\n",
        "",
        "1:1: the key 'kiln' is missing: it is needed here; it holds: Id of the kiln, as in "
        "content/kilns. Add a line 'kiln: …'.",
    ),
    (
        "charge",
        "  - id: S1a\n    green: 120.7 g\n",
        "  - id: S1a\n",
        "22:5: the key 'green' is missing: it is needed here; it holds: Mass when cut. "
        "Add a line 'green: …'.",
    ),
    (
        "charge",
        "green_mass: 2410 g",
        "green_mass:",
        "28:3: green_mass is empty: a value is needed here. Write it.",
    ),
    (
        "charge",
        "    S1: 2410 g",
        "    S1:",
        "60:5: S1 is empty: a value is needed here. Write it, or remove the key.",
    ),
    # quantities
    (
        "charge",
        "green_mass: 2410 g",
        "green_mass: 4,862 g",
        "28:15: green_mass '4,862 g': has a comma, which may mean thousands or decimals. "
        "Write '4.862 g' or '4862 g'.",
    ),
    (
        "charge",
        "green_mass: 2410 g",
        "green_mass: 2410",
        "28:15: green_mass '2410': has no unit. Write '2410 g' if that is its unit; "
        "a mass may be in g, kg, lb, oz.",
    ),
    (
        "charge",
        "target_mc: 12 %",
        "target_mc: 120 %",
        "7:12: target_mc '120 %': it is not within 3 to 30 %. Check the unit and the decimal point.",
    ),
    (
        "kiln",
        "hottest: 85 °C",
        "hottest: 185 °C",
        "6:10: hottest '185 °C': it is not within 20 to 130 °C. Check the unit and the decimal "
        "point.",
    ),
    (
        "mill",
        "altitude: 310 m",
        "altitude: 310000 m",
        "7:11: altitude '310000 m': it is not within -500 to 5000 m. Check the unit and the decimal "
        "point.",
    ),
    (
        "species",
        "rate: 3.8 %/day",
        "rate: 3.8 %",
        "14:9: rate '3.8 %': has the unit '%', which is not one of %/day, points/day, %/d. "
        "Write it as in '3.8 %/day'.",
    ),
    # numbers
    (
        "species",
        "basic: 0.56",
        "basic: 0,56",
        "9:10: basic '0,56': a comma may mean thousands or decimals. Write 0.56.",
    ),
    (
        "species",
        "basic: 0.56",
        "basic: .nan",
        "9:10: basic '.nan': it must be a number. Write digits only, with a point for decimals.",
    ),
    (
        "species",
        "basic: 0.56",
        "basic: 1e999",
        "9:10: basic '1e999': it is too large for a number. Check the digits after the 'e'.",
    ),
    (
        "lot",
        "pieces: 220",
        "pieces: 220 pcs",
        "16:11: pieces '220 pcs': it must be a whole number without a unit. Write 220.",
    ),
    (
        "lot",
        "pieces: 220",
        "pieces: 1,220",
        "16:11: pieces '1,220': a comma may mean thousands or decimals. Write 1220.",
    ),
    (
        "lot",
        "pieces: 220",
        "pieces: 0",
        "16:11: pieces '0': it must be at least 1. Check the number.",
    ),
    # words to choose from, names
    (
        "charge",
        "chosen_as: wettest",
        "chosen_as: wetest",
        "31:14: chosen_as 'wetest': it must be one of wettest, thickest, typical, driest. "
        "Did you mean 'wettest'?",
    ),
    (
        "species",
        "kind: hardwood",
        "kind: Hardwood",
        "5:7: kind 'Hardwood': it must be one of hardwood, softwood. Did you mean 'hardwood'?",
    ),
    (
        "charge",
        "kiln: k1",
        "kiln: Kiln 1",
        "4:7: kiln 'Kiln 1': it may hold only lower-case letters, digits and single hyphens. "
        "Write 'kiln-1', say.",
    ),
    (
        "charge",
        "id: C1",
        "id: Größe 1",
        "2:5: id 'Größe 1': it may hold only letters, digits, '.', '_' and '-'. "
        "Write 'Grosse-1', say.",
    ),
    (
        "charge",
        "id: C1",
        "id: 2026",
        "2:5: id '2026': it must be text. Put it in quotes: \"2026\".",
    ),
    (
        "charge",
        "id: C1",
        "id: 12E3",
        "2:5: id '12E3': it must be text. Put it in quotes: \"12E3\".",
    ),
    (
        "charge",
        "id: C1",
        "id: red-oak-of-january-2026",
        "2:5: id 'red-oak-of-january-2026': it has 23 characters, and at most 20 are allowed. Shorten it.",
    ),
    (
        "charge",
        "invented: true",
        "invented: perhaps",
        "3:11: invented 'perhaps': it must be true or false. Write true or false, without quotes.",
    ),
    (
        "charge",
        "format: 1",
        "format: 2",
        "1:9: format '2': this version reads formats 0 and 1. Install the version of kilnfolio "
        "that wrote it; if it is a slip, write 'format: 1'.",
    ),
    (
        "mill",
        "America/Toronto",
        "Toronto",
        "6:12: time_zone 'Toronto': it is not a time zone of the IANA database. "
        "Write it as in America/Toronto or Europe/Dublin.",
    ),
    (
        "species",
        "source: wood-handbook, Table 5-3",
        "source: the kiln book",
        "10:11: source 'the kiln book': it must begin with the id of a publication in sources.yaml. "
        "Write it as in 'wood-handbook, Table 4-2', or 'common practice'.",
    ),
    # days and times
    (
        "charge",
        LOADED,
        "loaded: 2026-06-01",
        "13:9: loaded '2026-06-01': has no time of day. Write it as in 2026-06-01T07:10.",
    ),
    (
        "charge",
        LOADED,
        "loaded: 01/06/2026 7:00 PM",
        "13:9: loaded '01/06/2026 7:00 PM': is not a date and time as records write it. "
        "Write 2026-01-06T19:00 or 2026-06-01T19:00.",
    ),
    (
        "charge",
        LOADED,
        "loaded: 13.6.2026 07:00",
        "13:9: loaded '13.6.2026 07:00': is not a date and time as records write it. "
        "Write 2026-06-13T07:00.",
    ),
    (
        "charge",
        LOADED,
        "loaded: yesterday",
        "13:9: loaded 'yesterday': is not a date and time as records write it. "
        "Write it as in 2026-03-02T07:10.",
    ),
    (
        "charge",
        LOADED,
        "loaded: 2026-06-31T07:00",
        "13:9: loaded '2026-06-31T07:00': is a day no calendar has. Check month and day.",
    ),
    (
        "charge",
        LOADED,
        "loaded: 2026-06-01T24:00",
        "13:9: loaded '2026-06-01T24:00': has an hour no clock shows. "
        "Write 00:00 to 23:59; midnight is 00:00 of the new day.",
    ),
    (
        "charge",
        LOADED,
        "loaded: 2206-06-01T07:00",
        "13:9: loaded '2206-06-01T07:00': lies outside 1950 to 2199. Check the year.",
    ),
    (
        "charge",
        "'on': 2026-06-08",
        "on: 20260608",
        "159:7: on '20260608': is not a day as records write it. Write 2026-06-08.",
    ),
    (
        "charge",
        "'on': 2026-06-08",
        "on: 8/6/2026",
        "159:7: on '8/6/2026': is not a day as records write it. Write 2026-06-08 or 2026-08-06.",
    ),
    # shapes
    (
        "charge",
        LOG,
        "log: bulbs.csv",
        "99:6: log 'bulbs.csv': a list is needed here. Begin each item on its own line with '- '.",
    ),
    (
        "charge",
        LOG,
        "log:\n- bulbs.csv",
        "100:3: log, item 1 'bulbs.csv': 'key: value' lines are needed here. "
        "Its keys are: file, profile.",
    ),
    (
        "charge",
        LOG,
        "log:\n  file: bulbs.csv\n  profile: two-bulbs",
        "100:3: log holds a mapping: a list is needed here. "
        "Begin each item on its own line with '- '.",
    ),
    (
        "lot",
        "packs:\n- number: P1\n  charge: C1\n  pieces: 220\n  volume: 2.1 m³",
        "packs: []",
        "13:8: packs holds nothing: the list is empty. "
        "Add an item on a line of its own, beginning with '- '.",
    ),
    (
        "charge",
        "kiln: k1",
        'kiln: k1\nnotes: "a\\x07b"',
        "5:8: notes 'a?b': it holds the control character U+0007. Remove it.",
    ),
    # schedules
    (
        "schedule",
        "depression: 9 K",
        "depression: 9 K\n  wet_bulb: 41 °C",
        "15:3: steps, item 1 'depression, wet_bulb': a step needs exactly one of depression, "
        "wet_bulb, relative_humidity, emc. Keep the one the operator sets.",
    ),
    (
        "schedule",
        "depression: 9 K",
        "wet_bulb: 61 °C",
        "16:13: wet_bulb '61 °C': it is above the dry bulb, 50 °C. "
        "Check whether the two are swapped.",
    ),
    (
        "schedule",
        "until_mc: final",
        "until_mc: finl",
        "20:13: until_mc 'finl': is not a percentage. Write it as in '12 %', or 'final'.",
    ),
    (
        "schedule",
        "until_mc: final",
        "until_mc: 15.2 %",
        "20:13: until_mc '15.2 %': it is not below the step before, 15.2 %. "
        "Put the steps in the order they are run.",
    ),
    (
        "schedule",
        "until_mc: 15.2 %",
        "until_mc: final",
        "18:3: steps, item 2 '55 °C': it comes after the step that runs to the final MC. "
        "Put the steps in the order they are run.",
    ),
    (
        "schedule",
        "until_mc: final",
        "hours: 24 h",
        "18:3: steps, item 2 'hours': some steps end at an MC and some after a time. "
        "Write all with until_mc, or all with hours.",
    ),
    # logger profiles
    (
        "logger",
        "%Y-%m-%d %H:%M",
        "%d/%m/%Y %I:%M",
        "9:11: format '%d/%m/%Y %I:%M': it does not tell the moment of a row: 2031-11-28 17:46 comes "
        "back as 2031-11-28 05:46. Write it as in '%d/%m/%Y %H:%M', or '%m/%d/%Y %I:%M %p' for a "
        "12-hour clock, or 'days since 1899-12-30' for a spreadsheet's day number.",
    ),
    (
        "logger",
        "unit: °C",
        "unit: '%'",
        "14:9: unit '%': dry-bulb is not measured in %. Write one of °C, °F, or another channel.",
    ),
    (
        "logger",
        "heading: WB",
        "heading: DB",
        "12:1: columns 'DB': the heading stands twice in this profile. Keep one of them.",
    ),
    (
        "logger",
        "clock: local",
        "clock: offset",
        "10:10: clock 'offset': 'clock: offset' and '%z' in the format go together. "
        "Write both where every time carries its offset, else neither.",
    ),
    (
        "logger",
        "delimiter: ','",
        "delimiter: ','\nnames_row: 2",
        "5:12: names_row '2': the export has 1 heading rows. "
        "Write the row that holds the names, counted from the first line.",
    ),
]


@pytest.mark.parametrize(
    ("noun", "old", "new", "sentence"),
    MISTAKES,
    ids=[new.replace("\n", " ")[:40] for _, _, new, _ in MISTAKES],
)
def test_a_mistake_is_explained_at_its_place(noun, old, new, sentence):
    assert says(noun, (old, new)) == [f"f.yaml:{sentence}"]


@pytest.mark.parametrize("text", ["", "# nothing yet\n"])
def test_empty_file(text):
    assert refused(read, "charge", text) == [
        "f.yaml:1:1: the file is empty: a record is made of 'key: value' lines. "
        "Begin with 'format: 1'."
    ]


@pytest.mark.parametrize("text", ["- a\n- b\n", "just words\n", "12\n"])
def test_a_file_that_is_no_record(text):
    assert refused(read, "charge", text) == [
        "f.yaml:1:1: the file holds no record: a record is made of 'key: value' lines. "
        "Begin with 'format: 1'."
    ]


def test_problems_are_reported_in_one_run_in_the_order_of_the_lines():
    found = says(
        "charge",
        ("kiln: k1", "kilm: k1"),
        ("target_mc: 12 %", "target_mc: 12"),
        ("volume: 40 m³", "volume: 40"),
        (LOADED, "loaded: noon"),
        ("green: 120.7 g", "green: 120,7 g"),
        ("chosen_as: wettest", "chosen_as: big"),
        ("S2: 2532 g", "S2:"),
        ("  profile: two-bulbs", "  profile: Two Bulbs"),
        ("mc: 12.1 %", "mc: 121 %"),
        ("schedule: red-oak-4-4\n", ""),
    )
    assert [line.split(" ")[0] + " " + line.split(" ")[1] for line in found] == [
        "f.yaml:1:1: the",
        "f.yaml:4:1: the",
        "f.yaml:10:11: volume",
        "f.yaml:12:9: loaded",
        "f.yaml:22:12: green",
        "f.yaml:30:14: chosen_as",
        "f.yaml:60:5: S2",
        "f.yaml:100:12: profile",
        "f.yaml:120:9: mc",
    ]


def test_a_misspelt_key_is_not_also_missing():
    assert len(says("charge", ("schedule_revision: 1", "schedule_revison: 1"))) == 1


def test_an_unknown_key_unlike_any_other_is_answered_with_the_known_keys():
    (problem,) = says("lot", ("  charge: C1", "  charge: C1\n  zzz: 1"))
    assert problem.endswith("Known keys here: number, charge, pieces, volume.")


# --- times ----------------------------------------------------------------------------------------


def loaded(entered: str, zone: ZoneInfo | None = TORONTO) -> dt.datetime:
    return read("charge", written("charge", (LOADED, f"loaded: {entered}")), zone).record.loaded


@pytest.mark.parametrize(
    ("entered", "utc"),
    [
        # Toronto is at UTC-5, from 8 March to 1 November 2026 at UTC-4 (IANA tz database)
        ("2026-01-15T07:10", "2026-01-15T12:10"),
        ("2026-07-15T07:10", "2026-07-15T11:10"),
        ("2026-07-15 07:10:30", "2026-07-15T11:10:30"),
        ("2026-03-08T01:59", "2026-03-08T06:59"),
        ("2026-03-08T03:00", "2026-03-08T07:00"),
        ("2026-11-01T00:59", "2026-11-01T04:59"),
        ("2026-11-01T02:00", "2026-11-01T07:00"),
        ("2026-11-01T01:30-04:00", "2026-11-01T05:30"),
        ("2026-11-01T01:30-05:00", "2026-11-01T06:30"),
        ("2026-03-02T07:10Z", "2026-03-02T07:10"),
        ("2026-03-02T07:10+01:00", "2026-03-02T06:10"),
    ],
)
def test_local_time(entered, utc):
    assert loaded(entered) == dt.datetime.fromisoformat(utc).replace(tzinfo=dt.UTC)


def test_skipped_hour_of_spring():
    assert says("charge", (LOADED, "loaded: 2026-03-08T02:30")) == [
        "f.yaml:13:9: loaded '2026-03-08T02:30': never was: clocks in America/Toronto skipped that "
        "hour. Write 2026-03-08T03:30-04:00 if your clock stood at winter time still."
    ]
    # 02:30 of winter time is 07:30 UTC
    assert loaded("2026-03-08T03:30-04:00") == dt.datetime(2026, 3, 8, 7, 30, tzinfo=dt.UTC)


def test_repeated_hour_of_autumn():
    assert says("charge", (LOADED, "loaded: 2026-11-01T01:30")) == [
        "f.yaml:13:9: loaded '2026-11-01T01:30': happened twice: clocks in America/Toronto went "
        "back. Write 2026-11-01T01:30-04:00 before the clocks went back, "
        "2026-11-01T01:30-05:00 after."
    ]


def test_local_time_without_a_zone_says_what_to_write():
    text = written("lot", ("issued: 2026-06-09", "issued: 2026-06-09\nshipped: 2026-06-09 10:00"))
    assert refused(read, "lot", text, None) == [
        "f.yaml:19:10: shipped '2026-06-09 10:00': has no zone, and the mill's time zone is not "
        "known here. Write it with its offset, as in 2026-06-09T10:00-05:00."
    ]


_MINUTES = st.datetimes(
    dt.datetime.fromisoformat("1951-01-01"), dt.datetime.fromisoformat("2190-01-01")
).map(lambda moment: moment.replace(second=0, microsecond=0))


@given(
    _MINUTES,
    st.sampled_from(
        ["America/Toronto", "Europe/Dublin", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC"]
    ),
)
def test_a_local_time_is_read_as_the_one_instant_it_names_or_refused(local, name):
    """The instants at which the zone's clock shows this time are found by trying every offset."""
    zone = ZoneInfo(name)
    text = written(
        "lot", ("issued: 2026-06-09", f"issued: 2026-06-09\nshipped: {local:%Y-%m-%dT%H:%M}")
    )
    tries = (
        local.replace(tzinfo=dt.UTC) - dt.timedelta(minutes=15 * quarter)
        for quarter in range(-56, 57)
    )
    moments = [moment for moment in tries if moment.astimezone(zone).replace(tzinfo=None) == local]
    if len(moments) == 1:
        assert read("lot", text, zone).record.shipped == moments[0]
    else:
        (problem,) = refused(read, "lot", text, zone)
        assert ("happened twice" if moments else "never was") in problem


# --- the models themselves ------------------------------------------------------------------------


def test_records_cannot_be_changed_once_read():
    record = read("kiln", written("kiln")).record
    with pytest.raises(ValidationError):
        record.name = "other"


def test_channels_are_listed_once():
    assert Channel.__args__ == CHANNELS


@pytest.mark.parametrize(
    "model", [kind.model for kind in RECORD_KINDS.values()], ids=list(RECORD_KINDS)
)
def test_every_key_has_a_description(model):
    """A missing key is named with its meaning, so every key needs one."""

    def walk(record: type[Record], seen: set[type[Record]]) -> None:
        seen.add(record)
        for name in record.model_fields:
            assert field_doc(record, name), f"{record.__name__}.{name}"
            for path in ((name,), (name, 0), (name, "key"), (name, "key", 0)):
                inner = model_at(record, path)
                if inner is not None and inner not in seen:
                    walk(inner, seen)

    walk(model, set())


def test_model_at_follows_lists_and_mappings():
    assert model_at(Kiln, ("instruments", 0, "calibrations", 2)).__name__ == "Calibration"
    assert model_at(Kiln, ("instruments", "x")) is None
    assert model_at(RECORD_KINDS["limits"].model, ("limits", "any", 0, "scope")).__name__ == "Scope"


_SCALARS = st.sampled_from(
    [
        "",
        "~",
        "12",
        "-1",
        "0.5",
        "12 %",
        "4862 g",
        "110 °F",
        "true",
        "x",
        "2026-03-08T02:30",
        "2026-06-01T07:00",
        "[]",
        "{}",
        "[1, {a: b}]",
        "{a: [1]}",
        '"\\0"',
        "1e999",
        "99999999999999999999",
        "'ü'",
    ]
)


@settings(max_examples=examples(300))
@given(st.sampled_from(NOUNS), st.data())
def test_any_value_anywhere_gives_a_record_or_problems(noun, data):
    """Lines of a record get other values; the reader may raise nothing but problems."""
    lines = written(noun).splitlines()
    for number in data.draw(st.lists(st.integers(0, len(lines) - 1), min_size=1, max_size=4)):
        key, colon, _ = lines[number].partition(":")
        lines[number] = f"{key}{colon} {data.draw(_SCALARS)}" if colon else lines[number]
    try:
        read(noun, "\n".join(lines))
    except RecordProblems as error:
        for problem in error.problems:
            assert 1 <= problem.place.line <= len(lines)
            assert problem.what
            assert problem.why


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("basic: 0.56", "basic: .056", "0.08"),
        ("basic: 0.56", "basic: 560", "1.3"),
        ("thickness: 4/4", "thickness: 1 mm", "5 to 300 mm"),
        (
            "safe_daily_loss:\n",
            "basic_density: {value: 56 kg/m³, source: x, status: memory}\nsafe_daily_loss:\n",
            "no wood has such a basic density",
        ),
        (
            "safe_daily_loss:\n",
            "safe_daily_loss:\n- {thickness: 8/4, rate: 9 %/day, source: x, status: memory}\n",
            "thicker timber dries slower than 4/4",
        ),
        (
            "safe_daily_loss:\n",
            "safe_daily_loss:\n- {thickness: 4/4, rate: 9 %/day, source: x, status: memory}\n",
            "this thickness is listed twice",
        ),
    ],
)
def test_figures_of_a_species_that_no_formula_takes_are_refused(old, new, said):
    """Balsa has about 0.15, lignum vitae 1.05 to 1.2 (from memory); the formulas' ranges are wider."""
    assert said in " ".join(says("species", (old, new)))
