"""Sheets imported while a charge runs: sections still in the oven, rows without readings, two-digit
years."""

import random

import pytest
from tests.adopt.test_at_the_kiln import LOG, log_mill
from tests.adopt.test_import_sheets import charge_of, sheet, weighings
from tests.minimal import DROP, FILES, minimal_mill

from kilnfolio.cli import main
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.review.kiln_state import kiln_state

RUNNING = {"ended": DROP, "unloaded": DROP, "survey": DROP, "signatures": DROP}
CUTTING = (
    "Board,Section,Green (g),Oven-dry (g),Board mass (g),Date,Cut by\n"
    "T1,T1a,120.0,{},2410,2026-06-01 06:00,R. Quill\n"
    "T1,T1b,121.0,{},,,R. Quill\n"
    "T2,T2a,119.0,{},2520,2026-06-01 06:10,R. Quill\n"
)


def bring_boards(root, tmp_path, *dry):
    path = sheet(tmp_path, CUTTING.format(*dry))
    return main(["import", "boards", str(path), str(root), "--charge", "C1"])


def sections(root):
    value = parse_yaml((root / FILES["charge"]).read_bytes(), "").value
    return {
        section["id"]: section["oven_dry"]
        for board in value["boards"]
        for section in board["sections"]
    }


def test_sections_in_the_oven_are_imported_and_filled_in_later(tmp_path, capsys):
    root = minimal_mill(tmp_path / "mill", charge=RUNNING | {"boards": DROP, "weighings": DROP})
    assert bring_boards(root, tmp_path, "100.0", "", "") == 0
    assert "section T1b of board T1 has no oven-dry mass yet" in capsys.readouterr().err
    assert sections(root) == {"T1a": "100.0 g", "T1b": "…", "T2a": "…"}
    charge = checked_mill(root).open_charges["C1"]
    assert [len(board.sections) for board in charge.so_far.record.boards] == [1, 0]
    path = root / FILES["charge"]
    path.write_text(path.read_text("utf-8") + "# the end\n", "utf-8")
    assert bring_boards(root, tmp_path, "100.0", "100.4", "") == 0
    assert sections(root) == {"T1a": "100.0 g", "T1b": "100.4 g", "T2a": "…"}
    before = path.read_bytes()
    assert bring_boards(root, tmp_path, "", "100.4", "") == 0  # an older copy of the sheet
    assert path.read_bytes() == before
    assert bring_boards(root, tmp_path, "100.0", "100.9", "99.0") == 2  # contradicts it
    assert "the record says 100.4 g, and sheet.csv says 100.9 g" in capsys.readouterr().err
    assert path.read_bytes() == before
    assert bring_boards(root, tmp_path, "100.0", "100.4", "99.0") == 0
    assert main(["undo", str(root)]) == 0
    assert path.read_bytes() == before
    assert before.endswith(b"# the end\n")


def test_a_finished_charge_takes_no_section_still_in_the_oven(tmp_path, capsys):
    root = minimal_mill(tmp_path / "mill", charge={"boards": DROP, "weighings": DROP})
    before = (root / FILES["charge"]).read_bytes()
    assert bring_boards(root, tmp_path, "100.0", "", "99.0") == 2
    assert "oven_dry" in capsys.readouterr().err
    assert (root / FILES["charge"]).read_bytes() == before


def test_rows_without_readings_are_reported(tmp_path, capsys):
    root = minimal_mill(tmp_path / "mill", charge=RUNNING | {"weighings": DROP})
    rows = (
        "Date,Time,S1 (g),S2 (g),S3 (g)\n"
        "2026-06-02,07:10,2380,2500,2240\n"
        "Checked by R. Quill,,,,\n"
        "2026-06-03,07:10,,,\n"
        "2026-06-04,07:10,2330,2450,2200\n"
        "Moved to kiln 2?,,,,\n"
    )
    assert weighings(root, sheet(tmp_path, rows)) == 0
    said = capsys.readouterr().err
    assert "rows 3 to 4 ('Checked by R. Quill', …) hold nothing that is read" in said
    assert "row 6 ('Moved to kiln 2?') holds nothing that is read" in said
    assert len(charge_of_open(root).weighings) == 2


