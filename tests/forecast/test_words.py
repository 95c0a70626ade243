"""A forecast in sentences: overdue steps in words, and always the record of earlier forecasts."""

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from tests.forecast.check_charges import check_charges, group

from kilnfolio.forecast.charge import forecast, learn_for
from kilnfolio.forecast.inputs import hours_between
from kilnfolio.forecast.result import Due
from kilnfolio.forecast.words import NO_RECORD, coming, likely, next_step, ready, record, span

NOON = dt.datetime(2026, 3, 4, 12, tzinfo=dt.UTC)


def due(*hours):
    return Due(*(NOON + dt.timedelta(hours=hour) for hour in hours))


@pytest.fixture(scope="module")
def found():
    learnt = learn_for("oak", 27.0, [one.run for one in group("oak", "A", "earlier")[:3]])
    return forecast(check_charges()["A-oak-test-01"].run, learnt, 400.0)


def test_an_overdue_step_is_described_in_words():
    band = due(-20, -10, 0, 10, 20)
    assert likely(band, NOON - dt.timedelta(hours=1)).startswith("likely 04 Mar 12:00 (80 in 100: ")
    assert "any time now" in likely(band, NOON + dt.timedelta(hours=1))
    assert "overdue" in likely(band, NOON + dt.timedelta(hours=11))
    assert "weigh the boards" in likely(band, NOON + dt.timedelta(hours=11))
    assert likely(None, NOON) == "not under this plan"
    assert "by the clock" in likely(due(0, 0, 0, 0, 0), NOON)


def test_a_long_band_is_given_in_days():
    assert span(due(-99, -72, 0, 72, 99)) == "01 Mar to 07 Mar"
    assert span(due(-9, -2, 0, 2, 9)) == "04 Mar 10:00 to 14:00"


def test_events_to_come_are_in_order(found):
    words = [one.what.replace("\N{NO-BREAK SPACE}", " ") for one in coming(found)]
    assert words[-1] == "End of drying at 8 %"
    assert next_step(found) == coming(found)[0]
    assert words[0] == f"Step {found.step + 1} at {found.steps[0].trigger_pct:g} %"
    assert ready(found).due == found.end
    finished = replace(found, unload=found.end)
    assert ready(finished).what == "Ready to unload"


def test_the_record_of_earlier_forecasts_is_always_shown(found):
    assert record(found).startswith("On your last 3 charges")
    assert f"{found.usual_error_pct():.0f}\N{NO-BREAK SPACE}%" in record(found)
    assert record(replace(found, hindcasts=())) == NO_RECORD


def test_a_boards_forecast_mass_falls_until_the_forecast_ends(found):
    board = replace(found.boards[0], oven_dry_g=1000.0)
    early, late = found.fan.times[0], found.fan.times[-1]
    assert found.board_mass_g(board, early) == pytest.approx(
        1000.0 * (1 + board.mc_pct / 100), rel=1e-6
    )
    assert found.board_mass_g(board, late) < found.board_mass_g(board, early)
    assert found.board_mass_g(board, late + dt.timedelta(hours=1)) is None
    at = found.board_reaches(board, board.next_trigger_pct)
    assert abs(at - board.next_trigger_at) < dt.timedelta(hours=8)


def test_hours_are_counted_across_a_change_of_the_clocks():
    """On 8 March 2026 Toronto's clocks went forward at two: 24 h after 20:00 it is 21:00."""
    run = check_charges()["A-oak-test-01"].run
    start = dt.datetime(2026, 3, 7, 20, tzinfo=ZoneInfo("America/Toronto"))
    moved = replace(run, started=start)
    assert moved.moment(24.0).isoformat() == "2026-03-08T21:00:00-04:00"
    assert hours_between(start, moved.moment(24.0)) == 24.0
    assert np.isclose(hours_between(start, moved.moment(500.25)), 500.25)
