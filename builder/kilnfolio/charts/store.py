"""The MC of stored timber by day and by packing, with the band ordered."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.axes import Panel, box, even_axis, read_area, read_stops, spread, svg, text
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
    parts = [] if ordered is None else [_band(panel, ordered)]
    first = stores[0]
    days, every = first.days.tolist(), slice(None, None, _EVERY)
    back = slice(None, None, -_EVERY)
    edge = [
        *panel.places(zip(days[every], first.low_pct[every].tolist(), strict=True)),
        *panel.places(zip(days[back], first.high_pct[back].tolist(), strict=True)),
    ]
    corners = "L".join([f"{x:.1f} {y:.1f}" for x, y in edge])
    parts += [Markup(f'<path class="fan-95" d="M{corners}z"/>'), panel.frame()]
    ends = []
    for look, store in zip(_LOOKS, stores, strict=False):
        mc = store.mean_pct.tolist()
        parts.append(panel.line(look, zip(days[every], mc[every], strict=True)))
        ends.append(panel.y_at(mc[-1]) + 4)
    places = spread(ends, _GAP, panel.top, panel.foot)
    for store, y in zip(stores, places, strict=True):
        parts.append(text("small", panel.right + 8, y, store.packed))
    wide = panel.width / _STOPS
    for stop in range(_STOPS):
        at = min(int((stop + 0.5) / _STOPS * first.days.size), first.days.size - 1)
        said = ", ".join(f"{s.packed} {number(float(s.mean_pct[at]), 1)} %" for s in stores)
        words = f"After {number(float(first.days[at]), 0)} days: {said}"
        parts.append(read_area(words, panel.left + stop * wide, panel.top, wide, panel.height))
    return svg(
        "store-chart",
        _VIEW,
        panel.foot + _FOOT,
        title,
        f"From {number(float(first.mean_pct[0]), 1)} % on the first day; after "
        f"{number(last, 0)} days "
        + ", ".join(f"{number(float(s.mean_pct[-1]), 1)} % {s.packed}" for s in stores)
        + ".",
        parts,
        read_stops(),
        fits=True,
    )


def _band(panel: Panel, ordered: tuple[float, float]) -> Markup:
    top, foot = panel.y_at(ordered[1]), panel.y_at(ordered[0])
    return box("band-ordered", panel.left, top, panel.width, max(foot - top, 0.5))
