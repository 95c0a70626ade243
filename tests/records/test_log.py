"""Logger exports as they come: read by their profile, with every row accounted for.

Each file of ``tests/data/logs`` shows one way in which exports differ or go wrong (common practice,
no source); the values expected here were written into the file by hand.
"""

from __future__ import annotations

import copy
import datetime as dt
from collections import Counter
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from tests.conftest import examples
from tests.records.refusal import refused

from kilnfolio.records.clock import times_of
from kilnfolio.records.log import Log, as_datetime, join_logs, read_log
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.problems import Place, RecordProblems

LOGS = Path(__file__).resolve().parents[1] / "data/logs"
TORONTO = ZoneInfo("America/Toronto")

PLAIN: dict[str, Any] = {
    "format": 1,
    "id": "plain",
    "title": "Plain export",
    "delimiter": ",",
    "decimal": ".",
    "interval_minutes": 15,
    "time": {"heading": "time", "format": "%Y-%m-%d %H:%M", "clock": "local"},
    "columns": [
        {"heading": "DB", "channel": "dry-bulb", "unit": "°C"},
        {"heading": "WB", "channel": "wet-bulb", "unit": "°C"},
    ],
}


def profile(
    time: dict[str, Any] | None = None,
    columns: dict[str, tuple[str, str]] | None = None,
    **changes: Any,
) -> LoggerProfile:
    """Return the plain profile with changes; `columns` gives channel and unit by heading."""
    record = {**copy.deepcopy(PLAIN), **changes}
    record["time"].update(time or {})
    if columns is not None:
        record["columns"] = [
            {"heading": heading, "channel": channel, "unit": unit}
            for heading, (channel, unit) in columns.items()
        ]
    return LoggerProfile.model_validate(record)


def read(name: str, logger: LoggerProfile | None = None, zone: ZoneInfo = TORONTO) -> Log:
    log = read_log(LOGS / name, name, logger or profile(), zone)
    accounted_for(log)
    return log


def says(name: str, logger: LoggerProfile | None = None) -> list[str]:
    return refused(read_log, LOGS / name, name, logger or profile(), TORONTO)


def accounted_for(log: Log) -> None:
    """Every row below the headings is in the arrays or counted as left out; times strictly
    increase."""
    rows_out = sum(count for reason, count in log.left_out.items() if "rows" in reason)
    assert log.rows == len(log.times) + rows_out
    assert (np.diff(log.times) > np.timedelta64(0)).all()
    assert all(len(values) == len(log.times) for values in log.channels.values())


def utc(log: Log) -> list[str]:
    return [str(time)[:16] for time in log.times]


def dry(log: Log) -> list[float]:
    return [round(float(value), 6) for value in log.channels["dry-bulb"]]


GERMAN = {
    "delimiter": ";",
    "decimal": ",",
    "time": {"heading": "Zeit", "format": "%d.%m.%Y %H:%M"},
    "columns": {"Temperatur": ("dry-bulb", "°C"), "Feuchtkugel": ("wet-bulb", "°C")},
}


# --- numbers and text -----------------------------------------------------------------------------


def test_semicolons_and_decimal_commas_are_read():
    log = read("semicolon-decimal-comma.csv", profile(**GERMAN))
    assert dry(log) == [43.25, 43.31, 43.4]
    assert log.channels["wet-bulb"].tolist() == [40.5, 40.62, 40.7]
    # Toronto keeps UTC-5 in early March
    assert utc(log) == ["2026-03-02T12:00", "2026-03-02T12:15", "2026-03-02T12:30"]
    assert log.place(2) == Place("semicolon-decimal-comma.csv", 4)


def test_decimal_commas_under_the_wrong_profile_are_refused():
    assert says("semicolon-decimal-comma.csv", profile(**{**GERMAN, "decimal": "."}))[0] == (
        "semicolon-decimal-comma.csv:2:18: Temperatur '43,25' (3 such cells): it is not a number "
        "as the profile 'plain' says they are written. If ',' stands before decimals, write "
        "'decimal: \",\"' in the profile."
    )


def test_decimal_points_under_the_wrong_profile_are_refused():
    assert says("byte-order-mark.csv", profile(decimal=","))[0] == (
        "byte-order-mark.csv:2:18: DB '43.25' (2 such cells): it is not a number as the profile "
        "'plain' says they are written. If '.' stands before decimals, write 'decimal: \".\"' in "
        "the profile."
    )


def test_a_wrong_delimiter_is_reported_as_one_problem():
    assert says("semicolon-decimal-comma.csv") == [
        "semicolon-decimal-comma.csv:1:1: the line 'Zeit;Temperatur;Feuchtkugel': the profile "
        "'plain' says that the headings 'time', 'DB', 'WB' stand here. If ';' stands between "
        "columns, write 'delimiter: \";\"' in the profile."
    ]


def test_thousands_points():
    assert says("thousands-points.csv", profile(**GERMAN)) == [
        "thousands-points.csv:3:18: Temperatur '1.043,31': it has a mark between thousands. "
        "Export it without; no reading of a kiln needs one."
    ]


def test_byte_order_mark():
    assert dry(read("byte-order-mark.csv")) == [43.25, 43.31]


