"""The axis of dates: ticks at local midnights or beginnings of months, with the year where it is needed."""

import datetime as dt
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from kilnfolio.charts.calendar import Clock

ZONE = ZoneInfo("America/Toronto")


@pytest.mark.parametrize("days", [301, 420, 800, 1100, 2500, 9000])
@pytest.mark.parametrize("begins", [(2023, 9, 12), (2024, 1, 1), (2024, 2, 29)])
def test_a_chart_of_years_has_ticks_at_beginnings_of_months(begins, days):
    start = dt.datetime(*begins, 7, 30, tzinfo=ZONE)
    ticks = Clock(start, days).axis(ZONE).ticks
    assert 2 <= len(ticks) <= 7
    for place, (day, words) in enumerate(ticks):
        at = (start.astimezone(dt.UTC) + dt.timedelta(days=day)).astimezone(ZONE)
        assert (at.day, at.hour, at.minute) == (1, 0, 0)
        assert words == at.strftime("%b %Y" if place == 0 or at.month == 1 else "%b")
    apart = [after[0] - before[0] for before, after in pairwise(ticks)]
    assert max(apart) - min(apart) <= 5  # months are not equally long, nor years


def test_a_chart_of_weeks_has_ticks_at_midnights():
    start = dt.datetime(2026, 10, 20, 7, 30, tzinfo=ZONE)  # clocks go back on 1 November
    axis = Clock(start, 21).axis(ZONE)
    assert [words for _, words in axis.ticks] == ["21 Oct", "26 Oct", "31 Oct", "5 Nov", "10 Nov"]
    assert axis.label == "2026, EDT"
    assert axis.ticks[3][0] - axis.ticks[2][0] == pytest.approx(5 + 1 / 24)
