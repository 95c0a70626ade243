"""Sheets whose headings do not say what the columns are: proposed, confirmed, remembered."""

import pytest
from tests.adopt.test_import_sheets import SAID, charge_of, sheet, weighings
from tests.minimal import minimal_mill

from kilnfolio.cli import main

#: Boards S1, S2, S3 weigh 2410, 2532 and 2264.5 g green; the headings are in no language.
TALL = """\
A,B,C,Q
2026-06-02,S1,2380,7
2026-06-02,S2,2500,7
2026-06-03,S1,2360,7
"""


@pytest.fixture
def mill(tmp_path):
    return minimal_mill(
        tmp_path / "mill", charge=lambda charge: (charge.pop("weighings"), charge.pop("survey"))
    )


def test_columns_are_proposed_and_nothing_is_written_until_confirmed(mill, tmp_path, capsys):
    path = sheet(tmp_path, TALL)
    more = ["--unit", "g", "--time", "07:10"]
    assert weighings(mill, path, *more) == 1
    said = capsys.readouterr().err
    assert "column A 'A' is read as a date: its cells are dates" in said
    assert "column B 'B' is read as a board: its cells are tags of the charge's boards" in said
    assert "column C 'C' is read as a mass: its numbers lie between the boards'" in said
    assert "column D 'Q' is not used" in said
    assert "nothing was written" in said
    assert "--column A=date --column B=board --column C=mass" in said
    assert charge_of(mill).weighings == []
    assert weighings(mill, path, *more, "--yes") == 0
    assert len(charge_of(mill).weighings) == 2


def test_what_was_confirmed_is_remembered_for_sheets_with_these_headings(mill, tmp_path, capsys):
    assert weighings(mill, sheet(tmp_path, TALL), "--unit", "g", "--time", "07:10", "--yes") == 0
    capsys.readouterr()
    grown = sheet(tmp_path, TALL + "2026-06-04,S3,2200,7\n")
    assert weighings(mill, grown, "--time", "07:10") == 0
    assert (
        "same headings as before, so read with the same options: --unit g --column A=date --column B=board --column C=mass"
        in capsys.readouterr().err
    )
    assert len(charge_of(mill).weighings) == 3
    # a sheet with other headings is not affected
    assert weighings(mill, sheet(tmp_path, TALL.replace("A,B,C", "A,B,D")), "--time", "8:00") in (
        1,
        2,
    )


def test_a_column_option_overrides_what_the_column_looks_like(mill, tmp_path, capsys):
    path = sheet(tmp_path, TALL)
    words = ["--unit", "g", "--time", "07:10", "--column", "C=ignore"]
    assert weighings(mill, path, *words) == 2
    said = capsys.readouterr().err
    assert "no sheet holds weighings" in said
    assert "or say what its columns hold with --column 'HEADING=ROLE'" in said


def test_in_a_terminal_the_command_asks(mill, tmp_path, capsys, monkeypatch):
    asked = []

    def answer(words):
        asked.append(words)
        return "n" if len(asked) == 1 else "y"

    monkeypatch.setattr("kilnfolio.cli.importing.asker", lambda: answer)
    path = sheet(tmp_path, "Date,Time,S1 (g)\n2026-06-02,07:10,2380\n")
    assert weighings(mill, path) == 1
    assert charge_of(mill).weighings == []
    assert weighings(mill, path) == 0
    assert asked[0] == "Write this into content/charges/2026/C1/charge.yaml? [y/N]: "
    assert len(charge_of(mill).weighings) == 1
    assert "column A 'Date' is read as a date" in capsys.readouterr().err


def test_a_survey_is_recognised_by_its_unit_or_range(mill, tmp_path, capsys):
    path = sheet(tmp_path, "No,Value\n101,12.1\n102,11.9\n103,12.4\n")
    assert main(["import", "survey", str(path), str(mill), "--charge", "C1", *SAID]) == 1
    assert "column B 'Value' is read as an MC: its numbers lie from 3 to 40" in (
        capsys.readouterr().err
    )
    two = sheet(tmp_path, "U,V\n12,12.1\n13,11.9\n14,12.4\n")  # which one, only a person can say
    assert main(["import", "survey", str(two), str(mill), "--charge", "C1", *SAID, "--yes"]) in (
        0,
        2,
    )


def test_sections_are_told_apart_by_their_loss_in_the_oven(mill, tmp_path, capsys):
    """120.7 and 121.4 g green to 100 g oven-dry is 20.7 and 21.4 %: the green mass is always
    larger."""
    rows = (
        "Board,Id,m1,m2,m3,Date,Time,By\n"
        "S9,S9a,100.0,120.7,2410,2026-06-01,06:50,PQ\n"
        "S9,S9b,100.0,121.4,,2026-06-01,06:50,PQ\n"
    )
    words = ["import", "boards", str(sheet(tmp_path, rows)), str(mill), "--charge", "C1"]
    assert main([*words, "--unit", "g"]) == 1
    said = capsys.readouterr().err
    assert "column B 'Id' is read as a section: its cells begin with the board's tag" in said
    assert "column C 'm1' is read as its oven-dry mass: each mass is below that of 'm2'" in said
    assert "column D 'm2' is read as its green mass: each mass is above that of 'm1'" in said
    assert "column E 'm3' is read as the board's mass" in said
    assert main([*words, "--unit", "g", "--yes"]) == 0
    board = charge_of(mill).boards[-1]
    assert (board.id, board.sections[0].oven_dry.value, board.sections[0].green.value) == (
        "S9",
        100.0,
        120.7,
    )
