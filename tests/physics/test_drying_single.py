"""One board in plain floats against the same board in arrays; other tests compare that with Crank."""

from itertools import product

import numpy as np
import pytest

from kilnfolio.physics.drying import Air, Board, SingleBoard, dry

CASES = list(product((12.0, 54.0), (1e-10, 5e-10), (0.0, 6e-8, 1e-4, np.inf), (0.0, 0.08, 0.3)))


@pytest.mark.parametrize(("thickness", "diffusivity", "face", "effect"), CASES)
def test_floats_and_arrays_agree_cell_by_cell(thickness, diffusivity, face, effect):
    board = Board(thickness, 70.0, diffusivity, face, effect)
    hours = np.cumsum([3.0, 9.0, 1.0, 24.0, 60.0, 5.0])
    temps, emcs = np.array([40, 45, 60, 70, 75, 70.0]), np.array([18, 14, 9, 4, 3, 11.0])
    arrays, single = dry(board, Air(hours, temps, emcs)), SingleBoard(board)
    for i, length in enumerate(np.diff(hours, prepend=0.0)):
        single.advance(float(length), float(temps[i]), float(emcs[i]))
        np.testing.assert_allclose(single.cells, arrays.cells_pct[i], atol=1e-9)
        assert single.face == pytest.approx(arrays.face_pct[i], abs=1e-9)
        assert single.mean == pytest.approx(arrays.mean_pct[i], abs=1e-9)


def test_one_starting_profile_is_accepted_and_several_are_refused():
    board = Board(27.0, 70.0, 2e-10)
    first = SingleBoard(board)
    first.advance(30.0, 50.0, 10.0)
    second = SingleBoard(board, first.cells)
    first.advance(8.0, 50.0, 10.0)
    second.advance(8.0, 50.0, 10.0)
    assert second.cells == pytest.approx(first.cells, abs=1e-12)
    with pytest.raises(ValueError, match="one board"):
        SingleBoard(Board([20.0, 30.0], 70.0, 2e-10))
    with pytest.raises(ValueError, match="hours"):
        first.advance(0.0, 50.0, 10.0)


def test_a_board_left_in_its_air_comes_to_rest_there():
    board = SingleBoard(Board(27.0, 70.0, 2e-10))
    for _ in range(40):
        board.advance(24.0 * 30, 60.0, 9.0)
    assert board.cells == pytest.approx([9.0] * 8, abs=1e-6)
    assert board.face == pytest.approx(9.0, abs=1e-6)


def test_a_face_far_drier_than_before_is_found():
    board = Board(25.0, 44.0, 1e-10, 9e-8, 0.3, fsp_pct=45.0)
    arrays, single = dry(board, Air([4.0], [45.0], [0.0])), SingleBoard(board)
    single.advance(4.0, 45.0, 0.0)
    np.testing.assert_allclose(single.cells, arrays.cells_pct[0], atol=1e-9)
    assert single.face == pytest.approx(arrays.face_pct[0], abs=1e-9)
