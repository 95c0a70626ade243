"""Style and types, as `sh builder/run lint` checks them: one command tests all."""

import subprocess
import sys
from pathlib import Path

import pytest
from tests.conftest import PROJECT

PYTHON = (sys.executable, "-m")


@pytest.mark.parametrize(
    "tool",
    [
        (*PYTHON, "ruff", "check", "."),
        (*PYTHON, "ruff", "format", "--check", "."),
        (*PYTHON, "mypy"),
        ("tests/browser/checkers/node_modules/.bin/biome", "check"),
        (str(Path(sys.executable).parent / "shellcheck"), "builder/run", ".ci/run"),
    ],
    ids=lambda tool: " ".join(part for part in tool if part not in PYTHON).rsplit("/bin/")[-1],
)
def test_nothing_is_found(tool):
    done = subprocess.run(tool, cwd=PROJECT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-500:]
