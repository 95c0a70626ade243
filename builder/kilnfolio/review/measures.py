"""Measures of a charge: what follows from its records whatever the limits are, worked out once.

Copies of a case with other limits share their measures, so another value of a limit costs only the
judgement.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, NoReturn, Protocol, TypeVar, TypeVarTuple

from kilnfolio.records.limits import Limits
from kilnfolio.review.limits import LimitTable, Subject


class Measured(Protocol):
    """A case that keeps its measures."""

    @property
    def measures(self) -> dict[Any, Any]:
        """What is kept, by function and arguments."""


class _NoLimits(LimitTable):
    def find(self, key: str, subject: Subject | None = None) -> NoReturn:  # noqa: ARG002
        raise TypeError(f"a measure looks up the limit '{key}'; it takes the value as an argument")


_UNKNOWN = object()
_NO_LIMITS = _NoLimits(Limits.model_construct(format=1, revision=1, limits={}))

CaseT = TypeVar("CaseT", bound=Measured)
Values = TypeVarTuple("Values")
T = TypeVar("T")


def altered(one: T, **values: object) -> T:
    """Return a copy of an object with other attributes."""
    other = object.__new__(type(one))  # copy.copy and dataclasses.replace take ten times as long
    other.__dict__.update(one.__dict__, **values)
    return other


def under(case: T, limits: LimitTable) -> T:
    """Return a case with other limits; it shares its measures, and keeps nothing else."""
    return altered(case, limits=limits)


def measure(work: Callable[[CaseT, *Values], T]) -> Callable[[CaseT, *Values], T]:
    """Decorate a function of a case and of values: each result is worked out once for a charge.

    Its values can be hashed, and its result is not changed. It gets the case without limits.
    """

    @wraps(work)
    def once(case: CaseT, *values: *Values) -> T:
        place, measures = (work, values), case.measures
        found: T = measures.get(place, _UNKNOWN)
        if found is _UNKNOWN:
            found = measures[place] = work(under(case, _NO_LIMITS), *values)
        return found

    return once
