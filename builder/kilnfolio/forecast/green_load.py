"""How long a load that has not gone in yet will take, judged by earlier charges.

The load is assumed to start as wet as the mill's earlier charges did. The band is made as for an
open charge: each earlier charge is forecast from before its start, with the others to learn from,
and the band is as wide as those forecasts were wrong.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from kilnfolio.forecast.charge import curve_for
from kilnfolio.forecast.curve import Curve, leaving_out
from kilnfolio.forecast.hindcast import Spread, log_ratio, moments
from kilnfolio.forecast.inputs import AirLog, Finish, PlannedStep, Run, Weighings
from kilnfolio.forecast.march import Case, Course, march
from kilnfolio.forecast.pace import boards
from kilnfolio.physics._types import Floats
from kilnfolio.runtime.values import dataclass

BOARDS = 6
"""Number of sample boards in an imagined load: as many as a mill commonly cuts."""

GREEN_PCT = 80.0
"""Assumed start of a load if neither charges nor the species record it. [% MC]"""

AIR_DRIED_PCT = 22.0
"""Assumed start of air-dried timber: common practice, no source. [% MC]"""

FSP_PCT = 30.0
"""Boards that start wetter than this count as green. [% MC]"""

RELATIVE_SCALE = 0.3
"""Scale of ln(actual/forecast) with fewer than three earlier charges; assumed: a little wider than
for a relative's curve on a running charge. [-]"""

_STARTED = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)
_SHARES = {"low95": 0.025, "low80": 0.1, "median": 0.5, "high80": 0.9, "high95": 0.975}


@dataclass(frozen=True)
class Days:
    """Days in the kiln: median, and bands of 80 and 95 % [day]."""

    low95: float
    low80: float
    median: float
    high80: float
    high95: float

    def in_order(self) -> tuple[float, float, float, float, float]:
        """Return ``(median, low80, high80, low95, high95)``."""
        return self.median, self.low80, self.high80, self.low95, self.high95


@dataclass(frozen=True)
class LoadForecast:
    """The forecast of a load before it goes in.

    Attributes
    ----------
    days : Days
        From heating to unloading.
    start_pct : float or None
        Assumed mean MC at the start; None in a timed schedule. [%]
    origin : str
        Origin of the curve: ``own``, ``relative`` or ``formula``; ``clock`` in a timed schedule.
    learnt_from : tuple of str
        The earlier charges behind it.
    """

    days: Days
    start_pct: float | None
    origin: str
    learnt_from: tuple[str, ...]


@dataclass(frozen=True)
class Load:
    """A load to be dried, and its schedule.

    Attributes
    ----------
    wood : str
        Id of the species.
    thickness_mm : float
        Nominal thickness. [mm]
    steps : tuple of PlannedStep
        The schedule's steps; the last one runs to the target.
    finish : Finish, optional
        Equalizing and conditioning as planned.
    green_pct : float
        MC of green timber if no earlier charge shows it. [%]
    start : {"green", "air-dried", "any"}
        Its state when it goes in; earlier charges in another state are not used.
    """

    wood: str
    thickness_mm: float
    steps: tuple[PlannedStep, ...]
    finish: Finish | None = None
    green_pct: float = GREEN_PCT
    start: str = "any"


@dataclass(frozen=True)
class LoadBasis:
    """What earlier charges teach about loads of a wood and thickness, on any schedule.

    Attributes
    ----------
    curve : Curve
        How the wood dries.
    near : tuple of Run
        The charges it was learnt from.
    spread : Spread
        How far forecasts made before the start were wrong.
    """

    curve: Curve
    near: tuple[Run, ...]
    spread: Spread


def basis_for(wood: str, thickness_mm: float, earlier: Sequence[Run]) -> LoadBasis:
    """Return what earlier charges teach about a load.

    Parameters
    ----------
    wood : str
        Id of the species.
    thickness_mm : float
        Nominal thickness. [mm]
    earlier : sequence of Run
        Earlier charges, oldest first.
    """
    curve, near = curve_for(wood, thickness_mm, earlier)
    spread = _spread(near) if curve.origin == "own" else Spread(0.0, RELATIVE_SCALE, 5.0)
    return LoadBasis(curve, tuple(near), spread)


