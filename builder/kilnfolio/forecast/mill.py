"""A mill's records as runs: the only module that connects the forecast to the mill folder."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import islice

import numpy as np

from kilnfolio.forecast.charge import ENOUGH, Learnt, forecast, learn_for
from kilnfolio.forecast.evaluation import Trial, trials
from kilnfolio.forecast.finish import MOST_EARLIER, finish_of
from kilnfolio.forecast.green_load import LoadBasis, basis_for
from kilnfolio.forecast.inputs import AirLog, PlannedStep, Run, Weighings, hours_between
from kilnfolio.forecast.result import Forecast
from kilnfolio.graph.derived import AbsentError, NoValueError, derived, inline
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import Derivations, MillFolder, mill_of
from kilnfolio.records.log import Log
from kilnfolio.records.model import Located
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.setpoints import PlannedStep as ScheduleStep
from kilnfolio.records.setpoints import asked_air, mill_pressure, planned_steps
from kilnfolio.review.air import air_series, jumps_of
from kilnfolio.review.boards import board_histories
from kilnfolio.review.limits import Subject, limit_table
from kilnfolio.review.review import read_logs

AIR_EVERY_H = 1.0
"""Logged air is averaged over this time; logs with longer intervals are kept as they are. [h]"""

LOADS_EARLIER = 10
"""Number of newest charges of a wood used to forecast a load before it goes in."""


class NotForecast(LookupError):  # noqa: N818  an answer, not an error
    """A charge cannot be forecast; the message says why."""


def of_charge(folder: MillFolder, charge: str, as_of: dt.datetime | None = None) -> Forecast:
    """Return the forecast of a charge as it stood at a given time.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    charge : str
        Number of a charge, open or complete.
    as_of : datetime, optional
        The time, aware; later records are not used. By default the charge's last record.

    Returns
    -------
    Forecast

    Raises
    ------
    KeyError
        If there is no such charge.
    NotForecast
        If its record is too incomplete, or nothing had been weighed by then.
    RecordProblems
        If a logger file does not fit its profile.
    """
    run = drying_run(folder.graph, charge)
    hour = _last_record(run) if as_of is None else hours_between(run.started, as_of)
    if not run.steps:
        raise NotForecast(f"charge {charge} has no steps to follow")
    if not run.timed and not run.until(hour).weighings.hours.size:
        raise NotForecast(
            f"charge {charge} has no weighing of its sample boards "
            + (f"by {as_of:%Y-%m-%d %H:%M}" if as_of else "yet")
        )
    moment = run.moment(hour) if as_of is None else as_of
    names = earlier_names(folder, run.wood, charge, None if as_of is None else moment)
    learnt = _learnt(folder.graph, run, names, moment)
    record = charge_of(folder, charge).record
    finish = finish_of(folder, run, record.schedule, record.target_mc.value, moment)
    run = replace(run, finish=finish)
    return forecast(run, learnt, hour)


def _learnt(graph: Graph, run: Run, names: list[str], moment: dt.datetime) -> Learnt:
    """Return what had been learnt from earlier charges by a given time."""
    earlier = runs_known(graph, reversed(names))
    then = [other.until(hours_between(other.started, moment)) for other in earlier]
    key = _learnt_key(run.wood, run.thickness_mm, names)
    if all(map(_same_extent, earlier, then)) and learnt_of.exists(graph, key):
        return learnt_of(graph, key)
    return learn_for(run.wood, run.thickness_mm, then)


def _same_extent(run: Run, then: Run) -> bool:
    """Return whether a charge cut off at some time still has all its records."""
    return (
        run.weighings.hours.size == then.weighings.hours.size
        and run.air.hours.size == then.air.hours.size
        and run.steps_taken == then.steps_taken
        and run.ended == then.ended
    )


def past_forecasts(folder: MillFolder) -> Iterator[Trial]:
    """Yield the forecasts that would have been made of each charge that reached its target.

    Each is forecast with a curve learnt from all the others; older records never closed count too.
    """
    open_ = [name for name, one in folder.open_charges.items() if one.so_far is not None]
    runs = runs_known(folder.graph, sorted([*folder.charges, *open_]))
    every = {run.charge: run for run in runs}
    for name, run in every.items():
        if run.target_mc_pct is None or not run.steps:
            continue
        end = run.reached(run.target_mc_pct)
        if not np.isfinite(end):
            continue
        others = [other for other in every.values() if other.charge != name]
        own = [other for other in others if other.wood == run.wood]
        learnt = learn_for(run.wood, run.thickness_mm, own if len(own) >= ENOUGH else others)
        yield from trials(run, end, learnt, learnt.curve.origin)


def earlier_names(
    folder: MillFolder, wood: str, excluding: str, before: dt.datetime | None = None
) -> list[str]:
    """Return the numbers of the mill's other charges to learn from, newest first.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    wood : str
        Use charges of this wood; if there are fewer than `ENOUGH`, of any wood.
    excluding : str
        The charge to be forecast.
    before : datetime, optional
        Use only charges that began before this time.
    """
    graph = folder.graph

    def begun(name: str) -> dt.datetime:
        return charge_of(folder, name).record.started

    def known(names: Iterable[str]) -> list[str]:
        fitting = (
            name for name in names if name != excluding and (before is None or begun(name) < before)
        )
        return sorted(islice(fitting, len(open_) + MOST_EARLIER), key=begun, reverse=True)

    open_ = [
        name
        for name in reading.open_charges(graph)
        if name != excluding and folder.open_charges[name].so_far is not None
    ]
    own = [name for name in open_ if charge_of(folder, name).record.stock[0].species == wood]
    found = known([*own, *reading.charges(graph, reading.of_species(wood), newest_first=True)])
    if len(found) < ENOUGH:
        others = [*open_, *reading.charges(graph, newest_first=True)]
        found += [name for name in known(others) if name not in found]
    return found[:MOST_EARLIER]


def charge_of(folder: MillFolder, charge: str) -> Located[Charge]:
    """Return a charge's record, complete or partial.

    Raises
    ------
    KeyError
        If there is no such charge.
    NotForecast
        If its record does not yet name the kiln, schedule and timber.
    """
    if charge in folder.charges:
        return folder.charges[charge]
    so_far = folder.open_charges[charge].so_far
    if so_far is None:
        raise NotForecast(
            f"the record of charge {charge} does not yet say its kiln, schedule, timber and start"
        )
    return so_far


def run_of(folder: MillFolder, charge: str) -> Run:
    """Return a charge as the forecast reads it.

    Raises
    ------
    KeyError, NotForecast
        As for `charge_of`.
    RecordProblems
        If a logger file does not fit its profile, or a step asks for impossible air.
    """
    located = charge_of(folder, charge)
    record = located.record
    pressure = mill_pressure(folder)
    schedule = folder.schedules[record.schedule]
    try:
        steps = planned_steps(schedule.record, folder.steps_of(schedule.record), pressure)
        asked = asked_air(record, steps, pressure)
    except ValueError as error:
        raise RecordProblems(
            [
                Problem(
                    schedule.place(),
                    f"schedule '{record.schedule}'",
                    str(error),
                    "Check the units of its steps first",
                )
            ]
        ) from None
    weighings, oven_dry = _weighings(record)
    log = read_logs(folder, located)
    air = (
        _logged(log, folder, record, pressure)
        if log is not None and len(log.times)
        else AirLog(*[np.zeros(0)] * 3)
    )
    if not air.hours.size:
        air = _as_asked(
            [
                (hours_between(record.started, one.at), one.air.dry_bulb_c, one.air.emc_pct)
                for one in asked
            ],
            weighings,
        )
    main = record.stock[0]
    complete = charge in folder.charges
    return Run(
        charge,
        main.species,
        main.thickness.value,
        record.started,
        weighings,
        air,
        planned(steps, record.target_mc.value),
        tuple(
            (hours_between(record.started, change.at), change.step - 1)
            for change in record.step_changes
            if change.step <= len(steps)
        ),
        record.control_rule,
        None,
        hours_between(record.started, record.ended) if complete else None,
        record.kiln,
        record.schedule,
        oven_dry,
    )


def loads_learn_from(graph: Graph, wood: str) -> tuple[str, ...]:
    """Return the charges from which the forecast of a load before it goes in is learnt."""
    return reading.charges(graph, reading.of_species(wood), newest_first=True)[:LOADS_EARLIER]


def _wanted(graph: Graph) -> list[str]:
    """Return open charges, and all charges from which forecasts of them and of loads are learnt."""
    folder, found = mill_of(graph), dict.fromkeys(reading.open_charges(graph))
    for name in list(found):
        so_far = folder.open_charges[name].so_far
        if so_far is not None:
            found |= dict.fromkeys(earlier_names(folder, so_far.record.stock[0].species, name))
    for located in folder.schedules.values():
        for wood in located.record.for_stock.species:
            found |= dict.fromkeys(loads_learn_from(graph, wood))
    return list(found)


@derived("drying run", keys=_wanted, batch=60)
def drying_run(graph: Graph, number: str) -> Run:
    """Return a charge as the forecast reads it; see `run_of`."""
    folder = mill_of(graph)
    if number in folder.open_charges and folder.open_charges[number].so_far is None:
        raise NoValueError(number)
    try:
        return run_of(folder, number)
    except RecordProblems:
        if reading.charge_as_sealed(graph, number) is None:
            raise
        # its schedule, kiln or logger profile has changed since it was sealed: nothing to learn
        raise NoValueError(number) from None


def _learnt_key(wood: str, thickness_mm: float, names: Sequence[str]) -> str:
    return " ".join([wood, repr(thickness_mm), *names])


def _to_learn(graph: Graph) -> list[str]:
    """Return the keys of `learnt_of` that forecasts of the open charges need."""
    folder, found = mill_of(graph), dict[str, None]()
    for name in reading.open_charges(graph):
        so_far = folder.open_charges[name].so_far
        if so_far is not None:
            main = so_far.record.stock[0]
            names = earlier_names(folder, main.species, name)
            found[_learnt_key(main.species, main.thickness.value, names)] = None
    return list(found)


@derived("learnt", keys=_to_learn)
def learnt_of(graph: Graph, key: str) -> Learnt:
    """Return what charges teach about a wood and a thickness; the key names all three.

    It does not depend on the charge to be forecast, and so stays the same while that charge runs.
    """
    wood, thickness, *names = key.split(" ")
    return learn_for(wood, float(thickness), runs_known(graph, reversed(names)))


@inline("load basis", keep=64)
def _load_basis(graph: Graph, key: str) -> LoadBasis:
    wood, thickness, *names = key.split(" ")
    return basis_for(wood, float(thickness), runs_known(graph, reversed(names)))


def basis_known(graph: Graph, wood: str, thickness_mm: float, names: Sequence[str]) -> LoadBasis:
    """Return what charges, named newest first, teach about loads of a wood and thickness [mm]."""
    return _load_basis(graph, _learnt_key(wood, thickness_mm, names))


def runs_known(graph: Graph, numbers: Iterable[str]) -> list[Run]:
    """Return charges as the forecast reads them, except those that no longer fit the library."""
    found = []
    for number in numbers:
        try:
            found.append(drying_run(graph, number))
        except AbsentError:
            continue
    return found


@derived("forecast", keys=reading.open_charges, batch=1)
def open_forecast(graph: Graph, number: str) -> Forecast | None:
    """Return the forecast of an open charge as of its last record; None if it has none yet."""
    try:
        return of_charge(mill_of(graph), number)
    except (NotForecast, AbsentError):
        return None


def open_forecasts(folder: MillFolder) -> Derivations[Forecast | None]:
    """Return the forecasts of the open charges, each computed on first access."""
    return Derivations(folder.graph, open_forecast, lambda: tuple(folder.open_charges))


def _last_record(run: Run) -> float:
    ends = [series[-1] for series in (run.weighings.hours, run.air.hours) if series.size]
    return float(max(ends, default=0.0))


def planned(steps: Iterable[ScheduleStep], target: float) -> tuple[PlannedStep, ...]:
    """Return a schedule's steps as the forecast uses them; the last one runs to the target."""
    steps_ = [
        PlannedStep(step.air.dry_bulb_c, step.air.emc_pct, step.until_mc_pct, step.hours)
        for step in steps
    ]
    if steps_ and steps_[-1].hours is None:
        steps_[-1] = replace(steps_[-1], until_mc_pct=target)
    return tuple(steps_)


