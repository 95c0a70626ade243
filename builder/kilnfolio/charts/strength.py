"""Strength and stiffness of a wood against moisture content."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np
from markupsafe import Markup

from kilnfolio.charts.axes import Axis, Panel, even_axis, read_area, read_stops, spread, svg, text
from kilnfolio.physics import strength
from kilnfolio.review.figures import number

#: Moisture contents of the table behind the chart [% MC].
MCS_PCT = (6, 8, 10, 12, 15, 18, 20, 22, 25, 30, 40)

#: Properties by name: value at 12 % MC, value green, and intersection [% MC].
Properties = Mapping[str, tuple[float, float, float]]


def strength_chart(identity: str, description: str, properties: Properties) -> Markup:
    """Return the chart, with each property relative to its green value.

    Parameters
    ----------
    identity : str
        Unique in the page.
    description : str
        What it shows.
    properties : mapping
        The properties, at most eight.
    """
    mc = np.linspace(MCS_PCT[0], MCS_PCT[-1], 137)
    curves = [_share(*given, mc) for given in properties.values()]
    panel = Panel(
        46,
        44,
        480,
        300,
        Axis(
            0,
            40,
            tuple((value, number(value, 0)) for value in range(0, 41, 5)),
            "moisture content, %",
        ),
        even_axis(
            100.0,
            max(float(curve.max()) for curve in curves),
            "share of the green value, %",
            decimals=0,
        ),
    )
    ends = spread(
        [panel.y_at(float(curve[0])) + 4 for curve in curves], 17, panel.top + 4, panel.foot
    )
    parts = [panel.frame()]
    for place, (name, curve) in enumerate(zip(properties, curves, strict=True), 1):
        parts.append(panel.line(f"board-{place}", zip(mc.tolist(), curve.tolist(), strict=True)))
        parts.append(text(f"board-{place}", panel.right + 10, ends[place - 1], name))
    parts += _stops(panel, properties)
    return svg(
        identity, 720, 400, "Strength against moisture content", description, parts, read_stops()
    )


def strength_rows(properties: Properties) -> list[tuple[str, ...]]:
    """Return the figures behind the chart: MC, then each property relative to green."""
    shares = [_share(*given, np.asarray(MCS_PCT, float)) for given in properties.values()]
    return [
        (number(mc, 0), *(number(float(share[place]), 0) for share in shares))
        for place, mc in enumerate(MCS_PCT)
    ]


def _share(dry: float, green: float, intersection: float, mc: np.ndarray) -> np.ndarray:
    return np.asarray(strength.strength_at(dry, green, mc, intersection)) / green * 100.0


def _stops(panel: Panel, properties: Properties) -> Iterator[Markup]:
    edges: Sequence[float] = [MCS_PCT[0], *((a + b) / 2 for a, b in pairwise(MCS_PCT)), MCS_PCT[-1]]
    for (low, high), (mc, *values) in zip(pairwise(edges), strength_rows(properties), strict=True):
        told = ", ".join(
            f"{name} {value} %" for name, value in zip(properties, values, strict=True)
        )
        left = panel.x_at(low)
        yield read_area(
            f"MC {mc} %, of the green value: {told}",
            left,
            panel.top,
            panel.x_at(high) - left,
            panel.height,
        )
