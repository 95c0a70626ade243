"""The effect of a schedule on one green board, compared with the mill's other schedules for it."""

from __future__ import annotations

from collections.abc import Iterator

from kilnfolio.forecast.effects import (
    Effect,
    NoComparison,
    Stock,
    neighbours,
    steps_down,
    stock_of,
    thickness_effect,
)
from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.forecast.what_if import MISSES, BoardRun, ratios
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.schedule import Schedule
from kilnfolio.runtime.values import dataclass

MOST_OTHERS = 6
"""Most other schedules to compare with."""


@dataclass(frozen=True)
class StepPeak:
    """A step as the computed board ran it.

    Attributes
    ----------
    step : int
        Its number, from 1.
    from_pct, until_pct : float
        Mean MC at its start and end. [%]
    share : float
        Share of the total days. [-]
    peak_pct : float
        Largest gradient index during the step. [%]
    """

    step: int
    from_pct: float
    until_pct: float
    share: float
    peak_pct: float


@dataclass(frozen=True)
class ScheduleEffects:
    """The computed effect of a schedule.

    Attributes
    ----------
    wood : str
        Id of the species of the board.
    thickness_mm, start_pct, target_pct : float
        The board's thickness, and its MC at the start and end. [mm] [%] [%]
    run : BoardRun
    steps : tuple of StepPeak
    effects : tuple of Effect
        Other schedules, and another thickness, compared with it.
    """

    wood: str
    thickness_mm: float
    start_pct: float
    target_pct: float
    run: BoardRun
    steps: tuple[StepPeak, ...]
    effects: tuple[Effect, ...]


def schedule_effects(folder: MillFolder, name: str) -> ScheduleEffects:
    """Return the effect of a schedule on a green board of its first wood and thickness.

    Raises
    ------
    NoComparison
        If it runs by the clock, the wood's density is not on record, or it never dries the board.
    """
    record = folder.schedules[name].record
    wood, size = record.for_stock.species[0], record.for_stock.thickness[0].value
    stock = stock_of(folder.species[wood].record, size)
    steps = steps_down(folder, record, None)
    run = stock.run(steps)
    if run.duration == float("inf"):
        raise NoComparison(f"by the board model schedule {name} never dries this timber")
    return ScheduleEffects(
        wood,
        size,
        float(stock.board.initial_mc_pct),  # type: ignore[arg-type]
        steps[-1].until_mc_pct or 0.0,
        run,
        tuple(_peaks(run)),
        tuple(_effects(folder, name, stock, steps, run)),
    )


def revision_effect(folder: MillFolder, before: Schedule, after: Schedule) -> Effect:
    """Return the effect of a newer revision of a schedule compared with the one before.

    Raises
    ------
    NoComparison
        As for `schedule_effects`.
    """
    words = f"Revision {after.revision} against revision {before.revision}"
    return pair_effect(folder, before, after, words)


def pair_effect(folder: MillFolder, first: Schedule, second: Schedule, words: str) -> Effect:
    """Return the effect of a schedule compared with another, on a green board of the second's.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    first, second : Schedule
        The schedules; both run to the second's target, if it has one.
    words : str
        The comparison in words.

    Raises
    ------
    NoComparison
        As for `schedule_effects`.
    """
    wood, size = second.for_stock.species[0], second.for_stock.thickness[0].value
    stock = stock_of(folder.species[wood].record, size)
    target = second.target_mc.value if second.target_mc else None
    runs = [stock.run(steps_down(folder, record, target)) for record in (first, second)]
    if runs[0].duration == float("inf"):
        raise NoComparison(f"by the board model schedule {first.id} never dries this timber")
    return Effect(words, ratios(*runs), MISSES["air"])


def published_for(folder: MillFolder, name: str) -> list[tuple[str, Schedule]]:
    """Return the published schedules that one of the mill's own is compared with.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    name : str
        Id of a schedule.

    Returns
    -------
    list of (str, Schedule)
        Its own book's steps, under "", if it declares modifications; of a schedule that the mill
        wrote itself, those published for the same wood and thickness, by id. Empty otherwise.
    """
    record = folder.schedules[name].record
    found = []
    if record.modifications:
        title = f"{record.title}, as published"
        plain = record.model_copy(update={"modifications": [], "title": title})
        found.append(("", plain))
    if record.status == "mill":
        stock = record.for_stock
        others = neighbours(folder, name, stock.species[0], stock.thickness[0].value)
        found += [
            (other, theirs)
            for other in others
            if (theirs := folder.schedules[other].record).status != "mill"
            and theirs.time_based == record.time_based
        ]
    return found


def _effects(
    folder: MillFolder, name: str, stock: Stock, steps: tuple[PlannedStep, ...], run: BoardRun
) -> Iterator[Effect]:
    record = folder.schedules[name].record
    wood, size = record.for_stock.species[0], record.for_stock.thickness[0].value
    for other in neighbours(folder, name, wood, size)[:MOST_OTHERS]:
        theirs = folder.schedules[other].record
        try:
            found = ratios(run, stock.run(steps_down(folder, theirs, steps[-1].until_mc_pct)))
        except NoComparison:
            continue
        yield Effect(theirs.title, found, MISSES["air"], other)
    for length in record.for_stock.thickness[1:]:
        yield thickness_effect(stock, steps, length.value, f"The same for {length.entered}")
    if len(record.for_stock.thickness) == 1:
        yield thickness_effect(
            stock, steps, 1.1 * size, "The same for boards sawn a tenth too thick"
        )


def _peaks(run: BoardRun) -> Iterator[StepPeak]:
    for step in sorted(set(run.step.tolist())):
        inside = run.step == step
        first = int(inside.argmax())
        last = first + int(inside.sum()) - 1
        begun = float(run.hours[first - 1]) if first else 0.0
        yield StepPeak(
            step + 1,
            float(run.mean_pct[max(first - 1, 0)]),
            float(run.mean_pct[last]),
            (float(run.hours[last]) - begun) / float(run.hours[-1]),
            float(run.gradient[inside].max()),
        )
