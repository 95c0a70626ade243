"""Every custom property that a style sheet uses is defined."""

import re
from importlib import resources

import pytest

from kilnfolio.charts.paper import drawing_rules

HOME = resources.files("kilnfolio.site") / "assets"
SHEETS = sorted(file.name for file in HOME.iterdir() if file.name.endswith(".css"))


def test_drawings_are_given_their_colours_for_paper():
    assert "var(" not in drawing_rules()


@pytest.mark.parametrize("sheet", SHEETS)
def test_every_custom_property_is_defined_or_has_a_fallback(sheet):
    known = {
        name
        for one in SHEETS
        for name in re.findall(r"(--[\w-]+)\s*:", (HOME / one).read_text("utf-8"))
    }
    used = set(re.findall(r"var\((--[\w-]+)\s*\)", (HOME / sheet).read_text("utf-8")))
    assert used <= known
