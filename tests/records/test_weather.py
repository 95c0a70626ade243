"""A mill's own weather file: three layouts, and every wrong line reported by its number."""

import pytest

from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.weather import read_weather

HEAD = "temp_c,relative_humidity_pct\n"


def months(first="1,-3.5,78"):
    rows = [first, *(f"{month},{10 + month},{60 + month}" for month in range(2, 13))]
    return "# Alder Brook (invented), means\nmonth,temp_c,relative_humidity_pct\n" + "\n".join(rows)


def test_twelve_months():
    found = read_weather(months().encode())
    assert not found.hourly
    assert found.place == "Alder Brook (invented), means"
    assert (found.temp_c[0], found.relative_humidity_pct[11]) == (-3.5, 72.0)


def test_a_year_of_hours_and_a_leap_year():
    for hours in (8760, 8784):
        found = read_weather((HEAD + "4.4,57\n" * hours).encode())
        assert found.hourly
        assert len(found.temp_c) == 8760


def test_a_typical_year_as_weather_services_give_it_out():
    """The open TMY3 layout: a line of the station, headings, then hours (from memory)."""
    head = "725030,LA GUARDIA,NY,-5.0,40.78,-73.88,3\nDate,Time,Dry-bulb (C),Dew (C),RHum (%)\n"
    found = read_weather((head + "01/01/1996,01:00,1.7,-5,61\n" * 8760).encode())
    assert found.temp_c[5] == 1.7
    assert found.relative_humidity_pct[5] == 61.0


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"temp_c,rh\n1,2\n", "content/weather.csv:1:1: headings 'temp_c,rh'"),
        (b"", "content/weather.csv:1:1"),
        ((HEAD + "12,\n").encode(), "content/weather.csv:2:1: '12,'"),
        ((HEAD + "12,62\n99,50\n").encode(), "content/weather.csv:3:1: '99,50'"),
        ((HEAD + "nan,50\n").encode(), "content/weather.csv:2:1"),
        ((HEAD + "12,62\n").encode(), "1 rows: a year has 8760 hours"),
        (months("1,2").encode(), "content/weather.csv:3:1: '1,2'"),
        (HEAD.encode() + b"\xff\n", "content/weather.csv:2:1: a byte that is no text"),
        (b"1" * 5_000_000, "under 4 MB"),
    ],
)
def test_what_cannot_be_read_is_reported_by_line(raw, message):
    with pytest.raises(RecordProblems) as refused:
        read_weather(raw)
    assert message in str(refused.value.problems[0])


def test_up_to_twenty_wrong_lines_are_reported_at_once():
    with pytest.raises(RecordProblems) as refused:
        read_weather((HEAD + "x,1\n" * 100).encode())
    assert len(refused.value.problems) == 20
