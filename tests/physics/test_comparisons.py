"""Comparisons against the NIST/SEMATECH handbook and scipy."""

import numpy as np
import pytest
from scipy import stats

from kilnfolio.physics.comparisons import (
    corrected_for_many,
    difference_of_means,
    rank_correlation,
)


def of_mean_and_spread(mean, sd, n):
    """Return n values with exactly this mean and standard deviation."""
    values = np.random.default_rng(1).normal(0.0, 1.0, n)
    return mean + sd * (values - values.mean()) / values.std(ddof=1)


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


def test_holms_correction_by_hand():
    """Smallest times 4, next times 3 and so on, never less than the one before."""
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


@pytest.mark.parametrize(
    "call",
    [
        lambda: difference_of_means([1.0], [1.0, 2.0]),
        lambda: rank_correlation([1, 2, 3, 4], [1, 2, 3, 4]),
        lambda: rank_correlation([1, 2, 3, 4, 5], [1, 2, 3, 4, 5, 6]),
        lambda: corrected_for_many([1.5]),
    ],
)
def test_too_little_is_refused(call):
    with pytest.raises(ValueError, match="must"):
        call()
