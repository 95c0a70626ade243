"""What a customer is told about timber in a room, against the Wood Handbook."""

import re

import pytest
from tests.reviewed import demo_mill

from kilnfolio.site.editions import for_customer
from kilnfolio.site.pages.indoors import indoors, timber_of


@pytest.fixture(scope="module")
def red_oak():
    return demo_mill().species["quercus-rubra"].record


def rooms(mc_pct, species):
    return indoors(timber_of(mc_pct, for_customer(species)))


def test_movement_agrees_with_the_handbook(red_oak):
    """Wood Handbook table 4-2: 6.2 % EMC at 21.1 °C (70 °F) and 30 % RH; table 4-3: northern red
    oak shrinks 8.6 % tangentially, 4.0 % radially; eq. 13-3: ΔD = D (MF - MI)/(3000/S - 30 + MI).
    """
    winter = rooms(12.0, red_oak)[0].words
    assert re.search(r"settles at about 6\s% MC", winter)
    wide, narrow = (100 * (6.2 - 12.0) / (3000 / total - 30 + 12.0) for total in (8.6, 4.0))
    told = re.findall(r"(\S+) shrinks by about ([\d.]+)\smm \(([\d.]+)\sin\)", winter)
    assert [cut for cut, *_ in told] == ["flat-sawn", "quarter-sawn"]
    for (_, millimetres, inches), expected in zip(told, (wide, narrow), strict=True):
        assert float(millimetres) == pytest.approx(-expected, abs=0.06)
        assert float(inches) == pytest.approx(-expected / 25.4, abs=0.003)


def test_damp_air_swells_timber_and_air_at_its_emc_does_not(red_oak):
    """Wood Handbook table 4-2: 9.2 % EMC at 21.1 °C (70 °F) and 50 % RH."""
    _, lived_in, damp = (room.words for room in rooms(9.25, red_oak))
    assert "flat-sawn stays as it is; quarter-sawn stays as it is" in lived_in
    assert "swells" in damp
    assert "shrinks" not in damp


def test_air_is_given_in_both_unit_systems(red_oak):
    # 21 °C is 69.8 °F, 20 °C is 68 °F.
    winter, lived_in, _ = (room.words for room in rooms(9.25, red_oak))
    assert "21\u00a0°C (70\u00a0°F), 30\u00a0% humidity" in winter
    assert "20\u00a0°C (68\u00a0°F), 50\u00a0% humidity" in lived_in


def test_nothing_is_said_about_width_if_the_shrinkage_is_unknown(red_oak):
    for room in rooms(12.0, red_oak.model_copy(update={"shrinkage": None})):
        assert "width" not in room.words
        assert "settles" in room.words
