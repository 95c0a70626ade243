"""What looks wrong in an entry that is not a round: `review.round_check` examines rounds."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from kilnfolio.adopt.entry.entries import FinishEntry, StageEntry, StepEntry, StopEntry
from kilnfolio.review.kiln_state import BoardState, KilnState
from kilnfolio.review.limits import LimitTable

#: Kilns stand for longer, but seldom: a longer stop is more often a wrong date. Common practice, no source.
_LONG_STOP = dt.timedelta(days=2)


def entry_doubts(state: KilnState, entry: Any, limits: LimitTable) -> Iterator[str]:
    """Yield what looks wrong in a step, a stop, a stage or the end of a charge.

    Parameters
    ----------
    state : KilnState
        The charge before the entry.
    entry : StepEntry, StopEntry, StageEntry, FinishEntry or another entry
        The entry; others than these give no doubts.
    limits : LimitTable
        The mill's limits for this charge.
    """
    if isinstance(entry, StepEntry):
        yield from _step_doubts(state, entry)
    elif isinstance(entry, FinishEntry):
        yield from _too_wet(state, limits)
    elif isinstance(entry, StageEntry):
        yield from _stage_doubts(state, entry, limits)
    elif isinstance(entry, StopEntry) and entry.end and entry.end - entry.start > _LONG_STOP:
        days = (entry.end - entry.start) / dt.timedelta(days=1)
        yield f"the stop lasts {days:.1f} days: is the date right?"


def _step_doubts(state: KilnState, entry: StepEntry) -> Iterator[str]:
    if entry.step > len(state.steps):
        yield f"the schedule has {len(state.steps)} steps"
    elif state.step is not None and entry.step != state.step + 1:
        yield f"step {state.step} is in force, and this is step {entry.step}"
    elif state.next_due and state.next_due.label == f"step {entry.step}" and not state.is_due:
        yield (
            (
                f"step {entry.step} falls due at {state.next_due.mc_pct:g} %; controlling MC was "
                f"{state.controlling_pct:.1f} %"
            )
            if state.controlling_pct is not None
            else f"step {entry.step} falls due at {state.next_due.mc_pct:g} %; no round is on record"
        )


def _stage_doubts(state: KilnState, entry: StageEntry, limits: LimitTable) -> Iterator[str]:
    """Yield whether a stage begins, or equalizing ends, while the boards are too wet."""
    known = _known(state)
    begin = next((due.mc_pct for due in state.due if due.label == "equalize"), None)
    if entry.stage == "conditioning":
        if entry.end is None:
            yield from _too_wet(state, limits)
    elif known and entry.end is not None:
        mc, tag = max(known)
        if mc > state.target_pct + limits.value("equalizing-end-tolerance"):
            yield (
                "equalizing ends when the wettest board is at the target of "
                f"{state.target_pct:g} %; {tag} is at {mc:.1f} %"
            )
    elif known and begin is not None:
        mc, tag = min(known)
        if mc > begin + limits.value("equalizing-start-tolerance"):
            yield (
                f"equalizing begins when the driest board is at {begin:g} %; the driest is {tag} "
                f"at {mc:.1f} %"
            )


def _too_wet(state: KilnState, limits: LimitTable) -> Iterator[str]:
    """Yield whether the boards average more than the target: drying is not over."""
    known = _known(state)
    if not known:
        return
    mean = sum(mc for mc, _ in known) / len(known)
    if mean > state.target_pct + limits.value("target-reached"):
        yield f"the boards average {mean:.1f} %; the target is {state.target_pct:g} %"


def _known(state: KilnState) -> list[tuple[float, str]]:
    """Return the last MC of each board and its tag [%]."""
    boards: tuple[BoardState, ...] = state.boards
    return [(board.mc_pct, board.tag) for board in boards if board.mc_pct is not None]
