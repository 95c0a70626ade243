"""A past charge computed again as one board: it follows the weighings, and a change gives a ratio."""

import numpy as np
import pytest
from tests.conftest import PROJECT

from kilnfolio.forecast.open_what_if import open_what_if_of
from kilnfolio.forecast.replay import as_it_ran, replay_of
from kilnfolio.records.folder import open_mill
from kilnfolio.review.reviews import charge_dossier

#: Hard maple, its steps by MC, of the demonstration (invented).
CHARGE, OPEN = "HB-26-038", "HB-26-042"


@pytest.fixture(scope="module")
def mill():
    return open_mill(PROJECT)


@pytest.fixture(scope="module")
def dossier(mill):
    return charge_dossier(mill.graph, CHARGE)


def test_the_computed_board_follows_the_weighings(mill, dossier):
    found = replay_of(dossier, mill.charges[CHARGE].record, mill)
    trace = found.trace
    weighed = [point.mc_pct for point in dossier.controlling]
    assert trace.misfit < 3.0
    assert max(trace.mean_pct) <= weighed[0] + 0.01
    assert trace.mean_pct[-1] == pytest.approx(weighed[-1], abs=3.0)
    assert trace.peak_pct == pytest.approx(max(trace.index_pct), abs=0.01)
    # conditioning makes the shell wetter, so the index ends lower than at the end of drying
    stage = next(step for step in dossier.adherence if step.label == "conditioning")
    before = [i for at, i in zip(trace.times, trace.index_pct, strict=True) if at < stage.start]
    assert trace.index_pct[-1] < before[-1]


def test_the_steps_are_those_the_charge_ran(dossier):
    steps, days = as_it_ran(dossier)
    assert len(steps) == len(dossier.steps)
    assert np.all(np.diff([step.until_mc_pct for step in steps]) < 0)
    assert 0 < days < (dossier.ended - dossier.started).days + 1


def test_changes_work_in_the_direction_the_trade_expects(mill, dossier):
    """Earlier steps dry faster with steeper gradients, smaller depressions slower with flatter
    ones: common practice, and so in all invented charges of the trial."""
    effects = {
        one.what: one.found for one in replay_of(dossier, mill.charges[CHARGE].record, mill).effects
    }
    sooner = effects["Every step 5 points of MC earlier"]
    milder = effects["Every depression a fifth smaller"]
    assert sooner.days < 1.0 < sooner.peak
    assert milder.peak < 1.0 < milder.days


def test_nothing_is_replayed_without_log_or_weighings(mill, dossier):
    record = mill.charges[CHARGE].record
    assert replay_of(dossier.model_copy(update={"log": None}), record, mill) is None
    assert replay_of(dossier.model_copy(update={"controlling": ()}), record, mill) is None


def test_every_change_gives_an_open_charge_an_end(mill):
    found = open_what_if_of(mill, OPEN)
    assert found.effects
    for one in found.effects:
        assert one.end is not None
        assert one.end > found.trace.times[-1]
