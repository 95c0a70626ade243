"""All kilns on one chart: a bar for each charge, running or to come, with the band of its end."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from zoneinfo import ZoneInfo

from markupsafe import Markup

from kilnfolio.charts.axes import Axis, Panel, box, read_stops, segment, svg, text
from kilnfolio.charts.calendar import Clock
from kilnfolio.forecast.plan import Bar, Plan
from kilnfolio.forecast.result import CAUTION

_LEFT, _TOP, _WIDTH, _ROW, _VIEW = 24.0, 30.0, 592.0, 54.0, 640.0
_FOOT = 64.0
_THICK = 18.0


def plan_chart(
    plan: Plan,
    names: Mapping[str, str],
    now: dt.datetime,
    zone: ZoneInfo,
    days_due: Mapping[str, dt.date] | None = None,
) -> Markup:
    """Return the chart of a plan; "" if nothing runs.

    Parameters
    ----------
    plan : Plan
        The plan.
    names : mapping of str to str
        Name of each kiln by its id.
    now : datetime
        The time of the plan.
    zone : ZoneInfo
        The mill's time zone.
    days_due : mapping of str to date, optional
        Due date of each order that a coming charge is for.
    """
    wanted = days_due or {}
    bars = [bar for bar in plan.bars if bar.done is not None]
    if not bars:
        return Markup("")
    first = min(bar.started for bar in bars)
    last = max(bar.done.high95 for bar in bars if bar.done is not None)
    clock = Clock(first, 1.03 * ((last - first) / dt.timedelta(days=1)) + 0.2)
    panel = Panel(_LEFT, _TOP, _WIDTH, _ROW * len(bars), clock.axis(zone), Axis(0.0, 1.0, ()))
    parts = [panel.frame()]
    for row, bar in enumerate(bars):
        top = panel.top + row * _ROW
        parts += _bar(panel, clock, bar, names.get(bar.kiln, bar.kiln), top)
        parts += [_day(panel, clock, wanted[one], zone, top) for one in bar.orders if one in wanted]
    x = panel.x_at(clock(now))
    parts += [
        # only beside the bars, so that it does not cross their text
        *(
            segment("fan-now", x, panel.top + row * _ROW + 20, x, panel.top + (row + 1) * _ROW)
            for row in range(len(bars))
        ),
        text("small", x, panel.top - 8, "now", "middle"),
    ]
    told = "; ".join(
        f"{bar.name} in {names.get(bar.kiln, bar.kiln)} likely done {bar.done.median:%d %b}"
        for bar in bars
        if bar.done is not None
    )
    return svg(
        "kiln-plan",
        _VIEW,
        panel.foot + _FOOT,
        "When the kilns come free",
        f"{told}. {CAUTION}",
        parts,
        read_stops(),
    )


def _bar(panel: Panel, clock: Clock, bar: Bar, kiln: str, top: float) -> Iterator[Markup]:
    assert bar.done is not None
    left, likely = panel.x_at(clock(bar.started)), panel.x_at(clock(bar.done.median))
    low, high = panel.x_at(clock(bar.done.low80)), panel.x_at(clock(bar.done.high80))
    y = top + 24
    words = f"{kiln}: {bar.name}, likely done {bar.done.median:%d %b %H:%M}"
    yield text("small", panel.left + 2, top + 16, words)
    yield box("bar" if bar.charge else "bar-to-come", left, y, max(low - left, 1.0), _THICK)
    yield box(
        "fan-80",
        low,
        y,
        max(high - low, 1.0),
        _THICK,
        f"{words}; 80 of 100 between {bar.done.low80:%d %b %H:%M} and "
        f"{bar.done.high80:%d %b %H:%M}",
    )
    far = panel.x_at(clock(bar.done.high95))
    yield segment("fan-whisker", high, y + _THICK / 2, far, y + _THICK / 2)
    yield segment("fan-likely", likely, y - 3, likely, y + _THICK + 3)


def _day(panel: Panel, clock: Clock, day: dt.date, zone: ZoneInfo, top: float) -> Markup:
    """Return the mark of an order's due date, at the end of that day; below the bar's words."""
    end = dt.datetime.combine(day + dt.timedelta(days=1), dt.time(), zone)
    x = panel.x_at(clock(end))
    return segment("day-due", x, top + 20, x, top + 24 + _THICK + 8)