def test_latin_1_degree_sign():
    columns = {"DB [°C]": ("dry-bulb", "°C"), "WB [°C]": ("wet-bulb", "°C")}
    for encoding in ("latin-1", "windows-1252"):
        assert dry(read("latin-1-degree.csv", profile(columns=columns, encoding=encoding))) == [
            43.25,
            43.31,
        ]
    assert says("latin-1-degree.csv", profile(columns=columns)) == [
        "latin-1-degree.csv:1:10: byte 0xb0: the profile 'plain' says utf-8, and this is not. "
        "Write the export's encoding in the profile, as in 'encoding: windows-1252'."
    ]


def test_utf_16():
    assert dry(read("utf-16.csv", profile(encoding="utf-16"))) == [43.25, 43.31]
    assert "'encoding: utf-16'" in says("utf-16.csv")[0]
    assert (
        "does not begin as UTF-16 does"
        in says("semicolon-decimal-comma.csv", profile(encoding="utf-16"))[0]
    )


def test_quotes_around_cells_with_commas_inside():
    log = read("quoted.csv", profile(decimal=",", ignored=["remark"]))
    assert dry(log) == [43.25, 43.31]


def test_switches_in_words():
    columns = {"DB": ("dry-bulb", "°C"), "WB": ("wet-bulb", "°C"), "fan": ("fan", "on/off")}
    assert read("fan-on-off.csv", profile(columns=columns)).channels["fan"].tolist() == [1, 1, 0]


def test_a_switch_that_is_half_on_shows_an_averaged_export():
    """An averaged temperature looks like a temperature; an average of on and off does not look like
    a switch."""
    columns = {"DB": ("dry-bulb", "°C"), "WB": ("wet-bulb", "°C"), "fan": ("fan", "on/off")}
    assert says("averaged-switch.csv", profile(columns=columns)) == [
        "averaged-switch.csv:3:30: fan '0.667': fan is 0 or 1. If it marks a missing value, write "
        "\"missing: ['0.667']\" in the profile; if readings were averaged for the export, export "
        "them as they were measured; if it is a share, 'unit: fraction'; if it is not fan, another "
        "channel."
    ]
    columns["fan"] = ("fan", "fraction")
    assert read("averaged-switch.csv", profile(columns=columns)).channels[
        "fan"
    ].tolist() == pytest.approx([100, 66.7, 0])


# --- headings and units ---------------------------------------------------------------------------

FAHRENHEIT = {
    "Dry": ("dry-bulb", "°F"),
    "Wet": ("wet-bulb", "°F"),
    "RH": ("relative-humidity", "%"),
}
AMERICAN = {"heading": "Date", "format": "%m/%d/%Y %H:%M"}


def test_units_on_line_two():
    log = read("units-on-line-two.csv", profile(AMERICAN, FAHRENHEIT, heading_rows=2))
    assert dry(log) == pytest.approx([(110 - 32) * 5 / 9, (110.3 - 32) * 5 / 9], abs=1e-6)
    assert log.lines.tolist() == [3, 4]


def test_a_unit_that_contradicts_the_profile():
    celsius = {**FAHRENHEIT, "Dry": ("dry-bulb", "°C")}
    assert says("units-on-line-two.csv", profile(AMERICAN, celsius, heading_rows=2)) == [
        "units-on-line-two.csv:2:2: heading '°F': the profile 'plain' says that 'Dry' is in °C. "
        "If the file is right, write 'unit: °F' in the profile; if the profile is, rename the "
        "heading in the logger."
    ]
    assert [
        line.split(". ")[0]
        for line in says(
            "unit-in-heading.csv",
            profile(columns={"T1 [°F]": ("dry-bulb", "°C"), "T2 [°F]": ("wet-bulb", "°F")}),
        )
    ] == [
        "unit-in-heading.csv:1:6: heading 'T1 [°F]': the profile 'plain' says that 'T1 [°F]' is in "
        "°C"
    ]


def test_celsius_and_fahrenheit_in_one_file():
    """109.4 °F is 43 °C: each column is read in the unit of its own heading."""
    columns = {
        "DB [°C]": ("dry-bulb", "°C"),
        "WB [°C]": ("wet-bulb", "°C"),
        "Core 1 [°F]": ("core-1", "°F"),
    }
    log = read("celsius-and-fahrenheit.csv", profile(columns=columns))
    assert log.channels["core-1"].tolist() == pytest.approx([43.0, 44.0])
    (problem,) = says(
        "celsius-and-fahrenheit.csv", profile(columns={**columns, "Core 1 [°F]": ("core-1", "°C")})
    )
    assert "celsius-and-fahrenheit.csv:1:22: heading 'Core 1 [°F]'" in problem
    assert "write 'unit: °F' in the profile" in problem


def test_numbers_that_a_spreadsheet_stored_as_text_are_refused():
    problems = says("text-numbers.csv")
    assert [problem.split(": ")[1] for problem in problems] == ["DB ''43.0'", "DB '=\"43.1\"'"]


def test_unit_in_the_heading():
    log = read(
        "unit-in-heading.csv",
        profile(columns={"T1 [°F]": ("dry-bulb", "°F"), "T2 [°F]": ("wet-bulb", "°F")}),
    )
    assert dry(log) == pytest.approx([43.333333, 44.444444], abs=1e-6)


def test_names_on_line_three():
    assert dry(read("names-on-line-three.csv", profile(heading_rows=3, names_row=3))) == [
        43.25,
        43.31,
    ]
    assert says("names-on-line-three.csv") == [
        "names-on-line-three.csv:1:1: the line 'Logger 3,Kiln 1,': the profile 'plain' says that "
        "the headings 'time', 'DB', 'WB' stand here. They stand on line 3: write 'names_row: 3' "
        "and 'heading_rows: 3' in the profile."
    ]


