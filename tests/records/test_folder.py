"""A whole mill folder: read, and its records checked against each other."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
import yaml
from tests.minimal import DROP, FILES, minimal_mill, minimal_records
from tests.records.refusal import refused

from kilnfolio.records.checking import checked_mill
from kilnfolio.records.log import read_log

PROJECT = Path(__file__).resolve().parents[2]


def problems(root: Path, **changes: Any) -> list[str]:
    """Return the problems found in a changed minimal mill."""
    return refused(checked_mill, minimal_mill(root, **changes))


def line_of(root: Path, noun: str, text: str, nth: int = 1) -> int:
    """Return the line of a file on which a text occurs for the nth time."""
    lines = (root / FILES[noun]).read_text("utf-8").splitlines()
    return [number for number, line in enumerate(lines, 1) if text in line][nth - 1]


# --- a correct folder -----------------------------------------------------------------------


def test_minimal_mill_is_read(tmp_path):
    folder = checked_mill(minimal_mill(tmp_path))
    assert (list(folder.charges), list(folder.lots), list(folder.kilns)) == (["C1"], ["L1"], ["k1"])
    charge = folder.charges["C1"]
    assert charge.file == FILES["charge"]
    assert charge.record.started == dt.datetime(2026, 6, 1, 12, tzinfo=dt.UTC)
    assert folder.charge_folder("C1") == tmp_path / "content/charges/2026/C1"
    assert len(folder.steps_of(folder.schedules["red-oak-4-4"].record)) == 2
    # lots have no dispatch date, so the newest time is the unloading, 14:00 in Toronto
    assert folder.latest.isoformat() == "2026-06-07T14:00:00-04:00"


def test_the_minimal_log_is_read_completely(tmp_path):
    folder = checked_mill(minimal_mill(tmp_path))
    log = read_log(
        tmp_path / FILES["log"],
        "bulbs.csv",
        folder.loggers["two-bulbs"].record,
        folder.mill.record.zone,
    )
    assert (log.rows, len(log.times), sum(log.left_out.values())) == (289, 289, 0)


def test_the_minimal_mills_boards_agree_with_their_sections(tmp_path):
    """The sections agree with the oven-dry mass the board was made from: w = m0 (1 + u/100)."""
    charge = checked_mill(minimal_mill(tmp_path)).charges["C1"].record
    for board in charge.boards:
        mean = sum(100 * (s.green.value / s.oven_dry.value - 1) for s in board.sections) / 2
        oven_dry = board.green_mass.value / (1 + mean / 100)
        masses = [weighing.masses[board.id].value for weighing in charge.weighings]
        assert masses[0] == board.green_mass.value
        assert masses == sorted(masses, reverse=True)
        assert 11 < 100 * (masses[-1] / oven_dry - 1) < 13


def test_schedules_are_read_from_both_folders_and_in_both_notations(tmp_path):
    softwood = yaml.safe_dump(
        {
            **minimal_records()["schedule"],
            "id": "pine-timed",
            "steps": [{"dry_bulb": "60 °C", "depression": "5 K", "hours": "24 h"}],
        },
        allow_unicode=True,
    )
    code = {key: value for key, value in minimal_records()["schedule"].items() if key != "steps"}
    folder = checked_mill(
        minimal_mill(
            tmp_path,
            files={
                "schedules/softwood/pine-timed.yaml": softwood,
                "schedules/hardwood/by-code.yaml": {**code, "id": "by-code", "notation": "T4-D2"},
                "schedules/notations/t-number-letter-number.yaml": (
                    PROJECT / "schedules/notations/t-number-letter-number.yaml"
                ).read_text("utf-8"),
            },
        )
    )
    assert folder.schedules["pine-timed"].record.time_based
    assert len(folder.steps_of(folder.schedules["by-code"].record)) > 3


# --- between records ------------------------------------------------------------------------------

#: What is changed; the file, text and line that the message points at; column and sentence.
CONTRADICTIONS: list[tuple[dict[str, Any], tuple[str, str, int], str]] = [
    (
        {"charge": {"kiln": "k2"}},
        ("charge", "kiln: k2", 1),
        "7: kiln 'k2': there is no kiln of this name. Did you mean 'k1'?",
    ),
    (
        {"charge": {"schedule": "white-oak"}},
        ("charge", "schedule: white-oak", 1),
        "11: schedule 'white-oak': there is no schedule of this name. Did you mean 'red-oak-4-4'?",
    ),
    (
        {"charge": {"stock": [{"species": "acer-rubrum", "thickness": "4/4", "volume": "1 m³"}]}},
        ("charge", "acer-rubrum", 1),
        "12: species 'acer-rubrum': there is no species of this name. Did you mean 'quercus-rubra'?",
    ),
    (
        {"charge": {"log": [{"file": "bulbs.csv", "profile": "x9"}]}},
        ("charge", "profile: x9", 1),
        "12: logger profile 'x9': there is no logger profile of this name. "
        "Add it, or name another logger profile.",
    ),
    (
        {"charge": lambda c: c["weighings"][2]["masses"].update({"S9": "2000 g"})},
        ("charge", "S9:", 1),
        "5: board 'S9': there is no board of this name. Did you mean 'S3'?",
    ),
    (
        {"charge": lambda c: c["weighings"][1].update(stated_mc={"S2": "20 %", "Q": "19 %"})},
        ("charge", "Q:", 1),
        "5: board 'Q': there is no board of this name. Add it, or name another board.",
    ),
    (
        {"charge": {"schedule_revision": 4}},
        ("charge", "schedule_revision", 1),
        "20: schedule_revision '4': schedule 'red-oak-4-4' is at revision 1. "
        "Write the revision that was run.",
    ),
    (
        {"charge": lambda c: c["step_changes"][1].update(step=3)},
        ("charge", "step: 3", 1),
        "9: step '3': schedule 'red-oak-4-4' has 2 steps. Check the number.",
    ),
    (
        {"charge": {"ended": "2026-05-30T08:00"}},
        ("charge", "ended:", 1),
        "8: ended '2026-05-30 08:00': it is before started, 2026-06-01 08:00. Check both dates.",
    ),
    (
        {"charge": lambda c: c["weighings"].reverse()},
        ("charge", "at: 2026-06-06T08:00", 1),
        "7: at '2026-06-06 08:00': it is not after the weighing before it. "
        "Check the date; keep weighings oldest first.",
    ),
    (
        {
            "charge": {
                "stops": [
                    {"start": "2026-06-02T08:00", "end": "2026-06-02T07:00", "cause": "boiler"}
                ]
            }
        },
        ("charge", "end: 2026-06-02T07:00", 1),
        "8: end '2026-06-02 07:00': it is not after its start, 2026-06-02 08:00. Check both dates.",
    ),
    (
        {
            "charge": {
                "equalizing": {
                    "start": "2026-06-06T08:00",
                    "end": "2026-06-05T08:00",
                    "dry_bulb": "55 °C",
                    "emc": "9 %",
                }
            }
        },
        ("charge", "end: 2026-06-05T08:00", 1),
        "8: end '2026-06-05 08:00': it is not after its start, 2026-06-06 08:00. Check both dates.",
    ),
    (
        {"charge": {"log": [{"file": "other.csv", "profile": "two-bulbs"}]}},
        ("charge", "file: other.csv", 1),
        "9: file 'other.csv': there is no such file beside charge.yaml. Copy the export there.",
    ),
    (
        {"charge": {"log": [{"file": "../../../mill.yaml", "profile": "two-bulbs"}]}},
        ("charge", "file: ../", 1),
        "9: file '../../../mill.yaml': a logger file lies beside its charge.yaml. "
        "Write its name only.",
    ),
    (
        {"charge": {"log": [{"file": "/etc/passwd", "profile": "two-bulbs"}]}},
        ("charge", "file: /etc", 1),
        "9: file '/etc/passwd': a logger file lies beside its charge.yaml. Write its name only.",
    ),
    (
        {"charge": {"log": [{"file": "..", "profile": "two-bulbs"}]}},
        ("charge", "file: ..", 1),
        "9: file '..': a logger file lies beside its charge.yaml. Write its name only.",
    ),
    (
        {"charge": {"id": "C2"}, "lot": lambda r: r["packs"][0].update(charge="C2")},
        ("charge", "id: C2", 1),
        "5: id 'C2': the folder is named 'C1', and the two must be the same. "
        "Write 'id: C1', or rename the folder.",
    ),
    (
        {"kiln": {"id": "k2"}},
        ("kiln", "id: k2", 1),
        "5: id 'k2': the file is named 'k1', and the two must be the same. "
        "Write 'id: k1', or rename the file.",
    ),
    (
        {"schedule": {"for_stock": {"species": ["quercus-rubra", "quercus-alba"]}}},
        ("schedule", "quercus-alba", 1),
        "5: species 'quercus-alba': there is no species of this name. Did you mean 'quercus-rubra'?",
    ),
    (
        {"schedule": {"steps": DROP, "notation": "T4-D2"}},
        ("schedule", "notation:", 1),
        "11: notation 'T4-D2': no notation table is at hand. Add one to schedules/notations, "
        "or write the steps out.",
    ),
    (
        {"schedule": {"source": "kiln-book, page 12"}},
        ("schedule", "source:", 1),
        "9: publication 'kiln-book': there is no publication of this name. "
        "Did you mean 'wood-handbook'?",
    ),
    (
        {"species": lambda s: s["specific_gravity"][0].update(source="woodhandbook, Table 5-3")},
        ("species", "woodhandbook", 1),
        "11: publication 'woodhandbook': there is no publication of this name. "
        "Did you mean 'wood-handbook'?",
    ),
    (
        {
            "limits": lambda r: next(iter(r["limits"].values()))[0].update(
                scope={"species": ["quercus-rubrum"]}
            )
        },
        ("limits", "quercus-rubrum", 1),
        "9: species 'quercus-rubrum': there is no species of this name. "
        "Did you mean 'quercus-rubra'?",
    ),
    (
        {"lot": {"species": "acer-rubrum"}},
        ("lot", "species:", 1),
        "10: species 'acer-rubrum': there is no species of this name. Did you mean 'quercus-rubra'?",
    ),
    (
        {"lot": lambda r: r["packs"][0].update(charge="C7")},
        ("lot", "charge: C7", 1),
        "11: charge 'C7': there is no charge of this name. Did you mean 'C1'?",
    ),
    (
        {"lot": lambda r: r["packs"].append({**r["packs"][0], "pieces": 7})},
        ("lot", "number: P1", 2),
        "11: pack 'P1': it already stands at content/lots/L1.yaml:14:11. "
        "A pack belongs to one lot, once.",
    ),
    (
        {"lot": {"order": {"lowest": DROP}}},
        ("lot", "rule:", 1),
        "9: rule 'band': it needs 'lowest'. Add a line 'lowest: … %'.",
    ),
    (
        {"lot": {"order": {"lowest": "14 %", "highest": "10 %"}}},
        ("lot", "highest:", 1),
        "12: highest '10 %': it is not above lowest, 14 %. Check whether the two are swapped.",
    ),
]


@pytest.mark.parametrize(
    ("changes", "where", "sentence"),
    CONTRADICTIONS,
    ids=[f"{noun}-{text}" for _, (noun, text, _), _ in CONTRADICTIONS],
)
def test_a_contradiction_between_records_is_reported_at_its_place(
    tmp_path, changes, where, sentence
):
    found = problems(tmp_path, **changes)
    noun, text, nth = where
    assert found[0] == f"{FILES[noun]}:{line_of(tmp_path, noun, text, nth)}:{sentence}"
    if "weighings oldest first" not in sentence:  # six of seven are out of order there
        assert len(found) == 1


def test_two_boards_with_the_same_tag_are_refused(tmp_path):
    def repeat(charge: dict[str, Any]) -> None:
        charge["boards"][2]["id"] = "S1"
        for weighing in charge["weighings"]:
            del weighing["masses"]["S3"]

    (problem,) = problems(tmp_path, charge=repeat)
    first = line_of(tmp_path, "charge", "- id: S1", 1)
    assert problem.endswith(
        f": board 'S1': it already stands at line {first}. Give every board its own tag."
    )


def test_a_pack_in_two_lots_is_refused(tmp_path):
    lot = {**minimal_records()["lot"], "id": "L2"}
    (problem,) = problems(tmp_path, files={"content/lots/L2.yaml": lot})
    assert problem == (
        "content/lots/L2.yaml:14:11: pack 'P1': it already stands at "
        f"content/lots/L1.yaml:{line_of(tmp_path, 'lot', 'number: P1')}:11. "
        "A pack belongs to one lot, once."
    )


def test_a_charge_number_used_in_two_years_is_refused(tmp_path):
    charge = {**minimal_records()["charge"], "log": []}
    (problem,) = problems(tmp_path, files={"content/charges/2027/C1/charge.yaml": charge})
    assert problem == (
        "content/charges/2027/C1/charge.yaml:2:5: id 'C1': "
        "content/charges/2026/C1/charge.yaml has it too. "
        "Give each record an id of its own."
    )


def test_a_schedule_with_the_same_name_in_both_folders_is_refused(tmp_path):
    (problem,) = problems(
        tmp_path, files={"schedules/softwood/red-oak-4-4.yaml": minimal_records()["schedule"]}
    )
    assert problem == (
        "schedules/softwood/red-oak-4-4.yaml:2:5: id 'red-oak-4-4': "
        "schedules/hardwood/red-oak-4-4.yaml has it too. "
        "Give each record an id of its own."
    )


@pytest.mark.parametrize(
    ("name", "kept_as"),
    [
        ("content/kilns/k2.yml", "content/kilns/ID.yaml"),
        ("content/kilns/K2.YAML", "content/kilns/ID.yaml"),
        ("content/kilns/old/k2.yaml", "content/kilns/ID.yaml"),
        ("content/charges/2026/C2.yaml", "content/charges/YEAR/ID/charge.yaml"),
        ("content/charges/2026/C2/Charge.yml", "content/charges/YEAR/ID/charge.yaml"),
        ("schedules/species/acer-rubrum.yml", "schedules/species/ID.yaml"),
    ],
)
def test_a_record_where_nothing_would_read_it_is_reported(tmp_path, name, kept_as):
    (problem,) = problems(tmp_path, files={name: "format: 1\n"})
    assert problem == (
        f"{name}:1:1: this file would not be read: records of this kind are kept as "
        f"{kept_as}. Rename or move it."
    )


# --- several files at once ------------------------------------------------------------------------


def test_an_error_in_one_file_does_not_hide_errors_in_others(tmp_path):
    found = problems(
        tmp_path,
        kiln="format: 1\nid: [\n",
        species={"kind": "softwod"},
        lot={"product": DROP},
        charge={"target_mc": "120 %"},
        logger="\tformat: 1\n",
    )
    assert sorted({line.split(":")[0] for line in found}) == sorted(
        FILES[noun] for noun in ("kiln", "species", "lot", "charge", "logger")
    )
    assert len(found) == 5  # a record that could not be parsed is not also called unknown


def test_the_records_that_can_be_read_are_still_cross_checked(tmp_path):
    found = problems(tmp_path, kiln="format: 1\n- x\n", charge={"schedule": "none"})
    assert [line.split(": ")[1] for line in found] == [
        "schedule 'none'",
        "this line does not fit the lines above",
    ]


def test_without_its_mill_record_every_other_file_is_still_read(tmp_path):
    found = problems(tmp_path, files={FILES["mill"]: None}, kiln={"kind": "steem"})
    assert found == [
        f"{FILES['kiln']}:4:7: kind 'steem': it must be one of steam, dehumidification, hot-water, "
        "vacuum, solar, progressive, pre-dryer, dryer shed, air-drying yard. Did you mean 'steam'?",
        "content/mill.yaml:1:1: the file cannot be read: no such file or directory. Check the "
        "name, its ending and its folder; a file that was deleted comes back from your backup.",
    ]


@pytest.mark.parametrize(
    ("mill", "told"),
    [
        ({"language": "sv"}, "Write language: en or fr or de"),
        ({"customer_languages": ["en", "en"]}, "Write each language once"),
        ({"customer_languages": []}, "it names no language"),
        ({"customer_languages": ["sv"]}, "sv"),
    ],
)
def test_a_language_without_a_translation_is_refused(tmp_path, mill, told):
    found = problems(tmp_path, mill=mill)
    assert len(found) == 1
    assert told in found[0]


def test_an_error_in_the_mill_record_does_not_make_every_time_a_problem(tmp_path):
    found = problems(tmp_path, mill={"time_zone": "Toronto"})
    assert len(found) == 1
    assert "time_zone 'Toronto'" in found[0]


def test_an_empty_folder_is_told_what_it_needs(tmp_path):
    (only,) = refused(checked_mill, tmp_path)
    assert only == (
        f"{tmp_path}:1:1: this is not a mill's folder: it holds no folder content/. "
        "Name the folder that holds content/ and schedules/; 'kilnfolio new mill "
        "FOLDER' makes one."
    )
    (tmp_path / "content").mkdir()
    assert [line.split(":")[0] for line in refused(checked_mill, tmp_path)] == [
        "content/mill.yaml",
        "schedules/limits.yaml",
        "schedules/sources.yaml",
    ]


def test_the_helper_knows_its_nouns(tmp_path):
    with pytest.raises(AssertionError, match=r"no \{.kilns.\}"):
        minimal_mill(tmp_path, kilns={})
