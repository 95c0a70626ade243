"""The board model's sections on pages of charges and schedules: gradient index and what-if."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.gradient import charge_gradient, schedule_gradient
from kilnfolio.forecast.effects import Effect, NoComparison
from kilnfolio.forecast.open_what_if import open_what_if
from kilnfolio.forecast.replay import LABEL, Trace, replay
from kilnfolio.forecast.schedules import ScheduleEffects, revision_effect, schedule_effects
from kilnfolio.forecast.what_if import HOW
from kilnfolio.records.schedule import Schedule
from kilnfolio.rendering import routes
from kilnfolio.review import figures
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext

FOLLOWS_WITHIN = 8.0
"""A computed board that differs more from the weighings is not shown. [% MC]"""

_ROWS = 120


@dataclass(frozen=True)
class EffectRow:
    """A change as a table prints it."""

    what: str
    target: str
    """Page of the other schedule; empty if the change is not a schedule."""
    days: str
    becomes: str
    energy: str
    peak: str
    miss: str


@dataclass(frozen=True)
class BoardView:
    """The board model as a charge's page prints it."""

    chart: Markup
    trace: Trace
    points: Sequence[tuple[dt.datetime, float, float, float]]
    """Time; gradient index, mean MC and MC of the face [%]."""
    rows: Sequence[EffectRow]
    is_open: bool
    days: float = 0.0
    label: str = LABEL
    how: str = HOW


def replay_view(context: SiteContext, number: str) -> BoardView | None:
    """Return the replay of a complete charge; None if the board model cannot follow it."""
    found = replay(context.graph, number)
    if found is None or found.trace.misfit > FOLLOWS_WITHIN:
        return None
    rows = [effect_row(effect, _days(found.days * effect.found.days)) for effect in found.effects]
    return BoardView(
        _chart(context, number, found.trace),
        found.trace,
        _points(found.trace),
        rows,
        is_open=False,
        days=found.days,
    )


def open_view(context: SiteContext, number: str) -> BoardView | None:
    """Return the what-if of an open charge; None if there is nothing to compare yet."""
    found = open_what_if(context.graph, number)
    if found is None or found.trace.misfit > FOLLOWS_WITHIN:
        return None
    rows = [
        effect_row(
            one.effect, f"done {one.end:%d %b %H:%M}".replace(" ", figures.NBSP) if one.end else ""
        )
        for one in found.effects
    ]
    return BoardView(
        _chart(context, number, found.trace), found.trace, _points(found.trace), rows, is_open=True
    )


@dataclass(frozen=True)
class ScheduleView:
    """The board model as a schedule's page prints it."""

    found: ScheduleEffects
    timber: str
    chart: Markup
    points: Sequence[tuple[float, float]]
    """Mean MC, and the gradient index there [%]."""
    rows: Sequence[EffectRow]
    how: str = HOW


def schedule_view(context: SiteContext, name: str) -> ScheduleView | None:
    """Return the computed effect of a schedule; None if there is nothing to compute."""
    if context.edition != "mill":
        return None
    try:
        found = schedule_effects(context.folder, name)
    except NoComparison:
        return None
    run = found.run
    every = max(1, math.ceil(run.hours.size / _ROWS))
    points = [
        (float(mc), float(index))
        for mc, index in zip(run.mean_pct[::every], run.gradient[::every], strict=True)
    ]
    size = context.folder.schedules[name].record.for_stock.thickness[0]
    title = context.folder.schedules[name].record.title
    return ScheduleView(
        found,
        f"{context.species_name(found.wood)}, {size.entered}",
        schedule_gradient(f"Gradient index under {title}", *zip(*points, strict=True)),
        points,
        [effect_row(effect) for effect in found.effects],
    )


def revision_row(context: SiteContext, before: Schedule, after: Schedule) -> EffectRow | None:
    """Return the effect of a newer revision against the one before; None without a comparison."""
    try:
        return effect_row(revision_effect(context.folder, before, after))
    except NoComparison:
        return None


def effect_row(effect: Effect, becomes: str = "") -> EffectRow:
    """Return a change as a table prints it."""
    return EffectRow(
        effect.what,
        routes.schedule(effect.schedule) if effect.schedule else "",
        _held(effect.days),
        becomes,
        _held(effect.energy),
        _held(effect.peak),
        effect.miss,
    )


def _held(words: str) -> str:
    """Return words whose percent signs stay on the line of their number."""
    return words.replace(" %", f"{figures.NBSP}%")


def _days(days: float) -> str:
    return figures.measure(days, "days", 1) if math.isfinite(days) else ""


def _chart(context: SiteContext, number: str, trace: Trace) -> Markup:
    zone = context.folder.mill.record.zone
    return charge_gradient(f"Gradient index of charge {number}", zone, trace.times, trace.index_pct)


def _points(trace: Trace) -> list[tuple[dt.datetime, float, float, float]]:
    every = max(1, math.ceil(len(trace.times) / _ROWS))
    rows = zip(trace.times, trace.index_pct, trace.mean_pct, trace.face_pct, strict=True)
    return list(rows)[::every]
