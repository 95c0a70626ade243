"""Statements about a lot, against printed tables, other scipy.stats functions, and simulation."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kilnfolio.physics import survey

# Berthouex and Brown, Statistics for Environmental Engineers, table 21.1: two-sided factors at 95 %
# confidence for shares of 90, 95 and 99 %, two decimals; read, as far as these rows go.
TABLE_21_1 = [
    (4, 5.37, 6.34, 8.22),
    (5, 4.29, 5.08, 6.60),
    (6, 3.73, 4.42, 5.76),
    (7, 3.39, 4.02, 5.24),
    (8, 3.16, 3.75, 4.89),
    (9, 2.99, 3.55, 4.63),
    (10, 2.86, 3.39, 4.44),
    (12, 2.67, 3.17, 4.16),
    (15, 2.49, 2.96, 3.89),
    (20, 2.32, 2.76, 3.62),
    (25, 2.22, 2.64, 3.46),
    (30, 2.15, 2.55, 3.35),
    (40, 2.06, 2.45, 3.22),
    (60, 1.96, 2.34, 3.07),
]


@pytest.mark.parametrize("row", TABLE_21_1, ids=lambda row: f"n={row[0]}")
def test_two_sided_factor_against_a_printed_table(row):
    n, *printed = row
    found = survey.tolerance_factor(n, [0.90, 0.95, 0.99], 0.95)
    np.testing.assert_allclose(found, printed, atol=0.0101)


# ISO 16269-6:2014 annex, exact two-sided 95/95; and Hahn and Meeker (1991), older approximate
# factors, which are 0.4 % lower at n = 10. Both from memory; the table above and the simulation
# below back them up.
@pytest.mark.parametrize(
    ("n", "exact", "older"), [(2, 36.519, 37.674), (10, 3.393, 3.379), (30, 2.555, 2.549)]
)
def test_two_sided_factor_against_remembered_standards(n, exact, older):
    found = survey.tolerance_factor(n, 0.95, 0.95)
    assert found == pytest.approx(exact, abs=6e-4)
    assert found == pytest.approx(older, rel=0.032 if n == 2 else 0.005)


@pytest.mark.parametrize(("n", "share", "confidence"), [(10, 0.95, 0.95), (30, 0.9, 0.99)])
def test_two_sided_factor_by_simulation(n, share, confidence):
    """Normal lots: the limits must contain `share` of the lot in the fraction `confidence` of all
    surveys."""
    k, surveys = survey.tolerance_factor(n, share, confidence), 100_000
    pieces = np.random.default_rng(13183).standard_normal((surveys, n))
    mean, sd = pieces.mean(axis=1), pieces.std(axis=1, ddof=1)
    held = stats.norm.cdf(mean + k * sd) - stats.norm.cdf(mean - k * sd)
    standard_error = np.sqrt(confidence * (1 - confidence) / surveys)
    assert np.mean(held >= share) == pytest.approx(confidence, abs=4 * standard_error)


def test_two_sided_factor_by_another_integral():
    """The exact condition integrated over the spread instead of the mean, by scipy.stats only.

    Given s, the limits hold the share when |mean| <= m(k s), so confidence = E[P(|Z|/√n <= m)].
    """
    n, share, confidence = 8, 0.935, 0.9
    k = survey.tolerance_factor(n, share, confidence)
    levels = (np.arange(2000) + 0.5) / 2000
    spread = np.sqrt(stats.chi2.ppf(levels, n - 1) / (n - 1))
    offsets = np.linspace(0.0, 6.0, 6001)
    total = 0.0
    for reach in k * spread:
        held = stats.norm.cdf(offsets + reach) - stats.norm.cdf(offsets - reach)
        inside = np.flatnonzero(held >= share)
        if inside.size:
            total += 2 * stats.norm.cdf(offsets[inside[-1]] * np.sqrt(n)) - 1
    assert total / 2000 == pytest.approx(confidence, abs=1e-3)


def test_one_sided_factor():
    """NIST e-Handbook 7.2.6.3: n = 43, share 0.90, confidence 0.99 gives 1.8740 (from memory)."""
    found = survey.tolerance_factor(43, 0.90, 0.99, sides="upper")
    assert found == pytest.approx(1.8740, abs=1e-4)
    # Natrella's approximation, printed as 1.8752 for the same case (read), is close.
    assert found == pytest.approx(1.8752, rel=1e-3)
    by_scipy = stats.nct.ppf(0.99, 42, stats.norm.ppf(0.90) * np.sqrt(43)) / np.sqrt(43)
    assert found == pytest.approx(by_scipy, rel=1e-6)


@given(st.integers(2, 200), st.floats(0.5, 0.99), st.floats(0.5, 0.99), st.integers(1, 50))
def test_factor_shrinks_with_readings_and_grows_with_the_claim(n, share, confidence, more):
    factor = survey.tolerance_factor(n, share, confidence)
    assert survey.tolerance_factor(n + more, share, confidence) < factor
    assert survey.tolerance_factor(n, share + 0.005, confidence) > factor
    assert survey.tolerance_factor(n, share, confidence + 0.005) > factor


def test_factor_tends_to_the_normal_quantile():
    found = survey.tolerance_factor(1_000_000, 0.95, 0.95)
    assert found == pytest.approx(stats.norm.ppf(0.975), rel=2e-3)


def test_tolerance_limits_are_mean_and_factor():
    values = [11.2, 12.0, 12.4, 12.9, 13.1, 11.8, 12.2, 12.6, 12.1, 11.7]
    mean, sd = np.mean(values), np.std(values, ddof=1)
    lower, upper = survey.tolerance_limits(values, 0.95, 0.95)
    assert (lower, upper) == pytest.approx((mean - 3.3934 * sd, mean + 3.3934 * sd), abs=2e-4)
    low_only = survey.tolerance_limits(values, 0.95, 0.95, sides="lower")
    high_only = survey.tolerance_limits(values, 0.95, 0.95, sides="upper")
    assert lower < low_only.lower < high_only.upper < upper
    assert (low_only.upper, high_only.lower) == (np.inf, -np.inf)


# --- shares ---


@pytest.mark.parametrize("n", [1, 5, 30, 45, 59, 300])
def test_share_shown_without_failures_has_a_closed_form(n):
    """(1 - confidence)^(1/n): 59 good of 59 is the well-known 95/95."""
    assert survey.share_shown(n, 0, 0.95) == pytest.approx(0.05 ** (1 / n), rel=1e-10)


@given(st.integers(1, 400), st.floats(0, 0.999), st.floats(0.5, 0.999))
def test_share_shown_is_the_exact_binomial_bound(n, part, confidence):
    """Clopper and Pearson: if the good share were exactly this, so few failures would have
    probability 1 - c."""
    failures = int(part * n)
    shown = survey.share_shown(n, failures, confidence)
    chance = stats.binom.cdf(failures, n, 1.0 - shown)
    assert chance == pytest.approx(1.0 - confidence, rel=1e-6)
    by_scipy = stats.binomtest(n - failures, n).proportion_ci(2 * confidence - 1, "exact").low
    assert shown == pytest.approx(by_scipy, abs=1e-9)


@pytest.mark.parametrize("failures", [0, 1, 3, 50])
@pytest.mark.parametrize("confidence", [0.5, 0.95, 0.999])
def test_share_shown_of_one_survey_is_that_of_the_beta_distribution(failures, confidence):
    """Clopper and Pearson's bound as a quantile of the beta distribution, by scipy.stats."""
    for n in (51, 200, 1_000_000):
        shown = survey.share_shown(n, failures, confidence)
        by_scipy = stats.beta.ppf(1.0 - confidence, n - failures, failures + 1)
        assert shown == pytest.approx(by_scipy, rel=1e-12)
        assert survey.share_shown([n, n], failures, confidence)[0] == pytest.approx(
            shown, rel=1e-12
        )


