"""A charge over time: board MC, EMC and temperatures, one above the other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from functools import cached_property
from itertools import accumulate, compress, pairwise
from operator import attrgetter
from zoneinfo import ZoneInfo

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from kilnfolio.charts.axes import (
    Panel,
    box,
    course,
    dotted,
    even_axis,
    flag,
    read_clock,
    segment,
    spread,
    svg,
    text,
)
from kilnfolio.charts.calendar import Clock
from kilnfolio.physics._types import Floats
from kilnfolio.rendering.regional import PLAIN, RegionalFormat
from kilnfolio.review.dossier import BoardPoint, BoardResult, ControlPoint, Dossier, SetPoint
from kilnfolio.runtime.values import dataclass

#: Line styles that distinguish boards.
_STYLES = 8
#: Distance between lines of text, which is larger on a phone.
_LABEL_GAP = 20.0
_LEFT, _WIDTH, _VIEW = 44.0, 478.0, 640.0
_TOP, _MC, _AIR, _EMC, _BETWEEN = 54.0, 230.0, 190.0, 130.0, 62.0


@dataclass(frozen=True)
class Mark:
    """An event, flagged above the chart."""

    at: dt.datetime
    """Time of the event."""
    words: str
    """The event in words, shown when pointed at."""
    css: str = "flag-question"
    """flag-question or flag-fail."""


@dataclass(frozen=True)
class _Air:
    """The log's intervals, in the region's units; NaN where a value was not measured."""

    at: Floats
    """Days from the left edge."""
    resumes: NDArray[np.bool_]
    """Whether intervals are missing before it."""
    dry: Floats
    wet: Floats
    emc: Floats


@dataclass(frozen=True)
class _Canvas:
    dossier: Dossier
    clock: Clock
    regional: RegionalFormat
    logged: _Air
    mc: Panel
    emc: Panel
    air: Panel

    @property
    def panels(self) -> tuple[Panel, Panel, Panel]:
        return self.mc, self.emc, self.air

    @cached_property
    def asked(self) -> list[float]:
        """The days from the left edge to each change of the air asked for."""
        return [self.clock(point.at) for point in self.dossier.set_points]

    @cached_property
    def across(self) -> list[str]:
        """The x coordinates of the log's intervals, which its lines share."""
        return self.air.across(self.logged.at)


def charge_chart(
    dossier: Dossier,
    zone: ZoneInfo,
    regional: RegionalFormat = PLAIN,
    ordered: tuple[float, float] | None = None,
    marks: Sequence[Mark] = (),
    *,
    dated: bool = True,
) -> Markup:
    """Return the chart of a charge; "" if it has neither boards nor a log.

    Parameters
    ----------
    dossier : Dossier
        The charge.
    zone : ZoneInfo
        Time zone of the dates.
    regional : RegionalFormat, optional
        The region, for units.
    ordered : tuple of float, optional
        Lowest and highest MC ordered [%]; by default a line at the target is drawn.
    marks : sequence of Mark, optional
        Events to flag: findings and faults.
    dated : bool
        Whether the axis is labelled with dates; otherwise it counts days.
    """
    if not dossier.boards and dossier.log is None:
        return Markup("")
    canvas = _canvas(dossier, zone, regional, ordered, dated=dated)
    parts = [
        *_bands(canvas),
        *_off_bands(canvas),
        *_ordered(canvas, ordered),
        canvas.mc.frame(x_words=False),
        canvas.emc.frame(x_words=False),
        canvas.air.frame(),
        *_step_lines(canvas),
        *_triggers(canvas),
        *_board_lines(canvas),
        *_emc_lines(canvas),
        *_bulb_lines(canvas),
        *_flags(canvas, marks),
    ]
    return svg(
        "charge-chart",
        _VIEW,
        canvas.air.foot + 56,
        f"Charge {dossier.charge}",
        describe(dossier, regional),
        parts,
        read_clock(canvas.clock.start, canvas.clock.days, canvas.mc, canvas.air),
        fits=True,
    )


