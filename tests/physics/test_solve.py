"""Inversion of rising functions: one root and many are the same numbers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnfolio.physics import air, sorption
from kilnfolio.physics._solve import rising_root


def same(single, many):
    """Whether roots found one by one equal those found together, to the last bit."""
    return np.array_equal(np.array(single), many, equal_nan=True)


@given(st.lists(st.tuples(st.floats(-45, 99), st.floats(0, 100)), min_size=2, max_size=6))
def test_wet_bulbs_one_by_one_and_together_are_the_same(airs):
    dry, humidity = np.array(airs).T
    for method in ("ventilated", "weather-bureau"):
        single = [air.wet_bulb(*one, method=method) for one in airs]
        assert same(single, air.wet_bulb(dry, humidity, method=method))


@given(st.lists(st.tuples(st.floats(-20, 120), st.floats(0.5, 12)), min_size=2, max_size=6))
def test_humidities_for_an_emc_one_by_one_and_together_are_the_same(airs):
    temp, emc = np.array(airs).T
    single = [sorption.relative_humidity_for_emc(*one) for one in airs]
    assert same(single, sorption.relative_humidity_for_emc(temp, emc))


@pytest.mark.parametrize("shape", [(), (1,)])
def test_a_root_is_found_where_secants_fail(shape):
    """A jump has no slope, infinity no secant, and a root at an end no sign change."""

    def root(function):
        return rising_root(function, np.zeros(shape), np.full(shape, 8.0)).item()

    assert root(lambda x: np.where(x < 3.0, -1.0, 1.0)) == pytest.approx(3.0, abs=1e-14)
    assert root(lambda x: np.where(x < 3.0, x - 2.0, np.inf)) == pytest.approx(2.0, abs=1e-14)
    assert root(lambda x: x) == pytest.approx(0.0, abs=1e-14)
    assert root(lambda x: x - 8.0) == 8.0
    assert root(lambda x: (x - 5.0) ** 9) == pytest.approx(5.0, abs=1e-12)
    assert np.isnan(root(lambda x: x * np.nan))
