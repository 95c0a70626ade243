"""What a customer is told of timber in a room, against the Wood Handbook."""

import re

import pytest
from tests.conftest import PROJECT

from kilnfolio.publish.editions import for_customer
from kilnfolio.publish.pages.indoors import ROOMS, indoors
from kilnfolio.records.folder import read_mill_folder


@pytest.fixture(scope="module")
def red_oak():
    return read_mill_folder(PROJECT).species["quercus-rubra"].record


def test_movement_is_that_of_the_handbook(red_oak):
    """Wood Handbook table 4-2: 6.2 % EMC at 21.1 °C (70 °F) and 30 % RH; table 4-3: northern red
    oak shrinks 8.6 % tangentially, 4.0 % radially; eq. 13-3: ΔD = D (MF - MI)/(3000/S - 30 + MI).
    """
    winter = indoors(12.0, for_customer(red_oak))[0]
    assert winter.settles.split() == ["6", "%"]
    wide, narrow = (100 * (6.2 - 12.0) / (3000 / total - 30 + 12.0) for total in (8.6, 4.0))
    told = re.findall(r"(\S+) shrinks by about ([\d.]+)\smm", winter.movement)
    assert [cut for cut, _ in told] == ["flat-sawn", "quarter-sawn"]
    assert float(told[0][1]) == pytest.approx(-wide, abs=0.06)
    assert float(told[1][1]) == pytest.approx(-narrow, abs=0.06)


def test_damp_swells_and_its_own_air_leaves_it_as_it_is(red_oak):
    """Wood Handbook table 4-2: 9.2 % EMC at 21.1 °C (70 °F) and 50 % RH."""
    _, lived_in, damp = indoors(9.25, for_customer(red_oak))
    assert lived_in.movement == "flat-sawn stays as it is; quarter-sawn stays as it is"
    assert "swells" in damp.movement
    assert "shrinks" not in damp.movement


def test_nothing_is_told_of_a_width_where_the_shrinkage_is_unknown(red_oak):
    bare = for_customer(red_oak.model_copy(update={"shrinkage": None}))
    assert [line.movement for line in indoors(12.0, bare)] == [""] * len(ROOMS)
