"""The guide's page on the API is what its docstrings say, and its examples run."""

import re

from tests.api.reference import EXAMPLES, PAGE, page
from tests.minimal import minimal_mill

from kilnfolio import api


def test_the_page_is_made_from_the_docstrings():
    assert PAGE.read_text("utf-8") == re.sub(r"\n{3,}", "\n\n", page()), (
        "python -m tests.api.reference"
    )
    for name in api.__all__:
        assert re.search(rf"^## {name}\b", page(), re.MULTILINE)


def test_the_examples_run(tmp_path, capsys):
    minimal_mill(tmp_path)
    known = {"api": api, "folder": tmp_path}
    for _, code in EXAMPLES:
        exec(compile(code, str(PAGE), "exec"), known)
    said = capsys.readouterr().out
    assert said.startswith("C1 in k1\n% ")
    # the masses of the minimal mill on its last day, of its boards' oven-dry masses
    for board, mc_pct in known["last"].set_index("board")["mc_pct"].items():
        weighed = known["weighings"].query("board == @board")["mass_g"].iloc[-1]
        oven_dry = {"S1": 2000.0, "S2": 2110.0, "S3": 1895.0}[board]
        assert abs(mc_pct - 100.0 * (weighed / oven_dry - 1.0)) < 0.1
    assert "sample-count" in said
