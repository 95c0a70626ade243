"""Charts of the handbook: their figures against published rows, and their descriptions."""

from __future__ import annotations

import re

import pytest

from kilnfolio.charts.mc_bands import bands_chart, bands_rows, humidity_at
from kilnfolio.charts.profile import profile_chart
from kilnfolio.charts.strength import strength_chart, strength_rows

#: Northern red oak, Wood Handbook table 5-3 (from memory): dry, green [MPa], intersection [%].
OAK = {"bending strength": (99.0, 57.0, 25.0)}
BANDS = [("dry", 0.0, 10.0), ("damp", 10.0, 20.0), ("wet", 20.0, 40.0)]


def test_strength_is_green_above_the_intersection_and_matches_the_handbook_at_12():
    rows = dict(strength_rows(OAK))
    assert rows["40"] == rows["25"] == "100"
    assert float(rows["12"]) == pytest.approx(100 * 99 / 57, abs=0.5)
    assert float(rows["8"]) > float(rows["12"]) > float(rows["20"])


@pytest.mark.parametrize(("mc", "humidity"), [(9.2, 50.0), (13.1, 70.0), (16.0, 80.0)])
def test_the_air_of_a_band_matches_the_handbook(mc, humidity):
    """Wood Handbook table 4-2 at 70 °F (21.1 °C): 9.2 % at 50 % RH, 13.1 at 70, 16.0 at 80."""
    assert humidity_at(21.1, mc) == pytest.approx(humidity, abs=0.7)


def test_a_band_outside_every_emc_has_no_air():
    assert bands_rows(BANDS, 20.0)[-1][-1] == "–"


def test_every_band_and_stop_is_in_the_description():
    for drawing, count in (
        (bands_chart("b", "Bands", BANDS, 20.0), len(BANDS)),
        (strength_chart("s", "Strength", OAK), 11),
    ):
        assert len(re.findall("data-read=", drawing)) == count
        assert 'role="img"' in drawing


def test_a_profile_is_drawn_from_face_to_face():
    drawing = profile_chart("p", [10.0, 20.0, 30.0, 40.0])
    path = re.search(r'class="controlling"[^>]* d="([^"]+)"', drawing)[1]
    assert path.count("L") == 7
    heights = [float(found) for found in re.findall(r" ([\d.]+)(?:L|$)", path)]
    assert heights == pytest.approx(heights[::-1])
