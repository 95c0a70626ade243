"""The gradient index against the check values in the drying model's design.

They were computed by another program of the same equations and printed to two decimals.
"""

from functools import cache

import numpy as np
import pytest

from kilnfolio.physics.drying import Air, Board, Drying, dry, gradient_index


@cache
def peak(emc=14.0, thickness=27.6, diffusivity=2e-10, face=6e-8):
    """The largest index of a board from 80 %, at 45 °C, in steady air; shrinkage 10 %."""
    hours = np.arange(2.0, 1600.0, 2.0)  # the peak comes within weeks
    air = Air(hours, np.full(hours.size, 45.0), np.full(hours.size, emc))
    return gradient_index(dry(Board(thickness, 80.0, diffusivity, face), air), 10.0).max()


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({"emc": 18.0}, 1.82),
        ({}, 2.60),
        ({"emc": 10.0}, 3.39),
        ({"emc": 6.0}, 4.22),
        ({"thickness": 12.0}, 1.77),
        ({"thickness": 40.0}, 2.93),
        ({"thickness": 54.0}, 3.17),
        ({"thickness": 80.0}, 3.45),
        ({"diffusivity": 5e-10}, 1.69),
        ({"diffusivity": 1e-10}, 3.19),
        ({"face": 2e-8}, 1.51),
        ({"face": 2e-7}, 3.55),
    ],
)
def test_peaks(changed, expected):
    assert peak(**changed) == pytest.approx(expected, rel=0.012)


def test_the_peak_does_not_depend_on_the_number_of_cells():
    """Eight cells read 2.60, sixty 2.59, because the face MC is solved."""
    hours = np.arange(1.0, 400.0)
    air = Air(hours, np.full(hours.size, 45.0), np.full(hours.size, 14.0))
    board = Board(27.6, 80.0, 2e-10)
    fine = gradient_index(dry(board, air, cells=60), 10.0).max()
    assert gradient_index(dry(board, air), 10.0).max() == pytest.approx(fine, abs=0.02)


def test_an_even_profile_has_index_zero_and_a_wetter_shell_a_negative_one():
    even = Drying(np.array([1.0]), np.full((1, 8), 12.0), np.array([12.0]), np.array(28.0))
    assert gradient_index(even, 10.0) == pytest.approx(0.0)
    damp = Drying(np.array([1.0]), np.full((1, 8), 8.0), np.array([11.0]), np.array(28.0))
    assert gradient_index(damp, 10.0) == pytest.approx(-10 / 28 * 3)


def test_milder_changes_lower_the_peak():
    for worse, better in ((6.0, 10.0), (10.0, 14.0), (14.0, 18.0)):
        assert peak(emc=worse) > peak(emc=better)


def test_shrinkage_must_be_a_share():
    even = Drying(np.array([1.0]), np.full((1, 8), 12.0), np.array([12.0]), np.array(28.0))
    with pytest.raises(ValueError, match="shrinkage"):
        gradient_index(even, 40.0)
