"""Numbers of a uniform log are read by their digits: to the last bit what Python reads."""

import random

import numpy as np
import pytest

from kilnfolio.records.grid import grid_of


def column(cells, decimal=".", missing=()):
    body = "\n".join(f"x;{cell}" for cell in cells).encode()
    grid = grid_of(body, ";", 2)
    assert grid is not None
    return grid.numbers(1, decimal, missing)


def number(rng, decimals):
    whole = "".join(rng.choices("0123456789", k=rng.randint(1, 9)))
    after = "".join(rng.choices("0123456789", k=decimals))
    return rng.choice(("", "", "-")) + whole + ("." + after if after else "")


@pytest.mark.parametrize("decimals", range(5))
def test_every_number_is_the_double_nearest_to_its_text(decimals):
    rng = random.Random(decimals)
    cells = [number(rng, decimals) for _ in range(2000)]
    expected = np.array([float(cell) for cell in cells])
    assert column(cells).tobytes() == expected.tobytes()
    assert column([cell.replace(".", ",") for cell in cells], ",").tobytes() == expected.tobytes()


def test_cells_that_are_not_alike_are_read_too():
    cells = ["1.25", "-3", "+4.5", "", "-999", "n/a", "12345678901234567", "0.5"]
    expected = [1.25, -3.0, 4.5, np.nan, np.nan, np.nan, 12345678901234567.0, 0.5]
    np.testing.assert_array_equal(column(cells, missing=["-999", "n/a"]), expected)


@pytest.mark.parametrize("cell", ["1.2.3", "1-2", "--1", ".", "-", "1,5", "12a", "1e3", "1 2", "٣"])
def test_a_cell_that_is_no_plain_number_is_left_to_others(cell):
    assert column(["1.5", cell, "2.5"]) is None
    assert column([cell, "2.5", "2.5"]) is None