def test_share_shown_when_all_failed_is_nothing():
    assert survey.share_shown(7, 7, 0.95) == 0.0


def test_share_shown_over_arrays():
    found = survey.share_shown([30, 45], 0, 0.95)
    np.testing.assert_allclose(found, [0.905, 0.9356], atol=5e-5)


@given(st.floats(0.5, 0.99), st.floats(0.5, 0.99), st.integers(0, 5))
def test_readings_needed_is_the_smallest_that_suffices(share, confidence, failures):
    n = survey.readings_needed(share, confidence, failures)
    assert isinstance(n, int)
    assert survey.share_shown(n, failures, confidence) >= share * (1 - 1e-12)
    assert n == failures + 1 or survey.share_shown(n - 1, failures, confidence) < share


@given(st.integers(1, 500), st.floats(0.5, 0.99))
def test_readings_needed_inverts_share_shown(n, confidence):
    assert survey.readings_needed(survey.share_shown(n, 0, confidence), confidence) == n


def test_readings_needed_for_published_cases():
    """Common tables: 95/95 takes 59 good readings, or 93 with one failure; 93.5 % takes 45."""
    assert survey.readings_needed(0.935, 0.95) == 45
    assert survey.readings_needed([0.95, 0.95], 0.95, [0, 1]).tolist() == [59, 93]


