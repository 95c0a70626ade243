"""The drying board against Crank's series, finer grids and the laws of drying."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.conftest import WHOLE

from kilnfolio.physics.drying import Air, Board, advance, dry

PLAIN = {"mc_effect": 0.0, "activation_j_mol": 0.0}
HALF_MM, D = 13.5, 2e-10
OAK = Board(27.0, 80.0, 1.2e-10, mc_effect=0.05)


def steady(hours, emc=10.0, temp=45.0, every=1.0):
    times = np.arange(every, hours + every / 2, every)
    return Air(times, np.full(times.size, temp), np.full(times.size, emc))


@pytest.mark.parametrize("biot", [0.5, 1.0, 5.0, 10.0, np.inf])
def test_the_mean_agrees_with_cranks_series(reference, biot):
    """Series of 400 to 2 000 terms: within 0.25 point of MC from the end of the first day."""
    kind = "average_uptake_inf" if np.isinf(biot) else "average_uptake_L"
    table = reference("diffusion_check.csv").where(quantity=kind)
    rows = np.ones(len(table), bool) if np.isinf(biot) else table["L"] == biot
    times = table["T_Dt_over_l2"][rows] * (HALF_MM / 1000) ** 2 / D / 3600
    late = times >= 24
    face = np.inf if np.isinf(biot) else biot * D / (HALF_MM / 1000)
    board = Board(2 * HALF_MM, 27.0, D, face, **PLAIN)
    air = Air(times[late], np.full(late.sum(), 45.0), np.full(late.sum(), 7.0))
    expected = 27.0 - 20.0 * table["value"][rows][late]
    np.testing.assert_allclose(dry(board, air).mean_pct, expected, atol=0.25)
    assert late.sum() >= 5


def test_eight_cells_agree_with_a_hundred():
    """Green oak, whose D falls steeply as it dries: within 0.3 point of 100 cells."""
    air = steady(40 * 24, emc=7.0, every=4.0)
    coarse, fine = dry(OAK, air).mean_pct, dry(OAK, air, cells=100, step_hours=1.0).mean_pct
    assert np.abs(coarse - fine)[5:].max() < 0.3


def test_the_scheme_is_second_order_in_space_and_first_order_in_time():
    """Halving a cell quarters the error; halving a step halves it, as backward Euler does."""
    board = Board(27.0, 60.0, D, 6e-8)
    air = Air([240.0], [45.0], [10.0])

    def mean(cells, step):
        return dry(board, air, cells=cells, step_hours=step).mean_pct[-1]

    exact = mean(64, 1.0)
    space = np.log2(abs(mean(8, 1.0) - exact) / abs(mean(16, 1.0) - exact))
    exact = mean(16, 1 / 8)
    time = np.log2(abs(mean(16, 4.0) - exact) / abs(mean(16, 2.0) - exact))
    assert space == pytest.approx(2.0, abs=0.35)
    assert time == pytest.approx(1.0, abs=0.2)


def test_a_sealed_board_keeps_its_water_and_evens_out():
    profile = np.linspace(10.0, 60.0, 8)
    board = Board(27.0, 35.0, D, 0.0)
    after, _ = advance(board, profile, 24 * 400.0, 60.0, 5.0)
    assert after.mean() == pytest.approx(profile.mean(), abs=1e-10)
    assert np.ptp(after) < 0.1


def test_water_lost_is_the_flow_through_the_face():
    """In the constant-rate period the face is above FSP and q = h (FSP - EMC) exactly."""
    board = Board(27.0, 90.0, 1e-9, 1e-8, **PLAIN)
    profile, face = advance(board, board.start(), 24.0, 45.0, 10.0, step_hours=0.25)
    assert face > 28
    lost = (90.0 - profile.mean()) * HALF_MM / 1000
    assert lost == pytest.approx(1e-8 * 18.0 * 24 * 3600, rel=2e-3)


AIRS = st.lists(st.tuples(st.floats(20, 80), st.floats(2, 18)), min_size=2, max_size=12)


@settings(max_examples=40, deadline=None)
@given(AIRS, st.floats(30, 110), st.floats(15, 60))
def test_profile_stays_between_emc_and_start(air, start, thickness):
    temps, emcs = zip(*air, strict=True)
    hours = np.arange(1, len(air) + 1) * 12.0
    result = dry(Board(thickness, start, 3e-10), Air(hours, temps, emcs))
    assert result.cells_pct.max() <= start + 1e-9
    assert result.cells_pct.min() >= min(emcs) - 1e-9
    assert (result.face_pct <= result.cells_pct[..., 0] + 1e-6).all() or len(set(emcs)) > 1


@settings(max_examples=30 if WHOLE else 8, deadline=None)
@given(st.floats(20, 50), st.floats(25, 70), st.floats(4, 14))
def test_thicker_cooler_and_moister_dry_more_slowly(thickness, temp, emc):
    def left(mm, celsius, emc_pct):
        return dry(Board(mm, 70.0, 2e-10), steady(240, emc_pct, celsius, 24.0)).mean_pct[-1]

    usual = left(thickness, temp, emc)
    assert left(thickness * 1.2, temp, emc) > usual
    assert left(thickness, temp - 5, emc) > usual
    assert left(thickness, temp, emc + 2) > usual


def test_time_grows_with_the_square_of_thickness_where_the_face_is_free():
    thin, thick = (Board(mm, 27.0, D, np.inf, **PLAIN) for mm in (20.0, 40.0))
    first = dry(thin, steady(100, every=2.0), step_hours=0.5).mean_pct
    second = dry(thick, steady(400, every=8.0), step_hours=2.0).mean_pct
    np.testing.assert_allclose(first, second, atol=1e-9)


def test_boards_are_computed_independently():
    thickness, start = np.array([20.0, 27.0, 52.0]), np.array([90.0, 60.0, 30.0])
    together = dry(Board(thickness, start, D), steady(120, every=4.0))
    for i in range(3):
        alone = dry(Board(thickness[i], start[i], D), steady(120, every=4.0))
        np.testing.assert_allclose(together.cells_pct[:, i], alone.cells_pct, atol=1e-9)
    backward = dry(Board(thickness[::-1], start[::-1], D), steady(120, every=4.0))
    np.testing.assert_allclose(backward.mean_pct[:, ::-1], together.mean_pct, atol=1e-9)


def test_later_air_does_not_change_earlier_results():
    short, long = dry(OAK, steady(48)), dry(OAK, steady(96))
    np.testing.assert_array_equal(short.cells_pct, long.cells_pct[:48])


def test_shell_and_core_are_the_halves_of_the_profile():
    result = dry(OAK, steady(100))
    np.testing.assert_allclose((result.shell_pct + result.core_pct) / 2, result.mean_pct)
    assert (result.shell_pct < result.core_pct).all()


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Board(0.5, 60.0, D), "thickness_mm"),
        (lambda: Board(27.0, 600.0, D), "initial_mc_pct"),
        (lambda: Board(27.0, 60.0, 1.0), "diffusivity_m2_s"),
        (lambda: Board(27.0, 60.0, D, -1.0), "face_m_s"),
        (lambda: Air([], [], []), "hours"),
        (lambda: Air([1.0, 1.0], [40.0, 40.0], [10.0, 10.0]), "hours must rise"),
        (lambda: Air([1.0], [40.0, 41.0], [10.0]), "dry_bulb_c"),
        (lambda: Air([1.0], [40.0], [50.0]), "emc_pct"),
        (lambda: dry(OAK, steady(4), cells=7), "cells"),
        (lambda: dry(OAK, steady(4), step_hours=6.0), "step_hours"),
    ],
)
def test_bad_inputs_are_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()
