"""Where a kiln dries unevenly: each position's readings compared with their surveys' means."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.axes import read_area, read_stops, segment, svg, text
from kilnfolio.review.figures import number
from kilnfolio.runtime.values import dataclass

# narrow enough to fit a phone
_VIEW, _ROW = 420.0, 30.0
_MIDDLE, _HALF = 260.0, 150.0


@dataclass(frozen=True)
class Spot:
    """A position in the kiln."""

    position: str
    points: float
    """Mean difference from the survey's mean [points of MC]; positive is wetter."""
    readings: int


def wet_spot_map(kiln: str, spots: Sequence[Spot]) -> Markup:
    """Return the map: a bar for each position, to the right if it stays wetter.

    Parameters
    ----------
    kiln : str
        Its name.
    spots : sequence of Spot
        Positions from the door inward.
    """
    most = max(0.5, *(abs(spot.points) for spot in spots))
    foot = 34 + _ROW * len(spots)
    parts = [text("axis", _MIDDLE - 8, 20, "drier", "end"), text("axis", _MIDDLE + 8, 20, "wetter")]
    for place, spot in enumerate(spots):
        parts += _row(spot, 34 + _ROW * place, most)
    parts += [segment("axis", _MIDDLE, 28, _MIDDLE, foot)]
    wettest = max(spots, key=lambda spot: spot.points)
    driest = min(spots, key=lambda spot: spot.points)
    description = (
        f"Wettest: {wettest.position}, {_signed(wettest.points)} points. Driest: "
        f"{driest.position}, {_signed(driest.points)} points."
    )
    return svg(
        "wet-spots",
        _VIEW,
        foot + 8,
        f"Where {kiln} dries unevenly",
        description,
        parts,
        read_stops(),
    )


def _row(spot: Spot, top: float, most: float) -> list[Markup]:
    length = abs(spot.points) / most * (_HALF - 40)
    wetter = spot.points >= 0
    left = _MIDDLE if wetter else _MIDDLE - length
    x = _MIDDLE + length + 8 if wetter else _MIDDLE - length - 8
    bar = Markup('<rect class="{}" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="18"/>').format(
        "water" if wetter else "warm", left, top + 5, max(length, 1.0)
    )
    return [
        text("axis", 4, top + 19, spot.position),
        bar,
        text("axis", x, top + 19, _signed(spot.points), "start" if wetter else "end"),
        read_area(
            f"{spot.position}: {_signed(spot.points)} points, {spot.readings} readings",
            0,
            top,
            _VIEW,
            _ROW,
        ),
    ]


def _signed(points: float) -> str:
    return ("+" if points > 0 else "") + number(points, 1)
