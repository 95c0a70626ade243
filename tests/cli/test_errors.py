"""Whatever goes wrong, a command explains it and never exits 0."""

import errno
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from tests.conftest import PROJECT
from tests.minimal import minimal_mill

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


def test_the_guide_lists_the_exit_codes():
    guide = (Path(PROJECT) / "builder/kilnfolio/guide/16-look-it-up.md").read_text("utf-8")
    from kilnfolio.cli import errors

    for code in (errors.OK, errors.FINDINGS, errors.ERROR, errors.FAULT, errors.INTERRUPTED):
        assert f"| {code} |" in guide
