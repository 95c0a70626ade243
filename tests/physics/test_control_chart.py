"""Control charts against the NIST/SEMATECH handbook's worked example and known properties."""

from functools import partial

import numpy as np
import pytest
from scipy import stats

from kilnfolio.physics.control_chart import (
    DRAWS,
    LEAST,
    RUN,
    _upper_quantile,
    beyond_limits,
    change_point,
    control_limits,
    judged,
    runs_on_one_side,
    shift_scores,
    shift_width_for,
    width_for,
)

#: Annual flow of the Nile at Aswan, 1871 to 1970, in 1e8 m³ (Cobb, Biometrika 65 (1978), 243; the
#: data set "Nile" of R). It fell after 1898, when work on the dam began. From memory.
NILE = np.array([
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180,
    799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833,
    701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845,
    864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649,
    846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815,
    1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
])  # fmt: skip

#: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, "Example of moving range": the flow
#: rates of ten batches, their mean and the limits printed there. From memory.
FLOW_RATES = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


#: The same, 6.3.2.3, "CUSUM Control Charts": twenty means about 325, which rise with the 13th, and the
#: cumulative sums of their differences from 325 printed beside them. From memory.
CUSUM_MEANS = (
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
)  # fmt: skip
CUSUM_PRINTED = (
    -0.07, -0.40, -0.67, -1.32, -0.97, -0.75, -1.62, -2.10, -1.87, -2.27, -2.65, -2.50, 0.83, 3.08,
    5.90, 9.40, 11.08, 13.85, 15.73, 19.08,
)  # fmt: skip


def test_the_handbooks_cumulative_sums_give_the_scores_and_the_shift():
    """About the mean of the n values, a sum is that about 325 less its share of the whole."""
    n, values = 20, np.array(CUSUM_MEANS)
    k = np.arange(1, n)
    about_mean = np.array(CUSUM_PRINTED[:-1]) - k / n * CUSUM_PRINTED[-1]
    scores = shift_scores(values) * values.std(ddof=1) * np.sqrt(k * (n - k) / n)
    assert scores == pytest.approx(about_mean, abs=0.011)  # printed to two decimals
    assert change_point(values) == 12
    assert judged(values, 0.01).shifted == 12


def test_the_handbooks_worked_example_is_reproduced():
    limits = control_limits(FLOW_RATES)
    assert limits.n == 10
    assert limits.mean == pytest.approx(50.81, abs=0.005)
    assert limits.high == pytest.approx(55.8041, abs=0.0005)
    assert limits.low == pytest.approx(45.8159, abs=0.0005)
    assert beyond_limits(FLOW_RATES) == []
    assert runs_on_one_side(FLOW_RATES) == []


def test_a_shift_and_a_slow_change_are_found_where_they_occur():
    rng = np.random.default_rng(26)
    steady = rng.normal(0.0, 1.0, 20)
    assert beyond_limits([*steady, 9.0]) == [20]
    shifted = np.concatenate([np.tile([0.0, 0.2], 8), np.tile([1.0, 1.2], 8)])
    assert runs_on_one_side(shifted) == [(0, 15), (16, 31)]


def test_the_second_rule_needs_eight_points_in_a_row():
    assert runs_on_one_side([*[1.0] * (RUN - 1), *[-1.0] * (RUN - 1)]) == []
    assert runs_on_one_side([*[1.0] * RUN, *[-1.0] * RUN]) == [(0, 7), (8, 15)]


def test_limits_scale_with_the_unit_and_are_the_same_in_reverse_order():
    values = np.random.default_rng(3).normal(2.0, 0.5, 12)
    limits, scaled = control_limits(values), control_limits(1.8 * values + 32.0)
    assert scaled.high == pytest.approx(1.8 * limits.high + 32.0)
    assert scaled.low == pytest.approx(1.8 * limits.low + 32.0)
    assert control_limits(values[::-1]).high == pytest.approx(limits.high)