def test_a_heading_that_the_profile_does_not_list_is_refused():
    assert says("fan-on-off.csv") == [
        "fan-on-off.csv:1:12: heading 'fan': the profile 'plain' says nothing of this column. Add "
        "it to columns with its channel and unit, or as a line \"- 'fan'\" to ignored."
    ]
    assert dry(read("fan-on-off.csv", profile(ignored=["fan"]))) == [43.25, 43.31, 43.4]


def test_a_heading_that_is_spelt_differently_is_refused():
    columns = {"DB": ("dry-bulb", "°C"), "WetBulb": ("wet-bulb", "°C")}
    found = says("byte-order-mark.csv", profile(columns=columns))
    assert found[0] == (
        "byte-order-mark.csv:1:1: heading 'WetBulb': the profile 'plain' names it, and the file "
        "does not have it. The file has: time, DB, WB."
    )
    columns = {"DBT": ("dry-bulb", "°C"), "WB": ("wet-bulb", "°C")}
    assert says("byte-order-mark.csv", profile(columns=columns)) == [
        "byte-order-mark.csv:1:1: heading 'DBT': the profile 'plain' names it, and the file does "
        "not have it. The file has 'DB'; if that is the same column, write it in the profile."
    ]


def test_channels_renamed_midway_are_refused():
    sentence = (
        "channels-renamed-midway.csv:4:1: the headings change here: 'T1' stands where 'DB' stood. "
        "Copy the rows from here on to a second file, keep the original beside it, and name the "
        "second file under log with a profile of its own."
    )
    assert says("channels-renamed-midway.csv") == [sentence]
    # and no profile can permit it
    assert says("channels-renamed-midway.csv", profile(ignored_rows=["time"])) == [sentence]


def test_a_column_added_midway_is_refused():
    found = says("column-added-midway.csv")
    assert len(found) == 2
    assert found[0] == (
        "column-added-midway.csv:4:30: cell '38.1': the row has 4 cells, and there are 3 headings. "
        "Export the new columns from the start, or to a file of their own; if numbers have a "
        "decimal comma, put another character between columns."
    )


def test_humidity_as_a_fraction():
    columns = {"DB": ("dry-bulb", "°C"), "RH": ("relative-humidity", "fraction")}
    log = read("humidity-as-fraction.csv", profile(columns=columns))
    assert log.channels["relative-humidity"].tolist() == pytest.approx([62, 62.5, 100])
    columns["RH"] = ("relative-humidity", "%")
    assert says("humidity-as-fraction.csv", profile(columns=columns)) == [
        "humidity-as-fraction.csv:2:24: RH '0.62': no reading in this column is above 1 %. "
        "If 1 stands for saturated air, write 'unit: fraction' in the profile."
    ]


def test_humidity_in_percent_called_a_fraction():
    columns = {**FAHRENHEIT, "RH": ("relative-humidity", "fraction")}
    assert says("units-on-line-two.csv", profile(AMERICAN, columns, heading_rows=2)) == [
        "units-on-line-two.csv:3:30: RH '83' (2 such cells): relative-humidity lies outside 0 to "
        "105 %. If it marks a missing value, write \"missing: ['83']\" in the profile; if the "
        "column is in percent, 'unit: \"%\"'; if it is not relative-humidity, another channel."
    ]


def test_depression_instead_of_wet_bulb():
    log = read(
        "depression-instead-of-wet-bulb.csv",
        profile(columns={"DB F": ("dry-bulb", "°F"), "Depr F": ("depression", "°F")}),
    )
    # a difference of 9 °F is 5 K, without the 32
    assert log.channels["depression"].tolist() == pytest.approx([5 / 1.8, 5.0])


# --- times ----------------------------------------------------------------------------------------


def shifted(hours: int, *local: str) -> list[str]:
    """Return local times a whole number of hours behind UTC, by plain arithmetic."""
    return [
        f"{dt.datetime.fromisoformat(time) + dt.timedelta(hours=hours):%Y-%m-%dT%H:%M}"
        for time in local
    ]


def test_a_local_clock_skips_an_hour_in_spring():
    """Toronto went from UTC-5 to UTC-4 on 8 March 2026 at 02:00."""
    log = read("spring-night-local.csv", profile(interval_minutes=30))
    assert utc(log) == shifted(
        5, "2026-03-08T00:30", "2026-03-08T01:00", "2026-03-08T01:30"
    ) + shifted(4, "2026-03-08T03:00", "2026-03-08T03:30", "2026-03-08T04:00")
    assert {int(step / np.timedelta64(1, "m")) for step in np.diff(log.times)} == {30}


def test_readings_in_the_skipped_hour_show_a_winter_clock():
    assert says("spring-night-winter-time.csv") == [
        "spring-night-winter-time.csv:4:1: time '2026-03-08 02:00:00': clocks in America/Toronto "
        "skipped that hour, so a local clock never showed it. If the logger keeps winter time all "
        "year, write 'clock: standard' under time in the profile."
    ]
    log = read("spring-night-winter-time.csv", profile({"clock": "standard"}))
    assert utc(log)[2] == "2026-03-08T07:00"
    assert len(set(np.diff(log.times))) == 1


