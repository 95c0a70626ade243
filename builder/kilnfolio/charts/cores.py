"""Core temperatures of a heat treatment, with the temperature required."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from markupsafe import Markup

from kilnfolio.charts.axes import (
    Axis,
    Panel,
    even_axis,
    read_clock,
    segment,
    spread,
    svg,
    text,
)
from kilnfolio.rendering.regional import PLAIN, RegionalFormat
from kilnfolio.review.dossier import Dossier
from kilnfolio.runtime.values import dataclass

_STYLES = 8


def core_chart(dossier: Dossier, zone: ZoneInfo, regional: RegionalFormat = PLAIN) -> Markup:
    """Return the chart of the core probes; "" if none was logged.

    Parameters
    ----------
    dossier : Dossier
        The charge, with its heat-treatment runs.
    zone : ZoneInfo
        Time zone of the axis labels.
    regional : RegionalFormat, optional
        Whose units it is drawn in.
    """
    scale = regional.temperature_scale
    cores = {
        name: [(at, scale.of(value)) for at, value in core]
        for name, core in _cores(dossier).items()
    }
    points = [point for core in cores.values() for point in core]
    if not points:
        return Markup("")
    start, end = min(at for at, _ in points), max(at for at, _ in points)

    def hours(at: dt.datetime) -> float:
        return (at - start).total_seconds() / 3600.0

    required_c = dossier.heat[0].threshold_c
    threshold = scale.of(required_c)
    panel = _panel(
        hours(end),
        f"hours from {start.astimezone(zone):%Y-%m-%d %H:%M %Z}",
        [threshold, *(value for _, value in points)],
        f"Core temperature, {scale.unit}",
    )
    parts = [panel.frame()]
    parts += [
        panel.line(f"board-{place % _STYLES + 1}", [(hours(at), value) for at, value in core])
        for place, core in enumerate(cores.values())
    ]
    y = panel.y_at(threshold)
    parts.append(segment("target-line", panel.left, y, panel.right, y))
    labels = [
        ("target-line", f"required: {regional.reading(required_c)}", threshold),
        *(
            (f"board-{place % _STYLES + 1}", name, core[-1][1])
            for place, (name, core) in enumerate(cores.items())
            if core
        ),
    ]
    places = spread([panel.y_at(value) + 4 for _, _, value in labels], 20, panel.top, panel.foot)
    parts += [
        text(css, panel.right + 10, at, words)
        for (css, words, _), at in zip(labels, places, strict=True)
    ]
    description = " ".join(
        f"{run.channel}: highest {regional.reading(run.highest_c)}, longest run "
        f"{run.longest_minutes:.0f} min."
        for run in dossier.heat
    )
    return svg(
        "core-chart",
        640,
        panel.foot + 56,
        "Core temperatures",
        description,
        parts,
        read_clock(start, panel.x.high / 24.0, panel, panel),
        fits=True,
    )


def _panel(hours: float, hours_label: str, temperatures: Sequence[float], label: str) -> Panel:
    """Return the axes of a chart that spans the hours and temperatures."""
    width = max(hours, 1.0)
    marks = even_axis(0.0, width, about=5).ticks
    return Panel(
        46,
        48,
        450,
        240,
        Axis(0.0, width, tuple(mark for mark in marks if mark[0] <= hours), hours_label),
        even_axis(min(temperatures), max(temperatures), label, about=5),
    )


@dataclass(frozen=True)
class CoreTable:
    """The temperatures behind the chart."""

    channels: tuple[str, ...]
    rows: list[tuple[dt.datetime, tuple[float | None, ...]]]
    """Each time, with the reading of each probe [°C]."""


def core_table(dossier: Dossier) -> CoreTable:
    """Return the temperatures behind the chart; no rows if none was logged."""
    cores = {channel: dict(points) for channel, points in _cores(dossier).items()}
    moments = sorted({at for core in cores.values() for at in core})
    return CoreTable(
        tuple(cores), [(at, tuple(core.get(at) for core in cores.values())) for at in moments]
    )


def _cores(dossier: Dossier) -> dict[str, tuple[tuple[dt.datetime, float], ...]]:
    if not dossier.log:
        return {}
    return {run.channel: dossier.log.cores.get(run.channel, ()) for run in dossier.heat}
