"""EMC against relative humidity, with a curve for each temperature."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from markupsafe import Markup

from kilnfolio.charts.axes import Axis, Panel, read_area, read_stops, spread, svg, text
from kilnfolio.physics import sorption
from kilnfolio.records.quantities import celsius_from_fahrenheit
from kilnfolio.rendering.regional import PLAIN, RegionalFormat
from kilnfolio.review.figures import number

#: Default temperatures [°C], as many as there are line styles.
TEMPERATURES_C = (0.0, 20.0, 40.0, 60.0, 80.0, 100.0)
_TEMPERATURES_F = (30.0, 70.0, 100.0, 140.0, 180.0, 210.0)
_HUMIDITIES = (0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 98)
_MOST = 8
#: Left edge, foot, width and height of the panel, which the bench's script draws in too.
PANEL = (46.0, 384.0, 500.0, 340.0)


def usual_temperatures(regional: RegionalFormat) -> tuple[float, ...]:
    """Return the default temperatures [°C], round in the region's unit."""
    if regional.customary_first:
        return tuple(map(celsius_from_fahrenheit, _TEMPERATURES_F))
    return TEMPERATURES_C


def emc_chart(
    identity: str,
    description: str,
    temperatures: Sequence[float] = TEMPERATURES_C,
    *,
    regional: RegionalFormat = PLAIN,
) -> Markup:
    """Return the chart.

    Parameters
    ----------
    identity : str
        Unique in the page.
    description : str
        What it shows.
    temperatures : sequence of float
        Temperatures of the curves, at most eight [°C].
    regional : RegionalFormat
        Which units come first.

    Raises
    ------
    ValueError
        If there are more curves than line styles, or a temperature is outside the equation's range.
    """
    if len(temperatures) > _MOST:
        raise ValueError(f"a chart tells {_MOST} curves apart; received {len(temperatures)}")
    humidity = np.linspace(0.0, _HUMIDITIES[-1], 99)
    left, foot, width, height = PANEL
    panel = Panel(
        left,
        foot - height,
        width,
        height,
        Axis(
            0,
            100,
            tuple((value, number(value, 0)) for value in range(0, 101, 10)),
            "relative humidity, %",
        ),
        Axis(0, 30, tuple((value, number(value, 0)) for value in range(0, 31, 5)), "EMC, %"),
    )
    curves = [
        np.atleast_1d(sorption.equilibrium_moisture_content(temperature, humidity))
        for temperature in temperatures
    ]
    ends = spread(
        [panel.y_at(float(curve[-1])) + 4 for curve in curves], 22, panel.top + 4, panel.foot
    )
    parts = [panel.frame()]
    for place, (temperature, curve) in enumerate(zip(temperatures, curves, strict=True), 1):
        points = zip(humidity.tolist(), curve.tolist(), strict=True)
        parts.append(panel.line(f"board-{place}", points))
        words = regional.temperature(temperature, 0)
        parts.append(text(f"board-{place}", panel.right + 10, ends[place - 1], words))
    parts += _stops(panel, temperatures, regional)
    return svg(
        identity,
        720,
        440,
        "EMC against relative humidity",
        description,
        parts,
        read_stops(),
        fits=True,
    )


def _stops(
    panel: Panel, temperatures: Sequence[float], regional: RegionalFormat
) -> Iterator[Markup]:
    """Yield a read-out strip around each humidity of the table, with the EMCs there."""
    edges = [
        _HUMIDITIES[0],
        *((a + b) / 2 for a, b in pairwise(_HUMIDITIES)),
        _HUMIDITIES[-1],
    ]
    names = [regional.temperature(temperature, 0) for temperature in temperatures]
    for (low, high), (humidity, *values) in zip(
        pairwise(edges), emc_rows(temperatures), strict=True
    ):
        held = ", ".join(f"{name} {value} %" for name, value in zip(names, values, strict=True))
        left = panel.x_at(low)
        words = f"RH {humidity} %, EMC at {held}"
        yield read_area(words, left, panel.top, panel.x_at(high) - left, panel.height)


def emc_rows(temperatures: Sequence[float] = TEMPERATURES_C) -> list[tuple[str, ...]]:
    """Return the figures behind the chart: RH, then the EMC at each temperature."""
    table = sorption.equilibrium_moisture_content(
        np.asarray(temperatures), np.asarray(_HUMIDITIES, float)[:, np.newaxis]
    )
    return [
        (number(humidity, 0), *(number(value) for value in row))
        for humidity, row in zip(_HUMIDITIES, np.atleast_2d(table).tolist(), strict=True)
    ]