def charge_of_open(root):
    return checked_mill(root).open_charges["C1"].so_far.record


def test_a_piece_that_could_not_be_read_is_reported(tmp_path, capsys):
    root = minimal_mill(tmp_path / "mill", charge={"survey": DROP})
    rows = "Pack,Position,MC %\nP1,door,12.2\nP1,back,\nP2,door,12.4\n"
    words = ["--at", "2026-06-07T11:00", "--by", "A. N. Other", "--method", "resistance meter"]
    path = sheet(tmp_path, rows)
    assert main(["import", "survey", str(path), str(root), "--charge", "C1", *words]) == 0
    assert "row 3 ('P1') holds nothing that is read" in capsys.readouterr().err
    assert len(charge_of(root).survey.readings) == 2


@pytest.mark.parametrize("seed", range(5))
def test_a_sheet_that_grows_in_any_order_gives_rounds_in_order_of_time(tmp_path, seed):
    """Several more rounds each time, each a row anywhere in the sheet."""
    chance = random.Random(seed)
    root = minimal_mill(tmp_path / "mill", charge=RUNNING | {"weighings": DROP})
    days = list(range(2, 22))
    chance.shuffle(days)
    shown: list[int] = []
    while days:
        for _ in range(min(chance.randint(2, 6), len(days))):
            shown.insert(chance.randint(0, len(shown)), days.pop())
        rows = "Date,Time,S1 (g),S2 (g),S3 (g)\n" + "".join(
            f"2026-06-{day:02},07:10,{2400 - 9 * day},{2530 - 9 * day},{2260 - 9 * day}\n"
            for day in shown
        )
        assert weighings(root, sheet(tmp_path, rows)) == 0
        found = [one.at.day for one in charge_of_open(root).weighings]
        assert found == sorted(shown)


def test_a_log_with_two_digit_years_is_read(tmp_path, capsys):
    root = log_mill(tmp_path)
    export = tmp_path / "short.csv"
    rows = "".join(
        f"{day:02}.06.26 {hour:02}:{minute:02},50.0,41.0\n"
        for day in (1, 2)
        for hour in range(24)
        for minute in (0, 30)
    )
    export.write_text(LOG + rows, "utf-8")
    words = ["import", "log", str(export), str(root), "--kiln", "k1", "--id", "short"]
    assert main(words) == 1
    assert "read by '%d.%m.%y %H:%M'" in capsys.readouterr().out
    # an unusual format is read if somebody gives it
    export.write_text(LOG + rows.replace(".06.26 ", " Jun 26, "), "utf-8")
    assert main(words) == 2
    capsys.readouterr()
    export.write_text(LOG + rows.replace(".06.26 ", "-Jun-26 "), "utf-8")
    assert main([*words, "--time-format", "%d-%b-%y %H:%M"]) == 1
    assert "read by '%d-%b-%y %H:%M'" in capsys.readouterr().out
    assert main([*words, "--time-format", "%d/%m/%Y %H:%M"]) == 2
    assert "no column of times written %d/%m/%Y %H:%M" in capsys.readouterr().err


def test_air_dried_timber_starts_at_the_step_for_its_mc(tmp_path):
    """No step is on record yet: 12.6 % is below 15.2 %, where step 3 of the schedule begins."""
    steps = [
        {"dry_bulb": "46 °C", "depression": "6 K", "until_mc": "20 %"},
        {"dry_bulb": "50 °C", "depression": "9 K", "until_mc": "15.2 %"},
        {"dry_bulb": "55 °C", "depression": "13 K", "until_mc": "final"},
    ]
    root = minimal_mill(
        tmp_path / "mill", charge=RUNNING | {"step_changes": DROP}, schedule={"steps": steps}
    )
    folder = checked_mill(root)
    state = kiln_state(folder, folder.open_charges["C1"].so_far.record)
    assert (state.step, state.next_due.label, state.is_due) == (None, "step 3", True)
