"""Small phrases that several pages share."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import get_args

from kilnfolio.records.charge import Charge
from kilnfolio.records.quantities import Length
from kilnfolio.review import figures
from kilnfolio.review.dossier import Finding, Outcome

#: Outcomes from the gravest, as headlines count them.
GRAVITY: tuple[Outcome, ...] = ("refused", "query", "waived", "not checked", "held")
assert set(GRAVITY) == set(get_args(Outcome))

OUTCOME_MEANING: dict[Outcome, str] = {
    "held": "the rule is kept",
    "query": "it needs a signed reason",
    "refused": "it stops the claim it touches",
    "not checked": "the data is absent; silence is not a pass",
    "waived": "a query or refusal with a signed reason",
}


@dataclass(frozen=True)
class Count:
    """How many checks came out one way."""

    outcome: Outcome
    number: int
    meaning: str

    @property
    def words(self) -> str:
        """The count with its outcome: ``1 query``, ``3 queries``."""
        many = "queries" if self.outcome == "query" and self.number != 1 else self.outcome
        return f"{self.number} {many}"


def outcome_counts(findings: Iterable[Finding]) -> tuple[Count, ...]:
    """Return how many checks came out each way, the gravest first.

    A check with several findings counts once, by its gravest.
    """
    gravest: dict[str, Outcome] = {}
    for finding in findings:
        before = gravest.get(finding.check, GRAVITY[-1])
        gravest[finding.check] = min(before, finding.outcome, key=GRAVITY.index)
    counted = Counter(gravest.values())
    return tuple(
        Count(outcome, counted[outcome], OUTCOME_MEANING[outcome])
        for outcome in GRAVITY
        if counted[outcome]
    )


def gravest(findings: Iterable[Finding]) -> Outcome:
    """Return the gravest outcome a reader must know of; absent data does not outweigh a pass."""
    found = {finding.outcome for finding in findings}
    order: tuple[Outcome, ...] = ("refused", "query", "waived", "held", "not checked")
    return next((outcome for outcome in order if outcome in found), "not checked")


def plural(number: int, one: str, many: str = "") -> str:
    """Return a count with its noun: ``1 charge``, ``3 charges``."""
    return f"{number}{figures.NBSP}{one if number == 1 else many or one + 's'}"


def listed(names: Iterable[str]) -> str:
    """Return names as a phrase: ``a``, ``a and b``, ``a, b and c``."""
    items = list(names)
    return (
        items[0]
        if len(items) == 1
        else ", ".join(items[:-1]) + " and " + items[-1]
        if items
        else ""
    )


def thicknesses(lengths: Iterable[Length]) -> str:
    """Return thicknesses as entered: ``4/4, 5/4 and 6/4``."""
    return listed(length.entered for length in lengths)


def stock_words(charge: Charge, name_of: dict[str, str]) -> str:
    """Return a charge's timber in words: ``Northern red oak 4/4``."""
    return listed(f"{name_of[stock.species]} {stock.thickness.entered}" for stock in charge.stock)


def span(start: dt.datetime, end: dt.datetime) -> str:
    """Return a length of time in hours, or in days and hours from two days upward."""
    hours = (end - start).total_seconds() / 3600.0
    if hours < 48:
        return figures.measure(hours, "h", 1)
    days, rest = divmod(round(hours), 24)
    return f"{days}{figures.NBSP}d {rest}{figures.NBSP}h" if rest else f"{days}{figures.NBSP}d"


def days(start: dt.datetime, end: dt.datetime) -> str:
    """Return a length of time in days with one decimal."""
    return figures.measure((end - start).total_seconds() / 86_400.0, "d", 1)
