"""The worst records and logs give a finding or a reason, never a traceback or a warning."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.review.inline import (
    LOG_FILE,
    STARTED,
    ZONE,
    both,
    day,
    held,
    make_case,
    make_folder,
    make_log,
    moved,
)

from kilnfolio.physics.heat import CORE_RANGE_C
from kilnfolio.records.log import Log, read_log
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.problems import RecordProblems
from kilnfolio.review.dossier import Finding
from kilnfolio.review.review import build_case, heat_result, survey_result
from kilnfolio.review.running import run_checks

LOGS = Path(__file__).resolve().parents[1] / "data/logs"
TEMPERATURES = ("dry-bulb", "dry-bulb-entering", "dry-bulb-leaving", "wet-bulb", "core-1", "core-2")


def cut(log: Log, kept: Any) -> Log:
    """Return a log with some of its rows."""
    return Log(
        log.times[kept],
        {name: values[kept] for name, values in log.channels.items()},
        log.lines[kept],
        log.files[kept],
        (LOG_FILE,),
        log.rows,
        Counter(),
        log.interval_minutes,
    )


def review(changes: dict[str, Any], log: Log | None) -> dict[str, str]:
    folder = make_folder(changes)
    case = build_case(folder, folder.charges["26-001"], log)
    survey_result(case)
    heat_result(case)
    return {finding.check: finding.outcome for finding in run_checks(case)}


@pytest.mark.parametrize("rows", [0, 1, 2, 3, 5])
def test_a_log_of_few_rows_is_reviewed(rows: int) -> None:
    assert review({}, cut(make_log(), slice(0, rows)))


@pytest.mark.parametrize("channel", sorted(make_log().channels))
def test_a_channel_without_values_is_reviewed(channel: str) -> None:
    assert review({}, make_log(held(channel, 0, 252, to=np.nan)))
    assert review({}, make_log(lambda channels: channels.pop(channel)))


def test_a_log_without_values_is_reviewed() -> None:
    empty = both(*(held(name, 0, 252, to=np.nan) for name in make_log().channels))
    assert review({}, make_log(empty))


def test_a_new_wick_is_not_taken_for_a_change_of_air() -> None:
    """The EMC shown falls when a dry wick is changed; the timber noticed nothing."""
    dry_wick = moved("wet-bulb", 40, 20, by=2.5)
    event = {"at": day(2, 12.5), "kind": "wick changed", "by": "A. B."}
    for events, expected in (([], True), ([event], False)):
        found = run_checks(make_case({"events": events}, log=dry_wick))
        assert ("shock-change" in {f.check for f in found if f.outcome == "question"}) == expected
        assert "dry-wick" in {f.check for f in found if f.outcome == "question"}


def fixture_found(name: str, minutes: int) -> tuple[Log, dict[str, Finding]]:
    """Return a log of two bulbs as read, and what the checks say about it and the records."""
    profile = LoggerProfile.model_validate(
        {
            "format": 1,
            "id": "two-bulbs",
            "title": "two bulbs",
            "delimiter": ",",
            "decimal": ".",
            "interval_minutes": minutes,
            "time": {"heading": "time", "format": "%Y-%m-%d %H:%M", "clock": "local"},
            "columns": [
                {"heading": "DB", "channel": "dry-bulb", "unit": "°C"},
                {"heading": "WB", "channel": "wet-bulb", "unit": "°C"},
            ],
        }
    )
    log, folder = read_log(LOGS / name, LOG_FILE, profile, ZONE), make_folder()
    found = run_checks(build_case(folder, folder.charges["26-001"], log))
    return log, {finding.check: finding for finding in found}


def test_a_clock_that_loses_time_is_reported_and_nothing_is_moved() -> None:
    """The logger loses 20 minutes a day: 2.0 h by day 6 and 3.3 h by day 10, to half-hour rows.

    The file cannot show which clock is right; the record says when the steps were made.
    """
    log, found = fixture_found("clock-losing-time.csv", 30)
    assert found["clock-against-hand"].outcome == "question"
    early = re.search(
        r"rises before it was written, by (.*) h at the first .* and (.*) h at the "
        r"last",
        found["clock-against-hand"].message,
    )
    assert early
    assert [float(hours) for hours in early.groups()] == pytest.approx([2.0, 3.33], abs=0.51)
    assert log.moment(0, ZONE) == STARTED


def test_a_stuck_value_is_reported_and_kept() -> None:
    """The wet bulb reads 36.4 °C for ten hours while the dry bulb rises, hours 142 to 152."""
    log, found = fixture_found("stuck-value.csv", 60)
    assert found["stuck-sensor"].outcome == "question"
    assert found["stuck-sensor"].message == (
        "wet-bulb stuck at 36.4 since 2026-04-12 06:00 for 10.0 h."
    )
    assert found["stuck-sensor"].where[0].line == 144
    assert log.channels["wet-bulb"][142:153].tolist() == [36.4] * 11


def test_fahrenheit_labelled_celsius_is_reported_and_not_converted() -> None:
    """The dry bulb is in °F throughout; its heading does not say so, and the profile says °C."""
    log, found = fixture_found("fahrenheit-called-celsius.csv", 60)
    assert found["unit-slip"].outcome == "fail"
    assert found["unit-slip"].message.startswith("dry-bulb may be in °F and be read as °C")
    assert log.channels["dry-bulb"][50] > 100.0


def test_a_jump_is_not_used() -> None:
    """One wild reading is noted; it counts neither as heat in the timber nor as the air around it."""
    found = run_checks(make_case(log=moved("dry-bulb", 60, 0, by=20.0)))
    assert [(f.check, f.word) for f in found if f.word in ("question", "fail", "note")] == [
        ("spike", "note")
    ]


@pytest.mark.parametrize(
    "changes",
    [
        {"weighings.3.masses.S1": "48370 g"},
        {"weighings.3.masses.S1": "4.8 g"},
        {"boards.0.sections.0.oven_dry": "1.2 g"},
        {"boards.0.sections.0.oven_dry": "194.9 g", "boards.0.sections.1.oven_dry": "194.9 g"},
        {"boards.0.sections.0.oven_dry": "300 g", "boards.0.sections.1.oven_dry": "300 g"},
        {"survey.readings": [{"mc": "8 %"}]},
        {"survey.readings": [{"mc": "0 %"}] * 3},
        {"stress.gaps": []},
        {"boards.0.resections.0.sections": []},
        {"step_changes.0.step": 9},
        {"step_changes": []},
        {"heat_treatment.probes": []},
        {"hand_readings.0.wet_bulb": "-20 °C"},
        {"species:specific_gravity": []},
        {"species:safe_daily_loss": [], "species:ceiling_while_wet": None},
        {
            "schedule:steps": [{"dry_bulb": "43 °C", "emc": "12 %", "hours": "40 h"}],
            "schedule:modifications": [],
        },
    ],
    ids=str,
)
def test_records_that_cannot_be_right_are_reported(changes: dict[str, Any]) -> None:
    assert review(changes, make_log())


def test_a_wrong_digit_is_reported_once_at_its_place() -> None:
    found = run_checks(make_case({"weighings.3.masses.S1": "48370 g"}))
    assert [f.check for f in found if f.outcome in ("question", "fail")] == [
        "wetter-than-wood-can-be"
    ]


@pytest.mark.parametrize(
    ("masses", "named"),
    [
        ({"S1": "4214 g"}, "daily-loss"),  # 4124, two digits changed about
        ({"S1": "4724 g"}, "gained-weight-while-drying"),  # 4124, a 1 read as a 7
        ({"S4": "4341 g"}, "daily-loss"),  # 4241, a digit one too high, as a 6 for a 5
        ({"S1": "4474 g"}, "gained-weight-while-drying"),  # weighed with 350 g of tare
        ({"S1": "4323 g", "S6": "4124 g"}, "gained-weight-while-drying"),  # samples swapped
        ({"S1": "4.124 g"}, "mass-below-oven-dry"),  # kilograms called grams
        ({"S1": "4124 oz"}, "wetter-than-wood-can-be"),
    ],
)
def test_a_slip_is_reported_at_its_place_and_not_corrected(
    masses: dict[str, str], named: str
) -> None:
    """Found from what boards can do; the sheet of that morning states no MC."""
    changes = {f"weighings.3.masses.{board}": mass for board, mass in masses.items()}
    case = make_case({**changes, "weighings.3.stated_mc": {}})
    found = {finding.check: finding for finding in run_checks(case)}
    assert found[named].outcome in ("question", "fail")
    assert set(found[named].subject.split(" and ")) <= set(masses)
    assert found[named].where
    recorded = case.charge.weighings[3].masses
    assert {board: recorded[board].entered for board in masses} == masses


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"schedule:steps.0.depression": "40 K"}, "schedules/hardwood/maple.yaml"),
        (
            {"conditioning.emc": "30 %", "conditioning.dry_bulb": "100 °C"},
            "content/charges/2026/26-001/charge.yaml",
        ),
    ],
)
def test_impossible_air_is_a_problem_of_the_record(changes: dict[str, Any], place: str) -> None:
    with pytest.raises(RecordProblems, match=r"no air has|air that cannot be") as caught:
        review(changes, make_log())
    assert caught.value.problems[0].place.file == place


@settings(max_examples=40, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_log_is_reviewed(data: st.DataObject) -> None:
    """Channels replaced by any numbers that the reader accepts, over any stretch, with rows
    missing."""
    log = make_log()
    for name in data.draw(st.lists(st.sampled_from(TEMPERATURES), unique=True, max_size=3)):
        first = data.draw(st.integers(0, len(log.times) - 2))
        last = data.draw(st.integers(first, len(log.times)))
        value = data.draw(st.one_of(st.just(np.nan), st.floats(*CORE_RANGE_C)))
        log.channels[name][first:last] = value
    kept = np.ones(len(log.times), bool)
    first = data.draw(st.integers(0, len(log.times) - 1))
    kept[first : data.draw(st.integers(first, len(log.times)))] = False
    outcomes = review({}, cut(log, kept))
    assert set(outcomes.values()) <= {"pass", "question", "fail", "no data", "not applicable"}
