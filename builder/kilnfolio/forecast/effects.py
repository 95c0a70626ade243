"""What-ifs with the mill's records: boards of its woods, its schedules, its kilns."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from statistics import median

from kilnfolio.forecast.changes import Change, kept_as
from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.forecast.what_if import (
    MISSES,
    BoardRun,
    Comparison,
    ratios,
    run_board,
    typical_board,
)
from kilnfolio.physics.drying import Board
from kilnfolio.records import reading
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.setpoints import mill_pressure, planned_steps
from kilnfolio.records.species import Species
from kilnfolio.review.reviews import charge_dossier
from kilnfolio.runtime.values import dataclass

ALIKE = 0.1
"""Thicknesses that differ by less than this fraction count as one size. [-]"""

USUAL_TARGET_PCT = 8.0
"""Assumed end of a schedule without a target of its own. [% MC]"""

HABIT_CHARGES = 5
"""Number of a kiln's newest charges used to learn how it keeps its air."""

_USUAL_SHRINKAGE, _USUAL_GREEN = 8.0, 75.0
_GREEN_RANGE = (40.0, 110.0)
_HABIT_RANGE = (0.8, 1.25)


class NoComparison(LookupError):  # noqa: N818  an answer, not an error
    """A charge or schedule cannot be compared; the message says why."""


@dataclass(frozen=True)
class Stock:
    """A board of a wood and thickness, as comparisons need it.

    Attributes
    ----------
    board : Board
        A green board.
    shrinkage_pct : float
        Tangential shrinkage; 8 if the wood's is not on record. [%]
    """

    board: Board
    shrinkage_pct: float

    def run(
        self,
        steps: Sequence[PlannedStep],
        begin: Sequence[float] | None = None,
        weighed_h: float = 24.0,
    ) -> BoardRun:
        """Return the board's run through a schedule."""
        return run_board(self.board, steps, self.shrinkage_pct, begin, weighed_h)


@dataclass(frozen=True)
class Effect:
    """The effect of one change, as ratios.

    Attributes
    ----------
    what : str
        The change, in words.
    found : Comparison
    miss : str
        Median error of the change of days on invented charges; see `what_if.MISSES`.
    schedule : str
        Id of the other schedule; empty if the change is not a schedule.
    """

    what: str
    found: Comparison
    miss: str
    schedule: str = ""

    @property
    def days(self) -> str:
        """The change of days, in words."""
        return self.found.words

    @property
    def energy(self) -> str:
        """The change of heat, in words."""
        if not math.isfinite(self.found.days):
            return ""
        low, high = (round(100 * (ratio - 1.0)) for ratio in self.found.energy)
        if low == high == 0:
            return "heat much the same"
        few, many = sorted((abs(low), abs(high)))
        range_ = f"{few} to {many}" if few < many else f"{few}"
        return f"{range_} % more heat" if high + low > 0 else f"{range_} % less heat"

    @property
    def peak(self) -> str:
        """The change of the largest gradient index, in words."""
        change = round(100 * (self.found.peak - 1.0))
        if abs(change) < 2:
            return "peak much the same"
        return f"peak {change} % higher" if change > 0 else f"peak {-change} % lower"


def stock_of(species: Species, thickness_mm: float, start_mc_pct: float | None = None) -> Stock:
    """Return a board of a wood.

    Parameters
    ----------
    species : Species
        The wood.
    thickness_mm : float
        Nominal thickness. [mm]
    start_mc_pct : float, optional
        MC at the start; by default the green MC of the species. [%]

    Raises
    ------
    NoComparison
        If the wood's density is not on record, or the thickness is impossible for a board.
    """
    density = species.basic_density_kg_m3
    if density is None:
        raise NoComparison(f"no density is on record for {species.trade_name}")
    shrinkage = species.shrinkage and species.shrinkage.tangential
    start = green_mc(species) if start_mc_pct is None else start_mc_pct
    try:
        board = typical_board(thickness_mm, start, density / 1000.0)
    except ValueError as error:
        raise NoComparison(f"no board of {species.trade_name} can be computed: {error}") from None
    return Stock(board, shrinkage.value if shrinkage else _USUAL_SHRINKAGE)


def green_mc(species: Species) -> float:
    """Return the MC of green boards of a wood [%]; 75 if it is not on record."""
    known = species.green_mc[0] if species.green_mc else None
    if known is None:
        return _USUAL_GREEN
    parts = [one.value for one in (known.heartwood, known.sapwood, known.whole_stem) if one]
    low, high = _GREEN_RANGE
    return min(max(sum(parts) / len(parts), low), high) if parts else _USUAL_GREEN


def steps_of(
    folder: MillFolder, schedule: str, target_pct: float | None
) -> tuple[PlannedStep, ...]:
    """Return a current schedule's steps down to a target; see `steps_down`."""
    return steps_down(folder, folder.schedules[schedule].record, target_pct)