def forecast_load(load: Load, basis: LoadBasis) -> LoadForecast | None:
    """Return how long a load will take; None if the planned air never dries it to the target.

    Parameters
    ----------
    load : Load
        The load.
    basis : LoadBasis
        What earlier charges teach about its wood and thickness.
    """
    return forecast_loads([(load, basis)])[0]


def forecast_loads(loads: Sequence[tuple[Load, LoadBasis]]) -> list[LoadForecast | None]:
    """Return how long each of some loads will take; see `forecast_load`.

    Each result is that of the load by itself, but together they hardly take longer than one.
    """
    cases = {
        place: _case(load, typical_start(basis.near, load.start, load.green_pct), basis.curve)
        for place, (load, basis) in enumerate(loads)
        if any(step.hours is None for step in load.steps)
    }
    courses = dict(zip(cases, march(list(cases.values())), strict=True)) if cases else {}
    return [
        _forecast(cases[place], courses[place], basis) if place in cases else _by_the_clock(load)
        for place, (load, basis) in enumerate(loads)
    ]


def _forecast(case: Case, course: Course, basis: LoadBasis) -> LoadForecast | None:
    hours = course.unload if np.isfinite(course.unload) else course.target
    if not np.isfinite(hours):
        return None
    days = Days(
        **{
            name: basis.spread.time_left(float(hours), share) / 24.0
            for name, share in _SHARES.items()
        }
    )
    start = float(case.run.weighings.mc_pct.mean())
    return LoadForecast(days, start, basis.curve.origin, basis.curve.charges)


def forecast_by_formula(load: Load) -> LoadForecast | None:
    """Return how long a load will take by the published formula alone; see `forecast_load`."""
    return forecast_load(load, basis_for(load.wood, load.thickness_mm, ()))


def _by_the_clock(load: Load) -> LoadForecast:
    days = sum(step.hours or 0.0 for step in load.steps) / 24.0
    return LoadForecast(Days(days, days, days, days, days), None, "clock", ())


def typical_start(runs: Sequence[Run], start: str = "any", green_pct: float = GREEN_PCT) -> Floats:
    """Return the boards' MC at the start of a typical load, shape (BOARDS,) [%]."""
    if start == "air-dried":
        green_pct = AIR_DRIED_PCT
    ranks = (np.arange(BOARDS) + 0.5) / BOARDS
    rows = []
    for run in runs:
        first = run.weighings.mc_pct[0] if run.weighings.hours.size else np.zeros(0)
        known = first[np.isfinite(first)]
        if not known.size or run.weighings.hours[0] >= 24.0:
            continue
        if start in ("any", "green" if known.mean() > FSP_PCT else "air-dried"):
            rows.append(np.quantile(known, ranks))
    return np.asarray(np.mean(rows, axis=0)) if rows else np.full(BOARDS, green_pct)


def load_run(load: Load, start: Floats | None = None) -> Run:
    """Return a load as a charge at its start: one weighing, no logged air."""
    start = np.full(BOARDS, load.green_pct) if start is None else start
    tags = tuple(str(i + 1) for i in range(start.size))
    return Run(
        "",
        load.wood,
        load.thickness_mm,
        _STARTED,
        Weighings(np.zeros(1), start[np.newaxis], tags),
        AirLog(*[np.zeros(0)] * 3),
        load.steps,
        finish=load.finish,
    )


def _case(load: Load, start: Floats, curve: Curve) -> Case:
    run = load_run(load, start)
    return Case(run, curve, boards(curve, run), 0.0)


def _spread(runs: Sequence[Run]) -> Spread:
    """Return the spread of the errors of forecasts made before the start of these charges."""
    cases, ends = [], []
    for run, curve in zip(runs, leaving_out(runs), strict=True):
        target = run.target_mc_pct
        end = run.reached(target) if target is not None else float("nan")
        others = [other for other in runs if other is not run]
        if not np.isfinite(end) or not others:
            continue
        load = Load(run.wood, run.thickness_mm, run.steps)
        case = _case(load, typical_start(others), curve)
        cases.append(replace(case, run=replace(case.run, rule=run.rule)))
        ends.append(end)
    courses: list[Course] = march(cases) if cases else []
    ratios = [
        log_ratio(end, course.target)
        for end, course in zip(ends, courses, strict=True)
        if np.isfinite(course.target)
    ]
    return Spread(*moments(np.array(ratios)))
