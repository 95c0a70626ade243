"""The degrade ledger finds the revision that checked more, and nothing in mills without a story.

``KILNFOLIO_TRENDS=100`` tries 100 mills of each.
"""

import os
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy import stats
from tests.trends.planted import lines_of

from kilnfolio.trends.entries import CHANCE, LEAST_GROUP
from kilnfolio.trends.ledger import Ledger, ledger_of

SEEDS = int(os.environ.get("KILNFOLIO_TRENDS", "3"))
PLANTED = ("revision", "acer-saccharum-4-4", "surface-checks")
BOWED = ("place", "kiln-1", "bow")


@cache
def ledger(seed: int, *, planted: bool) -> Ledger:
    """Return the ledger of a mill, made once for all questions."""
    return ledger_of(lines_of(seed, planted=planted))


def standing(found):
    return {(one.kind, one.about, one.defect) for one in found.entries if one.stands_out}


def test_the_revision_that_checked_more_is_found_and_nothing_else():
    false = found = bowed = beside = 0
    for seed in range(SEEDS):
        false += bool(standing(ledger(seed, planted=False)))
        signals = standing(ledger(seed, planted=True))
        found += PLANTED in signals
        bowed += BOWED in signals
        beside += bool(signals - {PLANTED, BOWED})
    print(  # noqa: T201
        f"{SEEDS} mills: revision found in {found}, place in {bowed}; false findings in {false} "
        f"mills without a story, promised at most {CHANCE:.0%}; beside the planted ones in {beside}"
    )
    assert min(found, bowed) >= 0.85 * SEEDS
    assert max(false, beside) <= SEEDS * CHANCE + 3 * np.sqrt(SEEDS * CHANCE)


@pytest.fixture(scope="module")
def lines():
    return lines_of(1, planted=True)


@pytest.fixture(scope="module")
def found():
    return ledger(1, planted=True)


def test_the_difference_is_that_of_the_mean_shares(lines, found):
    entry = entry_of(found, PLANTED)
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


def entry_of(found, planted):
    return next(one for one in found.entries if (one.kind, one.about, one.defect) == planted)


def test_the_place_that_bowed_is_named_and_compared_with_the_others_of_its_charges(lines, found):
    entry = entry_of(found, BOWED)
    assert (entry.groups[0].name, entry.chosen_from) == ("bay 3 high", 12)
    away = []
    for line in lines:
        packs = {one.position: one for one in line.placed_defects if one.defect == "bow"}
        if line.kiln == "kiln-1":
            own = packs.pop("bay 3 high")
            others = [100 * one.pieces / one.of for one in packs.values()]
            away.append(100 * own.pieces / own.of - np.mean(others))
    assert entry.found.effect == pytest.approx(np.mean(away))
    half = stats.t.ppf(1 - 0.05 / 24, len(away) - 1) * np.std(away, ddof=1) / np.sqrt(len(away))
    assert entry.found.high == pytest.approx(entry.found.effect + half)
    table = next(one for one in found.places if (one.kiln, one.defect) == BOWED[1:])
    assert sum(pieces for _, pieces, _ in table.places) == sum(
        group.pieces for group in entry.groups
    )


def test_one_pack_alone_is_not_compared(lines):
    single = [replace(line, placed_defects=line.placed_defects[:1]) for line in lines]
    assert not [one for one in ledger_of(single).entries if one.kind == "place"]


def test_the_step_in_which_haste_goes_with_checks_is_named():
    """Haste in step 3 adds checks, in other steps it does not."""
    made = []
    for line in lines_of(2, planted=False):
        late = dict(line.fast_steps or ()).get(3, 0.0) > 0.0
        defects = tuple(
            replace(one, pieces=min(one.pieces + 30 * late, one.of))
            if one.defect == "surface-checks"
            else one
            for one in line.defects
        )
        made.append(replace(line, defects=defects))
    entry = entry_of(ledger_of(made), ("step", "acer-saccharum-4-4", "surface-checks"))
    assert (entry.what, entry.step, entry.stands_out) == ("fast", 3, True)
    assert entry.found.effect > 0.5


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
    assert not [one for one in standing(ledger_of(mixed)) if one[0] == "course"]


def test_groups_that_are_too_small_are_not_compared(lines):
    few = [line for line in lines if line.revision != 2]
    few += [line for line in lines if line.revision == 2][: LEAST_GROUP - 1]
    assert not [one for one in ledger_of(few).entries if one.kind == "revision"]


def test_a_mill_without_inspections_has_an_empty_ledger(lines):
    found = ledger_of([replace(line, defects=()) for line in lines])
    assert (found.entries, found.charges) == ((), 0)


def test_each_timber_has_its_mean_share_with_an_interval(lines, found):
    timbers = {(one.species, one.defect): one for one in found.timbers}
    assert len({species for species, _ in timbers}) > 1
    one = timbers["acer-saccharum", "surface-checks"]
    by_hand = [
        100.0 * defect.pieces / defect.of
        for line in lines
        if line.species == "acer-saccharum"
        for defect in line.defects
        if defect.defect == "surface-checks"
    ]
    interval = stats.t.interval(0.95, len(by_hand) - 1, np.mean(by_hand), stats.sem(by_hand))
    assert (one.charges, one.mean_pct) == (len(by_hand), pytest.approx(np.mean(by_hand)))
    assert (one.mean_pct - one.half_pct, one.mean_pct + one.half_pct) == pytest.approx(interval)
    few = [line for line in lines if line.species == "acer-saccharum"][: LEAST_GROUP - 1]
    assert ledger_of(few).timbers == ()
