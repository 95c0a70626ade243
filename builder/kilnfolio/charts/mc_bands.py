"""Bands of moisture content, with the room humidity that corresponds to their boundaries."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.axes import box, read_area, read_stops, segment, svg, text
from kilnfolio.physics import sorption
from kilnfolio.review.figures import number

#: Classes of the bands, from the driest.
_LOOKS = ("hot", "warm", "soft", "wood", "water", "hot")
_LEFT, _WIDTH, _TOP, _ROW = 40.0, 640.0, 74.0, 34.0

#: A band: its name, lower and upper MC [% MC].
Band = tuple[str, float, float]


def humidity_at(room_c: float, mc_pct: float) -> float | None:
    """Return the RH whose EMC is an MC [%], or None if no air has it."""
    try:
        return float(sorption.relative_humidity_for_emc(room_c, mc_pct))
    except ValueError:
        return None


def bands_chart(identity: str, description: str, bands: Sequence[Band], room_c: float) -> Markup:
    """Return the chart: a row for each band, over a common scale of MC.

    Parameters
    ----------
    identity : str
        Unique in the page.
    description : str
        What it shows.
    bands : sequence of Band
        Bands from the driest, each starting where the one before ends.
    room_c : float
        Temperature of the room [°C].
    """
    top = max(high for _, _, high in bands)

    def x_at(mc: float) -> float:
        return _LEFT + mc / top * _WIDTH

    foot = _TOP + _ROW * len(bands)
    parts = []
    for place, (name, low, high) in enumerate(bands):
        y = _TOP + _ROW * place
        parts.append(box(_LOOKS[place % len(_LOOKS)], x_at(low), y, x_at(high) - x_at(low), _ROW))
        after = x_at(high) < _LEFT + 0.6 * _WIDTH
        x = x_at(high) + 8 if after else x_at(low) - 8
        parts.append(text("small", x, y + 21, name, "" if after else "end"))
        words = f"{name}: {number(low, 0)} to {number(high, 0)} % MC"
        parts.append(read_area(words, _LEFT, y, _WIDTH, _ROW))
    for mc in (bands[0][1], *(high for _, _, high in bands)):
        x, humidity = x_at(mc), humidity_at(room_c, mc)
        parts += [segment("axis", x, _TOP - 6, x, _TOP), segment("axis", x, foot, x, foot + 5)]
        parts.append(text("axis", x, foot + 20, number(mc, 0), "middle"))
        air = "–" if humidity is None else number(humidity, 0)
        parts.append(text("axis", x, _TOP - 12, air, "middle"))
    middle = _LEFT + _WIDTH / 2
    parts.append(text("axis", middle, foot + 40, "moisture content, %", "middle"))
    parts.append(text("axis", middle, _TOP - 32, "RH of the room that holds it, %", "middle"))
    return svg(
        identity, 720, foot + 52, "Bands of moisture content", description, parts, read_stops()
    )


def bands_rows(bands: Sequence[Band], room_c: float) -> list[tuple[str, ...]]:
    """Return the figures behind the chart: each band with its MC and its air."""

    def air(mc: float) -> str:
        humidity = humidity_at(room_c, mc)
        return "–" if humidity is None else number(humidity, 0)

    return [
        (name, number(low, 0), number(high, 0), air(low), air(high)) for name, low, high in bands
    ]
