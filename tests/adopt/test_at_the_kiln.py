"""Slips of a first week at a new mill: nothing is lost, miscounted or reordered."""

import os
import re

import pytest
from tests.adopt.own_files import MILL
from tests.adopt.test_import_sheets import SAID, charge_of, sheet, weighings
from tests.minimal import FILES, minimal_mill

from kilnfolio.cli import main
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.sheet_words import is_total, role_of
from kilnfolio.records.yaml_source import parse_yaml


@pytest.fixture
def mill(tmp_path):
    return minimal_mill(
        tmp_path / "mill", charge=lambda charge: (charge.pop("weighings"), charge.pop("survey"))
    )


@pytest.mark.parametrize("label", ["Average", "Medel", "Mittelwert", "Moyenne", "Summa", "Ø"])
def test_the_average_row_of_a_survey_is_not_read_as_a_piece(mill, tmp_path, capsys, label):
    rows = "Pack,Position,MC %\nP1,door,12.2\nP1,back,12.4\n" + f"{label},,12.3\n"
    assert (
        main(["import", "survey", str(sheet(tmp_path, rows)), str(mill), "--charge", "C1", *SAID])
        == 0
    )
    assert [one.mc.value for one in charge_of(mill).survey.readings] == [12.2, 12.4]
    assert f"row 4 ('{label}') is a total and is left out" in capsys.readouterr().err


def test_the_command_asks_about_an_unlabelled_sum(mill, tmp_path, capsys):
    rows = "Pack,Position,MC %\nP1,door,12.2\nP1,back,12.4\nP2,door,12.0\n,,12.2\n"
    assert (
        main(["import", "survey", str(sheet(tmp_path, rows)), str(mill), "--charge", "C1", *SAID])
        == 2
    )
    assert (
        "C5 '12.2': it is the mean of the rows above and names no pack" in capsys.readouterr().err
    )


def test_totals_below_weighings_do_not_stop_the_sheet(mill, tmp_path, capsys):
    rows = "Date,Time,S1 (g),S2 (g),S3 (g)\n2026-06-02,07:10,2380,2500,2240\nMean,,2380,2500,2240\n"
    assert weighings(mill, sheet(tmp_path, rows)) == 0
    assert len(charge_of(mill).weighings) == 1
    assert "row 3 ('Mean') is a total and is left out" in capsys.readouterr().err


def test_every_unused_column_is_reported(mill, tmp_path, capsys):
    rows = "Day no,Pack,Position,MC %,Remark\n1,P1,door,12.2,\n2,P1,back,12.4,wet spot\n"
    assert (
        main(["import", "survey", str(sheet(tmp_path, rows)), str(mill), "--charge", "C1", *SAID])
        == 0
    )
    said = capsys.readouterr().err
    assert "column A 'Day no' is not used (2 cells)" in said
    assert "column E 'Remark' is not used (1 cell)" in said
    assert "'Pack'" not in said
    assert [one.position for one in charge_of(mill).survey.readings] == ["door", "back"]


@pytest.mark.parametrize(
    ("heading", "role"),
    [
        ("Paket nr", "pack"),
        ("Plats", "position"),
        ("Fuktkvot %", "mc"),
        ("Holzfeuchte", "mc"),
        ("Planche", "board"),
        ("Masse anhydre", "oven_dry"),
        ("Darrgewicht", "oven_dry"),
        ("Torrvikt", "oven_dry"),
        ("Råvikt", "green"),
        ("Uhrzeit", "time"),
        ("Datum", "at"),
        ("Vikt", "mass"),
        ("Poids", "mass"),
        ("Kuivapaino", "oven_dry"),
        ("Bräda", "board"),
        ("Weighed by", "by"),
        ("Bundle", "pack"),
        ("Éprouvette", "section"),
    ],
)
def test_headings_are_read_in_the_languages_of_mills(heading, role):
    assert role_of(heading, set()) == role


@pytest.mark.parametrize("label", ["S1", "P1", "door", "Sumach", "Medlar", "26-014", "Mean Creek"])
def test_only_labels_of_totals_are_taken_for_totals(label):
    # a name like this is reported, and can be corrected
    assert is_total(label) == (label == "Mean Creek")


