"""Examples and problems whose amounts each region rounds: what they conclude must hold in both.

Where inches come first, sizes are restated in eighths and halves of an inch and the sums are worked with
those. The arithmetic here starts from the printed figures.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from tests.conftest import PROJECT
from tests.handbook.chapters import FRONT, NAME, handbook
from tests.minimal import minimal_mill

from kilnfolio.handbook.compiled import compile_handbook
from kilnfolio.handbook.pages import plain_words
from kilnfolio.records.checking import checked_mill

PRACTICES = ("British", "North American")
HANDBOOK = PROJECT / "content/handbook"


def block(chapter: str, named: str) -> str:
    """Return the source of the example or problem in which a line stands."""
    text = next(HANDBOOK.glob(f"{chapter}-*.md")).read_text("utf-8")
    (found,) = (
        part[0]
        for part in re.finditer(
            r"^::: (?:example|problem)\n.*?^:::$", text, re.DOTALL | re.MULTILINE
        )
        if f"\n{named}\n" in part[0]
    )
    return found


@pytest.fixture(params=PRACTICES)
def say(request, tmp_path):
    """Return a function that prints an example or problem of the handbook in one region."""

    def printed(chapter: str, named: str) -> str:
        body = handbook(tmp_path, block(chapter, named), practice=request.param).bodies["small"]
        return plain_words(body.html).replace("\u00a0", " ")

    return printed


def numbers(pattern: str, text: str) -> list[float]:
    found = re.search(pattern, text)
    assert found, (pattern, text)
    return [float(one.replace(" ", "")) for one in found.groups()]


def test_the_volume_that_went_missing_is_more_than_the_fifteen_per_cent_that_may(say):
    text = say("15", "id: records-volume")
    went_in, came_out = numbers(r"In went .*?([\d.]+) m³.*?out came .*?([\d.]+) m³", text)
    assert "more than the fifteen per cent" in text
    assert 1.0 - came_out / went_in > 0.15


def test_a_row_of_forty_strips_is_forty_times_as_wide_as_one(say):
    text = say("13", "title: A floor laid too soon")
    (strip,) = numbers(r"strips .*?([\d.]+) mm", text)
    row, unit = re.search(r"Over a room of .*?([\d.]+) (mm|m)\b", text).groups()
    assert float(row) * {"mm": 1, "m": 1000}[unit] == pytest.approx(40 * strip, abs=5.0)


def test_the_collapsed_board_is_measured_in_the_units_of_the_rest(say):
    """Tangential 8.6 %, 30 → 12 %: 5.16 % of the green width; the rest is collapse."""
    text = say("12", "id: defects-collapse-or-shrinkage")
    unit = "in" if "in (" in text else "mm"
    green, now = numbers(rf"measured ([\d.]+) {unit}.*?it measures ([\d.]+) {unit}", text)
    (lost,) = numbers(rf"has lost ([\d.]+) {unit}", text)
    assert lost == pytest.approx(green * (1 - 0.086 * 18 / 30) - now, rel=0.01)


def test_water_from_the_drain_is_in_both_units(say):
    """12 m³ at 560 kg/m³, two points: 134.4 kg, 296 lb; the 80 kg of the question are 176 lb, 180 to two digits."""
    text = say("21", "id: kinds-condensate")
    for kilograms, pounds in (("80 kg", "180 lb"), ("134 kg", "296 lb")):
        assert f"{kilograms} ({pounds})" in text or f"{pounds} ({kilograms})" in text


def test_a_core_time_names_the_wood_it_is_for(say):
    assert "specific gravity 0.45" in say("25", "id: time-core").split("Hint")[0]


def test_a_kiln_is_judged_against_the_heat_it_is_compared_with(say):
    """One and a half and four times the evaporation alone, 2358 kJ/kg at 60 °C by the steam tables."""
    text = say("24", "title: What this kiln makes of its heat")
    water, least = numbers(r"It removed .*?([\d ]+) kg.*? is .*?([\d ]+) kWh", text)
    low, high, misread = numbers(
        r"come to about ([\d.]+) to ([\d.]+)\..*?, below ([\d.]+) some", text
    )
    evaporation = water * 2358 / 3600
    assert low == misread == pytest.approx(1.5 * evaporation / least, abs=0.05)
    assert high == pytest.approx(4 * evaporation / least, abs=0.05)


def table(root: Path, options: str, practice: str, **species: object) -> str:
    """Return the HTML of a table of the handbook for a mill whose one species is changed so."""
    minimal_mill(
        root,
        files={NAME: f"{FRONT}::: table\n{options}\ncaption: It.\n:::\n"},
        mill={"practice": practice},
        species=species,
    )
    return str(compile_handbook(checked_mill(root), "site").bodies["small"].html)


def test_a_wood_that_no_sheet_calls_refractory_is_not_called_easy(tmp_path):
    """The sheets of ipe, jarrah and azobe say nothing of it; "no" would be false."""
    options = "kind: species-summary\ncolumns: [refractory]"
    html = table(tmp_path, options, "British", refractory=False)
    assert re.findall(r"<td[^>]*>(.*?)</td>", html) == ["–"]
    assert "does not call the wood so" in html


def test_water_of_a_thousand_board_feet(tmp_path):
    """560 kg/m³ from 74.5 to 8 % is 372.4 kg/m³. A board foot is 144 cubic inches."""
    wet = {"heartwood": "80 %", "sapwood": "69 %", "source": "common practice"}
    green = [{**wet, "status": "common practice"}]
    html = table(tmp_path, "kind: water-in-load", "North American", green_mc=green)
    cells = re.findall(r"<td[^>]*>([\d \u00a0.]+)</td>", html)
    pounds, kilograms = (float(re.sub(r"\s", "", cell)) for cell in cells[-3:-1])
    assert kilograms == pytest.approx(372.4, abs=0.5)
    assert pounds == pytest.approx(372.4 / 0.45359237 * 144_000 * 0.0254**3, rel=0.001)
    assert "lb per 1000 board feet" in html.replace("\u00a0", " ")
