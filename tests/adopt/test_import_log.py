"""``import log`` shows and proposes; a person decides; it never guesses."""

import shlex

import numpy as np
import pytest
import yaml
from tests.adopt.own_files import write_log
from tests.conftest import PROJECT
from tests.minimal import minimal_log, minimal_mill

from kilnfolio.adopt.log_columns import look
from kilnfolio.adopt.logs import zone_of
from kilnfolio.cli import main
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.log import read_log
from kilnfolio.records.problems import RecordProblems


def columns(path, text, encoding="utf-8"):
    path.write_bytes(text.encode(encoding))
    return {column.heading: column for column in look(path, path.name).columns}


def export(headings, *series, times=None):
    """Return an export of forty rows, one every half hour."""
    times = times or [
        f"2026-06-{1 + n // 48:02} {n // 2 % 24:02}:{n % 2 * 30:02}" for n in range(40)
    ]
    rows = [",".join([time, *(f"{one[n]:g}" for one in series)]) for n, time in enumerate(times)]
    return "\n".join([headings, *rows]) + "\n"


DRY = np.linspace(45.0, 60.0, 40)
WET = DRY - np.linspace(4.0, 15.0, 40)


@pytest.mark.parametrize(
    "profile", sorted((PROJECT / "content/loggers").glob("*.yaml")), ids=lambda path: path.stem
)
def test_columns_read_with_certainty_match_the_demonstrations_profiles(profile):
    """The profiles were written with the simulation that made the exports, not by this command."""
    told = yaml.load(profile.read_text("utf-8"), yaml.CSafeLoader)
    charge = next(
        path
        for path in sorted(PROJECT.glob("content/charges/*/*/charge.yaml"))
        if f"profile: {told['id']}" in path.read_text("utf-8")
    )
    sample = look(next(charge.parent.glob("*.csv")), "x")
    assert (sample.delimiter, sample.decimal) == (told["delimiter"], told["decimal"])
    assert sample.time_heading == told["time"]["heading"]
    assert told["time"]["format"] in sample.time_formats
    assert sample.interval_minutes == told["interval_minutes"]
    meant = {column["heading"]: (column["channel"], column["unit"]) for column in told["columns"]}
    sure = {
        column.heading: (column.sure.channel, column.sure.unit)
        for column in sample.columns
        if column.sure
    }
    assert len(sure) >= 3
    assert {heading: sure[heading] for heading in sure} == {
        heading: meant[heading] for heading in sure
    }


def test_unnamed_bulbs_are_told_apart_by_physics(tmp_path):
    seen = columns(tmp_path / "a.csv", export("time,A [°C],B [°C]", DRY, WET))
    assert {guess.channel for guess in seen["A [°C]"].guesses} == {"dry-bulb"}
    assert seen["B [°C]"].guesses[0].channel == "wet-bulb"
    assert seen["B [°C]"].sure is None  # it could be another dry bulb: a person decides


def test_a_wet_bulb_above_the_dry_bulb_is_questioned(tmp_path):
    seen = columns(tmp_path / "a.csv", export("time,DB [°C],WB [°C]", WET, DRY))
    for heading in ("DB [°C]", "WB [°C]"):
        assert seen[heading].sure is None
        assert "a wet bulb is never above the dry bulb" in seen[heading].against[0]


def test_a_unit_that_fits_two_scales_stays_open(tmp_path):
    seen = columns(tmp_path / "a.csv", export("time,DB,WB", DRY + 40.0, WET + 40.0))
    assert {guess.unit for guess in seen["DB"].guesses} == {"°C", "°F"}
    assert seen["DB"].sure is None


def test_fahrenheit_is_recognised_by_its_range(tmp_path):
    seen = columns(tmp_path / "a.csv", export("time,DB,WB", DRY * 2.5 + 20.0, WET * 2.5 + 20.0))
    assert seen["DB"].sure.unit == "°F"


def test_logged_humidity_is_compared_with_the_bulbs(tmp_path):
    # Psychrometric chart figures: at 50 °C and 40 °C wet bulb RH is 55 to 56 %.
    flat = np.full(40, 50.0), np.full(40, 40.0), np.full(40, 55.5)
    path = tmp_path / "a.csv"
    path.write_text(export("time,DB [°C],WB [°C],RH [%]", *flat))
    (said,) = [line for line in look(path, "a").remarks if "differs" in line]
    assert float(said.split(" by ")[1].split()[0]) < 1.5
    path.write_text(export("time,DB [°C],WB [°C],RH [%]", flat[0], flat[1], flat[2] - 30.0))
    (said,) = [line for line in look(path, "a").remarks if "differs" in line]
    assert "check which column is which" in said


def test_missing_marks_and_impossible_numbers_are_listed(tmp_path):
    text = (
        export("time,DB [°C],WB [°C]", DRY, WET)
        .replace("2026-06-01 03:00,", "2026-06-01 03:00,-999#")
        .split("\n")
    )
    text = "\n".join("2026-06-01 03:00,-999,OL" if "#" in line else line for line in text)
    seen = columns(tmp_path / "a.csv", text)
    assert seen["DB [°C]"].marks == ["-999"]
    assert seen["WB [°C]"].marks == ["OL"]
    assert np.nanmin(seen["DB [°C]"].values) == pytest.approx(45.0)


