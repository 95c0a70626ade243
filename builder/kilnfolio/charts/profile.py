"""Moisture profile across the thickness of a board."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.axes import Axis, Panel, svg
from kilnfolio.review.figures import number

#: The panel, which the page's script also draws in.
PANEL = Panel(
    46,
    44,
    460,
    240,
    Axis(0, 1, ((0, "face"), (0.5, "middle"), (1, "face")), "through the thickness"),
    Axis(0, 100, tuple((value, number(value, 0)) for value in range(0, 101, 20)), "MC, %"),
)


def profile_chart(identity: str, cells_pct: Sequence[float]) -> Markup:
    """Return the chart of a profile.

    Parameters
    ----------
    identity : str
        Unique in the page.
    cells_pct : sequence of float
        MC from a face to the middle [%].
    """
    count = len(cells_pct)
    both = [*cells_pct, *reversed(cells_pct)]
    points = [((place + 0.5) / (2 * count), mc) for place, mc in enumerate(both)]
    parts = [PANEL.frame(), PANEL.line("controlling", points)]
    return svg(
        identity,
        540,
        340,
        "Moisture across a board",
        "A curve, low at both faces and high in the middle",
        parts,
    )