def steps_down(
    folder: MillFolder, record: Schedule, target_pct: float | None
) -> tuple[PlannedStep, ...]:
    """Return a schedule's steps down to a target.

    Parameters
    ----------
    folder : MillFolder
        The mill, for its notations and air pressure.
    record : Schedule
        The schedule, in its current or an earlier revision.
    target_pct : float, optional
        The MC at which the last step ends; by default the schedule's own target, else 8. [% MC]

    Raises
    ------
    NoComparison
        If it runs by the clock, or asks for impossible air.
    """
    try:
        planned = planned_steps(record, folder.steps_of(record), mill_pressure(folder))
    except ValueError as error:
        raise NoComparison(f"schedule {record.id}: {error}") from None
    if any(step.hours is not None for step in planned):
        raise NoComparison(
            f"schedule {record.id} is run by the clock, so that its days are set beforehand"
        )
    own = record.target_mc.value if record.target_mc else None
    end = next((one for one in (target_pct, own) if one is not None), USUAL_TARGET_PCT)
    steps = [
        PlannedStep(step.air.dry_bulb_c, step.air.emc_pct, step.until_mc_pct) for step in planned
    ]
    steps[-1] = replace(steps[-1], until_mc_pct=end)
    return tuple(steps)


def effects_of(
    stock: Stock,
    steps: Sequence[PlannedStep],
    changes: Sequence[Change],
    begin: Sequence[float] | None = None,
) -> Iterator[Effect]:
    """Yield the effect of each change on a board of one stock.

    Raises
    ------
    NoComparison
        If the unchanged schedule never dries the board to its end.
    """
    first = stock.run(steps, begin)
    _must_end(first)
    for change in changes:
        found = ratios(first, stock.run(change.steps, begin))
        yield Effect(change.words, found, MISSES[change.kind])


def schedule_effect(
    folder: MillFolder, first: str, second: str, stock: Stock, target_pct: float | None = None
) -> Effect:
    """Return the effect of the second schedule compared with the first on one green board.

    Raises
    ------
    NoComparison
        If one of them runs by the clock, or the first never dries the board.
    """
    one = stock.run(steps_of(folder, first, target_pct))
    _must_end(one)
    other = stock.run(steps_of(folder, second, target_pct))
    title = folder.schedules[second].record.title
    return Effect(title, ratios(one, other), MISSES["air"], second)


def thickness_effect(
    stock: Stock, steps: Sequence[PlannedStep], thickness_mm: float, words: str
) -> Effect:
    """Return the effect of another thickness under the same schedule.

    Raises
    ------
    NoComparison
        If the schedule never dries the usual board.
    """
    first = stock.run(steps)
    _must_end(first)
    board: Board = replace(stock.board, thickness_mm=thickness_mm)
    return Effect(words, ratios(first, replace(stock, board=board).run(steps)), MISSES["thickness"])


def kiln_habit(folder: MillFolder, kiln: str) -> float | None:
    """Return measured over requested EMC of a kiln's newest charges; None if it has none."""
    names = reading.charges(folder.graph, reading.of_kiln(kiln), newest_first=True)[:HABIT_CHARGES]
    found = [
        step.emc_pct / step.asked_emc_pct
        for name in names
        for step in charge_dossier(folder.graph, name).adherence
        if step.emc_pct is not None and step.step is not None and step.asked_emc_pct > 0
    ]
    low, high = _HABIT_RANGE
    return min(max(median(found), low), high) if found else None


def habit_change(folder: MillFolder, kiln: str, steps: Sequence[PlannedStep]) -> Change | None:
    """Return the schedule as another kiln would keep it; None if that kiln has no record."""
    ratio = kiln_habit(folder, kiln)
    if ratio is None:
        return None
    name = folder.kilns[kiln].record.name
    times = f"{ratio:.2f}"
    return Change(
        f"In {name}, which lately kept "
        + ("" if times == "1.00" else f"{times} times ")
        + "the EMC asked for",
        "air",
        kept_as(steps, ratio),
    )


def neighbours(folder: MillFolder, schedule: str, species: str, thickness_mm: float) -> list[str]:
    """Return the mill's other schedules for a wood and thickness, by id."""
    return [
        name
        for name in sorted(reading.schedules_of_species(folder.graph, species))
        if name != schedule
        and any(
            abs(size.value / thickness_mm - 1.0) < ALIKE
            for size in folder.schedules[name].record.for_stock.thickness
        )
    ]


def _must_end(run: BoardRun) -> None:
    if not math.isfinite(run.duration):
        raise NoComparison(
            "by the board model the schedule never dries this timber to the end, so that "
            "there is nothing to compare with"
        )