# --- mean, band, counts ---


def test_confidence_interval_against_scipy():
    values = np.random.default_rng(7).normal(12.0, 0.9, 24)
    n, mean, sd = survey.summarize(values)
    found = survey.confidence_interval(mean, sd, n, 0.9)
    expected = stats.t.interval(0.9, 23, loc=np.mean(values), scale=stats.sem(values))
    assert found == pytest.approx(expected, rel=1e-10)


@given(st.floats(5, 30), st.floats(0, 5), st.floats(0.5, 0.99))
def test_mean_for_share_below_leaves_just_that_share(limit, sd, share):
    mean = survey.mean_for_share_below(limit, sd, share)
    assert mean <= limit
    if sd > 0.01:
        assert stats.norm.cdf(limit, mean, sd) == pytest.approx(share, rel=1e-9)


@given(st.lists(st.floats(5, 25), min_size=1, max_size=60), st.floats(5, 15), st.floats(15, 25))
def test_band_counts_add_up(values, lower, upper):
    below, inside, above = survey.within_band(values, lower, upper)
    assert below + inside + above == len(values)
    assert inside == sum(lower <= value <= upper for value in values)


def test_band_includes_its_limits():
    assert survey.within_band([8.3, 8.4, 12.0, 15.6, 15.7], 8.4, 15.6) == (1, 3, 1)


REFUSED = [
    (survey.share_shown, (45, 0, 95), "confidence must be a fraction above 0 and below 1.*95"),
    (survey.share_shown, (45, 46, 0.95), "failures must not be more than n.*46"),
    (survey.share_shown, (4.5, 0, 0.95), "n must be a whole number"),
    (survey.readings_needed, (0.9999999, 0.95), "more than 1000000 readings"),
    (survey.tolerance_limits, ([12.0], 0.95, 0.95), "2 readings or more"),
    (survey.tolerance_limits, ([12.0, np.nan], 0.95, 0.95), "no missing reading.*index 1"),
    (survey.tolerance_limits, ([12.0, 13.0], 95, 0.95), "share must be a fraction"),
    (survey.confidence_interval, (12.2, 0.86, 1, 0.95), "n must lie between 2 and"),
    (survey.confidence_interval, (12.2, -0.1, 30, 0.95), "sd must lie between 0"),
    (survey.within_band, ([12.0], 15.6, 8.4), "lower must not be above upper"),
]


@pytest.mark.parametrize(("function", "arguments", "message"), REFUSED)
def test_errors_name_argument_value_and_range(function, arguments, message):
    with pytest.raises(ValueError, match=message):
        function(*arguments)


def test_unknown_sides_are_refused():
    with pytest.raises(ValueError, match=r"one of 'two', 'lower', 'upper'; received 'both'"):
        survey.tolerance_factor(10, 0.95, 0.95, sides="both")


def test_scipy_stays_out_until_it_is_needed():
    code = "import sys, kilnfolio.physics.survey; sys.exit('scipy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize(("degrees", "point"), [(1, 3.841), (5, 11.070), (9, 16.919), (29, 42.557)])
def test_chance_above_at_the_printed_five_percent_points(degrees, point):
    """Any table of chi-square, such as Berthouex and Brown's (from memory); the distribution by
    scipy.stats."""
    assert survey.chance_above(point, degrees) == pytest.approx(0.05, abs=2e-5)
    for value in (0.0, 0.3, 4.0, 30.0, 200.0):
        assert survey.chance_above(value, degrees) == pytest.approx(
            stats.chi2.sf(value, degrees), rel=1e-9
        )


@pytest.mark.parametrize(("value", "degrees"), [(-1.0, 3), (float("nan"), 3), (1.0, 4), (1.0, -1)])
def test_chance_above_refuses_invalid_inputs(value, degrees):
    with pytest.raises(ValueError, match="must be"):
        survey.chance_above(value, degrees)
