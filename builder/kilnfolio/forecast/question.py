"""What-if questions from the command line, and their answers in words and as data."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from difflib import get_close_matches

from kilnfolio.forecast.changes import Change, capped, earlier, from_mc, kept_as, moved
from kilnfolio.forecast.effects import (
    Effect,
    NoComparison,
    Stock,
    effects_of,
    habit_change,
    schedule_effect,
    steps_of,
    stock_of,
)
from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.forecast.open_what_if import open_what_if_of, rest_of, with_end
from kilnfolio.forecast.replay import as_it_ran, replay
from kilnfolio.forecast.what_if import MISSES, ratios
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.reviews import charge_dossier
from kilnfolio.runtime.values import dataclass

_DEPRESSION_RANGE = (0.2, 3.0)


@dataclass(frozen=True)
class Question:
    """The changes a question asks about; None for those it does not.

    Attributes
    ----------
    earlier : float, optional
        Points of MC by which steps begin earlier. [% MC]
    step : int, optional
        The only step to move, as the schedule numbers it.
    at_most_c : float, optional
        The highest dry bulb. [°C]
    depression : float, optional
        Factor for every depression, 0.2 to 3. [-]
    schedule, kiln : str, optional
        Ids of another schedule and of another kiln.
    thickness_mm : float, optional
        Another thickness, 5 to 300. [mm]
    """

    earlier: float | None = None
    step: int | None = None
    at_most_c: float | None = None
    depression: float | None = None
    schedule: str | None = None
    thickness_mm: float | None = None
    kiln: str | None = None

    def __post_init__(self) -> None:
        if self.step is not None and self.earlier is None:
            raise ValueError("--step says which step; say with --earlier by how much")
        low, high = _DEPRESSION_RANGE
        if self.depression is not None and not low <= self.depression <= high:
            raise ValueError(
                f"--depression must be {low:g} to {high:g}; received {self.depression}"
            )
        if self.earlier is not None and not abs(self.earlier) <= 40:
            raise ValueError(f"--earlier must be -40 to 40 points; received {self.earlier:g}")
        if self.at_most_c is not None and not 20 <= self.at_most_c <= 120:
            raise ValueError(f"--at-most must be 20 to 120 °C; received {self.at_most_c:g}")
        if self.thickness_mm is not None and not 5 <= self.thickness_mm <= 300:
            raise ValueError(f"--thickness must be 5 to 300 mm; received {self.thickness_mm:g}")


@dataclass(frozen=True)
class Answer:
    """The effect of one change.

    Attributes
    ----------
    effect : Effect
    becomes : str
        What the forecast, or the days the charge took, would become.
    """

    effect: Effect
    becomes: str = ""

    def as_data(self) -> dict[str, object]:
        """Return the answer as plain data: ratios, and the change of days in words."""
        found = self.effect.found
        never = not math.isfinite(found.days)
        return {
            "change": self.effect.what,
            "days_ratio": None if never else round(found.days, 3),
            "heat_ratio": None if never else [round(one, 3) for one in found.energy],
            "peak_gradient_ratio": round(found.peak, 3),
            "words": self.effect.days,
            "miss": self.effect.miss,
        }

    def as_lines(self) -> Iterator[str]:
        """Yield the answer as lines for a terminal."""
        yield f"  {self.effect.what}"
        days = self.effect.days
        if math.isfinite(self.effect.found.days):
            days += f" ({self.effect.miss})"
        parts = (days, self.becomes, self.effect.energy, self.effect.peak)
        yield "    " + "; ".join(part for part in parts if part)


@dataclass(frozen=True)
class _Baseline:
    """What changes are compared with: a board, its steps, and how far along them it is."""

    folder: MillFolder
    stock: Stock
    steps: Sequence[PlannedStep]
    number: int
    """The schedule's number of the first step."""
    mc_pct: float
    target_pct: float | None
    kept: float = 1.0
    begin: Sequence[float] | None = None


def answers(
    folder: MillFolder, charge: str, question: Question, as_of: dt.datetime | None = None
) -> list[Answer]:
    """Return the effect on a charge of the changes asked about, or of the usual ones.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    charge : str
        Number of a charge, open or complete.
    question : Question
        The changes; without any, the usual ones.
    as_of : datetime, optional
        Answer as of this time, which must be aware; also possible for a complete charge.

    Raises
    ------
    KeyError
        If there is no such charge.
    NoComparison
        If there is nothing to compare with; the message says why.
    ValueError
        If a change is impossible.
    """
    if charge in folder.charges and as_of is None:
        return _of_past(folder, charge, question)
    if charge not in folder.charges and charge not in folder.open_charges:
        raise KeyError(charge)
    if question == Question():
        return [
            Answer(one.effect, f"done {one.end:%Y-%m-%d %H:%M}" if one.end else "")
            for one in open_what_if_of(folder, charge, as_of).effects
        ]
    rest = rest_of(folder, charge, as_of)
    found = rest.found
    baseline = _Baseline(
        folder,
        rest.stock,
        rest.steps,
        found.step,
        found.controlling_pct,
        found.target_pct,
        rest.kept,
        rest.begin,
    )
    ends = [with_end(found, effect) for effect in _effects(baseline, question)]
    return [Answer(one.effect, f"done {one.end:%Y-%m-%d %H:%M}" if one.end else "") for one in ends]


