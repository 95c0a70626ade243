"""A test of many rows fails where any of them does, and names each."""

import pytest
from tests.rows import each_of


def test_every_row_that_fails_is_named():
    @each_of([1, 2, 3, 4], name=lambda row: f"row {row}")
    def two(row, number):
        assert row % 2 == 0
        with pytest.raises(ZeroDivisionError):
            1 // (row - number)

    with pytest.raises(AssertionError, match="3 of 4 rows fail") as failed:
        two(number=2)
    told = [line.partition(":")[0] for line in str(failed.value).splitlines()]
    assert [line for line in told if line.startswith("row")] == ["row 1", "row 3", "row 4"]


def test_a_test_without_rows_fails():
    with pytest.raises(AssertionError, match="no row"):
        each_of([])(lambda _: None)()
