"""Repeatability, corrections and last digits, beside certified values and reference libraries.

NIST StRD: Statistical Reference Datasets, https://www.itl.nist.gov/div898/strd/, with certified
values; data and values from memory, and they agree with each other to the digits below, which no
slip of memory would.
"""

import math

import numpy as np
import pytest
from scipy import stats

from kilnfolio.physics.measuring import (
    corrected_interval,
    fitted_correction,
    last_digits,
    repeatability,
)

#: NIST StRD, SiRstv: resistivity of silicon wafers, five instruments, five readings by each.
SIRSTV = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)
#: NIST StRD, Norris: calibration of ozone monitors; y, then x.
NORRIS = """0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3
449.1 448.6 778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0
448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3
0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0 10.2 11.1 117.6 118.3
228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5"""


def norris():
    """Return x and y of the set."""
    values = np.array(NORRIS.split(), float)
    return values[1::2], values[0::2]


def test_repeatability_is_the_certified_within_instrument_standard_deviation():
    found = repeatability(SIRSTV)
    assert found.degrees == 20
    assert found.sd == pytest.approx(1.04076068334656e-01, rel=1e-9)
    assert found.limit == pytest.approx(2.8 * found.sd)


def test_the_interval_of_a_standard_deviation_covers_it_95_times_in_100():
    rng, held, trials = np.random.default_rng(5), 0, 2000
    for _ in range(trials):
        found = repeatability(list(rng.normal(8.0, 0.3, (6, 4))))
        held += found.low <= 0.3 <= found.high
    assert held / trials == pytest.approx(0.95, abs=0.015)


def test_pieces_that_were_read_once_add_nothing():
    assert repeatability([*SIRSTV, [300.0]]) == repeatability(SIRSTV)


def test_the_line_has_the_certified_coefficients():
    found = fitted_correction(*norris())
    assert found.pairs == 36
    assert found.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert found.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert found.intercept_error == pytest.approx(0.232818234301152, rel=1e-9)
    assert found.slope_error == pytest.approx(0.429796848199937e-03, rel=1e-9)
    assert found.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)


def test_a_correction_and_its_interval_are_those_of_least_squares_by_matrices():
    rng = np.random.default_rng(9)
    meter = rng.uniform(6, 14, 25)
    oven = 0.5 + 0.97 * meter + rng.normal(0, 0.4, 25)
    line = fitted_correction(meter, oven)
    design = np.column_stack([np.ones(25), meter])
    beta, (squares,), *_ = np.linalg.lstsq(design, oven, rcond=None)
    cov = np.linalg.inv(design.T @ design) * squares / 23
    for at in (6.0, 10.0, 14.0):
        row = np.array([1.0, at])
        value, half = corrected_interval(line, at)
        assert value == pytest.approx(float(row @ beta))
        assert half == pytest.approx(stats.t.ppf(0.975, 23) * math.sqrt(row @ cov @ row))


def test_the_interval_covers_the_true_correction_95_times_in_100():
    rng, held, trials = np.random.default_rng(3), 0, 2000
    for _ in range(trials):
        meter = rng.uniform(6, 14, 10)
        line = fitted_correction(meter, 0.5 + 0.97 * meter + rng.normal(0, 0.4, 10))
        value, half = corrected_interval(line, 8.0)
        held += abs(value - (0.5 + 0.97 * 8.0)) <= half
    assert held / trials == pytest.approx(0.95, abs=0.015)


def test_last_digits_are_those_of_a_chi_square_test():
    counts = [31, 4, 6, 5, 3, 28, 7, 4, 6, 6]
    found, other = last_digits(counts), stats.chisquare(counts)
    assert found.chi_square == pytest.approx(other.statistic)
    assert found.chance == pytest.approx(other.pvalue)


def test_even_digits_are_called_rounded_as_often_as_the_chance_says():
    rng, called, trials = np.random.default_rng(1), 0, 2000
    for _ in range(trials):
        counts = np.bincount(rng.integers(0, 10, 200), minlength=10)
        called += last_digits(counts).chance < 0.05
    assert called / trials == pytest.approx(0.05, abs=0.015)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: repeatability([[1.0], [2.0]]), "read twice"),
        (lambda: repeatability([[1.0, math.nan]]), "finite"),
        (lambda: fitted_correction([1, 2], [1, 2]), "3 or more"),
        (lambda: fitted_correction([8, 8, 8], [7, 8, 9]), "must differ"),
        (lambda: last_digits([0] * 10), "not all 0"),
        (lambda: last_digits([1, 2]), "ten numbers"),
    ],
)
def test_what_tells_nothing_is_refused(call, says):
    with pytest.raises(ValueError, match=says):
        call()
