"""What is typed: every kind of problem asks for something, its mistakes differ from the answer, and
units agree."""

from __future__ import annotations

import pytest
from tests.reviewed import demo_mill

from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.limits import LimitTable
from kilnfolio.training.expected import expected
from kilnfolio.training.kinds import by_topic
from kilnfolio.training.mistakes import MISTAKES
from kilnfolio.training.problem import KINDS, make_problem

by_topic()
#: Their answer is an interval, which is not typed.
INTERVALS = {"mean-of-the-lot", "limits-for-the-lot"}


@pytest.fixture(scope="module")
def limits() -> LimitTable:
    return LimitTable(demo_mill().limits.record)


@pytest.mark.parametrize("slug", KINDS)
def test_every_kind_asks_for_a_figure_that_its_mistakes_differ_from(slug, limits):
    """Over ten sets of numbers: a mistake is never within what counts as right."""
    for seed in range(10):
        asked = expected(make_problem(KINDS[slug], seed, limits))
        assert bool(asked) != (slug in INTERVALS)
        for one in asked:
            assert one.tolerance > 0
            assert one.unit in one.units
            assert one.units[one.unit].factor == pytest.approx(1.0)
            assert one.units[one.unit].offset == pytest.approx(0.0)
            for wrong, words in one.wrong:
                assert abs(wrong - one.value) > one.tolerance
                assert words.endswith(".")


def test_mistakes_are_of_formulas_that_exist_and_take_their_arguments():
    for name in MISTAKES:
        assert name in FORMULAS


def test_units_convert_by_their_definitions(limits):
    """The inch is 25.4 mm, the pound 453.59237 g, by the agreement of 1959; °F = 1.8 °C + 32."""
    (dry,) = expected(make_problem(KINDS["board-oven-dry"], 0, limits))
    assert dry.units["lb"].factor == pytest.approx(453.59237)
    assert dry.units["kg"].factor == pytest.approx(1000.0)
    (bulb,) = expected(make_problem(KINDS["wet-bulb-to-set"], 0, limits))
    fahrenheit = bulb.units["°F"]
    assert fahrenheit.factor * 212.0 + fahrenheit.offset == pytest.approx(100.0)


def test_usual_mistakes_are_recognised():
    """240 g green and 200 g dry: 20 % dry basis, 16.7 % wet basis; from the definitions."""
    mistakes = MISTAKES["moisture_content"]
    assert mistakes[0].result({"mass": 240.0, "oven_dry_mass": 200.0}) == pytest.approx(
        100.0 * 40 / 240
    )
    plain, wettest, driest = MISTAKES["controlling_moisture_content"]
    boards = [40.0, 30.0, 20.0, 10.0]  # wettest half: 35
    assert [one.result({"of": boards}) for one in (plain, wettest, driest)] == [25, 40, 15]
    in_all, counted = MISTAKES["longest_run_above"]
    run = {
        "interval": 1 / 6,
        "temperatures": [57.0, 57.0, 55.0, 57.0, 57.0, 57.0],
        "threshold": 56.0,
    }  # 10 min and 20 min
    assert in_all.result(run) * 60 == pytest.approx(30.0)
    assert counted.result(run) * 60 == pytest.approx(50.0)
