"""One test of many rows, which names every row that fails.

Where rows are many and each takes next to nothing, collecting and reporting a test for each takes
longer than the tests.
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Collection
from typing import Any, TypeVar

import pytest

Row = TypeVar("Row")


def each_of(
    rows: Collection[Row], name: Callable[[Row], object] = str
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Try a test on each of some rows, whatever happens with the others.

    Parameters
    ----------
    rows : collection
        What the test takes as its first parameter; the others are fixtures.
    name : callable
        Names a row where it fails.
    """

    def whole(test: Callable[..., None]) -> Callable[..., None]:
        @functools.wraps(test)
        def tried(**fixtures: Any) -> None:
            assert rows, "there is no row to try"
            failed: dict[str, BaseException] = {}
            for row in rows:
                try:
                    test(row, **fixtures)
                except (Exception, pytest.fail.Exception) as error:
                    failed[str(name(row))] = error
            if failed:
                told = [f"{row}: {type(error).__name__}: {error}" for row, error in failed.items()]
                lines = "\n".join([f"{len(failed)} of {len(rows)} rows fail:", *told])
                raise AssertionError(lines) from next(iter(failed.values()))

        parameters = list(inspect.signature(test).parameters.values())
        tried.__signature__ = inspect.Signature(parameters[1:])  # type: ignore[attr-defined]
        return tried

    return whole
