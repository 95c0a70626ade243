"""The mill that the tests of builds start from."""

from pathlib import Path

import pytest
from tests.pipeline.test_changes import built_once


@pytest.fixture(scope="session")
def built() -> Path:
    """Return a mill of two charges, built; no test changes it."""
    return built_once()
