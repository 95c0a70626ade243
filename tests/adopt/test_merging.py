"""Sheets imported into a charge that already has some: added in order of time, nothing overwritten."""

import shlex

import pytest
from tests.adopt.own_files import write_workbook
from tests.adopt.test_import_sheets import SAID, charge_of, sheet, weighings
from tests.minimal import FILES, minimal_mill

from kilnfolio.cli import main

HEAD = "Date,Time,S1 (g),S2 (g),S3 (g)\n"
#: Rounds 0, 1 and 2 of the minimal mill's record, on 1 to 3 June at 08:00.
FIRST = "2026-06-01,08:00,2410,2532,2265\n"


@pytest.fixture
def mill(tmp_path):
    return minimal_mill(tmp_path / "mill")


def text_of(mill):
    return (mill / FILES["charge"]).read_text("utf-8")


def test_importing_the_same_sheet_twice_changes_nothing(mill, tmp_path, capsys):
    before = text_of(mill)
    assert weighings(mill, sheet(tmp_path, HEAD + FIRST)) == 0
    said = capsys.readouterr()
    assert said.out == ""
    assert "3 values are already in content/charges/2026/C1/charge.yaml" in said.err
    assert "nothing was written" in said.err
    assert text_of(mill) == before


@pytest.mark.parametrize(
    ("day", "place"), [("2026-05-31", 0), ("2026-06-03", 3), ("2026-06-09", 7)]
)
def test_a_new_round_is_inserted_in_order_of_time(mill, tmp_path, day, place):
    before = [weighing.at for weighing in charge_of(mill).weighings]
    comment = text_of(mill).replace("weighings:\n", "weighings:\n# by the door scale\n")
    (mill / FILES["charge"]).write_text(comment, "utf-8")
    assert weighings(mill, sheet(tmp_path, f"{HEAD}{FIRST}{day},20:00,2300,,2200\n")) == 0
    after = charge_of(mill).weighings
    assert [one.at for one in after if one.at in before] == before
    assert after[place].masses.keys() == {"S1", "S3"}
    assert after[place].masses["S1"].value == 2300.0
    assert "# by the door scale" in text_of(mill)
    assert len(text_of(mill).splitlines()) == len(comment.splitlines()) + 2


@pytest.mark.parametrize("flow", [False, True])
def test_a_board_missing_from_a_round_is_added_to_it(mill, tmp_path, capsys, flow):
    text = text_of(mill)
    block = "  masses:\n    S1: 2410 g\n    S2: 2532 g\n    S3: 2265 g\n"
    assert block in text
    less = (
        "  masses: {S1: 2410 g, S2: 2532 g}  # third not found\n"
        if flow
        else block.replace("    S3: 2265 g\n", "")
    )
    (mill / FILES["charge"]).write_text(text.replace(block, less), "utf-8")
    assert weighings(mill, sheet(tmp_path, HEAD + FIRST)) == 0
    assert charge_of(mill).weighings[0].masses["S3"].value == 2265.0
    assert "masses: {S3: 2265 g}" in capsys.readouterr().out
    assert ("# third not found" in text_of(mill)) == flow


def test_the_same_mass_in_another_unit_is_the_same(mill, tmp_path):
    text = FIRST.replace("2410", "2.41 kg")
    before = text_of(mill)
    assert weighings(mill, sheet(tmp_path, HEAD + text)) == 0
    assert text_of(mill) == before


def test_a_difference_is_reported_with_both_values(mill, tmp_path, capsys):
    before = text_of(mill)
    rows = FIRST.replace("2410", "2401") + "2026-06-09,08:00,2300,2390,2200\n"
    assert weighings(mill, sheet(tmp_path, HEAD + rows)) == 2
    said = capsys.readouterr().err
    line = before.split("\n").index("    S1: 2410 g") + 1
    assert (
        f"charge.yaml:{line}:9: board S1 at 2026-06-01 08:00: the record says 2410 g, and "
        "sheet.csv says 2401 g. If the sheet is right: kilnfolio correct C1 " in said
    )
    assert text_of(mill) == before  # the new round is not written either


def test_the_proposed_correction_satisfies_the_checks(mill, tmp_path, capsys):
    assert weighings(mill, sheet(tmp_path, HEAD + FIRST.replace("2410", "2401"))) == 2
    told = capsys.readouterr().err.split("If the sheet is right: kilnfolio ")[1].split(";")[0]
    words = shlex.split(told.replace("…", "misread"))
    assert main([*words, "--folder", str(mill), "--by", "A. N. Other", "--yes"]) == 0
    assert "    S1: 2401 g" in text_of(mill)
    capsys.readouterr()
    assert main(["check", str(mill), "--all"]) == 1
    assert "pass           corrections-kept" in capsys.readouterr().out