def test_sigma_is_right_for_normally_distributed_values():
    rng = np.random.default_rng(7)
    sigmas = [control_limits(rng.normal(0.0, 1.0, 30)).sigma for _ in range(2_000)]
    assert np.mean(sigmas) == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(("n", "one_in"), [(LEAST, 80), (20, 15)])
def test_false_signals_are_as_rare_as_the_page_of_a_kiln_says(n, one_in):
    charts = np.random.default_rng(7).normal(0.0, 1.0, (3_000, n))
    named = sum(bool(beyond_limits(one) or runs_on_one_side(one)) for one in charts)
    assert 0.5 < named / 3_000 * one_in < 1.5


@pytest.mark.parametrize("values", [[], [1.0], [1.0, float("nan")], [[1.0, 2.0], [3.0, 4.0]]])
def test_series_that_cannot_be_judged_are_refused(values):
    with pytest.raises(ValueError, match="values must"):
        control_limits(values)


def test_the_nile_shifted_after_1898():
    assert NILE.size == 100
    assert 1871 + change_point(NILE) == 1899
    assert np.abs(shift_scores(NILE)).max() > shift_width_for(NILE, 0.001)


def test_scores_are_those_of_students_t_test_at_each_moment():
    """With r² = t² / (t² + n − 2), a score is r √(n − 1); scipy.stats gives t."""
    values = np.random.default_rng(4).normal(0.0, 1.0, 15)
    for at, score in enumerate(shift_scores(values), 1):
        t = stats.ttest_ind(values[:at], values[at:]).statistic if 1 < at < 14 else None
        if t is not None:
            assert score == pytest.approx(t * np.sqrt(14 / (t**2 + 13)))


@pytest.mark.parametrize("n", [8, 40])
@pytest.mark.parametrize("chance", [0.05, 0.005])
def test_steady_series_exceed_the_widths_as_rarely_as_promised(n, chance):
    charts = np.random.default_rng(99).normal(5.0, 2.0, (4_000, n))
    sigma = np.abs(np.diff(charts, axis=1)).mean(axis=1) / 1.128
    widest = np.abs(charts - charts.mean(axis=1, keepdims=True)).max(axis=1) / sigma
    assert (widest > width_for(n, chance)).mean() == pytest.approx(chance, rel=0.4)


def test_a_shift_is_claimed_as_rarely_as_promised_whatever_the_distribution():
    skewed = np.random.default_rng(98).exponential(1.0, (100, 15))
    said = [np.abs(shift_scores(one)).max() > shift_width_for(one, 0.05) for one in skewed]
    assert np.mean(said) < 0.12  # promised 0.05; 100 series exceed 0.12 once in a thousand times


def test_both_rules_share_the_chance():
    values = np.random.default_rng(5).normal(0.0, 1.0, 20)
    found = judged(values, 0.05)
    assert found.limits.width == width_for(20, 0.025)
    assert found.score_limit == shift_width_for(values, 0.025)
    assert (found.beyond, found.shifted, found.before) == ((), None, None)
    assert judged([*values, 12.0], 0.05).beyond == (20,)


def test_a_rarer_chance_needs_wider_limits():
    for width in (partial(width_for, 10), partial(shift_width_for, NILE)):
        rare = [width(chance) for chance in (1e-3, 1e-4, 1e-5, 1e-6, 1e-9)]
        assert np.isfinite(rare).all()
        assert rare == sorted(rare)


@pytest.mark.parametrize("chance", [2e-5, 1e-6, 1e-7])
@pytest.mark.parametrize("many", [1, 20])
def test_rarer_chances_than_the_draws_are_near_the_exact_quantile(chance, many):
    """The largest of independent normal values has an exact quantile: scipy's normal distribution."""
    drawn = np.abs(np.random.default_rng(7).standard_normal((DRAWS, many))).max(axis=1)
    exact = stats.norm.isf(-np.expm1(np.log1p(-chance) / many) / 2.0)
    assert _upper_quantile(drawn, chance) == pytest.approx(exact, rel=0.12)