def test_an_ambiguous_day_and_month_stay_open(tmp_path):
    times = [f"{3 + n // 20:02}/04/2026 {n % 20:02}:00" for n in range(40)]
    path = tmp_path / "a.csv"
    path.write_text(export("time,DB,WB", DRY, WET, times=times))
    assert set(look(path, "a").time_formats) == {"%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M"}


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "no columns"),
        (b"PK\x03\x04", "this is a spreadsheet file"),
        (b"only words\nand more words\n", "no columns"),
        (
            b"2026-06-01 00:00,50,40\n2026-06-01 00:30,50,40\n2026-06-01 01:00,50,40\n",
            "no headings",
        ),
        (b"a,b,c\n1,2,3\n4,5,6\n7,8,9\n", "no column of times"),
        (b"\xff\xfea", "not text"),
    ],
)
def test_a_file_that_is_no_export_is_refused_with_a_reason(tmp_path, content, said):
    path = tmp_path / "a.csv"
    path.write_bytes(content)
    with pytest.raises(RecordProblems, match=said):
        look(path, "a.csv")


# --- the command ----------------------------------------------------------------------------------


@pytest.fixture
def mill(tmp_path):
    root = minimal_mill(tmp_path / "mill", charge=lambda charge: charge.pop("log"))
    write_log(tmp_path / "own.txt")
    (tmp_path / "plain.csv").write_text(minimal_log())
    return root


def importing(mill, name, *words):
    return main(["import", "log", str(mill.parent / name), str(mill), "--kiln", "k1", *words])


def test_a_column_in_another_unit_casts_no_doubt_on_the_bulbs(tmp_path):
    rows = ["Timestamp (UTC)\tCh1 DB avg °C\tCh2 WB avg °C\tBatt V\tSpare"]
    rows += [
        f"2026-02-02T{hour:02}:00:00Z\t{45 + hour / 10}\t{41 + hour / 10}\t3.6\t7.5"
        for hour in range(24)
    ]
    (tmp_path / "log.txt").write_text("\n".join(rows) + "\n", "utf-8")
    seen = {column.heading: column for column in look(tmp_path / "log.txt", "log.txt").columns}
    assert seen["Ch1 DB avg °C"].sure.channel == "dry-bulb"
    assert seen["Ch2 WB avg °C"].sure.channel == "wet-bulb"
    assert seen["Batt V"].guesses == []  # not used
    assert not [guess for guess in seen["Spare"].guesses if guess.channel == "dry-bulb"]


def test_the_printed_command_does_the_import(mill, capsys):
    assert importing(mill, "own.txt") == 1
    said = capsys.readouterr().out.strip().split("\n")
    assert not (mill / "content/loggers/k1-export.yaml").exists()
    words = shlex.split(said[-1])
    assert words.count("…") == 1  # the clock: nothing in the file says which time it shows
    assert main([word.replace("…", "local") for word in words[1:]]) == 0
    profile = checked_mill(mill).loggers["k1-export"].record
    log = read_log(mill.parent / "own.txt", "own.txt", profile, zone_of(mill))
    assert log.rows == 289
    # the minimal mill's first step is 50 °C dry bulb, 41 °C wet bulb, entered here in °F
    assert np.median(log.channels["dry-bulb"][:100]) == pytest.approx(50.0, abs=0.1)
    assert np.nanmedian(log.channels["wet-bulb"][:100]) == pytest.approx(41.0, abs=0.1)
    assert log.left_out["cells of wet-bulb marked missing"] == 1


def test_yes_confirms_only_what_was_proposed(mill, capsys):
    assert importing(mill, "own.txt", "--yes", "--column", "Dry=dry-bulb:°F") == 2
    said = capsys.readouterr().err
    assert "--clock; --time-format; --column 'Wet=…' or --ignore 'Wet'" in said
    assert not (mill / "content/loggers/k1-export.yaml").exists()


GIVEN = ["--clock", "local", "--time-format", "%Y-%m-%d %H:%M", "--yes"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--column", "DB=dry-bulb"], "Write it as in 'T1=dry-bulb:°C'"),
        (["--column", "XX=dry-bulb:°C"], "It has DB, WB"),
        (["--ignore", "XX"], "It has DB, WB"),
        (["--column", "DB=dry-bulb:%", "--ignore", "WB"], "dry-bulb is not measured in %"),
        (["--column", "DB=dri-bulb:°C", "--ignore", "WB"], "Did you mean 'dry-bulb'?"),
        (["--column", "DB=dry-bulb:°C", "--column", "WB=wet-bulb:fraction"], "not measured in"),
    ],
)
def test_wrong_answers_are_refused_and_nothing_is_written(mill, capsys, words, said):
    assert importing(mill, "plain.csv", *words, *GIVEN) == 2
    assert said in capsys.readouterr().err
    assert not (mill / "content/loggers/k1-export.yaml").exists()


