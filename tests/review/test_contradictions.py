"""No check passes where its sentence would be untrue: charges made to contradict it, check by
check.

Each case is drawn at random: a breach some way beyond a limit, or a fault from the table together
with another check's fault elsewhere in the same charge. For more cases: KILNFOLIO_CONTRADICTIONS=50
sh builder/run test tests/review/test_contradictions.py
"""

from __future__ import annotations

import os
import random
import zlib
from collections.abc import Iterator
from functools import partial
from typing import Any

import pytest
from tests.review.table import Fault
from tests.review.test_checks import EDGES, FAULTS, case_of

from kilnfolio.records.problems import RecordProblems
from kilnfolio.review.findings import CHECKS, Publication
from kilnfolio.review.running import run_check

EACH = int(os.environ.get("KILNFOLIO_CONTRADICTIONS", "2"))
#: A breach is drawn up to this many of its row's steps beyond the limit.
_FAR = 6.0
#: The same loss over a longer time is slower.
_NOT_FAR = {"daily-loss-hours"}
#: Faults that explain or remove another one: a stop, another schedule, other weighings.
LIFTED_BY = {
    "air-too-dry-while-wet": {"fans-stopped", "start-step"},
    "clock-against-hand": {"step-hours"},
    "drier-than-the-air-allows": {"sample-count"},
    "gap-in-log": {"regain-in-stop"},
    "loss-per-running-hour": {"outlier-board", "weighing-interval"},
    "shock-change": {"outlier-board"},
    "too-hot-while-wet": {"schedule-ceiling"},
}


def word_of(slug: str, case: Any) -> set[str]:
    """Return the outcome of one check on a case."""
    check = CHECKS[slug]
    zone = None if isinstance(case, Publication) else case.zone
    return {finding.word for finding in run_check(check, partial(check.run, case), zone).findings()}


def beyond_limits(slug: str, chance: random.Random) -> Iterator[Any]:
    """Yield charges some way beyond a limit of the check."""
    rows = [
        row
        for row in EDGES
        if row.slug == slug
        and (row.beyond or CHECKS[slug].severity) in ("fail", "question", "note")
    ]
    for _ in range(EACH if rows else 0):
        row = chance.choice(rows)
        # a step of one is a count: one too few is the furthest possible
        far = row.step < 1.0 and row.keys not in _NOT_FAR
        yield row.case(row.step * (chance.uniform(1.0, _FAR) if far else 1.0))


def with_another_fault(slug: str, chance: random.Random) -> Iterator[Any]:
    """Yield charges with a fault of the check and another elsewhere."""
    own = [row for row in FAULTS if row.slug == slug]
    others = [
        row
        for row in FAULTS
        if CHECKS[row.slug].of == CHECKS[slug].of and row.slug != slug and not row.make
    ]
    for _ in range(EACH):
        row = chance.choice(own)
        apart = [
            other
            for other in others
            if other.slug not in LIFTED_BY.get(slug, ()) and not _touching(row, other)
        ]
        if CHECKS[slug].of == "publication" or not apart:
            yield case_of(row)
            continue
        other = chance.choice(apart)
        yield case_of(Fault(slug, {**row.changes, **other.changes}, (), None, make=row.make))


def _touching(one: Fault, other: Fault) -> bool:
    """Return whether two faults change the same part of a record."""
    parts = [{path.split(".")[0] for path in row.changes} for row in (one, other)]
    return bool(parts[0] & parts[1])


@pytest.mark.parametrize("slug", CHECKS)
def test_a_contradicted_pass_is_not_printed(slug: str) -> None:
    chance = random.Random(zlib.crc32(slug.encode()))
    made = 0
    for draw in (beyond_limits, with_another_fault):
        cases = draw(slug, chance)
        while True:
            try:
                case = next(cases, None)
            except RecordProblems:  # two faults that no record may contain together
                break
            if case is None:
                break
            made += 1
            assert "pass" not in word_of(slug, case), slug
    assert made