AUTUMN = ["2026-11-01T00:30", "2026-11-01T01:00", "2026-11-01T01:30"]


def test_the_repeated_hour_needs_a_line_in_the_profile():
    assert says("autumn-night-local.csv") == [
        "autumn-night-local.csv:3:1: time '2026-11-01 01:00:00': clocks in America/Toronto showed "
        "that hour twice. If the logger's clock went back with them and its rows are in the order "
        "they were written, import it with --repeated-hour by-row-order, or write 'repeated_hour: by "
        "row order' under time in the profile; if it keeps winter time all year, 'clock: standard'."
    ]


def test_the_repeated_hour_is_told_apart_by_row_order():
    """Toronto went from UTC-4 to UTC-5 on 1 November 2026 at 02:00."""
    by_order = profile({"repeated_hour": "by row order"}, interval_minutes=30)
    log = read("autumn-night-local.csv", by_order)
    assert utc(log) == shifted(4, *AUTUMN) + shifted(
        5, "2026-11-01T01:00", "2026-11-01T01:30", "2026-11-01T02:00", "2026-11-01T02:30"
    )
    assert not log.left_out


def test_a_winter_clock_through_the_repeated_hour():
    by_order = profile({"repeated_hour": "by row order"}, interval_minutes=30)
    assert says("autumn-night-winter-time.csv", by_order) == [
        "autumn-night-winter-time.csv:4:1: time '2026-11-01 01:00:00': clocks in America/Toronto "
        "showed that hour twice, and the rows do not show the clock going back. If the logger "
        "keeps winter time all year, write 'clock: standard' under time in the profile; otherwise "
        "export that night again with times in UTC."
    ]
    log = read("autumn-night-winter-time.csv", profile({"clock": "standard"}))
    assert utc(log)[2] == "2026-11-01T06:00"


def written(tmp_path: Path, times: list[dt.datetime], form: str = "%Y-%m-%d %H:%M") -> Path:
    """Write a log of these local times, the dry bulb counting up from 40."""
    path = tmp_path / "log.csv"
    path.write_text(
        "time,DB,WB\n"
        + "".join(
            f"{time.strftime(form)},{40 + number / 100:.2f},38\n"
            for number, time in enumerate(times)
        )
    )
    return path


@cache
def clock_change(zone: ZoneInfo, autumn: bool) -> dt.datetime:
    """Return the first half hour of 2026 at which a zone's clocks go back, or forward."""
    half_hours = (
        dt.datetime(2026, 1, 1, tzinfo=dt.UTC) + dt.timedelta(minutes=30 * n)
        for n in range(365 * 48)
    )
    offsets = ((moment, moment.astimezone(zone).utcoffset()) for moment in half_hours)
    return next(
        moment
        for (_, before), (moment, after) in pairwise(offsets)
        if before != after and (after < before) == autumn
    )


@settings(max_examples=examples(80))
@given(
    st.sampled_from(
        [
            "America/Toronto",
            "Europe/Dublin",
            "Australia/Lord_Howe",
            "Australia/Sydney",
            "America/St_Johns",
        ]
    ),
    st.sampled_from([1, 5, 7, 10, 15, 20, 30, 60]),
    st.integers(0, 3000),
    st.integers(1, 120),
    st.booleans(),
)
def test_local_times_are_read_as_the_times_that_were_logged(
    tmp_path_factory, name, interval, minutes_before, rows, autumn
):
    """Times are logged in UTC, written as a wall clock shows them, and read back."""
    zone = ZoneInfo(name)
    change = clock_change(zone, autumn)
    start = change - dt.timedelta(minutes=minutes_before)
    moments = [start + dt.timedelta(minutes=interval * n) for n in range(rows)]
    path = written(tmp_path_factory.mktemp("logs"), [m.astimezone(zone) for m in moments])
    logger = profile({"repeated_hour": "by row order"}, interval_minutes=interval)
    try:
        log = read_log(path, "log.csv", logger, zone)
    except RecordProblems as error:
        # only if every row lies in the repeated hour is the order ambiguous
        repeated = [
            m
            for m in moments
            if m.astimezone(zone).replace(fold=0).utcoffset()
            != m.astimezone(zone).replace(fold=1).utcoffset()
        ]
        assert "showed that hour twice" in str(error)  # noqa: PT017
        assert autumn
        assert repeated == moments
    else:
        assert [as_datetime(time, dt.UTC) for time in log.times] == moments


def test_a_clock_that_goes_back_by_half_an_hour(tmp_path):
    """Lord Howe Island goes from UTC+11 to UTC+10:30 on 5 April 2026, at 15:00 UTC."""
    zone = ZoneInfo("Australia/Lord_Howe")
    moments = [
        dt.datetime(2026, 4, 5, 0, 0, tzinfo=dt.UTC)
        - dt.timedelta(hours=10)
        + dt.timedelta(minutes=30 * n)
        for n in range(6)
    ]
    path = written(tmp_path, [moment.astimezone(zone) for moment in moments])
    assert [line.split(",")[0][-5:] for line in path.read_text().splitlines()[1:]] == [
        "01:00",
        "01:30",
        "01:30",
        "02:00",
        "02:30",
        "03:00",
    ]
    log = read_log(
        path, "log.csv", profile({"repeated_hour": "by row order"}, interval_minutes=30), zone
    )
    assert [as_datetime(time, dt.UTC) for time in log.times] == moments