def describe(dossier: Dossier, regional: RegionalFormat = PLAIN) -> str:
    """Return a description of the chart for those who cannot see it."""
    days = (dossier.ended - dossier.started).total_seconds() / 86_400.0
    parts = [f"{days:.1f} days of drying."]
    if dossier.controlling:
        first, last = dossier.controlling[0], dossier.controlling[-1]
        parts.append(f"The controlling MC falls from {first.mc_pct:.1f} to {last.mc_pct:.1f} %.")
    air = dossier.log.air if dossier.log else ()
    dry = [point.dry_bulb_c for point in air if point.dry_bulb_c is not None]
    if dry:
        parts.append(
            f"The dry bulb ranges from {regional.reading(min(dry))} to "
            f"{regional.reading(max(dry))}."
        )
    parts.append(
        f"{_count(len(dossier.steps), 'step change')}, "
        f"{_count(len(dossier.gaps), 'stop or gap', 'stops and gaps')}."
    )
    off = [step.label for step in dossier.adherence if step.verdict == "not as asked"]
    if off:
        parts.append(f"The air was not as asked in step {', '.join(off)}.")
    return " ".join(parts)


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def _canvas(
    dossier: Dossier,
    zone: ZoneInfo,
    regional: RegionalFormat,
    ordered: tuple[float, float] | None,
    *,
    dated: bool,
) -> _Canvas:
    clock = _clock(dossier, dated=dated)
    foot, scale = clock.axis(zone), regional.temperature_scale
    logged = _logged(dossier, clock, scale.of)
    bulbs = [scale.of(bulb) for at in dossier.set_points for bulb in (at.dry_bulb_c, at.wet_bulb_c)]
    bulbs += _ends(logged.dry) + _ends(logged.wet)
    bulbs = bulbs or [scale.of(20.0)]
    emcs = [*(point.emc_pct for point in dossier.set_points), *_ends(logged.emc)]
    moistures = [*_moistures(dossier), *(ordered or ())]
    mc = Panel(
        _LEFT,
        _TOP,
        _WIDTH,
        _MC,
        foot,
        even_axis(0.0, max(moistures), "MC of the sample boards, %", about=5),
    )
    emc = Panel(
        _LEFT,
        mc.foot + _BETWEEN,
        _WIDTH,
        _EMC,
        foot,
        even_axis(0.0, max(emcs, default=20.0), "EMC of the air, %", about=4),
    )
    air = Panel(
        _LEFT,
        emc.foot + _BETWEEN,
        _WIDTH,
        _AIR,
        foot,
        even_axis(min(bulbs), max(bulbs), f"Dry bulb and wet bulb, {scale.unit}", about=5),
    )
    return _Canvas(dossier, clock, regional, logged, mc, emc, air)


def _clock(dossier: Dossier, *, dated: bool) -> Clock:
    """Return the time from the first record of the charge to its last."""
    log = dossier.log
    start = min([dossier.started, *([log.first] if log else [])])
    ends = [
        dossier.ended,
        *([log.last] if log else []),
        *(board.points[-1].at for board in dossier.boards if board.points),
    ]
    return Clock(start, max((max(ends) - start).total_seconds() / 86_400.0, 0.1), dated)


def _moistures(dossier: Dossier) -> Iterator[float]:
    yield from (point.mc_pct for board in dossier.boards for point in board.points)
    yield dossier.target_mc_pct


def _logged(dossier: Dossier, clock: Clock, of: Callable[[float], float]) -> _Air:
    """Return what was logged, its temperatures as `of` says."""
    points = dossier.log.air if dossier.log else ()

    def column(field: str) -> Floats:
        return np.array(list(map(attrgetter(field), points)), dtype=float)

    dry, wet = ([*map(of, column(bulb).tolist())] for bulb in ("dry_bulb_c", "wet_bulb_c"))
    at = clock.days_to(point.at for point in points)
    longest = 1.5 * dossier.log.summary_hours / 24.0 if dossier.log else 0.0
    resumes = np.diff(at, prepend=at[:1]) > longest
    return _Air(at, resumes, np.array(dry), np.array(wet), column("emc_pct"))


def _ends(values: Floats) -> list[float]:
    """Return the least and the greatest value; nothing if none was measured."""
    known = values[~np.isnan(values)]
    return [float(known.min()), float(known.max())] if known.size else []


# --- parts that cross all panels ------------------------------------------------------------------


