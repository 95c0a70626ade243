"""Crank's series against the check table, scipy's roots and a finite-difference board."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import solve_banded
from scipy.optimize import brentq

from kilnfolio.physics.diffusion import average_uptake, centre_uptake, surface_roots

TIME = st.floats(0, 5)


@pytest.mark.parametrize(
    ("quantity", "function"),
    [("average_uptake_inf", average_uptake), ("centre_uptake_inf", centre_uptake)],
)
def test_free_surface_against_the_table(reference, quantity, function):
    """Series of 2 000 terms, printed to 8 decimals."""
    table = reference("diffusion_check.csv").where(quantity=quantity)
    np.testing.assert_allclose(function(table["T_Dt_over_l2"]), table["value"], atol=6e-9)
    assert len(table) == 22


def test_surface_resistance_against_the_table(reference):
    """Series of 400 roots, printed to 6 decimals or more."""
    table = reference("diffusion_check.csv").where(quantity="average_uptake_L")
    for biot in np.unique(table["L"]):
        rows = table["L"] == biot
        found = average_uptake(table["T_Dt_over_l2"][rows], float(biot))
        np.testing.assert_allclose(found, table["value"][rows], atol=2e-6)
    assert len(table) == 72


def test_roots_against_the_table(reference):
    """Computed rows to 6 decimals; Crank's printed rows for L = 1 and 10, from memory, to 4."""
    checked = 0
    for quantity, tolerance in (("beta_root", 6e-7), ("beta_root_crank_table", 6e-5)):
        table = reference("diffusion_check.csv").where(quantity=quantity)
        for biot in np.unique(table["L"]):
            rows = table["L"] == biot
            found = surface_roots(float(biot), 6)[table["n"][rows].astype(int) - 1]
            np.testing.assert_allclose(found, table["value"][rows], atol=tolerance)
            checked += int(rows.sum())
    assert checked == 150


def test_roots_against_brentq():
    for biot in (0.003, 0.7, 4.0, 900.0):
        expected = [
            brentq(
                lambda b, biot=biot: b * np.sin(b) - biot * np.cos(b), n * np.pi, (n + 0.5) * np.pi
            )
            for n in range(20)
        ]
        np.testing.assert_allclose(surface_roots(biot, 20), expected, rtol=1e-10)


def test_half_time(reference):
    """Dt/(2l)² = 0.0492 at half uptake; Crank gives it as about 0.049 of the full thickness."""
    row = reference("diffusion_check.csv").where(quantity="half_time_inf").rows[0]
    found = brentq(lambda t: average_uptake(t) - 0.5, 0.01, 1.0, xtol=1e-14)
    assert found == pytest.approx(float(row["T_Dt_over_l2"]), abs=6e-9)
    assert found / 4 == pytest.approx(0.049, abs=5e-4)


def test_short_time_slope(reference):
    """Mt/Minf = 2 √(T/π) at first."""
    row = reference("diffusion_check.csv").where(quantity="short_time_slope").rows[0]
    times = np.array([1e-6, 1e-4, 1e-2])
    expected = float(row["value"]) * np.sqrt(times)
    np.testing.assert_allclose(average_uptake(times), expected, rtol=1e-6)


def test_joint_of_short_and_long_forms_does_not_show():
    times = np.array([0.03 * (1 - 1e-12), 0.03 * (1 + 1e-12)])
    before, after = average_uptake(times)
    assert after == pytest.approx(before, abs=1e-12)
    assert centre_uptake(0.005) == pytest.approx(0.0, abs=1e-14)


def finite_difference_board(biot, end, cells=400, steps=2000):
    """Half a board by Crank-Nicolson, the centre at x = 0 and the surface at x = 1."""
    dx, dt = 1.0 / cells, end / steps
    lower, main, upper = np.ones(cells + 1), np.full(cells + 1, -2.0), np.ones(cells + 1)
    upper[0] = 2.0  # no flux through the middle
    lower[-1], main[-1] = 2.0, -2.0 - 2.0 * dx * biot  # flux = biot × (1 - surface)
    source = np.zeros(cells + 1)
    source[-1] = 2.0 * dx * biot
    r = 0.5 * dt / dx**2
    bands = np.zeros((3, cells + 1))
    bands[0, 1:], bands[1], bands[2, :-1] = -r * upper[:-1], 1.0 - r * main, -r * lower[1:]
    content = np.zeros(cells + 1)
    for _ in range(steps):
        right = content + r * main * content + 2.0 * r * source
        right[:-1] += r * upper[:-1] * content[1:]
        right[1:] += r * lower[1:] * content[:-1]
        content = solve_banded((1, 1), bands, right)
    return np.trapezoid(content, dx=dx), content[0]


@pytest.mark.parametrize(("biot", "end"), [(0.5, 2.0), (1.0, 0.5), (10.0, 0.2)])
def test_surface_resistance_against_finite_differences(biot, end):
    average, centre = finite_difference_board(biot, end)
    assert average_uptake(end, biot) == pytest.approx(average, abs=2e-5)
    assert centre_uptake(end, biot) == pytest.approx(centre, abs=2e-5)


@given(TIME, TIME)
def test_uptake_rises_from_nothing_to_all_with_the_centre_behind(first, second):
    early, late = sorted((first, second))
    for biot in (np.inf, 2.0):
        averages, centres = average_uptake([early, late], biot), centre_uptake([early, late], biot)
        assert -1e-12 <= averages[0] <= averages[1] + 1e-12 <= 1.0 + 2e-12
        assert np.all(centres <= averages + 1e-12)
    assert average_uptake(0.0) == centre_uptake(0.0) == average_uptake(0.0, 2.0) == 0.0


@given(st.floats(0.01, 3), st.floats(0.1, 400))
def test_resistance_slows_and_a_free_surface_is_its_limit(time, biot):
    assert average_uptake(time, biot) < average_uptake(time, 1.5 * biot) < average_uptake(time)
    assert average_uptake(time, 1000.0) == pytest.approx(average_uptake(time), abs=3e-3)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((-0.1,), "dimensionless_time must lie between 0"),
        ((0.1, 0.0), "biot must lie above 0"),
        ((0.1, -np.inf), "biot must be finite"),
        ((0.1, [1.0, 2.0]), "biot must be a single number"),
    ],
)
@pytest.mark.parametrize("function", [average_uptake, centre_uptake])
def test_refusals(function, arguments, message):
    with pytest.raises(ValueError, match=message):
        function(*arguments)
