"""Comparisons against the NIST/SEMATECH handbook, classic worked examples and scipy."""

import numpy as np
import pytest
from scipy import stats

from kilnfolio.physics import comparisons
from kilnfolio.physics.comparisons import (
    corrected_for_many,
    difference_of_means,
    interval_of_mean,
    place_that_differs,
    rank_correlation,
    rank_that_stands_out,
)

#: Fisher, The Design of Experiments (1935), sections 17 and 21: heights of Darwin's maize, crossed and
#: self-fertilized, in 15 pairs, in inches. From memory; they add up to the 314 eighths printed there.
CROSSED = (23.5, 12, 21, 22, 19.125, 21.5, 22.125, 20.375, 18.25, 21.625, 23.25, 21, 22.125, 23, 12)
SELFED = (
    17.375, 20.375, 20, 20, 18.375, 18.625, 18.625, 15.25, 16.5, 18, 16.25, 18, 12.75, 15.5, 18,
)  # fmt: skip
#: Hours of television and IQ of ten people, the example of the Wikipedia article "Spearman's rank
#: correlation coefficient", from memory: rho = -29/165, p = 0.627188.
IQ = (106, 100, 86, 101, 99, 103, 97, 113, 112, 110)
HOURS = (7, 27, 2, 50, 28, 29, 20, 12, 6, 17)


def of_mean_and_spread(mean, sd, n):
    """Return n values with exactly this mean and standard deviation."""
    values = np.random.default_rng(1).normal(0.0, 1.0, n)
    return mean + sd * (values - values.mean()) / values.std(ddof=1)


def test_the_handbooks_example_of_a_mean_is_reproduced():
    """NIST/SEMATECH 1.3.5.2: a heat flow meter, 195 readings, 9.258242 to 9.264679; from memory."""
    mean, half = interval_of_mean(of_mean_and_spread(9.261460, 0.022789, 195))
    assert mean == pytest.approx(9.261460, abs=1e-9)
    assert (mean - half, mean + half) == pytest.approx((9.258242, 9.264679), abs=2e-6)


@pytest.fixture
def _no_chances(monkeypatch):
    """Leave out the p-values, up to 200,000 random orders each, where only effects and intervals are looked at."""
    for counted in ("_shuffled", "_largest_p_value"):
        monkeypatch.setattr(comparisons, counted, lambda *_: 1.0)


@pytest.mark.usefixtures("_no_chances")
def test_the_handbooks_example_of_two_samples_is_reproduced():
    """NIST/SEMATECH 1.3.5.3: miles a gallon of US and Japanese cars, from memory.

    Printed there with unequal variances: T = -12.94627 with 136.8750 degrees of freedom.
    """
    first = of_mean_and_spread(20.14458, 6.414700, 249)
    second = of_mean_and_spread(30.48101, 6.107710, 79)
    found = difference_of_means(first, second)
    assert found.effect == pytest.approx(-10.33643, abs=1e-5)
    half = stats.t.ppf(0.975, 136.8750) * 10.33643 / 12.94627
    assert found.low == pytest.approx(-10.33643 - half, abs=2e-4)
    assert found.high == pytest.approx(-10.33643 + half, abs=2e-4)


def test_the_rank_correlation_is_scipys_and_its_interval_covers():
    rng = np.random.default_rng(2)
    held = 0
    for _ in range(400):
        x, y = rng.multivariate_normal([0, 0], [[1, 0.5], [0.5, 1]], 30).T
        found = rank_correlation(x, y)
        held += found.low <= 6 / np.pi * np.arcsin(0.25) <= found.high  # rho of a normal pair
    assert found.effect == pytest.approx(stats.spearmanr(x, y).statistic)
    assert held / 400 == pytest.approx(0.95, abs=0.03)


def test_the_rank_correlation_of_a_known_example():
    found = rank_correlation(IQ, HOURS)
    assert found.effect == pytest.approx(-29 / 165)
    assert found.p_value == pytest.approx(0.627188, abs=1e-6)


def test_the_p_value_of_two_groups_counts_divisions():
    """Of the 252 divisions of ten values into fives, two are as far apart."""
    assert difference_of_means([1, 2, 3, 4, 5], [6, 7, 8, 9, 10]).p_value == pytest.approx(2 / 252)


def test_a_clear_difference_survives_hundreds_of_comparisons():
    """With 9,999 draws alone, a p-value could not fall below 0.0002."""
    rng = np.random.default_rng(8)
    found = difference_of_means(rng.normal(3, 1, 30), rng.normal(0, 1, 30))
    assert corrected_for_many([found.p_value, *[0.5] * 499])[0] < 0.05


