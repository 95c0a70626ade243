"""Daily commands against an interpreter that imports what every one of them needs.

Processor time of whole processes on the demonstration mill, with compiled modules at hand as in an
installed program. The ratios are printed and written; nothing here fails for being slow.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FLOOR = ("-c", "import numpy, pydantic, yaml")
TIMES = 5

#: A command and the exit codes it may have: 1 where a check has something to say.
COMMANDS = {
    "check --charge, open": (("check", "--charge", "HB-26-043"), (0, 1)),
    "check --charge, sealed": (("check", "--charge", "HB-25-041"), (0, 1)),
    "check --charge, complete and not sealed": (("check", "--charge", "HB-26-004"), (0, 1)),
}


@pytest.mark.parametrize("name", COMMANDS)
def test_daily_command(name, monkeypatch, tmp_path):
    words, codes = COMMANDS[name]
    monkeypatch.delenv("PYTHONDONTWRITEBYTECODE", raising=False)
    monkeypatch.setenv("PYTHONPYCACHEPREFIX", str(tmp_path))
    monkeypatch.chdir(ROOT)
    run = subprocess.run([sys.executable, "-m", "kilnfolio", *words], capture_output=True)
    assert run.returncode in codes, run.stderr.decode()
    ratios = []
    for _ in range(TIMES):
        floor, command = _processor(*FLOOR), _processor("-m", "kilnfolio", *words)
        ratios.append(command / floor)
    sys.stdout.write(f"\n{name}: {statistics.median(ratios):.2f} times the floor\n")


def _processor(*words: str) -> float:
    """Return the processor time of an interpreter started with these words [s]."""
    before = os.times()
    subprocess.run([sys.executable, *words], capture_output=True)
    after = os.times()
    return sum(after[2:4]) - sum(before[2:4])
