"""Charts of the gradient index: of a charge over time, and of a schedule over moisture content."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from zoneinfo import ZoneInfo

import numpy as np
from markupsafe import Markup

from kilnfolio.charts.axes import Axis, Panel, dots, even_axis, read_area, read_stops, svg, text
from kilnfolio.charts.calendar import Clock
from kilnfolio.review.figures import number

_LEFT, _TOP, _WIDTH, _HEIGHT, _VIEW = 44.0, 48.0, 478.0, 170.0, 640.0
_FOOT, _STOPS = 56.0, 24
_LABEL = "Gradient index, % (relative)"


def charge_gradient(
    title: str, zone: ZoneInfo, times: Sequence[dt.datetime], index_pct: Sequence[float]
) -> Markup:
    """Return the gradient index of a charge over time; "" for fewer than two points.

    Parameters
    ----------
    title : str
        Title of the chart.
    zone : ZoneInfo
        The mill's time zone.
    times : sequence of datetime, shape (n,)
        Times.
    index_pct : sequence of float, shape (n,)
        The index. [%]
    """
    if len(times) < 2:
        return Markup("")
    clock = Clock(times[0], max((times[-1] - times[0]).total_seconds() / 86_400.0, 0.1))
    days = [clock(at) for at in times]
    said = [f"{at.astimezone(zone):%Y-%m-%d %H:%M}" for at in times]
    return _drawing("gradient-chart", title, clock.axis(zone), days, index_pct, said)


def schedule_gradient(title: str, mc_pct: Sequence[float], index_pct: Sequence[float]) -> Markup:
    """Return the gradient index of a schedule from wet to dry; "" for fewer than two points.

    Parameters
    ----------
    title : str
        Title of the chart.
    mc_pct, index_pct : sequence of float, shape (n,)
        Mean MC, falling, and the index at it. [%]
    """
    if len(mc_pct) < 2:
        return Markup("")
    whole = even_axis(min(mc_pct), max(mc_pct), about=6)
    foot = Axis(
        whole.high, whole.low, tuple(reversed(whole.ticks)), "mean moisture content of the board, %"
    )
    said = [f"{number(mc, 1)} % MC" for mc in mc_pct]
    return _drawing("gradient-chart", title, foot, mc_pct, index_pct, said)


def _drawing(
    identity: str,
    title: str,
    foot: Axis,
    places: Sequence[float],
    index: Sequence[float],
    said: Sequence[str],
) -> Markup:
    panel = Panel(
        _LEFT, _TOP, _WIDTH, _HEIGHT, foot, even_axis(min(0.0, *index), max(index), _LABEL, about=4)
    )
    top = max(range(len(index)), key=lambda place: index[place])
    x, y = panel.x_at(places[top]), panel.y_at(index[top])
    parts = [
        panel.frame(),
        panel.line("controlling", zip(places, index, strict=True)),
        dots("fan-due", [(x, y)]),
        text(
            "small",
            x + 10 if x < panel.left + 0.7 * panel.width else x - 10,
            max(y - 8, panel.top - 2),
            f"peak {number(index[top], 1)}",
            "start" if x < panel.left + 0.7 * panel.width else "end",
        ),
    ]
    wide = panel.width / _STOPS
    across = np.array([panel.x_at(place) for place in places])
    for stop in range(_STOPS):
        middle = panel.left + (stop + 0.5) * wide
        near = int(np.abs(across - middle).argmin())
        words = f"{said[near]}: gradient index {number(index[near], 2)} %"
        parts.append(read_area(words, middle - wide / 2, panel.top, wide, panel.height))
    return svg(
        identity,
        _VIEW,
        panel.foot + _FOOT,
        title,
        f"The index is largest, {number(index[top], 1)} %, at {said[top]}, and ends at "
        f"{number(index[-1], 1)} %. It compares; it is no stress.",
        parts,
        read_stops(),
        fits=True,
    )
