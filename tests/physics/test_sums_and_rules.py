"""Plain sums and rules of the trade, against arithmetic by hand and printed rules."""

import math

import numpy as np
import pytest

from kilnfolio.physics import rules, sums


def test_plain_sums_agree_with_arithmetic_by_hand():
    assert sums.mean([76.6, 74.6]) == pytest.approx(75.6)
    assert sums.total([1.5, 2.5, 3.0]) == 7.0
    assert sums.difference(43.7, 41.0) == pytest.approx(2.7)
    assert sums.ratio(8.6, 4.0) == pytest.approx(2.15)
    np.testing.assert_array_equal(sums.mean([[1.0, 3.0], [5.0, 7.0]]), [2.0, 6.0])


def test_independent_errors_combine_by_squares():
    """GUM (JCGM 100:2008), eq. 10: sides of 3 and 4 give 5."""
    assert sums.combined_uncertainty([3.0, -4.0]) == 5.0


def test_volume_of_a_pack():
    """240 boards of 27 × 180 mm, 3 m long: 240 × 0.027 × 0.18 × 3, by hand."""
    assert sums.volume_of_pieces(240, 27.0, 180.0, 3000.0) == pytest.approx(3.4992)


def test_green_and_dry_sizes_are_inverse():
    assert sums.shrunk_size(100.0, 8.6) == pytest.approx(91.4)
    assert sums.green_size(sums.shrunk_size(137.0, 9.9), 9.9) == pytest.approx(137.0)


def test_tolerance_limits_of_ten_readings():
    """Two-sided 95/95 factor for ten readings: 3.393 exact, 3.379 in older tables (ISO 16269-6)."""
    low, high = sums.tolerance_limits_of(12.0, 1.0, 10, 0.95, 0.95)
    assert (low, high) == pytest.approx((12.0 - 3.393, 12.0 + 3.393), abs=1e-3)


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: sums.mean([]), "values"),
        (lambda: sums.total([math.inf]), "values"),
        (lambda: sums.ratio(1.0, 0.0), "b"),
        (lambda: sums.volume_of_pieces(0, 27, 180, 3000), "pieces"),
        (lambda: sums.shrunk_size(100.0, 41.0), "shrinkage_pct"),
        (lambda: rules.equalizing_start(2.0, 2.0), "target_pct"),
        (lambda: rules.conditioning_emc(8.0, 40.0), "points_above"),
        (lambda: rules.thickness_scaled_rate(3.8, 1.0, 2.5), "thickness_mm"),
    ],
)
def test_values_out_of_range_are_refused_by_name(call, argument):
    with pytest.raises(ValueError, match=argument):
        call()


def test_equalizing_for_an_order_of_eight():
    """Wengert: start when the driest sample is 2 points below the target."""
    assert rules.equalizing_start(8.0, 2.0) == 6.0
    assert rules.equalizing_emc(8.0, 2.0) == 6.0
    assert rules.equalizing_start(8.0, 3.0) == 5.0  # FPL-GTR-57 prints 3


def test_conditioning_for_an_order_of_eight():
    """Dry Kiln Operator's Manual, ch. 7, from memory: target + 4 hardwood, + 3 softwood."""
    assert rules.conditioning_emc(8.0, 4.0) == 12.0
    assert rules.conditioning_emc(8.0, 3.0) == 11.0


def test_twice_the_thickness_takes_two_and_a_half_times_as_long():
    """Wengert: 8/4 at 1/2.5 of the 4/4 rate. Other thicknesses lie between and keep the order."""
    assert rules.thickness_scaled_rate(3.8, 50.8, 2.5) == pytest.approx(3.8 / 2.5)
    assert rules.thickness_scaled_rate(3.8, 25.4, 2.5) == pytest.approx(3.8)
    rates = rules.thickness_scaled_rate(3.8, np.array([19.0, 25.4, 38.0, 50.8, 76.0]), 2.5)
    assert np.all(np.diff(rates) < 0.0)