def test_an_unknown_kiln_is_refused(mill, capsys):
    assert main(["import", "log", str(mill.parent / "plain.csv"), str(mill), "--kiln", "k9"]) == 2
    assert "there is no kiln of this id" in capsys.readouterr().err


BOTH = ["--column", "DB=dry-bulb:°C", "--column", "WB=wet-bulb:°C"]


def test_the_file_is_added_to_the_charge(mill):
    assert importing(mill, "plain.csv", *BOTH, *GIVEN, "--charge", "C1") == 0
    folder = checked_mill(mill)
    assert folder.charges["C1"].record.log[0].profile == "k1-export"
    assert (folder.charge_folder("C1") / "plain.csv").read_text() == minimal_log()
    # a second time the profile is there, and reads the file
    assert importing(mill, "plain.csv") == 0


def test_a_second_file_is_added_but_not_the_same_one_twice(mill):
    assert importing(mill, "plain.csv", *BOTH, *GIVEN, "--charge", "C1") == 0
    path = mill / "content/charges/2026/C1/charge.yaml"
    before = path.read_bytes()
    assert importing(mill, "plain.csv", "--charge", "C1") == 0
    assert path.read_bytes() == before
    # the logger was started again: another file of the same charge
    (mill.parent / "later.csv").write_text(minimal_log().replace("2026-06-", "2026-07-"))
    assert importing(mill, "later.csv", "--charge", "C1") == 0
    assert [(log.file, log.profile) for log in checked_mill(mill).charges["C1"].record.log] == [
        ("plain.csv", "k1-export"),
        ("later.csv", "k1-export"),
    ]


def test_new_marks_of_a_grown_export_are_added_to_the_profile_and_can_be_undone(mill, capsys):
    """The first event and the first autumn come long after the profile was written."""
    assert importing(mill, "plain.csv", *BOTH, *GIVEN, "--charge", "C1") == 0
    profile = mill / "content/loggers/k1-export.yaml"
    profile.write_text("# ours\n" + profile.read_text("utf-8"), "utf-8")
    before = profile.read_text("utf-8")
    grown = minimal_log() + "2026-06-07 08:30,EVENT door,\n2026-06-07 09:00,55.0,n/a\n"
    (mill.parent / "plain.csv").write_text(grown)
    assert importing(mill, "plain.csv", "--charge", "C1", "--skip-rows", "EVENT") == 2
    assert profile.read_text("utf-8") == before  # 'n/a' still cannot be read as a number
    said = ["--skip-rows", "EVENT", "--missing=n/a", "--repeated-hour", "by-row-order"]
    assert importing(mill, "plain.csv", "--charge", "C1", *said) == 0
    assert "left out: 1 row the profile ignores" in capsys.readouterr().out
    told = checked_mill(mill).loggers["k1-export"].record
    assert (told.ignored_rows, told.missing, told.time.repeated_hour) == (
        ["EVENT"],
        ["n/a"],
        "by row order",
    )
    after = profile.read_text("utf-8")
    assert [line for line in before.splitlines() if line not in after.splitlines()] == []
    assert importing(mill, "plain.csv", "--charge", "C1", *said) == 0  # said once more
    assert profile.read_text("utf-8") == after
    assert main(["undo", str(mill)]) == 0  # undoes the export added to the charge
    assert main(["undo", str(mill)]) == 0
    assert profile.read_text("utf-8") == before


@pytest.mark.parametrize(
    ("option", "stands"), [(["--clock", "utc"], "local"), (["--time-format", "%d"], "%Y-%m-%d")]
)
def test_a_clock_unlike_the_profiles_is_refused(mill, capsys, option, stands):
    assert importing(mill, "plain.csv", *BOTH, *GIVEN) == 0
    assert importing(mill, "plain.csv", *option) == 2
    assert f"k1-export.yaml says {stands}" in capsys.readouterr().err


def test_a_terminal_asks_for_each_column(mill, monkeypatch, capsys):
    answers = iter(["", "wrong", "wet-bulb:°C", "local", "y"])
    asked = []

    def ask(words):
        asked.append(words)
        return next(answers)

    monkeypatch.setattr("kilnfolio.cli.importing.asker", lambda: ask)
    (mill.parent / "plain.csv").write_text(minimal_log().replace("DB,WB", "DB [°C],X [°C]"))
    assert importing(mill, "plain.csv") == 0
    assert "[dry-bulb:°C]" in asked[0]  # proposed, and taken by an empty answer
    assert "[" not in asked[1].split("'X [°C]'")[1]  # nothing sure is proposed
    assert "with it, plain.csv reads:" in capsys.readouterr().out
    profile = checked_mill(mill).loggers["k1-export"].record
    assert [column.channel for column in profile.columns] == ["dry-bulb", "wet-bulb"]