def _bands(canvas: _Canvas) -> Iterator[Markup]:
    for gap in canvas.dossier.gaps:
        css = f"{gap.kind}-band"
        first, last = canvas.clock(gap.start), canvas.clock(gap.end)
        for panel in canvas.panels:
            yield panel.band(css, first, last)
        words = "stopped" if gap.kind == "stop" else "no readings"
        left, right = canvas.air.x_at(first), canvas.air.x_at(last)
        if right - left > 8.0 * len(words):
            yield text(css, (left + right) / 2, canvas.air.foot - 8, words, "middle")


def _off_bands(canvas: _Canvas) -> Iterator[Markup]:
    """Yield a band where a step's air stayed outside tolerance, behind EMC and bulbs."""
    for step in canvas.dossier.adherence:
        if step.verdict != "not as asked":
            continue
        for side in step.outside:
            first = canvas.clock(side.since)
            last = canvas.clock(side.since + dt.timedelta(hours=side.longest_hours))
            for panel in (canvas.emc, canvas.air):
                yield panel.band("off-band", first, last)
            if canvas.emc.x_at(last) - canvas.emc.x_at(first) > 8.0 * len(side.side):
                yield text(
                    "off-band",
                    canvas.emc.x_at((first + last) / 2),
                    canvas.emc.top + 16,
                    side.side,
                    "middle",
                )


def _step_lines(canvas: _Canvas) -> Iterator[Markup]:
    """Yield a line where the air was changed, with its name above the top panel."""
    free = -100.0
    for point, at in zip(canvas.dossier.set_points, canvas.asked, strict=True):
        x = canvas.mc.x_at(at)
        for panel in canvas.panels:
            yield segment("step-line", x, panel.top, x, panel.foot)
        words = f"step {point.label}" if point.label == "1" else point.label
        stage = not point.label.isdigit()
        # step numbers are between the first two panels, names of stages one line lower
        if stage:
            anchor = "end" if point.label == "equalizing" else "start"
            yield text("step-line", x, canvas.mc.foot + 38, words, anchor)
        elif x - free > 12.0 + 9.0 * (len(words) - 1):
            yield text("step-line", x, canvas.mc.foot + 20, words, "middle")
            free = x


def _flags(canvas: _Canvas, marks: Sequence[Mark]) -> Iterator[Markup]:
    for mark in sorted(marks, key=lambda one: one.at):
        x = canvas.mc.x_at(canvas.clock(mark.at))
        yield flag(mark.css, x, canvas.mc.top, mark.words)


# --- panels ---------------------------------------------------------------------------------------


def _ordered(canvas: _Canvas, ordered: tuple[float, float] | None) -> Iterator[Markup]:
    panel, target = canvas.mc, canvas.dossier.target_mc_pct
    if ordered:
        top, foot = panel.y_at(ordered[1]), panel.y_at(ordered[0])
        yield box("band-ordered", panel.left, top, panel.width, max(foot - top, 1.0))
        yield text(
            "band-ordered", panel.left + 6, top - 6, f"ordered: {ordered[0]:g} to {ordered[1]:g} %"
        )
        return
    y = panel.y_at(target)
    yield segment("target-line", panel.left, y, panel.right, y)
    yield text("target-line", panel.left + 6, y - 6, f"target {target:g} %")


def _triggers(canvas: _Canvas) -> Iterator[Markup]:
    """Yield, for each step, a line at the MC at which it was due, from the left to its change."""
    panel = canvas.mc
    for replay in canvas.dossier.steps:
        if replay.trigger_pct is not None and replay.trigger_pct <= panel.y.high:
            y, x = panel.y_at(replay.trigger_pct), panel.x_at(canvas.clock(replay.at))
            yield segment("trigger-line", panel.left, y, x, y)


def _board_lines(canvas: _Canvas) -> Iterator[Markup]:
    panel, boards = canvas.mc, canvas.dossier.boards
    lines: list[Sequence[BoardPoint | ControlPoint]] = [board.points for board in boards]
    lines.append(canvas.dossier.controlling)
    across = panel.across(canvas.clock.days_to(point.at for line in lines for point in line))
    down = panel.down([point.mc_pct for line in lines for point in line])
    ends = [0, *accumulate(map(len, lines))]
    for place, (first, last) in enumerate(pairwise(ends)):
        if place == len(boards):
            yield course("controlling", across[first:], down[first:])
        else:
            yield course(_style(place), across[first:last], down[first:last])
            yield dotted(f"dot {_style(place)}", across[first:last], down[first:last])
    yield from _labels(panel, _board_labels(canvas.dossier))


