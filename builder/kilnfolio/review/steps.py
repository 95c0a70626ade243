"""When each step was due: the controlling MC against its trigger, and the delay."""

from __future__ import annotations

import datetime as dt
import math
from contextlib import suppress
from itertools import pairwise
from typing import Literal

from kilnfolio.records.charge import StepChange
from kilnfolio.review.boards import Control, control_at
from kilnfolio.review.findings import Case
from kilnfolio.review.limits import NoLimit
from kilnfolio.review.measures import measure
from kilnfolio.runtime.values import dataclass

Verdict = Literal["due", "early", "late", ""]


@dataclass(frozen=True)
class JudgedStep:
    """One step change with the MC that triggered it."""

    index: int
    """Its index in the record."""
    change: StepChange
    trigger_pct: float | None
    """Controlling MC at which it was due; None for the first step and in a timed schedule."""
    control: Control | None
    """The boards at the last weighing before."""
    due_since: dt.datetime | None
    """The weighing that showed it due, or a day after the previous step if that is later."""
    verdict: Verdict
    """Empty if no MC decides."""

    @property
    def early_by_pct(self) -> float | None:
        """Points above the trigger; negative once it is due."""
        if self.trigger_pct is None or self.control is None:
            return None
        return self.control.mc_pct - self.trigger_pct

    @property
    def waited_hours(self) -> float:
        """Hours since it was due [h]."""
        if self.due_since is None:
            return 0.0
        return max(0.0, (self.change.at - self.due_since).total_seconds() / 3600.0)


def judged_steps(case: Case) -> list[JudgedStep]:
    """Return every step change to a step that the schedule has, with its verdict.

    A step is early if the controlling MC was above its trigger by more than the limit, and late if
    it was below by more than the limit for lateness. Limits sealed before lateness was checked have
    no such limit; under them no step is late.
    """
    early, late = case.limits.value("step-timing"), math.inf
    with suppress(NoLimit):
        late = case.limits.value("step-late")
    return _judged(case, early, late, case.limits.value("step-skipped"))


@measure
def _judged(case: Case, early: float, late: float, spacing_h: float) -> list[JudgedStep]:
    spacing, found = dt.timedelta(hours=spacing_h), list[JudgedStep]()
    changes = case.charge.step_changes
    before = {after.at: earlier.at for earlier, after in pairwise(changes)}
    for index, change in enumerate(changes):
        if not 1 <= change.step <= len(case.steps):
            continue
        trigger = case.steps[change.step - 2].until_mc_pct if change.step > 1 else None
        control = control_at(case.controls, change.at)
        due = None
        verdict: Verdict = ""
        if trigger is not None and control is not None:
            due = next(
                (one.at for one in case.controls if one.mc_pct <= trigger and one.at <= change.at),
                None,
            )
            if due is not None:
                due = max(due, case.charge.started)
                if change.at in before:
                    due = max(due, before[change.at] + spacing)
            above = control.mc_pct - trigger
            verdict = "early" if above > early else "late" if above < -late else "due"
        found.append(JudgedStep(index, change, trigger, control, due, verdict))
    return found
