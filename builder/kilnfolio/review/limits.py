"""Finds the narrowest limit that applies. All thresholds are in limits.yaml, none in code."""

from __future__ import annotations

import re
from dataclasses import field

from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.limits import Limit, Limits, Scope
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.runtime.values import dataclass

_FILE = "schedules/limits.yaml"


@dataclass(frozen=True)
class Subject:
    """What a limit is looked up for."""

    species: tuple[str, ...] = ()
    kind: str | None = None
    thickness_mm: float | None = None
    target_mc_pct: float | None = None


class NoLimit(RecordProblems, LookupError):  # noqa: N818  an outcome, not a fault
    """The limits file has no entry that applies.

    A check that needs it has no data. What cannot do without it is not made, and this is the problem.
    """

    def __init__(self, key: str):
        why = "the file holds none, or its scope does not fit"
        instead = "Copy its entry from a folder that 'kilnfolio new mill' makes"
        super().__init__([Problem(Place(_FILE), f"the limit '{key}' is missing", why, instead)])
        self.args = (f"{_FILE} has no limit '{key}' that fits",)


@dataclass(frozen=True)
class LimitTable:
    """The mill's limits for one subject."""

    limits: Limits
    subject: Subject = Subject()
    mill_in: tuple[str, ...] = ()
    """The mill's country and place, as in its record."""
    _found: dict[tuple[str, Subject | None], Limit] = field(
        default_factory=dict, compare=False, repr=False
    )

    def find(self, key: str, subject: Subject | None = None) -> Limit:
        """Return the limit with the narrowest scope that applies.

        Raises
        ------
        NoLimit
            No entry of that key applies.
        """
        if (only := self.limits.everywhere.get(key)) is not None:
            return only
        place = (key, subject)
        if (known := self._found.get(place)) is not None:
            return known
        subject = subject or self.subject
        fitting = [
            limit
            for limit in self.limits.limits.get(key, [])
            if fits(limit.scope, subject) and self._here(limit.scope)
        ]
        if not fitting:
            raise NoLimit(key)
        found = self._found[place] = max(fitting, key=lambda limit: limit.scope.narrowness)
        return found

    def _here(self, scope: Scope) -> bool:
        """Return whether a limit applies in the mill's region."""
        words = scope.region and rf"\b{re.escape(scope.region)}\b"
        return not words or any(re.search(words, place, re.IGNORECASE) for place in self.mill_in)

    def value(self, key: str, subject: Subject | None = None) -> float:
        """Return the value of the limit that applies; see `find`."""
        return self.find(key, subject).value


def limit_table(folder: MillFolder, subject: Subject | None = None) -> LimitTable:
    """Return a mill's limits for a subject, in the mill's region."""
    mill = folder.mill.record
    return LimitTable(folder.limits.record, subject or Subject(), (mill.country, mill.place))


def charge_limits(folder: MillFolder, charge: Charge) -> LimitTable:
    """Return a mill's limits as they apply to a charge."""
    woods = tuple(dict.fromkeys(stock.species for stock in charge.stock))
    kind = folder.species[woods[0]].record.kind
    thickness = charge.stock[0].thickness.value
    return limit_table(folder, Subject(woods, kind, thickness, charge.target_mc.value))


def fits(scope: Scope, subject: Subject) -> bool:
    """Return whether a limit's scope includes a subject."""
    return (
        (not scope.species or bool(set(scope.species) & set(subject.species)))
        and scope.kind in (None, subject.kind)
        and (
            scope.thicker_than is None
            or (
                subject.thickness_mm is not None and subject.thickness_mm > scope.thicker_than.value
            )
        )
        and scope.target_mc in (None, subject.target_mc_pct)
    )
