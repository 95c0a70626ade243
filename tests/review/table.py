"""What a row of the tables of checks is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tests.review.inline import make_case, make_lot_case


@dataclass(frozen=True)
class Fault:
    """A charge or lot that breaks one rule.

    `says` is every sentence of the check, in order; `at` what the first finding's line holds: the
    text of a record's line, or the number of the log's line. `value` and `limit` are the first's.
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
    """Return a charge or lot of which nothing of the kind is claimed or run."""
    return Blank(slug, changes, says, make or {}, "not applicable")


@dataclass(frozen=True)
class Edge:
    """Both sides of a limit.

    `case` makes the charge or lot with the measured quantity `e` beyond the limit (within, where
    `e` is negative); `step` is how near the limit is tried. The limit itself is read from
    limits.yaml inside `case`. `within` and `beyond` are the outcomes on the two sides.
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
