"""The kinds of row in the tables of checks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tests.review.inline import make_case, make_lot_case


@dataclass(frozen=True)
class Fault:
    """A charge or lot that breaks one rule.

    `says` is every sentence of the check, in order; `at` is the text of the record's line that the
    first finding points at, or the number of the log's line. `value` and `limit` are those of the
    first finding.
    """

    slug: str
    changes: Mapping[str, Any]
    says: tuple[str, ...]
    at: str | int | None
    value: float | None = None
    limit: float | None = None
    outcome: str = ""
    make: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Blank:
    """A charge or lot without the data a check needs, and the reason it gives."""

    slug: str
    changes: Mapping[str, Any]
    says: str
    make: Mapping[str, Any] = field(default_factory=dict)
    outcome: str = "no data"


def NotRun(  # noqa: N802  reads as the row it makes
    slug: str, changes: Mapping[str, Any], says: str, make: Mapping[str, Any] | None = None
) -> Blank:
    """Return a charge or lot for which nothing of the kind is claimed or run."""
    return Blank(slug, changes, says, make or {}, "not applicable")


@dataclass(frozen=True)
class Edge:
    """Both sides of a limit.

    `case` makes the charge or lot with the measured quantity `e` beyond the limit (within it, if
    `e` is negative); `step` is how close to the limit it is tried. `case` reads the limit itself
    from limits.yaml. `within` and `beyond` are the outcomes on the two sides.
    """

    slug: str
    keys: str
    case: Callable[[float], Any]
    step: float = 0.01
    within: str = "pass"
    beyond: str = ""


def charge(changes: Mapping[str, Any] | None = None, **make: Any) -> Any:
    """Return a charge's case."""
    return make_case(changes or {}, **make)


def lot(changes: Mapping[str, Any] | None = None, **make: Any) -> Any:
    """Return a lot's case."""
    return make_lot_case(changes or {}, **make)
