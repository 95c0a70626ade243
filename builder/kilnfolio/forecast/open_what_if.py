"""What-ifs for the rest of an open charge."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import replace

from kilnfolio.forecast.changes import (
    Change,
    earlier,
    from_mc,
    kept_as,
    sets_fahrenheit,
    usual_changes,
)
from kilnfolio.forecast.effects import (
    Effect,
    NoComparison,
    Stock,
    effects_of,
    habit_change,
    neighbours,
    steps_of,
    stock_of,
)
from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.forecast.march import habit
from kilnfolio.forecast.mill import NotForecast, drying_run, of_charge, open_forecast
from kilnfolio.forecast.replay import Trace, trace_of
from kilnfolio.forecast.result import Forecast
from kilnfolio.forecast.what_if import MISSES, ratios
from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.folder import MillFolder, mill_of
from kilnfolio.runtime.values import dataclass

MOST_SCHEDULES = 4
"""Most other schedules to try for the wood."""


@dataclass(frozen=True)
class OpenEffect:
    """The effect of one change on the rest of a charge.

    Attributes
    ----------
    effect : Effect
        Ratios over the rest of the charge.
    end : datetime, optional
        The likely end with the change, to the hour; None if it never ends, or has no forecast.
    """

    effect: Effect
    end: dt.datetime | None


@dataclass(frozen=True)
class OpenWhatIf:
    """The board model of an open charge, as its page prints it.

    Attributes
    ----------
    trace : Trace
        The computed board so far.
    effects : tuple of OpenEffect
    """

    trace: Trace
    effects: tuple[OpenEffect, ...]


@dataclass(frozen=True)
class Rest:
    """The rest of an open charge, as comparisons need it.

    Attributes
    ----------
    found : Forecast
    trace : Trace
    stock : Stock
        A board whose computed MC follows the weighings so far.
    begin : tuple of float
        Its present profile, shifted to the controlling MC. [%]
    steps : tuple of PlannedStep
        Coming steps, starting with the one in force, as this kiln keeps them.
    kept : float
        Measured over requested EMC. [-]
    """

    found: Forecast
    trace: Trace
    stock: Stock
    begin: tuple[float, ...]
    steps: tuple[PlannedStep, ...]
    kept: float


def rest_of(folder: MillFolder, number: str, as_of: dt.datetime | None = None) -> Rest:
    """Return the rest of an open charge, or of any charge as it stood at a given time.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    number : str
        The charge.
    as_of : datetime, optional
        The time, aware; later records are not used. By default the last record.

    Raises
    ------
    NoComparison
        If it has no forecast, log or weighings yet, is at its target, or runs by the clock.
    """
    try:
        found = (
            open_forecast(folder.graph, number)
            if as_of is None
            else of_charge(folder, number, as_of)
        )
    except NotForecast as reason:
        raise NoComparison(str(reason)) from None
    if found is None:
        raise NoComparison(f"charge {number} has no forecast yet")
    run = drying_run(folder.graph, number)
    run = run.until((found.as_of - run.started) / dt.timedelta(hours=1))
    if run.target_mc_pct is None or any(step.hours is not None for step in run.steps):
        raise NoComparison(f"charge {number} is run by the clock, so that its days are set")
    if found.controlling_pct <= run.target_mc_pct:
        raise NoComparison(f"charge {number} is down to its target; nothing is left to change")
    stock = stock_of(folder.species[run.wood].record, run.thickness_mm)
    trace = trace_of(run.started, run.air, run.weighings.hours, run.controlling_pct, stock)
    if trace is None:
        raise NoComparison(f"charge {number} has no log yet, or fewer than three weighings")
    kept = habit(run)
    shift = found.controlling_pct - sum(trace.cells_pct) / len(trace.cells_pct)
    return Rest(
        found,
        trace,
        replace(stock, board=replace(stock.board, diffusivity_m2_s=trace.diffusivity)),
        tuple(max(mc + shift, 1.0) for mc in trace.cells_pct),
        kept_as(run.steps[found.step - 1 :], kept),
        kept,
    )


def open_what_if_of(
    folder: MillFolder, number: str, as_of: dt.datetime | None = None
) -> OpenWhatIf:
    """Return the effect of the usual changes on the rest of a charge; see `rest_of`.

    Raises
    ------
    NoComparison
        If there is nothing to compare with; the message says why.
    """
    rest = rest_of(folder, number, as_of)
    effects = [
        *effects_of(rest.stock, rest.steps, list(_changes(folder, rest)), rest.begin),
        *_other_schedules(folder, rest),
    ]
    return OpenWhatIf(rest.trace, tuple(with_end(rest.found, effect) for effect in effects))


def with_end(found: Forecast, effect: Effect) -> OpenEffect:
    """Return an effect with the end it implies: its ratio times the forecast's remaining days."""
    if found.end is None or not math.isfinite(effect.found.days):
        return OpenEffect(effect, None)
    left = (found.end.median - found.weighed) * effect.found.days
    end = found.weighed + left + dt.timedelta(minutes=30)
    return OpenEffect(effect, end.replace(minute=0, second=0, microsecond=0))


def _changes(folder: MillFolder, rest: Rest) -> Iterator[Change]:
    if len(rest.steps) > 1 and rest.steps[0].until_mc_pct is not None:
        sooner = rest.steps[0].until_mc_pct + 5.0
        if sooner < rest.found.controlling_pct:
            yield Change(
                f"Step {rest.found.step + 1} five points earlier, at {sooner:g} %",
                "step",
                earlier(rest.steps, 5.0, only=2),
            )
    yield from usual_changes(rest.steps, customary_first=sets_fahrenheit(folder))
    as_planned = kept_as(rest.steps, 1.0 / rest.kept)
    for kiln in sorted(folder.kilns):
        if kiln != rest.found.kiln:
            change = habit_change(folder, kiln, as_planned)
            if change is not None:
                yield change


def _other_schedules(folder: MillFolder, rest: Rest) -> Iterator[Effect]:
    thickness = float(rest.stock.board.thickness_mm)  # type: ignore[arg-type]
    found = neighbours(folder, rest.found.schedule, rest.found.wood, thickness)
    first = rest.stock.run(rest.steps, rest.begin)
    for name in found[:MOST_SCHEDULES]:
        try:
            steps = steps_of(folder, name, rest.found.target_pct)
        except NoComparison:
            continue
        steps = kept_as(from_mc(steps, rest.found.controlling_pct), rest.kept)
        title = folder.schedules[name].record.title
        compared = ratios(first, rest.stock.run(steps, rest.begin))
        yield Effect(f"From here on: {title}", compared, MISSES["air"], name)


@derived("open what-if", keys=reading.open_charges, batch=1)
def open_what_if(graph: Graph, number: str) -> OpenWhatIf | None:
    """Return the what-if of an open charge; None if there is nothing to compare."""
    try:
        return open_what_if_of(mill_of(graph), number)
    except LookupError:
        return None
