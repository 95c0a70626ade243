"""Whatever goes wrong, a command explains it and never exits 0."""

import errno
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from tests.adopt.test_entries import RUNNING
from tests.conftest import PROJECT
from tests.minimal import FILES, minimal_mill
from tests.rows import each_of

from kilnfolio import __version__
from kilnfolio.cli import COMMANDS, command_module, main


def fails(error):
    def run(_):
        raise error

    return run


@pytest.mark.parametrize("command", [*COMMANDS])
def test_an_internal_error_is_admitted_and_reported(command, monkeypatch, capsys, tmp_path):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    module = command_module(command)
    monkeypatch.setattr(module, "add_arguments", lambda _: None)
    monkeypatch.setattr(module, "run", fails(ZeroDivisionError("float division\nby zero")))
    # 70 is EX_SOFTWARE, "internal software error", of BSD's sysexits.h
    assert main([command]) == os.EX_SOFTWARE == 70
    said = capsys.readouterr().err
    assert said.startswith(
        "kilnfolio: this is our fault, not yours: ZeroDivisionError: float "
        "division by zero (cli/__init__.py:"
    )
    assert "Traceback" not in said
    (report,) = tmp_path.glob("kilnfolio-fault-*.txt")
    assert f"please send {report} to whoever looks after kilnfolio for you" in said
    assert report.stat().st_mode & 0o077 == 0  # it can quote a record: for this person only
    text = report.read_text("utf-8")
    assert f"kilnfolio {__version__}\nPython 3." in text
    assert f"command: kilnfolio {command}\n" in text
    assert "Traceback (most recent call last)" in text


def test_an_internal_error_is_admitted_even_if_no_report_can_be_written(monkeypatch, capsys):
    monkeypatch.setattr(tempfile, "mkstemp", lambda **_: fails(OSError(errno.ENOSPC, "full"))(0))
    monkeypatch.setattr("kilnfolio.cli.check.run", fails(KeyError("hour")))
    assert main(["check"]) == 70
    assert (
        f"please send these lines to whoever looks after kilnfolio for you, with your command "
        f"and the version, {__version__}\n" in capsys.readouterr().err
    )


def test_running_out_of_memory_is_no_internal_error(monkeypatch, capsys):
    monkeypatch.setattr("kilnfolio.cli.build.run", fails(MemoryError()))
    assert main(["build"]) == 2
    assert "build --workers 1" in capsys.readouterr().err


def test_characters_a_terminal_lacks_are_escaped(tmp_path):
    root = minimal_mill(tmp_path / "mill")
    charge = next(root.glob("content/charges/*/C1/charge.yaml"))
    charge.write_text(
        charge.read_text("utf-8").replace("target_mc: 12 %", "target_mc: 12 m³"), "utf-8"
    )
    ran = subprocess.run(
        [sys.executable, "-m", "kilnfolio", "check", str(root)],
        text=True,
        capture_output=True,
        check=False,
        encoding="ascii",
        env={"PYTHONPATH": str(PROJECT / "builder"), "PYTHONIOENCODING": "ascii"},
    )
    assert ran.returncode == 2
    assert "12 m\\xb3" in ran.stderr
    assert "Traceback" not in ran.stderr


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        ("limits", ("try-limit", "stated-mc=0.5", "--folder")),
        ("limits", ("sheet", "C1")),
        ("log", ("forecast", "C1")),
        ("log", ("compare", "C1", "C1", "--folder")),
        ("log", ("answer", "C1", "stated-mc/S1", "Read twice.", "--by", "R. Quill", "--folder")),
    ],
)
def test_a_file_that_a_command_cannot_read_is_named(broken, words, tmp_path, capsys):
    root = minimal_mill(tmp_path / "mill", **{broken: "format: ["})
    assert main([*words, str(root)]) == 2
    said = capsys.readouterr().err
    assert f"{FILES[broken]}:1" in said
    assert said.endswith("to mend; nothing was written\n")


def _set(*path_and_value):
    *path, last, value = path_and_value

    def change(record):
        for key in path:
            record = record[key]
        record[last] = value

    return change


#: By record: a slip of the pen, and the line that is named.
SLIPS = {
    "no thickness": ("charge", _set("stock", 0, "thickness", "0/4"), "'0/4'"),
    "no volume": ("charge", _set("stock", 0, "volume", "0 m³"), "'0 m³'"),
    "litres for m³": ("charge", _set("stock", 0, "volume", "40000 m³"), "'40000 m³'"),
    "no mass": ("charge", _set("boards", 0, "green_mass", "0 g"), "'0 g'"),
    "°F for °C": ("charge", _set("survey", "wood_temperature", "200 °C"), "'200 °C'"),
    "another decade": (
        "charge",
        _set("weighings", 6, "at", "2036-06-07T08:00"),
        "more than a year",
    ),
    "another decade, cut": (
        "charge",
        _set("boards", 1, "weighed_at", "2016-06-01T06:00"),
        "last weighed on 2016-06-01",
    ),
    "no decimal point": (
        "lot",
        _set("storage", {"temperature": "18 °C", "relative_humidity": "450 %"}),
        "'450 %'",
    ),
    "a lot as thick as it is wide": ("lot", _set("thickness", "2 m"), "'2 m'"),
    "K for °F": ("schedule", _set("steps", 0, "depression", "45 K"), "step 1 of 'red-oak-4-4'"),
    "air beyond saturation": (
        "schedule",
        _set("conditioning", {"dry_bulb": "80 °C", "emc": "28 %"}),
        "conditioning of 'red-oak-4-4'",
    ),
    "a sign": (
        "schedule",
        _set("modifications", [{"what": "w", "why": "y", "depression_change": "40 K"}]),
        "modifications of 'red-oak-4-4'",
    ),
}


