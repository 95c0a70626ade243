"""Helpers shared by the tests of records."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from kilnfolio.records.problems import RecordProblems


def refused(function: Callable[..., Any], *arguments: Any, **keywords: Any) -> list[str]:
    """Return the messages with which a call is refused."""
    with pytest.raises(RecordProblems) as caught:
        function(*arguments, **keywords)
    return [str(problem) for problem in caught.value.problems]
