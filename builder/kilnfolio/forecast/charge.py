"""The forecast of an open charge: when its steps fall due and when it ends, with bands."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kilnfolio.forecast.curve import Curve, from_formula, from_relative, learn
from kilnfolio.forecast.hindcast import Hindcast, Spread, hindcasts, spread_of
from kilnfolio.forecast.inputs import PlannedStep, Run
from kilnfolio.forecast.march import Case, Course, march, step_in_force
from kilnfolio.forecast.pace import BoardPaces, boards
from kilnfolio.forecast.result import (
    BoardPace,
    Due,
    Fan,
    Forecast,
    StepDue,
)
from kilnfolio.forecast.warning import Watch, check, watch
from kilnfolio.physics.moisture import mass_at
from kilnfolio.runtime.values import dataclass

ENOUGH = 3
"""Earlier charges of a wood and thickness needed for a curve of its own."""

RELATIVES_SHOWN = 5
"""Newest earlier charges that are hindcast to show how well a relative's curve does."""

SAME_THICKNESS = 0.1
"""Thicknesses that differ by less than this fraction share a curve. [-]"""

LIKE_AIR_K, LIKE_AIR_EMC = 3.0, 1.5
"""A forecast is marked if planned air is farther than this from the curve's air. [K] [point]"""

_LOW_HIGH = {"low95": 0.025, "low80": 0.1, "median": 0.5, "high80": 0.9, "high95": 0.975}


@dataclass(frozen=True)
class Learnt:
    """A curve, with a record of how well it did on the charges it was learnt from."""

    curve: Curve
    hindcasts: tuple[Hindcast, ...]
    steps: tuple[tuple[PlannedStep, ...], ...]
    watch: Watch | None = None


def learn_for(wood: str, thickness_mm: float, earlier: Sequence[Run]) -> Learnt:
    """Return what the mill's charges teach about a wood and thickness.

    Parameters
    ----------
    wood : str
        Id of the species.
    thickness_mm : float
        Nominal thickness. [mm]
    earlier : sequence of Run
        Earlier charges of any wood, as known at the time of the forecast.
    """
    curve, near = curve_for(wood, thickness_mm, earlier)
    steps = tuple(run.steps for run in near)
    if curve.origin == "own":
        return Learnt(curve, hindcasts(near), steps, watch(curve, near))
    return Learnt(curve, _relative_hindcasts(near), steps)


def curve_for(wood: str, thickness_mm: float, earlier: Sequence[Run]) -> tuple[Curve, list[Run]]:
    """Return the drying curve for a wood and thickness, and the charges it was learnt from."""
    usable = [run for run in earlier if run.weighings.hours.size >= 2 and run.air.hours.size]
    own = [
        run
        for run in usable
        if run.wood == wood and abs(run.thickness_mm / thickness_mm - 1.0) < SAME_THICKNESS
    ]
    if len(own) >= ENOUGH:
        return learn(own), own
    near = own or [run for run in usable if run.wood == wood] or usable
    return (from_relative(near, thickness_mm) if near else from_formula(thickness_mm)), near


def _relative_hindcasts(near: Sequence[Run]) -> tuple[Hindcast, ...]:
    """Return hindcasts of relatives by one another, for display only: too few to derive a band."""
    if len(near) < 2:
        return ()
    shown = near[-RELATIVES_SHOWN:]
    curves = [
        from_relative([other for other in near if other is not run], run.thickness_mm)
        for run in shown
    ]
    return hindcasts(shown, curves)


def forecast(charge: Run, learnt: Learnt, as_of: float) -> Forecast:
    """Return the forecast of a running charge.

    Parameters
    ----------
    charge : Run
        The charge; records after `as_of` are ignored.
    learnt : Learnt
        What earlier charges teach, from `learn_for`.
    as_of : float
        Time of the forecast, from the charge's start. [h]

    Returns
    -------
    Forecast

    Raises
    ------
    ValueError
        If no board had been weighed by then; a timed schedule needs no weighing.
    """
    run = charge.until(as_of)
    if run.timed and not run.weighings.hours.size:
        return _by_hours(run, as_of)
    if not run.weighings.hours.size:
        raise ValueError("charge must have a weighing before as_of; received none")
    paces = boards(learnt.curve, run)
    course = march([Case(run, learnt.curve, paces, as_of)])[0]
    begins = float(run.weighings.hours[-1])
    share = _share(begins, course.target)

    def due(hour: float, level: float | None = None) -> Due | None:
        if not np.isfinite(hour):
            return None
        spread = spread_of(learnt.hindcasts, share, learnt.curve.origin, level)
        return _due(run, begins, hour, spread)

    in_force = step_in_force(run)
    steps = [
        StepDue(
            i + 2,
            run.steps[i + 1],
            run.steps[i].until_mc_pct,
            due(float(course.step_due[i]), run.steps[i].until_mc_pct)
            if run.steps[i].hours is None
            else _by_clock(run, course.step_due[i]),
        )
        for i in range(in_force, len(run.steps) - 1)
    ]
    end = due(course.target) if run.target_mc_pct is not None else _by_clock(run, course.target)
    spread = spread_of(learnt.hindcasts, share, learnt.curve.origin)
    return Forecast(
        charge=run.charge,
        kiln=run.kiln,
        wood=run.wood,
        schedule=run.schedule,
        as_of=run.moment(as_of),
        started=run.started,
        weighed=run.moment(begins),
        controlling_pct=float(run.controlling_pct[-1]),
        past=tuple(
            (run.moment(hour), float(mc))
            for hour, mc in zip(run.weighings.hours, run.controlling_pct, strict=True)
        ),
        target_pct=run.target_mc_pct,
        step=in_force + 1,
        steps=tuple(steps),
        end=end,
        equalizing=due(course.equalizing),
        conditioning=due(course.conditioning),
        unload=due(course.unload),
        boards=tuple(_board(run, paces, i, steps, course) for i in range(len(paces.boards))),
        fan=_fan(run, course, spread),
        share=share,
        origin="clock" if run.timed else learnt.curve.origin,
        learnt_from=() if run.timed else learnt.curve.charges,
        hindcasts=() if run.timed else learnt.hindcasts,
        unlike_air=not run.timed and _unlike_air(run, learnt, in_force),
        warnings=check(run, learnt.curve, learnt.watch) if learnt.watch else (),
    )