def test_fishers_randomization_test_of_darwins_maize_is_reproduced():
    """Fisher counted 1726 of 32768 divisions as far apart, and printed t = 2.148."""
    assert 8 * (sum(CROSSED) - sum(SELFED)) == 314
    place, found = place_that_differs(np.column_stack([CROSSED, SELFED]))
    assert abs(found.effect) == pytest.approx(314 / 8 / 15)
    # four standard errors of a share from 9,999 draws
    assert found.p_value == pytest.approx(1726 / 32768, abs=4 * np.sqrt(0.05 / 9_999))
    half = stats.t.ppf(1 - 0.05 / 4, 14) * (314 / 8 / 15) / 2.148
    assert found.high - found.effect == pytest.approx(half, rel=3e-4)
    assert place in (0, 1)


def test_a_place_of_even_kilns_is_named_as_rarely_as_promised():
    rng = np.random.default_rng(9)
    p_values = [place_that_differs(rng.poisson(0.4, (12, 6)))[1].p_value for _ in range(200)]
    assert np.mean(np.array(p_values) < 0.05) <= stats.binom.ppf(0.999, 200, 0.05) / 200


@pytest.mark.usefixtures("_no_chances")
def test_the_intervals_of_places_hold_for_the_one_that_was_chosen():
    rng, held, effects = np.random.default_rng(10), 0, np.array([0.0, 0.2, -0.1, 0.9, 0.0])
    for _ in range(200):
        made = effects + rng.normal(0, 1, (20, 1)) + rng.normal(0, 1.5, (20, 5))
        place, found = place_that_differs(made)
        true = effects[place] - np.delete(effects, place).mean()
        held += found.low <= true <= found.high
    assert held >= stats.binom.ppf(0.001, 200, 0.95)


def test_the_quantity_that_goes_with_another_is_named():
    rng = np.random.default_rng(11)
    several = rng.normal(size=(5, 40))
    at, found = rank_that_stands_out(several, several[3] + rng.normal(0, 0.4, 40))
    assert (at, found.p_value < 0.001) == (3, True)
    alone = rank_that_stands_out([IQ], HOURS)[1]
    assert alone.effect == pytest.approx(-29 / 165)
    # orders give the exact chance, Student's t an approximation of it
    assert alone.p_value == pytest.approx(0.627188, abs=0.03)


def test_among_several_unrelated_quantities_one_is_named_as_rarely_as_promised():
    rng = np.random.default_rng(12)
    p_values = [
        rank_that_stands_out(rng.poisson(0.5, (6, 25)), rng.normal(size=25))[1].p_value
        for _ in range(200)
    ]
    assert np.mean(np.array(p_values) < 0.05) <= stats.binom.ppf(0.999, 200, 0.05) / 200


def test_holms_correction_by_hand():
    """Smallest times 4, next times 3 and so on, never less than the one before.

    The p-values are those of the example in the Wikipedia article "Holm-Bonferroni method", from
    memory: there the first and the last of the four are rejected in order at 0.05, no other.
    """
    assert corrected_for_many([0.04, 0.01, 0.03, 0.005]).tolist() == pytest.approx(
        [0.06, 0.03, 0.06, 0.02]
    )


def test_false_findings_among_many_are_as_rare_as_promised():
    rng = np.random.default_rng(3)
    any_found = [(corrected_for_many(rng.random(20)) < 0.05).any() for _ in range(2_000)]
    assert np.mean(any_found) == pytest.approx(0.05, abs=0.015)


def test_groups_and_pairs_that_are_all_the_same_show_nothing():
    assert difference_of_means([1.0, 1.0], [1.0, 1.0]).p_value == 1.0
    assert rank_correlation([0.0] * 5, [1, 2, 3, 4, 5]).p_value == 1.0
    assert place_that_differs(np.ones((3, 4)))[1].p_value == 1.0
    assert rank_that_stands_out(np.ones((3, 5)), [1, 2, 3, 4, 5])[1].p_value == 1.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: difference_of_means([1.0], [1.0, 2.0]),
        lambda: rank_correlation([1, 2, 3, 4], [1, 2, 3, 4]),
        lambda: rank_correlation([1, 2, 3, 4, 5], [1, 2, 3, 4, 5, 6]),
        lambda: corrected_for_many([1.5]),
        lambda: place_that_differs([[1.0, 2.0]]),
        lambda: place_that_differs([[1.0, 2.0], [1.0, np.nan]]),
        lambda: rank_that_stands_out([[1, 2, 3, 4]], [1, 2, 3, 4]),
        lambda: rank_that_stands_out([[1, 2, 3, 4, 5]], [1, 2, 3, 4, 5, 6]),
    ],
)
def test_too_little_is_refused(call):
    with pytest.raises(ValueError, match="must"):
        call()
