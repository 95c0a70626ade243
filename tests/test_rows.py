"""A test of many rows fails where any of them does, and names each."""

import pytest
from tests.rows import each_of


def test_every_row_that_fails_is_named():
    @each_of([1, 2, 3, 4], name=lambda row: f"row {row}")
    def even(row, least):
        assert row % 2 == 0
        with pytest.raises(ValueError, match="small"):
            if row < least:
                raise ValueError("too small")

    with pytest.raises(AssertionError, match="3 of 4 rows fail") as failed:
        even(least=3)
    assert [name in str(failed.value) for name in ("row 1", "row 2", "row 3", "row 4")] == [
        True,
        False,
        True,
        True,  # nothing refuses it
    ]


def test_a_test_without_rows_fails():
    with pytest.raises(AssertionError, match="no row"):
        each_of([])(lambda _: None)()
