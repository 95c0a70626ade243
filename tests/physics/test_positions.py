"""Positions: intervals and predictions that hold as often as they say, on simulated loads."""

import numpy as np
import pytest

from kilnfolio.physics.positions import best_next, load_model, position_effects, predicted_rest

#: Box, Hunter and Hunter, Statistics for Experimenters (1978), 7.2: yield of penicillin, five blends
#: (rows) by four treatments. From memory; sums of squares printed there: blends 264 with 4 degrees of
#: freedom, treatments 70, residuals 226 with 12; treatment means 84, 85, 89, 86.
PENICILLIN = (
    (89, 88, 97, 94), (84, 77, 92, 79), (81, 87, 87, 85), (87, 92, 89, 84), (79, 81, 80, 88),
)  # fmt: skip
EFFECTS = np.array([0.0, 0.1, -0.2, 0.8, 0.0, -0.3, 0.1, -0.5])


def loads(rng, charges, within=0.3, between=0.4):
    shape = (charges, EFFECTS.size)
    return EFFECTS + rng.normal(0, between, (charges, 1)) + rng.normal(0, within, shape)


def test_effects_and_variance_components_of_a_known_table():
    effects = position_effects(PENICILLIN)
    assert effects.effect == pytest.approx([84 - 86, 85 - 86, 89 - 86, 86 - 86])
    model = load_model(PENICILLIN)
    residual = 226 / 12
    assert model.within.mean() == pytest.approx(residual)
    assert model.between == pytest.approx((264 / 4 - residual) / 4)


def test_all_intervals_together_hold_as_often_as_they_say():
    rng = np.random.default_rng(1)
    held = []
    for _ in range(400):
        found = position_effects(loads(rng, 15))
        true = EFFECTS - EFFECTS.mean()
        held.append((np.abs(found.effect - true) <= found.half).all())
    assert np.mean(held) > 0.93


def test_the_rest_of_a_load_is_predicted_as_well_as_said():
    rng = np.random.default_rng(2)
    inside, widths = [], []
    for _ in range(400):
        made = loads(rng, 20)
        model, new = load_model(made[:-1]), made[-1]
        measured = np.where(np.arange(EFFECTS.size) < 3, new, np.nan)
        _, low, high = predicted_rest(model, measured)
        inside.append(low <= new[3:].mean() <= high)
        widths.append(high - low)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.03)
    # known variances give 0.3 √(1/3 + 1/5) for a charge that tells all about itself
    assert np.mean(widths) < 2 * 2.3 * 0.3 * np.sqrt(1 / 3 + 1 / 5)


def test_variances_are_found():
    model = load_model(loads(np.random.default_rng(3), 4_000))
    assert model.between == pytest.approx(0.16, rel=0.1)
    assert model.within == pytest.approx(np.full(EFFECTS.size, 0.09), rel=0.1)


def test_the_pack_that_varies_most_is_measured_next():
    rng = np.random.default_rng(4)
    made = loads(rng, 400)
    made[:, 6] += rng.normal(0, 1.0, 400)
    spread = best_next(load_model(made), [True, *[False] * 7])
    assert np.nanargmin(spread) == 6
    assert np.isnan(spread[0])


def test_positions_that_were_not_measured_are_left_open():
    table = loads(np.random.default_rng(5), 10)
    table[:, 2] = np.nan
    found = position_effects(table)
    assert found.charges[2] == 0
    assert np.isinf(found.half[2])
    with pytest.raises(ValueError, match="two charges"):
        load_model(table)


@pytest.mark.parametrize(
    "call",
    [
        lambda: position_effects([1.0, 2.0]),
        lambda: predicted_rest(load_model(loads(np.random.default_rng(6), 9)), [1.0] * 8),
        lambda: best_next(load_model(loads(np.random.default_rng(6), 9)), [True]),
    ],
)
def test_tables_of_another_shape_are_refused(call):
    with pytest.raises(ValueError, match="must"):
        call()