@each_of(SLIPS)
def test_a_figure_that_cannot_be_is_refused_with_its_line(slip, tmp_path, capsys):
    noun, change, named = SLIPS[slip]
    root = minimal_mill(tmp_path / slip.replace("/", ""), **{noun: change})
    assert main(["check", str(root)]) == 2
    said = capsys.readouterr().err
    assert f"{FILES[noun]}:" in said
    assert named in said


#: How a stage was set to air that cannot be: every later command about the charge then failed.
HOT = ("--dry-bulb", "80 °C", "--emc", "28 %", "--at", "2026-06-07T12:00")


@pytest.mark.parametrize("stage", ["equalize", "condition"])
def test_a_stage_of_impossible_air_is_not_written(stage, tmp_path, capsys):
    root = minimal_mill(tmp_path / "mill", charge=RUNNING)
    raw = (root / FILES["charge"]).read_bytes()
    words = (stage, "C1", "begin", *HOT, "--by", "R. Quill", "--yes", "--folder", str(root))
    assert main([*words]) == 2
    assert "no air has a dry bulb of 80 °C with EMC 28 %" in capsys.readouterr().err
    assert (root / FILES["charge"]).read_bytes() == raw


def test_a_round_names_the_line_of_a_schedule_of_impossible_air(tmp_path, capsys):
    slip = _set("steps", 1, "depression", "52 K")
    root = minimal_mill(tmp_path / "mill", charge=RUNNING, schedule=slip)
    more = ("--at", "2026-06-07T12:00", "--by", "R. Quill", "--yes", "--folder", str(root))
    assert main(["weigh", "C1", "S1=2230", *more]) == 2
    assert f"{FILES['schedule']}:" in capsys.readouterr().err


def test_a_sheet_leaves_out_a_stage_that_hot_air_cannot_hold(tmp_path):
    root = minimal_mill(tmp_path / "mill", charge={"target_mc": "24 %"})
    assert main(["sheet", "C1", str(root), "--out", str(tmp_path / "sheet.pdf")]) == 0


def test_a_record_begins_in_a_mill_whose_time_zone_is_not_written_yet(tmp_path):
    root = minimal_mill(tmp_path / "mill", mill={"time_zone": "…"})
    assert main(["new", "lot", "L2", str(root), "--charge", "C1"]) == 0
    assert (root / "content/lots/L2.yaml").is_file()


def test_sections_cut_later_that_no_wood_can_have_are_told(tmp_path, capsys):
    again = {
        "at": "2026-06-05T10:00",
        "by": "A. N. Other",
        "board_mass": "2200 g",
        "sections": [{"id": "S1c", "green": "11 g", "oven_dry": "100 g"}],
    }
    root = minimal_mill(tmp_path / "mill", charge=_set("boards", 0, "resections", [again]))
    assert main(["check", str(root)]) == 1
    assert "sections say -89.0 %, which no wood can have." in capsys.readouterr().out


def test_a_file_whose_name_is_not_utf_8_stops_no_build(tmp_path, capsys):
    """A photograph from an older disk beside a charge; a record so named is told."""
    root = minimal_mill(tmp_path / "mill")
    photo = os.fsencode((root / FILES["charge"]).parent) + b"/caf\xe9.jpg"
    Path(os.fsdecode(photo)).write_bytes(b"")
    build = ["build", str(root), "--without-pdf", "--workers", "1"]
    assert main(build) == 0
    lot = Path(os.fsdecode(os.fsencode(root / "content/lots") + b"/caf\xe9.yaml"))
    lot.write_bytes((root / FILES["lot"]).read_bytes())
    assert main(build) == 2
    assert "content/lots/caf\\xe9.yaml:1:1: " in capsys.readouterr().err


def test_the_guide_lists_the_exit_codes():
    guide = (Path(PROJECT) / "builder/kilnfolio/guide/16-look-it-up.md").read_text("utf-8")
    from kilnfolio.cli import errors

    for code in (errors.OK, errors.FINDINGS, errors.ERROR, errors.FAULT, errors.INTERRUPTED):
        assert f"| {code} |" in guide