def test_a_swedish_survey_keeps_its_wet_spots(mill, tmp_path):
    rows = "Paket;Plats;Fuktkvot %\nP1;dörr;12,2\nP1;mitten;12,4\nMedel;;12,3\n"
    assert (
        main(
            [
                "import",
                "survey",
                str(sheet(tmp_path, rows)),
                str(mill),
                "--charge",
                "C1",
                "--decimal",
                ",",
                *SAID,
            ]
        )
        == 0
    )
    assert [(one.pack, one.position) for one in charge_of(mill).survey.readings] == [
        ("P1", "dörr"),
        ("P1", "mitten"),
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            'masses: {"1": 8,49 lb}',
            "f:1:17: '8,49 lb': between braces a comma ends a value, so "
            "decimals have a point. Write '8.49 lb'.",
        ),
        (
            "masses: {1:8.49 lb}",
            "f:1:11: no space after the ':': YAML takes '1:8.49 lb' for a name. "
            "Write '1: 8.49 lb' with a space.",
        ),
        ("masses:\n  1:8.49 lb\n  2:9.1 lb", "f:2:4: no space after the ':'"),
        ("masses:\n  1: 8.49 lb\n  2:9.1 lb\n  3: 4 lb", "f:3:4: no space after the ':'"),
        ("masses:\n  S1:8.49 kg\n  S2: 9 kg", "f:2:5: no space after the ':'"),
        ("note: {a}", "f:1:8: 'a' has no value"),
        (
            "masses: {S1:8,49 kg}",
            "f:1:12: no space after the ':', and a comma before the decimals: YAML takes 'S1:8' for "
            "a name, and the comma for the end of its value. Write 'S1: 8.49 kg'.",
        ),
        (
            "masses:\n  S1:8,49 kg\n  S2: 9 kg",
            "f:2:5: no space after the ':': YAML takes the whole line for text. Write 'key: value' "
            "with a space, and a point before the decimals.",
        ),
    ],
)
def test_a_wrong_comma_or_colon_is_reported_once(text, says):
    with pytest.raises(RecordProblems) as caught:
        parse_yaml(text.encode(), "f")
    assert [str(one).startswith(says) for one in caught.value.problems] == [True]


@pytest.mark.parametrize(
    "text", ["at: 07:10", "note: at 07:10 kg", "a: {b: , c: 1}", "note:\n  at 7:10 g 2"]
)
def test_times_of_day_and_empty_values_are_not_reported_as_slips(text):
    parse_yaml(text.encode(), "f")


def test_check_of_a_new_mill_says_that_nothing_is_on_record(tmp_path, capsys):
    assert main(["new", "mill", str(tmp_path / "m"), *MILL]) == 0
    capsys.readouterr()
    assert main(["check", str(tmp_path / "m")]) == 0
    assert "all records can be read, but there is no charge yet" in capsys.readouterr().out


def test_commands_work_from_a_folder_inside_the_mill(mill, tmp_path, monkeypatch, capsys):
    sheet(tmp_path, "Date,Time,S1 (g)\n2026-06-02,07:10,2380\n")
    monkeypatch.chdir(mill / "content/charges/2026/C1")
    path = os.path.relpath(tmp_path / "sheet.csv")
    assert main(["import", "weighings", path, "--charge", "C1"]) == 0
    assert len(charge_of(mill).weighings) == 1
    assert main(["check", "--charge", "C1"]) in (0, 1)
    assert "C1:" in capsys.readouterr().out


def test_sections_still_in_the_oven_do_not_stop_the_sheet(tmp_path):
    root = minimal_mill(
        tmp_path / "mill",
        charge=lambda charge: [
            charge.pop(key) for key in ("ended", "unloaded", "survey", "weighings")
        ],
    )
    path = root / FILES["charge"]
    text = path.read_text("utf-8")
    first, second = text.index("oven_dry: 100 g"), text.rindex("oven_dry: 100 g")
    text = (
        text[:first]
        + "oven_dry: …"
        + text[first + 15 : second]
        + "oven_dry: …"
        + text[second + 15 :]
    )
    path.write_text(text, "utf-8")
    charge = checked_mill(root).open_charges["C1"]
    assert charge.so_far is not None
    assert [len(board.sections) for board in charge.so_far.record.boards] == [1, 2, 1]
    assert sum("oven_dry" in problem.what for problem in charge.to_fill) == 2
    out = tmp_path / "sheet.pdf"
    assert main(["sheet", "C1", str(root), "--out", str(out)]) == 0
    assert out.stat().st_size > 1000


LOG = "time,DB,WB\n"


def rows_of(day, hours, dry=50.0):
    return "".join(
        f"2026-06-{day:02} {hour:02}:{minute:02},{dry},41.0\n"
        for hour in hours
        for minute in (0, 30)
    )


def log_mill(tmp_path):
    return minimal_mill(
        tmp_path / "mill", charge=lambda charge: (charge.pop("log"), charge.pop("survey"))
    )


def bring_log(root, *paths):
    return main(
        [
            "import",
            "log",
            *map(str, paths),
            str(root),
            "--kiln",
            "k1",
            "--id",
            "two-bulbs",
            "--charge",
            "C1",
        ]
    )


