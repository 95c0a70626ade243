"""An axis of dates, with ticks at local midnights a round number of days or months apart."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np

from kilnfolio.charts.axes import Axis, even_axis
from kilnfolio.physics._types import Floats
from kilnfolio.runtime.values import dataclass

#: Days between two ticks; the first value that gives few enough ticks is used.
_APART = (1, 2, 3, 5, 7, 10, 14, 21, 28, 56)
#: The same in months, for charts of more than `_LONG` days.
_MONTHS_APART = (1, 2, 3, 6, 12, 24, 60)
_LONG = 300.0


@dataclass(frozen=True)
class Clock:
    """Converts times to days from the left edge of a chart, and labels the axis below."""

    start: dt.datetime
    """Time at the left edge, timezone-aware."""
    days: float
    """Time the width covers [d]."""
    dated: bool = True
    """Whether labels are dates; otherwise they count days, as in exercises, which hide dates."""

    def __call__(self, moment: dt.datetime) -> float:
        """Return the days from the left edge to a time, clipped to the chart."""
        return min(max(self._passed(moment), 0.0), self.days)

    def days_to(self, moments: Iterable[dt.datetime]) -> Floats:
        """Return the same for many times."""
        stamps = np.array([moment.timestamp() for moment in moments])
        return np.clip((stamps - self._began) / 86_400.0, 0.0, self.days)

    def _passed(self, moment: dt.datetime) -> float:
        # times in one zone would be subtracted by its clocks, as if these never changed
        return (moment.timestamp() - self._began) / 86_400.0

    @cached_property
    def _began(self) -> float:
        return self.start.timestamp()

    def axis(self, zone: ZoneInfo, most: int = 6) -> Axis:
        """Return the axis of dates in a time zone, with at most `most` ticks."""
        if not self.dated:
            marks = even_axis(0.0, self.days, about=most).ticks
            return Axis(
                0.0,
                self.days,
                tuple(mark for mark in marks if mark[0] <= self.days),
                "days from the start",
            )
        first = self.start.astimezone(zone)
        if self.days > _LONG:
            return Axis(0.0, self.days, tuple(self._months(first, most)))
        midnights = _midnights(first, self.days)
        apart = next((days for days in _APART if len(midnights[::days]) <= most), _APART[-1])
        dates = [(self(at), f"{at.day} {at:%b}") for at in midnights[::apart]]
        if len(dates) < 2:
            dates = self._hours(first)
        return Axis(0.0, self.days, tuple(dates), f"{_years(first, self.days)}, {first:%Z}")

    def _months(self, first: dt.datetime, most: int) -> list[tuple[float, str]]:
        """Return ticks at the beginning of months; the first one and each January name the year."""
        last = first + dt.timedelta(days=self.days)
        count = first.year * 12 + first.month  # months since year 0, to the one after the first
        end = last.year * 12 + last.month
        apart = next(
            (each for each in _MONTHS_APART if (end - count) // each < most), _MONTHS_APART[-1]
        )
        found: list[tuple[float, str]] = []
        for at in range(-(-count // apart) * apart, end, apart):
            begins = first.replace(
                year=at // 12, month=at % 12 + 1, day=1, hour=0, minute=0, second=0, microsecond=0
            )
            named = not found or begins.month == 1
            found.append((self(begins), f"{begins:%b %Y}" if named else f"{begins:%b}"))
        return found

    def _hours(self, first: dt.datetime) -> list[tuple[float, str]]:
        """Return ticks every few hours, for a chart with fewer than two midnights."""
        each = max(1, round(self.days * 24.0 / 5.0))
        clock = first.replace(minute=0, second=0, microsecond=0) + dt.timedelta(hours=1)
        hours = [clock + dt.timedelta(hours=each * place) for place in range(6)]
        return [
            (self(at), f"{at.day} {at:%b %H:%M}" if place == 0 else f"{at:%H:%M}")
            for place, at in enumerate(hours)
            if self._passed(at) <= self.days
        ]


def _midnights(first: dt.datetime, days: float) -> list[dt.datetime]:
    midnight = (first + dt.timedelta(days=1)).replace(hour=0, minute=0, second=0, microsecond=0)
    last = first + dt.timedelta(days=days)
    found = []
    while midnight <= last:
        found.append(midnight)
        midnight += dt.timedelta(
            days=1
        )  # by local time, so that changes of the clocks are respected
    return found


def _years(first: dt.datetime, days: float) -> str:
    last = first + dt.timedelta(days=days)
    return f"{first.year}" if first.year == last.year else f"{first.year} to {last.year}"