def _by_hours(run: Run, as_of: float) -> Forecast:
    """Return the forecast of a timed schedule without weighings."""
    begun, in_force = run.steps_taken[-1] if run.steps_taken else (0.0, 0)
    ends = begun + np.cumsum([step.hours for step in run.steps[in_force:]])
    steps = tuple(
        StepDue(in_force + 2 + i, step, None, _by_clock(run, ends[i]))
        for i, step in enumerate(run.steps[in_force + 1 :])
    )
    return Forecast(
        charge=run.charge,
        kiln=run.kiln,
        wood=run.wood,
        schedule=run.schedule,
        as_of=run.moment(as_of),
        started=run.started,
        weighed=run.started,
        controlling_pct=float("nan"),
        past=(),
        target_pct=None,
        step=in_force + 1,
        steps=steps,
        end=_by_clock(run, ends[-1]),
        equalizing=None,
        conditioning=None,
        unload=None,
        boards=(),
        fan=Fan((), (), (), (), (), ()),
        share=_share(as_of, float(ends[-1])),
        origin="clock",
        learnt_from=(),
        hindcasts=(),
        unlike_air=False,
    )


def _share(begins: float, end: float) -> float:
    return begins / end if np.isfinite(end) and end > 0 else 0.0


def _due(run: Run, begins: float, hour: float, spread: Spread) -> Due:
    left = {
        name: max(spread.time_left(hour - begins, share), 0.0) for name, share in _LOW_HIGH.items()
    }
    return Due(**{name: run.moment(begins + hours) for name, hours in left.items()})


def _by_clock(run: Run, hour: float) -> Due | None:
    """Return the time at which a timed step ends; the clock has no spread."""
    if not np.isfinite(hour):
        return None
    moment = run.moment(hour)
    return Due(moment, moment, moment, moment, moment)


def _board(
    run: Run, paces: BoardPaces, i: int, steps: Sequence[StepDue], course: Course
) -> BoardPace:
    weighed = run.weighings.mc_pct[:, i]
    known = weighed[np.isfinite(weighed)]
    trigger = steps[0].trigger_pct if steps else run.target_mc_pct
    hour = course.board_reaches(i, trigger) if trigger is not None else float("nan")
    return BoardPace(
        paces.boards[i],
        float(known[-1]) if known.size else None,
        float(paces.now[i]),
        float(paces.uncertainty[i]),
        trigger,
        _mass(run, i, trigger),
        run.moment(hour) if np.isfinite(hour) else None,
        run.oven_dry_g[i] if i < len(run.oven_dry_g) else None,
        tuple(float(mc) for mc in course.boards_pct[_kept_times(course), i]),
    )


def _kept_times(course: Course) -> slice:
    """Return which times of a course to keep: about 120, enough for a chart."""
    return slice(None, None, max(1, course.hours.size // 120))


def _mass(run: Run, board: int, mc_pct: float | None) -> float | None:
    oven_dry = run.oven_dry_g[board] if board < len(run.oven_dry_g) else None
    if oven_dry is None or mc_pct is None:
        return None
    return float(mass_at(oven_dry, mc_pct))


def _fan(run: Run, course: Course, spread: Spread) -> Fan:
    """Return the future controlling MC: a slower charge takes the same path in more time."""
    hours = course.hours
    begins = float(hours[0])
    rows = {}
    for name, share in _LOW_HIGH.items():
        # a high quantile of the MC belongs to a slow charge, so its time is stretched
        stretched = [begins + max(spread.time_left(hour - begins, share), 0.0) for hour in hours]
        stretched[0] = begins
        rows[name] = np.interp(hours, stretched, course.controlling_pct)
    every = _kept_times(course)
    return Fan(
        tuple(run.moment(hour) for hour in hours[every]),
        *(tuple(float(mc) for mc in rows[name][every]) for name in _LOW_HIGH),
    )


def _unlike_air(run: Run, learnt: Learnt, in_force: int) -> bool:
    """Return whether the coming steps differ from those of the charges learnt from."""
    if not learnt.steps:
        return False
    for i in range(in_force, len(run.steps)):
        step = run.steps[i]
        if step.until_mc_pct is None:
            continue
        alike = [
            other
            for steps in learnt.steps
            for other in steps
            if other.until_mc_pct is not None and abs(other.until_mc_pct - step.until_mc_pct) < 2.5
        ]
        if not alike:
            continue
        temp = abs(np.mean([other.dry_bulb_c for other in alike]) - step.dry_bulb_c)
        emc = abs(np.mean([other.emc_pct for other in alike]) - step.emc_pct)
        if temp > LIKE_AIR_K or emc > LIKE_AIR_EMC:
            return True
    return False
