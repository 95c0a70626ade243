"""Style and types, as `sh builder/run lint` checks them: one command tests all."""

import subprocess
import sys

import pytest
from tests.conftest import PROJECT


@pytest.mark.parametrize(
    "tool", [("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy",)], ids=" ".join
)
def test_nothing_is_found(tool):
    done = subprocess.run(
        [sys.executable, "-m", *tool], cwd=PROJECT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-500:]
