"""How many past results would change at a few values of a limit: one pair of bars for each value."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.axes import Axis, Panel, box, even_axis, read_area, read_stops, svg, text
from kilnfolio.runtime.values import dataclass

_LEFT, _TOP, _WIDTH, _HEIGHT, _VIEW, _FOOT = 46.0, 66.0, 560.0, 170.0, 640.0, 60.0


@dataclass(frozen=True)
class ValueBars:
    """A value of a limit.

    Attributes
    ----------
    words : str
        The value, without its unit.
    more, less : int
        Number of records with more, and with less, to answer or correct than today.
    today : bool
        True for the value in force.
    """

    words: str
    more: int
    less: int
    today: bool = False


def limit_chart(identity: str, title: str, unit: str, values: Sequence[ValueBars]) -> Markup:
    """Return the bars.

    Parameters
    ----------
    identity : str
        Unique in the page.
    title : str
        What it is, for those who cannot see it.
    unit : str
        The unit of the values.
    values : sequence of ValueBars
        The values by size, among them the one in force.
    """
    slots = len(values)
    foot = Axis(
        0.0,
        float(slots),
        tuple(
            (place + 0.5, "today" if one.today else one.words) for place, one in enumerate(values)
        ),
        f"value of the limit, {unit}",
    )
    highest = max(1, *(max(one.more, one.less) for one in values))
    panel = Panel(
        _LEFT,
        _TOP,
        _WIDTH,
        _HEIGHT,
        foot,
        even_axis(0.0, float(highest), "Charges and lots", about=min(highest, 5), decimals=0),
    )
    parts = [panel.frame(), *_key(panel)]
    wide = panel.width / slots
    for place, one in enumerate(values):
        middle = panel.x_at(place + 0.5)
        for css, count, left in (("hot", one.more, middle - 30), ("water", one.less, middle + 2)):
            if count:
                y = panel.y_at(count)
                parts += [
                    box(css, left, y, 28.0, panel.foot - y),
                    text("small", left + 14.0, y - 5, str(count), "middle"),
                ]
        said = "in force today" if one.today else f"{one.more} with more, {one.less} with less"
        words = f"{one.words}: {said}"
        parts.append(read_area(words, panel.left + place * wide, panel.top, wide, panel.height))
    description = "; ".join(
        f"at {one.words}, {one.more} with more and {one.less} with less to answer"
        for one in values
        if not one.today
    )
    return svg(
        identity, _VIEW, panel.foot + _FOOT, title, description, parts, read_stops(), fits=True
    )


def _key(panel: Panel) -> list[Markup]:
    y = 22.0
    return [
        box("hot", panel.left + 150.0, y - 11, 14.0, 14.0),
        text("small", panel.left + 170.0, y, "more to answer"),
        box("water", panel.left + 330.0, y - 11, 14.0, 14.0),
        text("small", panel.left + 350.0, y, "less to answer"),
    ]
