"""A kiln's page names the charge from which the kiln runs differently, and none for a steady kiln."""

import numpy as np

from kilnfolio.charts.trends import Trend
from kilnfolio.physics.control_chart import LEAST
from kilnfolio.site.pages.kilns import steadiness

CHARGES = [f"C{number}" for number in range(1, 25)]


def test_a_charge_whose_sides_were_far_apart_is_named():
    values = [1.2, 1.6, 0.9, 1.8, 0.9, 1.4, 2.3, 1.5, 1.1, 9.0, 1.3, 1.2]
    found = steadiness(Trend("Sides", "K", values, from_zero=True), CHARGES[:12])
    assert [(charge, what) for charge, _, what in found.signals] == [("C10", "above its limit")]
    assert found.signals[0][1] == "charges/C10.html"


def test_the_charge_from_which_a_wick_is_worse_is_named():
    rng = np.random.default_rng(2)
    values = [*rng.normal(0.0, 0.2, 12), *rng.normal(-1.0, 0.2, 12)]
    signals = steadiness(Trend("Wick", "K/day", values), CHARGES).signals
    assert ("C13", "below the mean in 12 charges in a row, from this one on") in [
        (charge, what) for charge, _, what in signals
    ]


def test_charges_without_a_value_are_left_out_and_the_others_keep_their_names():
    values = [None, 1.2, 1.6, None, 0.9, 1.8, 0.9, 1.4, 1.5, 9.0, 1.1]
    (signal,) = steadiness(Trend("Sides", "K", values), CHARGES[:11]).signals
    assert signal[0] == "C10"


def test_too_few_charges_give_no_result():
    found = steadiness(Trend("Sides", "K", [1.0] * (LEAST - 2) + [99.0]), CHARGES[: LEAST - 1])
    assert found.trend.limits is None
    assert found.signals == []


def test_a_quantity_never_below_zero_has_no_lower_limit_below_zero():
    values = [0.0, 40.0, 2.0, 35.0, 1.0, 50.0, 3.0, 45.0]
    assert steadiness(Trend("Over", "K h", values, from_zero=True), CHARGES[:8]).trend.low is None
    assert steadiness(Trend("Over", "K h", values), CHARGES[:8]).trend.low < 0.0
