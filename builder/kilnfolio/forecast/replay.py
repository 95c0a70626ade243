"""A past charge recomputed as a board: its gradient index over time, and what-ifs.

Everything is computed from the dossier, so that no file of a past charge is read again.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from kilnfolio.forecast.changes import Change, sets_fahrenheit, usual_changes
from kilnfolio.forecast.effects import Effect, NoComparison, Stock, stock_of
from kilnfolio.forecast.inputs import AirLog, PlannedStep
from kilnfolio.forecast.what_if import DIFFUSIVITY_RANGE, MISSES, ratios
from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying import Drying, SingleBoard, gradient_index
from kilnfolio.records import reading
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder, mill_of
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.reviews import charge_dossier
from kilnfolio.runtime.values import dataclass

LABEL = "Computed, not measured: a board model made to follow the weighings."
"""Printed with every gradient index of a charge."""

_FIT_RUNS, _FIRST_GUESS = 3, 1.5
_LATE_POINTS, _OFF_EMC, _OFF_K = 1.0, 0.3, 1.0
_AT_ONCE_H = 4.0


@dataclass(frozen=True)
class Trace:
    """A board computed through the logged air of a charge.

    Attributes
    ----------
    times : tuple of datetime
        Ends of the log's intervals.
    mean_pct, face_pct, index_pct : tuple of float
        MC, MC of the face, and gradient index. [%]
    peak_pct : float
        Largest gradient index. [%]
    peak_at : datetime
        When it occurred.
    misfit : float
        Root mean square of computed minus weighed MC. [point]
    cells_pct : tuple of float
        Profile at the end, from the face inward. [%]
    diffusivity : float
        D₀ that makes the board follow the weighings. [m²/s]
    """

    times: tuple[dt.datetime, ...]
    mean_pct: tuple[float, ...]
    face_pct: tuple[float, ...]
    index_pct: tuple[float, ...]
    peak_pct: float
    peak_at: dt.datetime
    misfit: float
    cells_pct: tuple[float, ...]
    diffusivity: float


@dataclass(frozen=True)
class Replay:
    """The board model of a past charge, as its page prints it.

    Attributes
    ----------
    trace : Trace
    days : float
        Days the steps took, without equalizing and conditioning. [day]
    effects : tuple of Effect
        Effects of single changes; empty if the charge ran by the clock or its air was not logged.
    """

    trace: Trace
    days: float
    effects: tuple[Effect, ...]


def trace_of(
    started: dt.datetime, air: AirLog, hours: Floats, controlling_pct: Floats, stock: Stock
) -> Trace | None:
    """Return the computed board of a charge; None without a log and at least three weighings.

    Parameters
    ----------
    started : datetime
        When heating began; hours count from here.
    air : AirLog
        The logged air.
    hours, controlling_pct : ndarray, shape (n,)
        Times of the weighings, and the controlling MC. [h] [%]
    stock : Stock
        Its main timber; D₀ is adjusted so that the computed MC follows the controlling MC.
    """
    if air.hours.size < 2 or hours.size < 3 or hours[-1] <= hours[0]:
        return None
    board = replace(stock.board, initial_mc_pct=float(controlling_pct[0]))
    low, high = DIFFUSIVITY_RANGE
    tried: list[tuple[float, float]] = []
    guess = float(board.diffusivity_m2_s)  # type: ignore[arg-type]
    for _ in range(_FIT_RUNS):
        board = replace(board, diffusivity_m2_s=guess)
        drying = _dried(SingleBoard(board), air)
        computed = np.interp(
            hours,
            np.append(0.0, drying.hours),
            np.append(controlling_pct[0], drying.mean_pct),
        )
        miss = float(np.mean(computed - controlling_pct))
        tried.append((math.log(guess), miss))
        if len(tried) < _FIT_RUNS:
            guess = min(max(math.exp(_next(tried)), low), high)
    index = gradient_index(drying, stock.shrinkage_pct)
    peak = int(index.argmax())
    times = tuple(started + dt.timedelta(hours=float(hour)) for hour in drying.hours)
    return Trace(
        times,
        _rounded(drying.mean_pct, 2),
        _rounded(drying.face_pct, 2),
        _rounded(index, 3),
        round(float(index[peak]), 2),
        times[peak],
        round(float(np.sqrt(np.mean((computed - controlling_pct) ** 2))), 2),
        tuple(float(mc) for mc in drying.cells_pct[-1]),
        guess,
    )


def _next(tried: Sequence[tuple[float, float]]) -> float:
    """Return the next ln D₀ to try (secant method): larger if computed wetter than weighed."""
    (last, miss) = tried[-1]
    if len(tried) > 1:
        before, missed = tried[-2]
        slope = (miss - missed) / (last - before) if last != before else 0.0
        if slope < -0.1:
            return last + min(max(-miss / slope, -1.0), 1.0)
    return last + math.log(_FIRST_GUESS) * (1.0 if miss > 0 else -1.0)


def _rounded(row: np.ndarray, places: int) -> tuple[float, ...]:
    return tuple(round(float(value), places) for value in row)


def _dossier_trace(dossier: Dossier, stock: Stock) -> Trace | None:
    points = [
        (max((point.at - dossier.started) / dt.timedelta(hours=1), 0.0), point.mc_pct)
        for point in dossier.controlling
    ]
    hours, mcs = np.array(points).reshape(-1, 2).T
    return trace_of(dossier.started, _air(dossier), hours, mcs, stock)


def _air(dossier: Dossier) -> AirLog:
    """Return the dossier's means of the air; gaps are filled with the air before them."""
    rows: list[tuple[float, float, float]] = []
    if dossier.log is not None:
        half = dossier.log.summary_hours / 2.0
        dry = emc = None
        for point in dossier.log.air:
            dry = point.dry_bulb_c if point.dry_bulb_c is not None else dry
            emc = point.emc_pct if point.emc_pct is not None else emc
            hour = (point.at - dossier.started) / dt.timedelta(hours=1) + half
            if dry is not None and emc is not None and hour > 0.0:
                rows.append((hour, min(max(dry, -30.0), 150.0), min(max(emc, 0.0), 40.0)))
    return AirLog(*np.array(rows).reshape(-1, 3).T)


