"""Unbroken time at temperature: ISPM 15 asks for continuous minutes, so every break must show."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnfolio.physics.heat import Run, longest_run, longest_run_above

CORE = [55.2, 56.1, 56.4, 56.8, 56.9, 55.9, 56.3]  # the practice problem: 15 min, a fail
EVERY_FIVE = np.arange(0.0, 35.0, 5.0)
NAIVE = [datetime.fromisoformat(f"2024-01-01T06:{minute}") for minute in ("00", "05")]


def test_practice_problem():
    assert longest_run_above(EVERY_FIVE, CORE, 56.0) == 15.0
    assert longest_run(EVERY_FIVE, CORE, 56.0) == Run(first=1, last=4, minutes=15.0)


@pytest.mark.parametrize(
    ("temps", "minutes"),
    [
        ([56.0] * 7, 30.0),  # equal to the threshold counts
        ([55.99] * 7, 0.0),
        ([56.1, 55.0, 56.1, 55.0, 56.1, 55.0, 56.1], 0.0),  # never two in a row
        ([56.1, 56.1, 56.1, np.nan, 56.1, 56.1, 56.1], 10.0),  # a missing reading breaks
        ([np.nan] * 7, 0.0),
        ([56.1, 56.1, 55.0, 56.1, 56.1, 56.1, 56.1], 15.0),  # a run may end with the log
    ],
)
def test_the_longest_run_is_found(temps, minutes):
    assert longest_run_above(EVERY_FIVE, temps, 56.0) == minutes


def test_no_reading_gives_no_run_and_one_reading_a_run_of_zero():
    assert longest_run(EVERY_FIVE, [20.0] * 7, 56.0) is None
    assert longest_run([0.0], [60.0], 56.0) == Run(0, 0, 0.0)
    assert longest_run_above([], [], 56.0) == 0.0


def test_the_earliest_of_equal_runs_is_reported():
    temps = [57, 57, 20, 57, 57, 20, 57]
    assert longest_run(EVERY_FIVE, temps, 56.0) == Run(0, 1, 5.0)


def test_a_longer_gap_breaks_a_run():
    times = [0.0, 5.0, 10.0, 40.0, 45.0]
    temps = [57.0] * 5
    assert longest_run_above(times, temps, 56.0) == 45.0
    assert longest_run_above(times, temps, 56.0, max_gap_minutes=10.0) == 10.0
    assert longest_run_above(times, temps, 56.0, max_gap_minutes=30.0) == 45.0  # not longer


def test_datetime64_and_aware_datetimes_agree_with_minutes():
    start = datetime(2024, 3, 5, 6, 0, tzinfo=UTC)
    aware = [start + timedelta(minutes=m) for m in EVERY_FIVE]
    stamps = np.datetime64("2024-03-05T06:00") + EVERY_FIVE.astype(int) * np.timedelta64(1, "m")
    for times in (EVERY_FIVE, EVERY_FIVE.tolist(), aware, stamps):
        assert longest_run_above(times, CORE, 56.0) == pytest.approx(15.0)


def test_clocks_going_back_do_not_shorten_or_lengthen_a_run():
    """In Toronto 01:00 to 02:00 on 2024-11-03 came twice; wall-clock differences lose that hour."""
    toronto = ZoneInfo("America/Toronto")
    start = datetime(2024, 11, 3, 4, 30, tzinfo=UTC)
    times = [(start + timedelta(minutes=15 * i)).astimezone(toronto) for i in range(11)]
    assert any(after.fold for after in times)
    assert longest_run_above(times, [57.0] * 11, 56.0) == pytest.approx(150.0)


@pytest.mark.parametrize(
    ("times", "temps", "message"),
    [
        ([0, 5, 5], [57, 57, 57], "times must rise.*index 2"),
        ([0, 10, 5], [57, 57, 57], "times must rise"),
        ([0, 5], [57, 57, 57], r"equal length; received shapes \(2,\) and \(3,\)"),
        ([0, np.nan, 10], [57, 57, 57], "times must not be missing"),
        (np.array(["2024-01-01", "NaT"], "datetime64[m]"), [57, 57], "times must not be missing"),
        (NAIVE, [57, 57], "timezone-aware"),
        ([0, 5], [57, 850], "temps_c must lie between -60 and 200 °C.*850 at index 1"),
        (["06:00", "06:05"], [57, 57], "times must be a number"),
    ],
)
def test_bad_inputs_are_refused(times, temps, message):
    with pytest.raises(ValueError, match=message):
        longest_run_above(times, temps, 56.0)


READINGS = st.lists(
    st.tuples(st.floats(0.5, 30), st.one_of(st.floats(40, 70), st.just(np.nan))),
    min_size=1,
    max_size=30,
)


@given(READINGS, st.floats(50, 60))
def test_runs_agree_with_reading_the_log_line_by_line(readings, threshold):
    """The same rule applied reading by reading, as an inspector would."""
    times = np.cumsum([step for step, _ in readings])
    temps = [temp for _, temp in readings]
    best = running = 0.0
    for (earlier, hot_before), (later, hot_now) in pairwise(zip(times, temps, strict=True)):
        both = hot_before >= threshold and hot_now >= threshold
        running = running + (later - earlier) if both else 0.0
        best = max(best, running)
    assert longest_run_above(times, temps, threshold) == pytest.approx(best, abs=1e-9)


@given(READINGS, st.floats(50, 60), st.floats(0, 5), st.floats(0, 31))
def test_a_higher_threshold_or_a_gap_rule_never_lengthens_a_run(readings, threshold, more, gap):
    times = np.cumsum([step for step, _ in readings])
    temps = [temp for _, temp in readings]
    plain = longest_run_above(times, temps, threshold)
    assert longest_run_above(times, temps, threshold + more) <= plain
    assert longest_run_above(times, temps, threshold, max_gap_minutes=gap) <= plain
