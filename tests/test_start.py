"""Commands start at once: the heavy libraries are imported where they are used."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from kilnfolio.cli import COMMANDS, command_module, main

HEAVY = {
    "cryptography",
    "jinja2",
    "markdown",
    "numpy",
    "openpyxl",
    "pandas",
    "pydantic",
    "scipy",
    "weasyprint",
    "yaml",
    "zxingcpp",
}

START = """
import sys
from kilnfolio.cli import main
try:
    main([sys.argv[1]])
except SystemExit:
    print(*sys.modules, sep="\\n", file=sys.stderr)
"""


@pytest.mark.parametrize("option", ["--help", "--version"])
def test_help_imports_no_heavy_library_and_no_command(option):
    run = subprocess.run([sys.executable, "-c", START, option], capture_output=True, text=True)
    loaded = set(run.stderr.split())
    assert {"argparse", "kilnfolio.cli"} <= loaded, run.stderr
    assert not {name.partition(".")[0] for name in loaded} & HEAVY
    assert not {command_module(name).__name__ for name in COMMANDS} & loaded


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="only Linux lists threads")
def test_linear_algebra_runs_in_the_thread_that_asks():
    program = """
import pathlib, sys
from kilnfolio.cli import run
sys.argv[1:] = ["--version"]
try:
    run()
except SystemExit:
    import numpy
    numpy.eye(300) @ numpy.eye(300)
    print(len([*pathlib.Path("/proc/self/task").iterdir()]))
"""
    env = {name: value for name, value in os.environ.items() if "NUM_THREADS" not in name}
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=env)
    assert ran.stdout.split()[-1:] == ["1"], ran.stderr


def help_of(capsys, *words):
    with pytest.raises(SystemExit) as ended:
        main([*words, "--help"])
    assert ended.value.code == 0
    return capsys.readouterr().out


def test_every_command_describes_itself_with_an_example(capsys):
    listed = help_of(capsys)
    for command in COMMANDS:
        assert re.search(rf"^    {command}\s", listed, re.MULTILINE)
        assert re.search(rf"example: kilnfolio {command}\b", help_of(capsys, command)), command