def test_a_dry_run_shows_only_what_is_new(mill, tmp_path, capsys):
    before = text_of(mill)
    rows = HEAD + FIRST + "2026-06-09,08:00,2300,2390,2200\n"
    assert weighings(mill, sheet(tmp_path, rows), "--dry-run") == 0
    assert capsys.readouterr().out == (
        "weighings:\n  - at: 2026-06-09T08:00\n    masses: {S1: 2300 g, S2: 2390 g, S3: 2200 g}\n"
    )
    assert text_of(mill) == before


def test_a_list_in_one_line_is_added_to_as_well(mill, tmp_path):
    text = text_of(mill)
    a, b = text.index("weighings:"), text.index("log:\n")
    (mill / FILES["charge"]).write_text(
        text[:a] + "weighings: [{at: 2026-06-01T08:00, masses: {S1: 2410 g}}]\n" + text[b:], "utf-8"
    )
    assert weighings(mill, sheet(tmp_path, HEAD + "2026-06-09,08:00,2300,2390,2200\n")) == 0
    assert [one.at.day for one in charge_of(mill).weighings] == [1, 9]


@pytest.mark.parametrize("days", [("08", "09", "10"), ("10", "08", "09"), ("10", "09", "08")])
def test_the_rounds_of_a_grown_sheet_are_in_order_of_time(mill, tmp_path, days):
    rows = "".join(f"2026-06-{day},08:00,23{20 - int(day)}0,,\n" for day in days)
    assert weighings(mill, sheet(tmp_path, HEAD + FIRST + rows)) == 0
    moments = [one.at for one in charge_of(mill).weighings]
    assert moments == sorted(moments)
    assert [at.day for at in moments[-3:]] == [8, 9, 10]
    assert main(["check", str(mill)]) in (0, 1)  # 2: the record could not be read


def test_rounds_are_added_between_and_after_those_on_record(mill, tmp_path):
    rows = "2026-06-02,20:00,2380,,\n2026-06-08,08:00,2290,,\n2026-06-09,08:00,2280,,\n"
    assert weighings(mill, sheet(tmp_path, HEAD + FIRST + rows)) == 0
    assert [f"{one.at:%d %H}" for one in charge_of(mill).weighings] == [
        "01 08",
        "02 08",
        "02 20",
        "03 08",
        "04 08",
        "05 08",
        "06 08",
        "07 08",
        "08 08",
        "09 08",
    ]


def test_boards_are_matched_by_tag_and_new_ones_added(mill, tmp_path, capsys):
    book = write_workbook(tmp_path / "own.xlsx")
    words = ["import", "boards", str(book), str(mill), "--charge", "C1"]
    assert main(words) == 0  # the same boards, in kg
    assert "nothing was written" in capsys.readouterr().err
    rows = (
        "Board,Section,Green (g),Oven-dry (g),Board mass (g),Date,By\n"
        "S4,S4a,120,100,2000,2026-06-01 06:00,A. N. Other\n"
    )
    words[2] = str(sheet(tmp_path, rows))
    assert main(words) == 0
    assert [board.id for board in charge_of(mill).boards] == ["S1", "S2", "S3", "S4"]
    words[2] = str(sheet(tmp_path, rows.replace("120,100", "121,100").replace("S4a", "S4b")))
    assert main(words) == 2
    assert (
        "section S4b of board S4: sheet.csv has it, and the record does not"
        in capsys.readouterr().err
    )


def test_further_readings_are_added_to_a_survey(mill, tmp_path, capsys):
    survey = charge_of(mill).survey
    rows = "Pack,Position,MC %\n" + "".join(
        f"{one.pack},{one.position},{one.mc.value}\n" for one in survey.readings
    )
    words = [
        "import",
        "survey",
        str(sheet(tmp_path, rows + "P1,door,12.2\n")),
        str(mill),
        "--charge",
        "C1",
        *SAID,
    ]
    assert main(words) == 0
    assert len(charge_of(mill).survey.readings) == len(survey.readings) + 1
    sheet(tmp_path, rows.replace("12.4", "14.2", 1))
    assert main(words) == 2
    assert (
        "mc of reading 2: the record says 12.4 %, and sheet.csv says 14.2 %"
        in capsys.readouterr().err
    )