@pytest.mark.parametrize(
    "time",
    [
        "2026-02-29 07:00",
        "2026-04-31 07:00",
        "2026-13-01 07:00",
        "2026-00-10 07:00",
        "2026-01-00 07:00",
        "2026-01-01 24:00",
        "2026-01-01 07:60",
    ],
)
def test_impossible_dates_and_times_are_refused(tmp_path, time):
    path = tmp_path / "log.csv"
    path.write_text(f"time,DB,WB\n{time},43,40\n")
    (problem,) = refused(read_log, path, "log.csv", profile(), TORONTO)
    assert problem.startswith(f"log.csv:2:1: time '{time}': ")


def test_standard_time_is_winter_time_in_both_hemispheres(tmp_path):
    """Winter: Sydney UTC+10 (January is summer), Dublin UTC, Toronto UTC-5."""
    for name, hours in (("Australia/Sydney", 10), ("Europe/Dublin", 0), ("America/Toronto", -5)):
        for month in (1, 7):
            noon = dt.datetime.fromisoformat(f"2026-{month:02}-15T12:00")
            log = read_log(
                written(tmp_path, [noon]), "log.csv", profile({"clock": "standard"}), ZoneInfo(name)
            )
            assert as_datetime(log.times[0], dt.UTC).hour == 12 - hours


def test_twelve_hour_clock():
    log = read("twelve-hour-clock.csv", profile({"format": "%m/%d/%Y %I:%M %p", "clock": "utc"}))
    assert utc(log) == [
        "2026-03-02T11:30",
        "2026-03-02T12:00",
        "2026-03-02T12:30",
        "2026-03-02T23:30",
        "2026-03-03T00:00",
    ]


def test_a_twelve_hour_format_needs_am_or_pm():
    with pytest.raises(ValidationError, match="does not tell the moment"):
        profile({"format": "%m/%d/%Y %I:%M"})


def test_day_and_month_are_read_in_the_profiles_order():
    log = read("day-first.csv", profile({"format": "%d/%m/%Y %H:%M", "clock": "utc"}))
    assert utc(log)[0] == "2026-03-02T00:00"
    assert utc(log)[-1] == "2026-03-04T16:00"


def test_swapped_day_and_month_are_noticed_in_the_first_twelve_days():
    """All days are below 13, so each time by itself could be read either way."""
    swapped = profile({"format": "%m/%d/%Y %H:%M", "clock": "utc"})
    assert says("day-first.csv", swapped) == [
        "day-first.csv:5:1: time '03/03/2026 00:00': read as the profile says, the clock leaps by "
        "weeks here, and with day and month swapped it does not. Check which stands first; if it "
        "is the other, write \"format: '%d/%m/%Y %H:%M'\" under time in the profile."
    ]


def test_swapped_day_and_month_are_noticed_after_the_twelfth():
    swapped = profile({"format": "%m/%d/%Y %H:%M", "clock": "utc"})
    assert says("day-first-past-the-twelfth.csv", swapped) == [
        "day-first-past-the-twelfth.csv:4:1: time '13/03/2026 12:00' (2 such cells): the profile "
        "'plain' says times are written %m/%d/%Y %H:%M. Write \"format: '%d/%m/%Y %H:%M'\" if "
        "that is 11 March 2026, 12:00, under time in the profile."
    ]


def test_a_wrong_time_format_is_answered_with_the_formats_that_fit():
    assert says("day-first.csv") == [
        "day-first.csv:2:1: time '02/03/2026 00:00' (9 such cells): the profile 'plain' says times "
        "are written %Y-%m-%d %H:%M. Write \"format: '%d/%m/%Y %H:%M'\" if that is 2 March 2026, "
        "00:00 or \"format: '%m/%d/%Y %H:%M'\" if that is 3 February 2026, 00:00, under time in "
        "the profile."
    ]


def test_spreadsheet_day_numbers():
    """Day 46083 is 2 March 2026: spreadsheets count days from 30 December 1899."""
    assert dt.date(1899, 12, 30) + dt.timedelta(46083) == dt.date(2026, 3, 2)
    log = read(
        "spreadsheet-serial-dates.csv",
        profile({"format": "days since 1899-12-30", "clock": "utc"}, delimiter=";", decimal=","),
    )
    assert utc(log) == ["2026-03-02T07:00", "2026-03-02T07:15", "2026-03-02T07:30"]
    assert (
        "days since 1899-12-30"
        in says("spreadsheet-serial-dates.csv", profile(delimiter=";", decimal=","))[0]
    )


def test_times_of_day_dated_1900_by_a_spreadsheet_are_refused():
    """In a spreadsheet a time without a date is on day 0; no date is invented for it."""
    (problem,) = says("dates-of-1900.csv")
    assert "time '1900-01-00 07:00' (2 such cells)" in problem


def test_date_and_time_in_two_columns():
    log = read(
        "date-and-time-apart.csv",
        profile(
            {"heading": "Date", "time_heading": "Time", "format": "%d.%m.%Y %H:%M:%S"},
            delimiter=";",
            decimal=",",
        ),
    )
    assert utc(log) == ["2026-03-02T12:00", "2026-03-02T12:15", "2026-03-02T12:30"]
    assert log.left_out == Counter({"rows without a time": 1})


