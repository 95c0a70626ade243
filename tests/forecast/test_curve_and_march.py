"""Charges worked out together, as arrays, are what they are one by one."""

from dataclasses import fields, replace

import numpy as np
import pytest
from tests.forecast.check_charges import STARTED, group

from kilnfolio.forecast.curve import Curve, from_formula, learn, leaving_out
from kilnfolio.forecast.inputs import AirLog, Finish, PlannedStep, Run, Weighings
from kilnfolio.forecast.march import Case, march
from kilnfolio.forecast.pace import boards


def thinned(run, rounds, tags, every=1):
    """A charge with fewer rounds of weighing and fewer boards, some of them not weighed each time."""
    mc = run.weighings.mc_pct[:rounds, :tags].copy()
    mc[1::every, ::2] = np.nan
    kept = Weighings(run.weighings.hours[:rounds], mc, run.weighings.boards[:tags])
    return replace(run, weighings=kept)


@pytest.fixture(scope="module")
def runs():
    """Charges of which no two have as many boards and weighings."""
    oak = [one.run for one in group("oak", "A", "earlier")]
    few = [thinned(oak[1], 9, 4), thinned(oak[2], 14, 3, 3), thinned(oak[3], 25, 2)]
    return [oak[0], *few, thinned(oak[4], 1, 5)]


def test_a_curve_learnt_without_one_charge_is_that_of_the_others(runs):
    known = runs[:-1]  # the last was weighed once, which shows no pace
    for left, curve in enumerate(leaving_out(runs)):
        others = learn([run for i, run in enumerate(known) if i != left])
        assert curve.charges == others.charges
        for field in fields(Curve):
            value = getattr(curve, field.name)
            if not isinstance(value, tuple | str):
                np.testing.assert_allclose(value, getattr(others, field.name), atol=1e-12)


def test_a_charge_whose_fellows_show_no_pace_is_forecast_by_the_formula(runs):
    first, second = leaving_out([runs[0], runs[-1]])
    assert (first.origin, first.level[0]) == ("formula", from_formula(27.0).level[0])
    assert second.charges == (runs[0].charge,)


def test_timber_thicker_than_the_formula_was_published_for_follows_its_power():
    """A beam of 150 mm stopped the build: the formula takes up to 100 mm."""
    slower = np.exp(from_formula(100.0).level - from_formula(150.0).level)
    np.testing.assert_allclose(slower, 1.5**1.52)


def test_charges_that_march_together_take_the_courses_they_take_alone(runs):
    curve = learn(runs)
    oak = runs[0]
    by_clock = tuple(PlannedStep(50.0, 10.0, hours=hours) for hours in (30.0, 41.0, 7.5))
    # one board was never weighed
    weighed = oak.weighings.mc_pct.copy()
    weighed[:, 1] = np.nan
    gap = replace(oak.weighings, mc_pct=weighed)
    green = Run(
        "x",
        "oak",
        27.0,
        STARTED,
        Weighings(np.zeros(1), np.array([[80.0, 85.0]]), ("1", "2")),
        AirLog(*[np.zeros(0)] * 3),
        oak.steps,
        rule="mean",
    )
    ended = oak.weighings.hours[-1]
    known = [
        (oak, 300.0),
        (replace(oak, finish=Finish(6.0, 8.0, 82.0, 6.0, conditioning_hours=12.0)), 600.0),
        (replace(oak, steps=by_clock, steps_taken=((0.0, 0), (33.3, 1))), 60.0),
        (replace(oak, steps=(PlannedStep(43.0, 14.0, 8.0),)), 100.0),  # never at its target
        (replace(oak, weighings=gap), 200.0),
        (oak, ended),  # at its target
        (green, 0.0),
    ]
    cases = [
        Case(until, curve, boards(curve, until), hour)
        for run, hour in known
        if (until := run.until(hour))
    ]
    together, alone = march(cases), [march([case])[0] for case in cases]
    for one, other in zip(together, alone, strict=True):
        rows = min(one.hours.size, other.hours.size)
        for name in ("hours", "controlling_pct", "boards_pct"):
            np.testing.assert_array_equal(getattr(one, name)[:rows], getattr(other, name)[:rows])
        for name in ("step_due", "target", "equalizing", "conditioning", "unload"):
            np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    assert np.isnan(alone[4].boards_pct[:, 1]).all()
    assert np.isnan(alone[3].target)
    assert alone[3].hours[-1] - alone[3].hours[0] == 300 * 24
    assert alone[2].step_due[2] == 33.3 + 41.0 + 7.5
    # conditioning begins at the daily weighing after it fell due
    assert 12.0 <= alone[1].unload - alone[1].conditioning <= 12.0 + 24.0