def _weighings(record: Charge) -> tuple[Weighings, tuple[float | None, ...]]:
    """Return the MC of the boards of the charge's main timber at each weighing or metered round."""
    main = record.stock[0]
    own = [board.id for board in record.boards if (board.species or main.species) == main.species]
    by_time: dict[dt.datetime, dict[str, float]] = {}
    masses: dict[str, float] = {}
    for history in board_histories(record):
        # estimates exist once the board's sections are out of the oven
        if history.board.id in own and history.estimates:
            masses[history.board.id] = history.estimates[-1].oven_dry_g
            for point in history.points:
                by_time.setdefault(point.at, {})[history.board.id] = point.mc_pct
    for mc_round in record.mc_rounds:
        for name, mc in mc_round.mc.items():
            by_time.setdefault(mc_round.at, {}).setdefault(name, mc.value)
            if name not in own:
                own.append(name)
    # boards are cut and weighed minutes apart before heating begins: treat that as one weighing
    before = {at for at in by_time if at < record.started}
    first: dict[str, float] = {}
    for at in sorted(before):
        first |= by_time.pop(at)
    if first:
        by_time[record.started] = first | by_time.get(record.started, {})
    times = sorted(by_time)
    table = np.array([[by_time[at].get(name, np.nan) for name in own] for at in times])
    hours = np.array([hours_between(record.started, at) for at in times])
    return (
        Weighings(hours, table.reshape(len(times), len(own)), tuple(own)),
        tuple(masses.get(name) for name in own),
    )


