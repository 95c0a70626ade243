"""Boards in the end of a log, green and shrunk; and the shares that surveys show."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from markupsafe import Markup

from kilnfolio.charts.axes import Axis, Panel, svg
from kilnfolio.physics import survey
from kilnfolio.physics._types import Floats
from kilnfolio.physics.shrinkage import shrunk_place
from kilnfolio.review.figures import number

#: Centre of the log in the drawing, and drawing units per millimetre.
MIDDLE, SCALE = (270.0, 330.0), 1.0
#: Factor by which movement is exaggerated.
LARGER = 3.0
#: Number of points along a face and along an edge.
ALONG, UP = 24, 4


def outline(x: float, y: float, width: float, thickness: float) -> Floats:
    """Return points around a board centred at x, y from the pith, shape (n, 2) [mm]."""
    across = np.linspace(-0.5, 0.5, ALONG + 1) * width
    upward = np.linspace(-0.5, 0.5, UP + 1)[1:-1] * thickness
    top = np.stack([across, np.full_like(across, thickness / 2)], axis=1)
    right = np.stack([np.full_like(upward, width / 2), upward[::-1]], axis=1)
    round_it: Floats = np.concatenate([top, right, -top, -right]) + np.array([x, y])
    return round_it


def shrunk(points: Floats, shrinkages: tuple[float, float], middle: tuple[float, float]) -> Floats:
    """Return points of a board after radial and tangential shrinkage [%]."""
    x, y = shrunk_place(points[:, 0], points[:, 1], *shrinkages, facing=middle)
    return np.stack([x, y], axis=1)


def board_shape(
    x: float, y: float, width: float, thickness: float, shrinkages: tuple[float, float]
) -> tuple[float, float, float]:
    """Return a board's loss in width [%] and thickness [%], and its cup [mm].

    The cup is how far the middle of the outer face, away from the pith, is below the line through
    its two edges.
    """
    side = thickness / 2 if y >= 0 else -thickness / 2
    ends = [(-width / 2, 0.0), (width / 2, 0.0), (0.0, -side), (0.0, side)]
    face = [(-width / 2, side), (width / 2, side)]
    places = np.array([*ends, *face]) + np.array([x, y])
    left, right, inner, outer, first, last = shrunk(places, shrinkages, (x, y))
    line = last - first
    cup = line[0] * (outer - first)[1] - line[1] * (outer - first)[0]
    return (
        float(100.0 * (1.0 - np.hypot(*(right - left)) / width)),
        float(100.0 * (1.0 - np.hypot(*(outer - inner)) / thickness)),
        float(-np.sign(side) * cup / np.hypot(*line)),
    )


def path_of(points: Floats) -> str:
    """Return a closed path through points given in mm from the pith."""
    left, top = MIDDLE
    return (
        "M" + "L".join(f"{left + SCALE * px:.1f} {top - SCALE * py:.1f}" for px, py in points) + "Z"
    )


def cut_chart(
    identity: str,
    boards: Sequence[tuple[float, float, float, float]],
    shrinkages: tuple[float, float],
) -> Markup:
    """Return the drawing of boards in a log: x, y, width and thickness of each [mm].

    Shrunk shapes are drawn over the green ones, with their movement exaggerated.
    """

    def parts() -> Iterator[Markup]:
        for radius in range(20, 300, 20):
            yield Markup(
                f'<circle class="axis" fill="none" cx="{MIDDLE[0]}" cy="{MIDDLE[1]}" r="{radius}"/>'
            )
        yield Markup(f'<circle class="fill" cx="{MIDDLE[0]}" cy="{MIDDLE[1]}" r="3"/>')
        for board in boards:
            green = outline(*board)
            moved = green + LARGER * (shrunk(green, shrinkages, board[:2]) - green)
            yield Markup(f'<path class="ink green" fill="none" d="{path_of(green)}"/>')
            yield Markup(f'<path class="controlling dried" fill="none" d="{path_of(moved)}"/>')

    return svg(
        identity,
        540,
        400,
        "Boards in the end of a log, green and dried",
        f"Rings round the pith; each board as sawn and, its movement drawn {LARGER:g} times, dried",
        parts(),
    )


#: The panel of the survey chart, which the page's script also draws in.
SURVEY_PANEL = Panel(
    46,
    44,
    460,
    240,
    Axis(0, 200, tuple((n, str(n)) for n in range(0, 201, 40)), "pieces read"),
    Axis(0, 100, tuple((value, number(value, 0)) for value in range(0, 101, 20)), "share, %"),
)


def survey_chart(identity: str, confidence: float) -> Markup:
    """Return a chart of the share shown by the number of readings, for 0, 1 and 2 failures."""
    parts = [SURVEY_PANEL.frame()]
    for failures, style in ((0, "controlling"), (1, "board-1"), (2, "board-2")):
        points = [
            (n, 100.0 * float(survey.share_shown(n, failures, confidence)))
            for n in range(5, 201, 5)
        ]
        parts.append(SURVEY_PANEL.line(style, points))
    return svg(
        identity,
        540,
        340,
        f"Share of a lot that a survey shows at {100 * confidence:.0f} % confidence",
        "Three curves rising with the pieces read: none, one and two found outside, from the top",
        parts,
    )
