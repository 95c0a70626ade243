"""Checks of a schedule by itself, without a charge.

The checks of a charge use the same functions, for the timber and the target of the charge.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial

from kilnfolio.records.folder import MillFolder
from kilnfolio.records.model import Located
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.setpoints import PlannedStep, planned_steps
from kilnfolio.records.species import Species
from kilnfolio.review.answers import with_ids
from kilnfolio.review.dossier import Finding
from kilnfolio.review.findings import CHECKS, Breach, Pass
from kilnfolio.review.limits import LimitTable, Subject, limit_table
from kilnfolio.review.running import run_check
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class ScheduleCase:
    """One schedule for some timber, as the checks that need no charge see it."""

    located: Located[Schedule]
    steps: tuple[PlannedStep, ...]
    stock: tuple[tuple[Species, float], ...]
    """Species, each with a thickness [mm]."""
    target_pct: float | None
    """Final MC [%]; None if the schedule has none."""
    limits: LimitTable
    pressure_pa: float

    @property
    def schedule(self) -> Schedule:
        """The schedule's record."""
        return self.located.record


_Lint = Callable[[ScheduleCase], Iterable[Breach | Pass]]
#: Functions that check a schedule by itself, by slug of the check.
LINTS: dict[str, _Lint] = {}


def lint(slug: str) -> Callable[[_Lint], _Lint]:
    """Register the part of a check that applies to a schedule by itself."""

    def register(run: _Lint) -> _Lint:
        LINTS[slug] = run
        return run

    return register


def lint_schedule(folder: MillFolder, schedule_id: str, pressure_pa: float) -> tuple[Finding, ...]:
    """Return the findings on one schedule of the library.

    Raises
    ------
    ValueError
        A step asks for impossible air.
    """
    located = folder.schedules[schedule_id]
    schedule = located.record
    stock = tuple(
        (folder.species[name].record, length.value)
        for name in schedule.for_stock.species
        for length in schedule.for_stock.thickness
    )
    target = schedule.target_mc.value if schedule.target_mc else None
    first = stock[0]
    case = ScheduleCase(
        located,
        planned_steps(schedule, folder.steps_of(schedule), pressure_pa),
        stock,
        target,
        limit_table(
            folder, Subject(tuple(schedule.for_stock.species), first[0].kind, first[1], target)
        ),
        pressure_pa,
    )
    return with_ids(
        [
            finding
            for slug, run in LINTS.items()
            for finding in run_check(CHECKS[slug], partial(run, case)).findings()
        ]
    )