def test_an_export_that_has_grown_replaces_the_shorter_one(tmp_path, capsys):
    root = log_mill(tmp_path)
    export = tmp_path / "export.csv"
    export.write_text(LOG + rows_of(1, range(8, 24)), "utf-8")
    assert bring_log(root, export) == 0
    export.write_text(LOG + rows_of(1, range(8, 24)) + rows_of(2, range(3)), "utf-8")
    assert bring_log(root, export) == 0
    assert "export.csv has grown by 6 rows" in capsys.readouterr().out
    assert [log.file for log in charge_of(root).log] == ["export.csv"]
    kept = (root / FILES["charge"]).with_name("export.csv").read_bytes()
    assert kept == export.read_bytes()
    # the logger's memory holds a day and a half
    export.write_text(LOG + rows_of(2, range(1, 12)), "utf-8")
    assert bring_log(root, export) == 0
    assert [log.file for log in charge_of(root).log] == ["export.csv", "export-2.csv"]
    assert bring_log(root, export) == 0
    assert "nothing was written" in capsys.readouterr().out
    export.write_text(LOG + rows_of(1, range(8, 12), dry=49.0), "utf-8")
    assert bring_log(root, export) == 2
    assert (
        "at 2026-06-01 08:00 it says dry-bulb 50.0; this file says 49.0" in capsys.readouterr().err
    )


@pytest.mark.parametrize("way", ["folder", "pattern", "names"])
def test_a_logger_that_starts_a_file_each_midnight_is_read(tmp_path, way):
    root = log_mill(tmp_path)
    folder = tmp_path / "logs"
    folder.mkdir()
    for day in (1, 2, 3):
        (folder / f"k1-{day}.csv").write_text(LOG + rows_of(day, range(24)), "utf-8")
    named = {
        "folder": [folder],
        "pattern": [folder / "k1-*.csv"],
        "names": sorted(folder.iterdir()),
    }[way]
    assert bring_log(root, *named) == 0
    assert [log.file for log in charge_of(root).log] == ["k1-1.csv", "k1-2.csv", "k1-3.csv"]


def test_event_rows_and_the_repeated_hour_have_options(tmp_path, capsys):
    root = log_mill(tmp_path)
    export = tmp_path / "events.csv"
    export.write_text(
        LOG
        + rows_of(1, range(8, 20))
        + "2026-06-01 20:00,EVENT door open,\n"
        + rows_of(1, range(21, 24)),
        "utf-8",
    )
    words = ["import", "log", str(export), str(root), "--kiln", "k1", "--id", "events"]
    assert main(words) == 1
    assert "leave them out with --skip-rows 'EVENT'" in capsys.readouterr().out
    assert (
        main(
            [
                *words,
                "--charge",
                "C1",
                "--clock",
                "local",
                "--repeated-hour",
                "by-row-order",
                "--skip-rows",
                "EVENT",
                "--time-format",
                "%Y-%m-%d %H:%M",
                "--column",
                "DB=dry-bulb:°C",
                "--column",
                "WB=wet-bulb:°C",
                "--yes",
            ]
        )
        == 0
    )
    told = capsys.readouterr().out
    assert "left out: 1 row the profile ignores" in told
    assert re.search(r"  dry-bulb: [\d.]+ to [\d.]+ °C, median [\d.]+\n", told)
    profile = checked_mill(root).loggers["events"].record
    assert profile.time.repeated_hour == "by row order"
    assert profile.ignored_rows == ["EVENT"]


def test_an_option_says_what_a_column_is(mill, tmp_path, capsys):
    rows = "When was it,Kl.,Left (g),Right (g),S3\n2026-06-02,07:10,2380,2500,wet\n"
    words = [
        "--column",
        "Left (g)=board:S1",
        "--column",
        "Right (g)=board:S2",
        "--column",
        "S3=ignore",
    ]
    assert weighings(mill, sheet(tmp_path, rows), *words, "--column", "Left=nothing") == 2
    assert "ROLE is one of oven-dry" in capsys.readouterr().err
    assert weighings(mill, sheet(tmp_path, rows), *words) == 0
    assert {tag: mass.value for tag, mass in charge_of(mill).weighings[0].masses.items()} == {
        "S1": 2380.0,
        "S2": 2500.0,
    }
    assert "column E 'S3' is not used (1 cell)" in capsys.readouterr().err


def test_a_spreadsheets_day_numbers_are_read_as_column_headings(mill, tmp_path):
    # 46175 and 46176 are 2 and 3 June 2026: days since 1899-12-30
    rows = "Board,Start mass,46175,46176\nS1,2400,2380,2370\nS2,2520,2500,\n"
    assert weighings(mill, sheet(tmp_path, rows), "--unit", "g", "--time", "07:10") == 0
    assert [f"{one.at:%m-%d}" for one in charge_of(mill).weighings] == ["06-02", "06-03"]
