"""Control charts against the NIST/SEMATECH handbook's worked example and known properties."""

import numpy as np
import pytest

from kilnfolio.physics.control_chart import (
    LEAST,
    RUN,
    beyond_limits,
    control_limits,
    runs_on_one_side,
)

#: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, "Example of moving range": the flow
#: rates of ten batches, their mean and the limits printed there. From memory.
FLOW_RATES = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


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