def _logged(log: Log, folder: MillFolder, record: Charge, pressure: float) -> AirLog:
    """Return logged air by the hour; an EMC sensor is used if there are no bulbs."""
    limits = limit_table(folder, Subject())
    series = air_series(log, pressure, jumps_of(log, limits))
    sensor = log.channels.get("emc")
    emc = series.emc if sensor is None else np.where(np.isfinite(series.emc), series.emc, sensor)
    hours = (series.seconds - record.started.timestamp()) / 3600.0
    kept = np.isfinite(series.dry_bulb) & np.isfinite(emc) & (hours > 0)
    kept &= (series.dry_bulb > 0) & (series.dry_bulb < 120) & (emc > 0) & (emc < 40)
    if not kept.any():
        return AirLog(*[np.zeros(0)] * 3)
    # a reading represents the time since the one before it
    bins = np.ceil(hours[kept] / AIR_EVERY_H - 1e-6)
    firsts = np.flatnonzero(np.diff(bins, prepend=-1.0))
    count = np.diff(np.append(firsts, bins.size))
    means = [np.add.reduceat(values[kept], firsts) / count for values in (series.dry_bulb, emc)]
    return AirLog(bins[firsts] * AIR_EVERY_H, *means)


def _as_asked(asked: list[tuple[float, float, float]], weighings: Weighings) -> AirLog:
    """Return the requested air, for a charge without logged air."""
    if not asked or not weighings.hours.size or weighings.hours[-1] <= 0:
        return AirLog(*[np.zeros(0)] * 3)
    hours = np.arange(AIR_EVERY_H, weighings.hours[-1] + AIR_EVERY_H, AIR_EVERY_H)
    at = np.array([hour for hour, _, _ in asked])
    index = np.maximum(np.searchsorted(at, hours, side="left") - 1, 0)
    dry, emc = (np.array(values)[index] for values in list(zip(*asked, strict=True))[1:])
    return AirLog(hours, dry, emc)
