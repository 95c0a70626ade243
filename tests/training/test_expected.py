"""What is typed: every kind of problem asks for something, its mistakes differ from the answer, and
units agree."""

from __future__ import annotations

import re

import pytest
from tests.reviewed import demo_mill

from kilnfolio.handbook.pages import plain_words
from kilnfolio.rendering.regional import PLAIN, RegionalFormat
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.limits import LimitTable
from kilnfolio.training.expected import Unit, expected
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


def test_a_region_with_customary_units_asks_for_them(limits):
    """°F = 1.8 °C + 32; 1 kg = 2.20462 lb; 1 m³ = 423.776 board feet; 1 kWh = 3412.14 Btu."""
    regional = RegionalFormat(customary_first=True)

    def units(slug: str) -> tuple[str, Unit]:
        asked = expected(make_problem(KINDS[slug], 0, limits, regional))[-1]
        metric = next(one for one in ("°C", "K", "mm", "kg", "m³", "kWh") if one in asked.units)
        return asked.unit, asked.units[metric]

    assert units("wet-bulb-to-set") == ("°F", Unit(pytest.approx(1.8), pytest.approx(32.0)))
    for slug, unit, factor in (
        ("air-is-not-the-core", "°F", 1.8),
        ("dry-width", "in", 1 / 25.4),
        ("volume-of-a-pack", "board feet", 423.776),
        ("water-out-of-a-load", "lb", 2.20462),
        ("least-heat-for-a-load", "million Btu", 0.00341214),
    ):
        assert units(slug) == (unit, Unit(pytest.approx(factor, rel=1e-5), pytest.approx(0.0)))


@pytest.mark.parametrize("regional", [PLAIN, RegionalFormat(customary_first=True)])
def test_what_counts_as_right_is_no_wider_in_another_unit(limits, regional):
    """Rounded to a tenth of a millimetre or its like in inches, never to a tenth of an inch."""
    (change,) = expected(make_problem(KINDS["movement-in-use"], 0, limits, regional))
    assert change.tolerance * change.units[change.unit].factor / change.units["mm"].factor < 0.2


def test_one_reading_too_few_is_wrong(limits):
    """0.95⁵⁸ = 0.0510 > 0.05 ≥ 0.95⁵⁹: a count is either enough or not."""
    for seed in range(5):
        (count,) = expected(make_problem(KINDS["readings-to-take"], seed, limits))
        assert count.tolerance < 1


def test_a_run_counts_the_same_in_fahrenheit(limits):
    """From the readings and the threshold as printed in °F, the longest run of those not below it."""
    regional = RegionalFormat(customary_first=True)
    met = 0
    for seed in range(60):
        problem = make_problem(KINDS["longest-run"], seed, limits, regional)
        asked = plain_words(problem.ask).replace("\u00a0", " ")
        readings = re.search(r"min: ([\d., and]+) °F", asked)
        threshold = re.search(r"minutes at ([\d.]+) °F", asked)
        assert readings
        assert threshold
        temps = [float(one) for one in re.findall(r"[\d.]+\d", readings[1])]
        met += float(threshold[1]) in temps
        runs = "".join("x" if temp >= float(threshold[1]) else " " for temp in temps).split()
        longest = max((len(run) - 1 for run in runs), default=0)
        (run,) = expected(problem)
        assert run.value == pytest.approx(5.0 * longest), (seed, asked)
    assert met, "no reading stood on the threshold, where rounding decides"
