"""The MC of stored timber by day and by packing, with the band ordered."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from markupsafe import Markup

from kilnfolio.charts.axes import (
    Panel,
    box,
    course,
    even_axis,
    read_area,
    read_stops,
    spread,
    svg,
    text,
)
from kilnfolio.forecast.store import Store
from kilnfolio.review.figures import number

_LEFT, _TOP, _WIDTH, _HEIGHT, _VIEW, _FOOT = 46.0, 48.0, 450.0, 190.0, 640.0, 56.0
_LOOKS = ("controlling", "fan-median", "trigger-line")
_STOPS, _GAP = 12, 20.0
#: Days from one point of a line to the next.
_EVERY = 7


def store_chart(
    title: str, stores: Sequence[Store], ordered: tuple[float, float] | None = None
) -> Markup:
    """Return the chart of a lot's MC in store.

    Parameters
    ----------
    title : str
        Title of the chart.
    stores : sequence of Store
        Up to three ways of packing, for the same days.
    ordered : tuple of float, optional
        Driest and wettest MC that the order allows. [% MC]
    """
    edges = [float(edge) for one in stores for edge in (one.low_pct.min(), one.high_pct.max())]
    low, high = min(*edges, *(ordered or ())), max(*edges, *(ordered or ()))
    last = float(stores[0].days[-1])
    panel = Panel(
        _LEFT,
        _TOP,
        _WIDTH,
        _HEIGHT,
        even_axis(0.0, last, "days in store", about=6),
        even_axis(low, high, "MC, %", about=5),
    )
    first = stores[0]
    across = panel.across(first.days[::_EVERY])
    rows = np.stack([first.low_pct, first.high_pct, *(one.mean_pct for one in stores)])[:, ::_EVERY]
    places, count = panel.down(rows.ravel()), len(across)
    low_edge, high_edge, *lines = (places[at : at + count] for at in range(0, len(places), count))
    edge = zip(across + across[::-1], low_edge + high_edge[::-1], strict=True)
    parts = [] if ordered is None else [_band(panel, ordered)]
    parts += [
        Markup(f'<path class="fan-95" d="M{"L".join([_written_out(x, y) for x, y in edge])}z"/>'),
        panel.frame(),
    ]
    ends = []
    for look, line, one in zip(_LOOKS, lines, stores, strict=False):
        parts.append(course(look, across, line))
        ends.append(panel.y_at(float(one.mean_pct[-1])) + 4)
    for one, y in zip(stores, spread(ends, _GAP, panel.top, panel.foot), strict=True):
        parts.append(text("small", panel.right + 8, y, one.packed))
    wide = panel.width / _STOPS
    stops = [int((stop + 0.5) / _STOPS * first.days.size) for stop in range(_STOPS)]
    means = [(one.packed, one.mean_pct[[*stops, -1]].tolist()) for one in stores]
    for stop, at in enumerate(first.days[stops].tolist()):
        said = ", ".join([f"{packed} {number(mc[stop], 1)} %" for packed, mc in means])
        words = f"After {number(at, 0)} days: {said}"
        parts.append(read_area(words, panel.left + stop * wide, panel.top, wide, panel.height))
    return svg(
        "store-chart",
        _VIEW,
        panel.foot + _FOOT,
        title,
        f"From {number(float(first.mean_pct[0]), 1)} % on the first day; after "
        f"{number(last, 0)} days "
        + ", ".join(f"{number(mc[-1], 1)} % {packed}" for packed, mc in means)
        + ".",
        parts,
        read_stops(),
        fits=True,
    )


def _band(panel: Panel, ordered: tuple[float, float]) -> Markup:
    top, foot = panel.y_at(ordered[1]), panel.y_at(ordered[0])
    return box("band-ordered", panel.left, top, panel.width, max(foot - top, 0.5))


def _written_out(x: str, y: str) -> str:
    """Return a position with its tenths even where they are 0, as all published pages have it."""
    return f"{x if '.' in x else x + '.0'} {y if '.' in y else y + '.0'}"