def test_an_offset_in_every_time():
    log = read(
        "offset-in-every-time.csv", profile({"format": "%Y-%m-%dT%H:%M:%S%z", "clock": "offset"})
    )
    assert utc(log) == ["2026-11-01T05:30", "2026-11-01T06:30"]


@pytest.mark.parametrize("word", ["now", "today", "Today", "NOW"])
def test_words_such_as_now_and_today_are_not_read_as_times(tmp_path, word):
    path = tmp_path / "log.csv"
    path.write_text(f"time,DB,WB\n{word},43,40\n2026-03-02 07:00,43,40\n")
    (problem,) = refused(read_log, path, "log.csv", profile(), TORONTO)
    assert f"time '{word}'" in problem


def test_clocks_of_other_centuries_are_refused(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time,DB,WB\n1970-01-01 00:00,43,40\n1970-01-01 00:15,43,40\n")
    assert (
        "time '1970-01-01 00:00' (2 such cells)"
        in refused(read_log, path, "log.csv", profile(), TORONTO)[0]
    )


_FORMS = st.sampled_from(
    [
        "%Y-%m-%d %H:%M",
        "%d.%m.%Y %H:%M:%S",
        "%m/%d/%Y %H:%M",
        "%Y%m%d%H%M",
        "%d/%m/%y %H:%M",
        "%m/%d/%Y %I:%M %p",
    ]
)


@given(
    _FORMS,
    st.lists(
        st.datetimes(
            dt.datetime.fromisoformat("1981-01-01"), dt.datetime.fromisoformat("2060-01-01")
        ),
        min_size=1,
        max_size=5,
    ),
    st.text("0123456789/.: -", max_size=3),
    st.integers(0, 20),
)
def test_the_fast_reader_of_times_agrees_with_strptime(form, moments, slip, at):
    """Times read as a table of characters equal those that strptime reads one by one."""
    texts = [moment.strftime(form) for moment in moments]
    texts[-1] = texts[-1][:at] + slip + texts[-1][at + len(slip) :]
    widths = {len(text.encode()) for text in texts}
    assume(len(widths) == 1)
    found = times_of(form, np.frombuffer("".join(texts).encode(), np.uint8).reshape(len(texts), -1))
    try:
        expected = [dt.datetime.strptime(text, form) for text in texts]  # noqa: DTZ007
    except ValueError:
        assert found is None
        return
    if found is None:
        assert "%p" in form or "%y" in form or [time.strftime(form) for time in expected] != texts
    else:
        assert found.astype(dt.datetime).tolist() == expected


# --- rows -----------------------------------------------------------------------------------------


def test_duplicate_short_blank_and_out_of_order_rows_are_counted():
    log = read("duplicates-and-out-of-order.csv")
    # of two rows with the same time the first is kept
    assert dry(log) == [43.0, 43.1, 43.3, 43.5, 43.7, 43.9]
    assert log.left_out == Counter(
        {
            "rows whose clock repeats or runs back": 2,
            "blank rows": 1,
            "rows with too few cells": 1,
            "rows without a time": 1,
        }
    )
    assert (log.rows, log.lines.tolist()) == (11, [2, 3, 5, 7, 10, 12])


def test_one_time_far_ahead_costs_only_its_own_row():
    log = read("clock-once-far-ahead.csv")
    assert dry(log) == [43.0, 43.1, 43.3, 43.4]
    assert log.left_out == Counter({"rows whose clock repeats or runs back": 1})


def test_two_files_that_meet_at_midnight_are_joined():
    first, second = read("rollover-first.csv"), read("rollover-second.csv")
    for logs in ([first, second], [second, first]):
        log = join_logs(logs)
        accounted_for(log)
        assert utc(log) == shifted(
            5,
            "2026-03-02T23:00",
            "2026-03-02T23:15",
            "2026-03-02T23:30",
            "2026-03-02T23:45",
            "2026-03-03T00:00",
            "2026-03-03T00:15",
            "2026-03-03T00:30",
        )
        assert log.left_out == Counter({"rows that another file already covers": 1})
        assert log.place(3) == Place("rollover-first.csv", 5)
        assert log.place(4) == Place("rollover-second.csv", 3)


def test_joined_files_with_other_channels():
    both = read("byte-order-mark.csv")
    one = read("rollover-first.csv", profile(columns={"DB": ("dry-bulb", "°C")}, ignored=["WB"]))
    log = join_logs([both, one])
    accounted_for(log)
    assert np.isnan(log.channels["wet-bulb"]).tolist() == [False, False, True, True, True, True]
    assert log.left_out == Counter({"cells of wet-bulb in a file without it": 4})
    assert join_logs([both]) is both


def test_rows_thinned_out_for_the_export_are_refused():
    """Nothing in the file says whether the rows in between were dropped or averaged."""
    assert says("thinned-to-the-hour.csv") == [
        "thinned-to-the-hour.csv:3:1: the rows stand 60 min apart: the profile 'plain' says 15 "
        "min. If the logger wrote so, write 'interval_minutes: 60' in the profile; if rows were "
        "left out or averaged for the export, export all of them, as they were measured."
    ]
    assert says("thinned-to-the-hour.csv", profile(interval_minutes=150)) == [
        "thinned-to-the-hour.csv:3:1: the rows stand 60 min apart: the profile 'plain' says 150 "
        "min. If the logger wrote so, write 'interval_minutes: 60' in the profile."
    ]
    assert len(read("thinned-to-the-hour.csv", profile(interval_minutes=60)).times) == 14


@pytest.mark.parametrize(
    ("minutes", "rows", "fits"),
    [
        (29.9, 14, True),
        (30.1, 14, False),
        (7.4, 14, False),
        (7.6, 14, True),
        (300, 14, False),
        (300, 12, True),
    ],
)
def test_rows_may_be_half_to_twice_the_interval_apart(tmp_path, minutes, rows, fits):
    """Half and twice the profile's 15 minutes; a few rows prove nothing."""
    path, first = tmp_path / "log.csv", dt.datetime.fromisoformat("2026-03-02T07:00")
    times = [first + dt.timedelta(minutes=minutes * row) for row in range(rows)]
    path.write_text("time,DB,WB\n" + "".join(f"{time:%Y-%m-%d %H:%M:%S},43,40\n" for time in times))
    logger = profile({"format": "%Y-%m-%d %H:%M:%S"})
    if fits:
        assert len(read_log(path, "log.csv", logger, TORONTO).times) == rows
    else:
        (problem,) = refused(read_log, path, "log.csv", logger, TORONTO)
        assert problem.startswith("log.csv:3:1: the rows stand ")
        assert ("'interval_minutes: " in problem) == (minutes <= 240)


def test_the_repeated_headings_of_a_restarted_log_can_be_ignored():
    assert says("restarted-log.csv") == [
        "restarted-log.csv:4:1: the headings stand again here: a row of headings is no reading. "
        "If the logger was restarted, write \"ignored_rows: ['time']\" in the profile 'plain'."
    ]
    log = read("restarted-log.csv", profile(ignored_rows=["time"]))
    assert len(log.times) == 4
    assert log.left_out == Counter({"rows the profile ignores": 1})


def test_rows_of_events_between_the_readings_can_be_ignored():
    found = says("events-interleaved.csv")
    assert found[0] == (
        "events-interleaved.csv:5:18: DB 'EVENT': it is not a number as the profile 'plain' says "
        "they are written. If it marks a missing value, write \"missing: ['EVENT']\" in the "
        "profile; if the row records an event, write the word its cell begins with under "
        "ignored_rows."
    )
    log = read("events-interleaved.csv", profile(ignored_rows=["EVENT"]))
    assert log.lines.tolist() == [2, 4, 6]
    assert log.left_out == Counter({"rows the profile ignores": 2})


# --- marks for a missing value --------------------------------------------------------------------

FOUR = {"DB": ("dry-bulb", "°C"), "WB": ("wet-bulb", "°C"), "RH": ("relative-humidity", "%")}


def test_listed_marks_are_read_as_missing_values():
    log = read(
        "sentinels.csv", profile(columns=FOUR, missing=["-999", "850", "32767", "OL", "----"])
    )
    gone = {
        name: np.flatnonzero(np.isnan(values)).tolist() for name, values in log.channels.items()
    }
    assert gone == {"dry-bulb": [1, 2, 6], "wet-bulb": [3, 4, 7], "relative-humidity": [5, 6]}
    assert log.left_out == Counter(
        {
            "cells of dry-bulb marked missing": 3,
            "cells of wet-bulb marked missing": 3,
            "cells of relative-humidity marked missing": 2,
        }
    )


def test_numbers_that_look_like_unlisted_marks_are_reported():
    found = says("sentinels.csv", profile(columns=FOUR, missing=["OL", "----"]))
    assert found[0] == (
        "sentinels.csv:3:18: DB '-999' (2 such cells): dry-bulb lies outside -60 to 200 °C. If it "
        "marks a missing value, write \"missing: ['OL', '----', '-999']\" in the profile; if it is "
        "not dry-bulb, another channel."
    )
    assert [line.split(": ")[1] for line in found] == [
        "DB '-999' (2 such cells)",
        "DB '850'",
        "WB '32767'",
        "RH '-999'",
    ]


def test_words_that_look_like_unlisted_marks_are_reported():
    found = says("sentinels.csv", profile(columns=FOUR, missing=["-999", "850", "32767"]))
    assert found == [
        "sentinels.csv:6:23: WB 'OL' (2 such cells): it is not a number as the profile 'plain' "
        "says they are written. If it marks a missing value, write \"missing: ['-999', '850', "
        "'32767', 'OL']\" in the profile; if the row records an event, write the word its cell "
        "begins with under ignored_rows.",
        "sentinels.csv:7:28: RH '----': it is not a number as the profile 'plain' says they are "
        "written. If it marks a missing value, write \"missing: ['-999', '850', '32767', '----']\" "
        "in the profile; if the row records an event, write the word its cell begins with under "
        "ignored_rows.",
    ]


def test_marks_of_a_fahrenheit_column_are_compared_as_written(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time,DB,WB\n2026-03-02 07:00,110,105\n2026-03-02 07:15,-999.0,105\n")
    columns = {"DB": ("dry-bulb", "°F"), "WB": ("wet-bulb", "°F")}
    log = read_log(path, "log.csv", profile(columns=columns, missing=["-999"]), TORONTO)
    assert np.isnan(log.channels["dry-bulb"]).tolist() == [False, True]


def test_fahrenheit_read_as_celsius_is_noticed(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time,DB,WB\n2026-03-02 07:00,212,105\n")
    assert refused(read_log, path, "log.csv", profile(), TORONTO) == [
        "log.csv:2:18: DB '212': dry-bulb lies outside -60 to 200 °C. If it marks a missing value, "
        "write \"missing: ['212']\" in the profile; if the column is in Fahrenheit, 'unit: °F'; if "
        "it is not dry-bulb, another channel."
    ]


@pytest.mark.parametrize(
    ("cell", "channel", "unit", "fits"),
    [
        ("-60", "dry-bulb", "°C", True),
        ("-60.1", "dry-bulb", "°C", False),
        ("200", "dry-bulb", "°C", True),
        ("200.1", "dry-bulb", "°C", False),
        ("392", "core-1", "°F", True),
        ("392.2", "core-1", "°F", False),
        ("0", "relative-humidity", "%", True),
        ("-0.1", "relative-humidity", "%", False),
        ("105", "relative-humidity", "%", True),
        ("105.1", "relative-humidity", "%", False),
        ("1.05", "relative-humidity", "fraction", True),
        ("62", "relative-humidity", "fraction", False),
        ("-40", "depression", "K", True),
        ("-40.5", "depression", "K", False),
        ("1", "fan", "on/off", True),
        ("2", "fan", "on/off", False),
        ("inf", "dry-bulb", "°C", False),
        ("nan", "dry-bulb", "°C", False),
    ],
)
def test_values_outside_a_channels_bounds_are_refused(tmp_path, cell, channel, unit, fits):
    path = tmp_path / "log.csv"
    path.write_text(
        f"time,X\n2026-03-02 07:00,{cell}\n2026-03-02 07:15,50\n"
        if unit == "%"
        else f"time,X\n2026-03-02 07:00,{cell}\n"
    )
    logger = profile(columns={"X": (channel, unit)})
    if fits:
        assert len(read_log(path, "log.csv", logger, TORONTO).times) >= 1
    else:
        assert len(refused(read_log, path, "log.csv", logger, TORONTO)) == 1


def test_every_problem_of_a_file_is_reported_in_one_run(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time,DB,WB\n2026-03-02 07:00,OL,-999\n2.3.26 7:15,43,40\n")
    assert [
        line.split(": ")[:2] for line in refused(read_log, path, "log.csv", profile(), TORONTO)
    ] == [
        ["log.csv:2:18", "DB 'OL'"],
        ["log.csv:2:21", "WB '-999'"],
        ["log.csv:3:1", "time '2.3.26 7:15'"],
    ]


# --- broken files ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "the file is empty"),
        (b"\n\n\n", "the file is empty"),
        (b"time,DB,WB\n", "no readings below the headings"),
        (b"time,DB,WB\n,,\n\n", "no readings below the headings"),
        (b"time,DB,WB\n2026-03-02 07:00,4\x000,38\n", "a NUL character"),
        (b'time,DB,WB\n2026-03-02 07:00,"40,38\n', "a quote opens and does not close"),
        (b'time,DB,WB\n2026-03-02 07:00,40,38,"a\nb"\n', "a quote opens and does not close"),
        (b"time,DB,DB\n2026-03-02 07:00,40,38\n", "heading 'DB'"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "byte 0x89"),
    ],
)
def test_broken_files(tmp_path, content, what):
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    assert what in refused(read_log, path, "log.csv", profile(), TORONTO)[0]


def test_a_missing_or_huge_file_is_refused(tmp_path):
    assert refused(read_log, tmp_path / "log.csv", "log.csv", profile(), TORONTO) == [
        "log.csv:1:1: the file cannot be read: no such file or directory. Check the name, its "
        "ending and its folder."
    ]
    with (tmp_path / "log.csv").open("wb") as file:
        file.truncate(70_000_000)
    assert (
        "70,000,000 bytes"
        in refused(read_log, tmp_path / "log.csv", "log.csv", profile(), TORONTO)[0]
    )


_CELLS = st.sampled_from(
    [
        "",
        "43.2",
        "-999",
        "OL",
        "43,2",
        "1.043,2",
        '"43"',
        '"',
        "time",
        "DB",
        "2026-03-02 07:00",
        "2026-03-08 02:30",
        "2026-11-01 01:30",
        "now",
        "inf",
        "EVENT x",
        "\x00",
        "\x85",
        "é",
        " ",
        "999999999999999999999",
        "\r",
        "0x1f",
    ]
)
_ROWS = st.lists(st.lists(_CELLS, max_size=5).map(",".join), max_size=8).map("\n".join)


@settings(max_examples=examples(300))
@given(
    _ROWS | st.text(max_size=80),
    st.sampled_from(
        [
            {},
            {"ignored_rows": ["EVENT", "time"]},
            {"missing": ["OL", "-999"]},
            {"decimal": ","},
            {"time": {"clock": "standard"}},
            {"time": {"repeated_hour": "by row order"}},
            {"time": {"format": "days since 1899-12-30"}},
        ]
    ),
)
def test_any_rows_give_a_log_that_adds_up_or_problems(tmp_path_factory, rows, changes):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_text("time,DB,WB\n2026-03-02 06:00,43.2,40.1\n" + rows, "utf-8", newline="")
    try:
        log = read_log(path, "any.csv", profile(**changes), TORONTO)
    except RecordProblems as error:
        lines = path.read_text("utf-8").count("\n") + rows.count("\r") + 1
        assert all(  # noqa: PT017
            1 <= p.place.line <= lines and p.what and p.why for p in error.problems
        )
    else:
        accounted_for(log)
        for earlier, later in pairwise(log.lines):
            assert earlier < later