def _style(place: int) -> str:
    return f"board-{place % _STYLES + 1}"


def _board_labels(dossier: Dossier) -> list[tuple[str, str, float]]:
    """Return the style, name and end value of each labelled line."""
    named: Sequence[tuple[int, BoardResult]] = [
        (place, board) for place, board in enumerate(dossier.boards) if board.points
    ]
    if len(named) > _STYLES:
        ranked = sorted(named, key=lambda item: item[1].points[-1].mc_pct)
        named = [ranked[0], ranked[-1]]
    labels = [(_style(place), board.id, board.points[-1].mc_pct) for place, board in named]
    if dossier.controlling:
        labels.append(("controlling", "controlling", dossier.controlling[-1].mc_pct))
    return labels


def _labels(panel: Panel, labels: Sequence[tuple[str, str, float]]) -> Iterator[Markup]:
    """Yield labels beside line ends, each with a leader line if it had to move."""
    ends = [panel.y_at(value) for _, _, value in labels]
    places = spread(ends, _LABEL_GAP, panel.top + 4, panel.foot + 4)
    for (css, words, _), end, y in zip(labels, ends, places, strict=True):
        if abs(end - y) > 3.0:
            yield segment("leader", panel.right + 2, end, panel.right + 10, y)
        yield text(css, panel.right + 12, y + 5, words)


def _emc_lines(canvas: _Canvas) -> Iterator[Markup]:
    labels = [*_measured(canvas, canvas.emc, "series-emc", "measured", canvas.logged.emc)]
    yield canvas.emc.stairs(
        "series-setpoint",
        _asked(canvas, lambda point: point.emc_pct),
        canvas.clock(canvas.dossier.ended),
    )
    yield from _drawn(canvas.emc, labels, _asked_label(canvas, lambda point: point.emc_pct))


def _bulb_lines(canvas: _Canvas) -> Iterator[Markup]:
    of = canvas.regional.temperature_scale.of
    labels = [
        *_measured(canvas, canvas.air, "series-db", "dry bulb", canvas.logged.dry),
        *_measured(canvas, canvas.air, "series-wb", "wet bulb", canvas.logged.wet),
    ]
    end = canvas.clock(canvas.dossier.ended)
    for value in (lambda point: of(point.dry_bulb_c), lambda point: of(point.wet_bulb_c)):
        yield canvas.air.stairs("series-setpoint", _asked(canvas, value), end)
    yield from _drawn(canvas.air, labels, _asked_label(canvas, lambda point: of(point.dry_bulb_c)))


_Line = tuple[str, str, float, Markup]


def _measured(
    canvas: _Canvas, panel: Panel, css: str, words: str, values: Floats
) -> Iterator[_Line]:
    """Yield a measured line with its name and end value; nothing without readings."""
    known = ~np.isnan(values)
    if not known.any():
        return
    resumes = canvas.logged.resumes.copy()
    resumes[1:] |= ~known[:-1]
    yield (
        css,
        words,
        float(values[known][-1]),
        course(
            css,
            list(compress(canvas.across, known)),
            panel.down(values[known]),
            np.flatnonzero(resumes[known]).tolist(),
        ),
    )


def _drawn(
    panel: Panel, lines: Sequence[_Line], asked: Sequence[tuple[str, str, float]]
) -> Iterator[Markup]:
    yield from (line for *_, line in lines)
    yield from _labels(panel, [*(line[:3] for line in lines), *asked])


def _asked(canvas: _Canvas, value: Callable[[SetPoint], float]) -> list[tuple[float, float]]:
    return list(zip(canvas.asked, map(value, canvas.dossier.set_points), strict=True))


def _asked_label(
    canvas: _Canvas, value: Callable[[SetPoint], float]
) -> list[tuple[str, str, float]]:
    points = canvas.dossier.set_points
    return [("series-setpoint", "set (thin)", value(points[-1]))] if points else []
