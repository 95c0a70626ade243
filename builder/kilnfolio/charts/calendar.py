"""An axis of dates, with ticks at local midnights a round number of days apart."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from kilnfolio.charts.axes import Axis, even_axis

#: Days between two ticks; the first value that gives few enough ticks is used.
_APART = (1, 2, 3, 5, 7, 10, 14, 21, 28, 56, 91, 182, 365)


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
        return min(max((moment - self.start).total_seconds() / 86_400.0, 0.0), self.days)

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
        midnights = _midnights(first, self.days)
        apart = next((days for days in _APART if len(midnights[::days]) <= most), _APART[-1])
        dates = [(self(at), f"{at.day} {at:%b}") for at in midnights[::apart]]
        if len(dates) < 2:
            dates = self._hours(first)
        return Axis(0.0, self.days, tuple(dates), f"{_years(first, self.days)}, {first:%Z}")

    def _hours(self, first: dt.datetime) -> list[tuple[float, str]]:
        """Return ticks every few hours, for a chart with fewer than two midnights."""
        each = max(1, round(self.days * 24.0 / 5.0))
        clock = first.replace(minute=0, second=0, microsecond=0) + dt.timedelta(hours=1)
        hours = [clock + dt.timedelta(hours=each * place) for place in range(6)]
        return [
            (self(at), f"{at.day} {at:%b %H:%M}" if place == 0 else f"{at:%H:%M}")
            for place, at in enumerate(hours)
            if (at - self.start).total_seconds() / 86_400.0 <= self.days
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
