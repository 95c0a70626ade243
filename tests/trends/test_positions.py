"""The position map finds the wet corner; its intervals and predictions hold as often as they say.

``KILNFOLIO_TRENDS=100`` tries 100 mills.
"""

import os
from dataclasses import replace

import numpy as np
import pytest
from tests.trends.planted import lines_of

from demo import scenario
from kilnfolio.trends.positions import CONFIDENCE, LEAST, map_of

SEEDS = int(os.environ.get("KILNFOLIO_TRENDS", "3"))


def kiln_map(seed, kiln="kiln-1", *, planted=True):
    lines = [line for line in lines_of(seed, planted=planted) if line.kiln == kiln]
    return map_of(lines, scenario.KILN_RECORDS[kiln]["positions"])


def test_the_wet_corner_is_found_and_even_kilns_are_left_alone():
    found = false = inside = tried = 0
    for seed in range(SEEDS):
        wettest = max(kiln_map(seed).places, key=lambda place: place.points)
        found += wettest.position == "bay 6 high" and wettest.stands_out
        for kiln in scenario.KILN_RECORDS:
            even = kiln_map(seed, kiln, planted=False)
            false += any(place.stands_out for place in even.places)
            inside, tried = inside + even.trial[0], tried + even.trial[1]
    kilns = SEEDS * len(scenario.KILN_RECORDS)
    print(  # noqa: T201
        f"{SEEDS} mills: wet corner found in {found}; a place of an even kiln named in {false} of "
        f"{kilns}, promised at most {1 - CONFIDENCE:.0%}; {inside} of {tried} predictions held, "
        f"promised {CONFIDENCE:.0%}"
    )
    assert found >= 0.95 * SEEDS
    assert false <= kilns * 0.05 + 3 * np.sqrt(kilns * 0.05)
    assert inside / tried > CONFIDENCE - 3 * np.sqrt(0.05 / tried)


def test_places_stand_in_the_order_of_the_kilns_record():
    found = kiln_map(1)
    assert [place.position for place in found.places] == scenario.KILN_RECORDS["kiln-1"][
        "positions"
    ]
    assert sorted(name for name, _ in found.order) == sorted(
        scenario.KILN_RECORDS["kiln-1"]["positions"]
    )


def test_each_further_pack_leaves_less_unknown():
    spreads = [spread for _, spread in kiln_map(1).order]
    assert spreads == sorted(spreads, reverse=True)
    assert spreads[-1] == 0.0


def test_too_few_charges_make_no_map():
    lines = [line for line in lines_of(1, planted=True) if line.kiln == "kiln-1"]
    assert map_of(lines[: LEAST - 1], []) is None
    assert map_of([replace(line, placed=()) for line in lines], []) is None


def test_a_place_that_was_rarely_measured_is_left_out():
    lines = [line for line in lines_of(1, planted=True) if line.kiln == "kiln-1"]
    rare = [
        replace(line, placed=tuple(one for one in line.placed if at < 3 or "6" not in one.position))
        for at, line in enumerate(lines)
    ]
    assert {place.position for place in map_of(rare, []).places} == {
        name for name in scenario.KILN_RECORDS["kiln-1"]["positions"] if "6" not in name
    }


@pytest.mark.parametrize("names", [["a", "b", "c"], ["bay 1 low", "bay 1 high"]])
def test_every_place_is_drawn(names):
    from kilnfolio.charts.stack import Cell, stack

    drawn = stack("Places", [Cell(name, 0.5, 0.1, 9) for name in names])
    assert drawn.count('<rect class="water"') == len(names)