def _dried(piece: SingleBoard, air: AirLog) -> Drying:
    hours = air.hours.tolist()
    before = 0.0
    for hour, dry, emc in zip(hours, air.dry_bulb_c.tolist(), air.emc_pct.tolist(), strict=True):
        piece.advance(hour - before, dry, emc)
        piece.note()
        before = hour
    return piece.noted(hours)


def replay_of(dossier: Dossier, record: Charge, folder: MillFolder) -> Replay | None:
    """Return a past charge's gradient index and the effects of single changes.

    Parameters
    ----------
    dossier : Dossier
        The charge.
    record : Charge
        Its record, for the main timber.
    folder : MillFolder
        The mill, for the species.

    Returns
    -------
    Replay, optional
        None if the wood's density, a log or weighings are missing.
    """
    main = record.stock[0]
    try:
        stock = stock_of(folder.species[main.species].record, main.thickness.value)
    except NoComparison:
        return None
    trace = _dossier_trace(dossier, stock)
    if trace is None:
        return None
    board = replace(
        stock.board,
        initial_mc_pct=dossier.controlling[0].mc_pct,
        diffusivity_m2_s=trace.diffusivity,
    )
    ran, days = as_it_ran(dossier)
    usual = tuple(usual_changes(ran, customary_first=sets_fahrenheit(folder))) if ran else ()
    effects = tuple(_effects(dossier, replace(stock, board=board), ran, usual)) if ran else ()
    return Replay(trace, days, effects)


def as_it_ran(dossier: Dossier) -> tuple[tuple[PlannedStep, ...], float]:
    """Return the steps as a charge actually ran them, and the days they took.

    Each has the mean of its measured air and ends at the controlling MC at which the operator
    changed the step. Empty if the steps ended by the clock or the air was not measured.
    """
    ran = [step for step in dossier.adherence if step.step is not None]
    if not ran:
        return (), 0.0
    days = (ran[-1].end - dossier.started) / dt.timedelta(days=1)
    ends = [change.controlling_pct for change in dossier.steps[1:]]
    before = [point.mc_pct for point in dossier.controlling if point.at <= ran[-1].end]
    if len(ends) != len(ran) - 1 or not before:
        return (), days
    ends.append(min(before))
    found = []
    for step, end in zip(ran, ends, strict=True):
        if step.dry_bulb_c is None or step.emc_pct is None:
            return (), days
        if end is None or step.hours_asked is not None:
            return (), days
        found.append(PlannedStep(step.dry_bulb_c, step.emc_pct, end))
    return tuple(found), days


def _effects(
    dossier: Dossier, stock: Stock, ran: tuple[PlannedStep, ...], usual: tuple[Change, ...]
) -> Iterator[Effect]:
    """Yield the effects of single changes; steps change at recorded times, not every 24 h."""
    first = stock.run(ran, weighed_h=_AT_ONCE_H)
    if not math.isfinite(first.duration):
        return
    due = _when_due(dossier, ran)
    if due is not None:
        change = Change("Each step at the daily weighing after it fell due", "step", due)
        found = ratios(first, stock.run(change.steps))
        yield Effect(change.words, found, MISSES[change.kind])
    asked = _as_asked(dossier, ran)
    changes = [Change("The air as the schedule asked for it", "air", asked)] if asked else []
    for change in (*changes, *usual):
        found = ratios(first, stock.run(change.steps, weighed_h=_AT_ONCE_H))
        yield Effect(change.words, found, MISSES[change.kind])


def _when_due(dossier: Dossier, ran: tuple[PlannedStep, ...]) -> tuple[PlannedStep, ...] | None:
    """Return the steps as if changed when they fell due; None if they were."""
    changes = dossier.steps[1:]
    if not any(abs(change.early_by_pct or 0.0) > _LATE_POINTS for change in changes):
        return None
    steps = [
        replace(step, until_mc_pct=change.trigger_pct) if change.trigger_pct is not None else step
        for step, change in zip(ran, changes, strict=False)
    ]
    return (*steps, ran[-1])


def _as_asked(dossier: Dossier, ran: tuple[PlannedStep, ...]) -> tuple[PlannedStep, ...] | None:
    """Return the steps with the requested air; None if the air was as requested."""
    asked = [step for step in dossier.adherence if step.step is not None]
    if not any(
        abs(step.asked_emc_pct - one.emc_pct) > _OFF_EMC
        or abs(step.asked_dry_bulb_c - one.dry_bulb_c) > _OFF_K
        for step, one in zip(asked, ran, strict=True)
    ):
        return None
    return tuple(
        replace(one, dry_bulb_c=step.asked_dry_bulb_c, emc_pct=step.asked_emc_pct)
        for step, one in zip(asked, ran, strict=True)
    )


@derived("replay", keys=reading.charges, batch=18)
def replay(graph: Graph, number: str) -> Replay | None:
    """Return the replay of a complete charge; see `replay_of`."""
    folder = mill_of(graph)
    return replay_of(charge_dossier(graph, number), folder.charges[number].record, folder)
