"""Fixtures of the benchmarks: results are printed and written as JSON."""

import sys
from collections.abc import Iterator

import pytest
from tests.bench.harness import Book


@pytest.fixture(scope="session")
def book() -> Iterator[Book]:
    found = Book()
    yield found
    sys.stdout.write(f"\n\nwritten: {found.write()}\n")
