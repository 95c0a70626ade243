"""Daily commands against an interpreter that imports what every one of them needs.

Processor time of whole processes on the demonstration mill, with compiled modules at hand as in an
installed program. The ratios are printed and written; nothing here fails for being slow.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.bench.harness import child

ROOT = Path(__file__).parents[2]
FLOOR = ("-c", "import numpy, pydantic, yaml")
TIMES = 5

#: A command and the exit codes it may have: 1 where a check has something to say.
COMMANDS = {
    "check --charge, open": (("check", "--charge", "HB-26-043"), (0, 1)),
    "check --charge, sealed": (("check", "--charge", "HB-25-041"), (0, 1)),
    "check --charge, complete and not sealed": (("check", "--charge", "HB-26-004"), (0, 1)),
    "import weighings": (("import", "weighings", "SHEET", "--charge", "HB-26-043"), (0,)),
    "sheet of a complete charge, not set as a PDF": (("sheet", "HB-26-040"), (0,)),
    "sheet of an open charge, not set as a PDF": (("sheet", "HB-26-043"), (0,)),
    "build, nothing to do": (("build", ".", "--out", "SITE", "--without-pdf"), (0,)),
}
#: A round of the open charge that no record holds yet.
ROUND = "Date;Time;S1;S2;S3\n2026-10-16;07:05;1952 g;2905 g;2040 g\n"
#: What runs a command as its script does; the page of a sheet is made and not set, which takes
#: WeasyPrint seconds.
PROGRAM = """
import sys
import kilnfolio.cli
def main(begin=kilnfolio.cli.main):
    if sys.argv[1] == "sheet":
        from kilnfolio.paper import sheet
        def made(*given):
            page, env, _, paper = given
            assert "Do not enter a kiln" in sheet.sheet_html(page, env, paper, "wide")
            return []
        sheet.write_sheet = made
    return begin()
kilnfolio.cli.main = main
kilnfolio.cli.run()
"""


@pytest.mark.parametrize("name", COMMANDS)
def test_daily_command(book, name, monkeypatch, tmp_path):
    words, codes = COMMANDS[name]
    monkeypatch.setenv("PYTHONPYCACHEPREFIX", str(tmp_path / "compiled"))
    monkeypatch.chdir(ROOT)
    (tmp_path / "round.csv").write_text(ROUND)
    if name == "import weighings":  # each time into the same records
        words = (*words, "--yes", "--dry-run", "--by", "A. N. Other")
    places = {"SHEET": str(tmp_path / "round.csv"), "SITE": str(tmp_path / "site")}
    command = ("-c", PROGRAM, *(places.get(word, word) for word in words))
    child(*command, codes=codes)  # compiles its modules
    turns = [(child(*FLOOR)[0], child(*command, codes=codes)) for _ in range(TIMES)]
    book.programs(name, turns, "numpy, pydantic, yaml", 3.0)
