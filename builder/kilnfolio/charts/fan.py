"""The forecast of a charge: past weighings, and the future controlling MC as a fan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from zoneinfo import ZoneInfo

from markupsafe import Markup

from kilnfolio.charts.axes import (
    Panel,
    dots,
    even_axis,
    read_area,
    read_stops,
    segment,
    spread,
    svg,
    text,
)
from kilnfolio.charts.calendar import Clock
from kilnfolio.forecast.result import CAUTION, Forecast

_LEFT, _TOP, _WIDTH, _HEIGHT, _VIEW = 46.0, 40.0, 470.0, 300.0, 640.0
_FOOT = 64.0
_LETTER = 16.0
#: Half the width of "as of 12 Oct 08:00".
_HALF_WORDS = 62.0
#: From this x on, text clears the title of the left axis.
_CLEAR = 160.0


def fan_chart(found: Forecast, zone: ZoneInfo) -> Markup:
    """Return the chart of a forecast; "" if nothing is to come.

    Parameters
    ----------
    found : Forecast
        The forecast.
    zone : ZoneInfo
        The mill's time zone.
    """
    if len(found.fan.times) < 2:
        return Markup("")
    last = found.end.high95 if found.end is not None else found.fan.times[-1]
    whole = (last - found.started) / dt.timedelta(days=1)
    clock = Clock(found.started, max(1.0, 1.04 * whole))
    highest = max([mc for _, mc in found.past] + [found.fan.high95[0]])
    panel = Panel(
        _LEFT, _TOP, _WIDTH, _HEIGHT, clock.axis(zone), even_axis(0.0, highest, "Controlling MC, %")
    )
    parts = [panel.frame(), *_fan(panel, clock, found), *_steps(panel, clock, found)]
    parts.append(panel.line("controlling", ((clock(at), mc) for at, mc in found.past)))
    parts.append(
        dots("fan-dots", ((panel.x_at(clock(at)), panel.y_at(mc)) for at, mc in found.past))
    )
    now = panel.x_at(clock(found.as_of))
    words_at = min(max(now, _CLEAR + _HALF_WORDS), panel.right - _HALF_WORDS)
    parts += [
        segment("fan-now", now, panel.top, now, panel.foot),
        text("small", words_at, panel.top - 6, f"as of {found.as_of:%d %b %H:%M}", "middle"),
    ]
    return svg(
        f"fan-{found.charge}",
        _VIEW,
        _TOP + _HEIGHT + _FOOT,
        f"Charge {found.charge}: the controlling MC to come",
        _described(found),
        parts,
        read_stops(),
    )


def _fan(panel: Panel, clock: Clock, found: Forecast) -> Iterator[Markup]:
    fan = found.fan
    for css, low, high in (("fan-95", fan.low95, fan.high95), ("fan-80", fan.low80, fan.high80)):
        there = [
            f"{panel.x_at(clock(at)):.1f} {panel.y_at(mc):.1f}"
            for at, mc in zip(fan.times, low, strict=True)
            if _shown(clock, at)
        ]
        back = [
            f"{panel.x_at(clock(at)):.1f} {panel.y_at(mc):.1f}"
            for at, mc in zip(fan.times, high, strict=True)
            if _shown(clock, at)
        ]
        yield Markup(f'<path class="{css}" d="M{"L".join(there + back[::-1])}z"/>')
    yield panel.line(
        "fan-median",
        (
            (clock(at), mc)
            for at, mc in zip(fan.times, fan.median, strict=True)
            if _shown(clock, at)
        ),
    )


def _shown(clock: Clock, at: dt.datetime) -> bool:
    return (at - clock.start).total_seconds() <= clock.days * 86_400.0


def _steps(panel: Panel, clock: Clock, found: Forecast) -> Iterator[Markup]:
    """Yield a line at the MC of each coming step and of the end, named at the right."""
    lines = [
        (step.trigger_pct, f"step {step.step}", step.due)
        for step in found.steps
        if step.trigger_pct is not None
    ]
    if found.target_pct is not None:
        lines.append((found.target_pct, "end", found.end))
    places = spread([panel.y_at(mc) for mc, _, _ in lines], _LETTER, panel.top, panel.foot)
    for (mc, name, due), y in zip(lines, places, strict=True):
        yield segment("trigger-line", panel.left, panel.y_at(mc), panel.right, panel.y_at(mc))
        yield text("small", panel.right + 8, y + 4, f"{name}, {mc:g} %")
        if due is not None:
            x = panel.x_at(clock(due.median))
            yield dots("fan-due", [(x, panel.y_at(mc))])
            yield read_area(
                f"{name} at {mc:g} %: likely {due.median:%d %b %H:%M}, 80 of 100 between "
                f"{due.low80:%d %b %H:%M} and {due.high80:%d %b %H:%M}",
                x - 9,
                panel.y_at(mc) - 9,
                18,
                18,
            )


def _described(found: Forecast) -> str:
    words: Sequence[str] = []
    if found.past:
        words = [f"Weighed at {found.controlling_pct:.1f} % on {found.weighed:%d %b %Y}."]
    if found.end is not None:
        words = [
            *words,
            f"The end is likely on {found.end.median:%d %b %Y}; 80 of 100 such "
            f"forecasts lie between {found.end.low80:%d %b} and {found.end.high80:%d %b}.",
        ]
    return " ".join([*words, CAUTION])