def compared(
    folder: MillFolder,
    first: str,
    second: str,
    species: str | None = None,
    thickness_mm: float | None = None,
    target_pct: float | None = None,
) -> Answer:
    """Return the effect of the second schedule compared with the first on one green board.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    first, second : str
        Ids of schedules.
    species : str, optional
        Id of the wood; by default the first schedule's first.
    thickness_mm : float, optional
        By default the first schedule's first. [mm]
    target_pct : float, optional
        The MC at which both end; by default each schedule's own target, else 8. [% MC]

    Raises
    ------
    NoComparison
        If there is nothing to compare.
    ValueError
        If an id is unknown.
    """
    for name in (first, second):
        _known(name, folder.schedules, "schedule")
    stock_for = folder.schedules[first].record.for_stock
    wood = species or stock_for.species[0]
    _known(wood, folder.species, "species")
    size = thickness_mm if thickness_mm is not None else stock_for.thickness[0].value
    stock = stock_of(folder.species[wood].record, size)
    return Answer(schedule_effect(folder, first, second, stock, target_pct))


def _of_past(folder: MillFolder, charge: str, question: Question) -> list[Answer]:
    found = replay(folder.graph, charge)
    if found is None:
        raise NoComparison(
            f"charge {charge} cannot be replayed: it needs a log, three weighings of its boards "
            "and the density of its wood"
        )
    dossier = charge_dossier(folder.graph, charge)
    ran, days = as_it_ran(dossier)
    if not ran:
        raise NoComparison(f"charge {charge} ran by the clock, or its air was not logged")
    if question == Question():
        effects = list(found.effects)
    else:
        main = folder.charges[charge].record.stock[0]
        stock = stock_of(folder.species[main.species].record, main.thickness.value)
        board = replace(
            stock.board,
            initial_mc_pct=dossier.controlling[0].mc_pct,
            diffusivity_m2_s=found.trace.diffusivity,
        )
        baseline = _Baseline(
            folder,
            replace(stock, board=board),
            ran,
            dossier.steps[0].step if dossier.steps else 1,
            dossier.controlling[0].mc_pct,
            dossier.target_mc_pct,
        )
        effects = _effects(baseline, question)
    return [
        Answer(
            effect,
            f"{days * effect.found.days:.1f} days where it took {days:.1f}"
            if math.isfinite(effect.found.days)
            else "",
        )
        for effect in effects
    ]


def _effects(baseline: _Baseline, question: Question) -> list[Effect]:
    """Return the effect of each change asked about."""
    stock, steps, begin = baseline.stock, baseline.steps, baseline.begin
    effects = list(effects_of(stock, steps, list(_changes(baseline, question)), begin))
    if question.thickness_mm is not None:
        other = replace(stock, board=replace(stock.board, thickness_mm=question.thickness_mm))
        found = ratios(stock.run(steps, begin), other.run(steps, begin))
        effects.append(
            Effect(f"Timber of {question.thickness_mm:g} mm", found, MISSES["thickness"])
        )
    return effects


def _changes(baseline: _Baseline, question: Question) -> Iterator[Change]:
    folder, steps = baseline.folder, baseline.steps
    if question.earlier is not None:
        yield _moved(baseline, question.earlier, question.step)
    if question.at_most_c is not None:
        words = f"No step hotter than {question.at_most_c:.3g} °C"
        yield Change(words, "cap", capped(steps, question.at_most_c))
    if question.depression is not None:
        words = f"Every depression times {question.depression:g}"
        yield Change(words, "air", tuple(moved(step, 0.0, question.depression) for step in steps))
    if question.schedule is not None:
        _known(question.schedule, folder.schedules, "schedule")
        other = from_mc(steps_of(folder, question.schedule, baseline.target_pct), baseline.mc_pct)
        title = folder.schedules[question.schedule].record.title
        yield Change(f"By schedule: {title}", "air", kept_as(other, baseline.kept))
    if question.kiln is not None:
        _known(question.kiln, folder.kilns, "kiln")
        change = habit_change(folder, question.kiln, kept_as(steps, 1.0 / baseline.kept))
        if change is None:
            raise NoComparison(f"no charge of kiln {question.kiln} tells yet how it keeps its air")
        yield change


def _moved(baseline: _Baseline, points: float, step: int | None) -> Change:
    first, last = baseline.number + 1, baseline.number + len(baseline.steps) - 1
    if last < first:
        raise NoComparison("no step is left to move")
    if step is not None and not first <= step <= last:
        raise ValueError(f"--step must be {first} to {last}, the steps to come; received {step}")
    only = None if step is None else step - baseline.number + 1
    which = "Every step" if step is None else f"Step {step}"
    words = f"{which} {abs(points):g} points of MC {'earlier' if points > 0 else 'later'}"
    return Change(words, "step", earlier(baseline.steps, points, only))


def _known(name: str, records: Collection[str], kind: str) -> None:
    if name not in records:
        near = get_close_matches(name, records, n=1, cutoff=0.4)
        raise ValueError(
            f"there is no {kind} '{name}'" + (f"; did you mean '{near[0]}'?" if near else "")
        )
