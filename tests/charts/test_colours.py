"""Every colour and measure that a style sheet names is one that there is."""

import re
from importlib import resources

import pytest

from kilnfolio.charts.paper import drawing_rules

HOME = resources.files("kilnfolio.site") / "assets"
SHEETS = sorted(file.name for file in HOME.iterdir() if file.name.endswith(".css"))


def test_drawings_are_given_their_colours_for_paper():
    assert "var(" not in drawing_rules()


@pytest.mark.parametrize("sheet", SHEETS)
def test_every_name_stands_somewhere_or_has_a_value_beside_it(sheet):
    known = {
        name
        for one in SHEETS
        for name in re.findall(r"(--[\w-]+)\s*:", (HOME / one).read_text("utf-8"))
    }
    used = set(re.findall(r"var\((--[\w-]+)\s*\)", (HOME / sheet).read_text("utf-8")))
    assert used <= known
