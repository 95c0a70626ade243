"""Small phrases that several pages share."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable
from typing import get_args

from kilnfolio.records.charge import Charge
from kilnfolio.records.quantities import Length
from kilnfolio.review import figures
from kilnfolio.review.dossier import Finding, Outcome, Word
from kilnfolio.runtime.values import dataclass

#: Outcomes, gravest first, in the order in which headlines count them.
OUTCOME_ORDER: tuple[Word, ...] = (
    "fail",
    "question",
    "answered",
    "note",
    "no data",
    "not applicable",
    "pass",
)
assert set(OUTCOME_ORDER) == set(get_args(Word))

OUTCOME_MEANING: dict[Word, str] = {
    "pass": "the rule is met; the sentence says what was examined",
    "question": "it needs a signed answer",
    "fail": "it blocks the claim it touches until it is corrected or, where its check allows, answered",
    "answered": "a question or failure with a signed answer",
    "note": "worth knowing; it asks for no answer",
    "no data": "something that should have been recorded was not; silence is not a pass",
    "not applicable": "nothing of the kind was claimed or run",
}


@dataclass(frozen=True)
class Count:
    """The number of findings with one outcome."""

    outcome: Word
    number: int
    meaning: str

    @property
    def words(self) -> str:
        """The count with its outcome: ``1 question``, ``3 questions``."""
        many = COUNTED.get(self.outcome, self.outcome) if self.number != 1 else self.outcome
        return f"{self.number} {many}"


#: What pages count: one, and several.
COUNTED = {
    "charge": "charges",
    "check": "checks",
    "kiln": "kilns",
    "lot": "lots",
    "note": "notes",
    "pack": "packs",
    "publication": "publications",
    "question": "questions",
    "revision": "revisions",
    "schedule": "schedules",
    "species": "species",
    "step": "steps",
}


def outcome_counts(findings: Iterable[Finding]) -> tuple[Count, ...]:
    """Return the number of findings with each outcome, gravest first."""
    counted = Counter(finding.word for finding in findings)
    return tuple(
        Count(outcome, counted[outcome], OUTCOME_MEANING[outcome])
        for outcome in OUTCOME_ORDER
        if counted[outcome]
    )


def gravest_outcome(findings: Iterable[Finding]) -> Outcome:
    """Return the gravest outcome, except that a pass outranks missing data."""
    found = {finding.outcome for finding in findings}
    order: tuple[Outcome, ...] = (
        "fail",
        "question",
        "answered",
        "pass",
        "no data",
        "not applicable",
    )
    return next((outcome for outcome in order if outcome in found), "no data")


def plural(number: int, one: str) -> str:
    """Return a count with a noun of `COUNTED`: ``1 charge``, ``3 charges``."""
    return f"{number}{figures.NBSP}{one if number == 1 else COUNTED[one]}"


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
    """Return a length of time in hours or, from two days upward, in days and hours."""
    hours = (end - start).total_seconds() / 3600.0
    if hours < 48:
        return figures.measure(hours, "h", 1)
    days, rest = divmod(round(hours), 24)
    return f"{days}{figures.NBSP}d {rest}{figures.NBSP}h" if rest else f"{days}{figures.NBSP}d"


def days(start: dt.datetime, end: dt.datetime) -> str:
    """Return a length of time in days with one decimal."""
    return figures.measure((end - start).total_seconds() / 86_400.0, "d", 1)
