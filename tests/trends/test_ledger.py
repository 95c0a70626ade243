"""The degrade ledger finds the revision that checked more, and nothing in mills without a story.

``KILNFOLIO_TRENDS=100`` tries 100 mills of each.
"""

import os
from dataclasses import replace

import numpy as np
import pytest
from tests.trends.planted import lines_of

from kilnfolio.trends.ledger import CHANCE, LEAST_GROUP, ledger_of

SEEDS = int(os.environ.get("KILNFOLIO_TRENDS", "3"))
PLANTED = ("revision", "acer-saccharum-4-4", "surface-checks")


def standing(lines):
    return {(one.kind, one.about, one.defect) for one in ledger_of(lines).entries if one.stands_out}


def test_the_revision_that_checked_more_is_found_and_nothing_else():
    false = found = beside = 0
    for seed in range(SEEDS):
        false += bool(standing(lines_of(seed, planted=False)))
        signals = standing(lines_of(seed, planted=True))
        found += PLANTED in signals
        beside += bool(signals - {PLANTED})
    print(  # noqa: T201
        f"{SEEDS} mills: revision found in {found}; false findings in {false} mills without a "
        f"story, promised at most {CHANCE:.0%}; beside the planted one in {beside}"
    )
    assert found >= 0.85 * SEEDS
    assert max(false, beside) <= SEEDS * CHANCE + 3 * np.sqrt(SEEDS * CHANCE)


@pytest.fixture(scope="module")
def lines():
    return lines_of(1, planted=True)


def test_the_difference_is_that_of_the_mean_shares(lines):
    entry = next(
        one for one in ledger_of(lines).entries if (one.kind, one.about, one.defect) == PLANTED
    )
    newer, older = entry.groups
    assert (newer.name, older.name) == ("2", "1")
    by_hand = [
        np.mean(
            [
                100 * one.pieces / one.of
                for line in lines
                if line.schedule == PLANTED[1] and line.revision == revision
                for one in line.defects
                if one.defect == PLANTED[2]
            ]
        )
        for revision in (2, 1)
    ]
    assert entry.found.effect == pytest.approx(by_hand[0] - by_hand[1])
    assert entry.found.low < entry.found.effect < entry.found.high
    assert entry.listed == entry.n == len(newer.charges) + len(older.charges)


def test_what_happens_to_the_timber_that_checks_is_not_taken_for_its_reason():
    """Oak that both checks more and runs faster shows nothing while each timber is steady."""
    mixed = [
        replace(
            line,
            species="quercus-alba",
            schedule="",
            suppliers=(),
            fast_hours=(line.fast_hours or 0.0) + 100.0,
            defects=tuple(
                replace(one, pieces=min(one.pieces + 30, one.of)) for one in line.defects
            ),
        )
        if at % 2
        else line
        for at, line in enumerate(lines_of(2, planted=False))
    ]
    assert not [one for one in standing(mixed) if one[0] == "course"]


def test_groups_that_are_too_small_are_not_compared(lines):
    few = [line for line in lines if line.revision != 2]
    few += [line for line in lines if line.revision == 2][: LEAST_GROUP - 1]
    assert not [one for one in ledger_of(few).entries if one.kind == "revision"]


def test_a_mill_without_inspections_has_an_empty_ledger(lines):
    found = ledger_of([replace(line, defects=()) for line in lines])
    assert (found.entries, found.charges) == ((), 0)
