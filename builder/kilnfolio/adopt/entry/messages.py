"""What a command prints before and after it writes: boards, what is due, what may be wrong."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review.figures import number
from kilnfolio.review.kiln_state import DueAt, KilnState, StepState
from kilnfolio.review.round_check import RoundLook, mass_words

#: Stands for a missing number in a column.
_NONE = "–"


def round_lines(state: KilnState, look: RoundLook, regional: RegionalFormat) -> Iterator[str]:
    """Yield the lines of a round: one for each board, then those of the charge."""
    units = {board.tag: board.unit for board in state.boards}
    for one in look.boards:
        unit = units[one.tag]
        mc = _NONE if one.mc_pct is None else number(one.mc_pct, 1)
        loss = _NONE if one.loss_pct_day is None else number(one.loss_pct_day, 1)
        line = (
            f"  {one.tag:<4} {mass_words(one.mass_g, unit):>7} {unit:<2} {mc:>5} %  {loss:>5} a day"
        )
        if one.to_go_g is not None and state.next_due:
            line += (
                f"  {mass_words(one.to_go_g, unit)} {unit} to {state.next_due.label}"
                if one.to_go_g > 0
                else f"  at {state.next_due.label}"
            )
        yield line
    if look.controlling_pct is not None:
        yield f"  controlling MC {number(look.controlling_pct, 1)} %{_rule(state)}"
    if look.missing:
        yield f"  not weighed: {', '.join(look.missing)}"
    yield from due_lines(state, regional, is_due=look.is_due)


def _rule(state: KilnState) -> str:
    return f" ({state.control_rule})"


def due_lines(state: KilnState, regional: RegionalFormat, *, is_due: bool) -> Iterator[str]:
    """Yield what falls due next, and its set-points."""
    if state.next_due_at:
        yield f"  the next step falls due at {_clock(state.next_due_at)}"
        return
    due = state.next_due
    if due is None:
        return
    yield (f"  due now: {_due_words(due)}" if is_due else f"  next: {_due_words(due)}")
    if is_due and due.step is not None:
        step = state.steps[due.step - 1]
        yield f"  set {air_words(step, regional)}; then: kilnfolio step {state.charge} {step.number}"


def _due_words(due: DueAt) -> str:
    whose = {"controlling": "controlling MC", "driest": "driest board", "wettest": "wettest board"}[
        due.whose
    ]
    return f"{due.label} at {number(due.mc_pct, 0 if due.mc_pct.is_integer() else 1)} % ({whose})"


def air_words(air: StepState, regional: RegionalFormat) -> str:
    """Return set-points in both unit systems, the region's first."""
    dry, wet = regional.temperature(air.dry_bulb_c), regional.temperature(air.wet_bulb_c)
    words = f"dry bulb {dry}, wet bulb {wet}, EMC {number(air.emc_pct, 1)} %"
    return words.replace("\N{NO-BREAK SPACE}", " ")  # a terminal's search would not match them


def state_lines(state: KilnState, regional: RegionalFormat) -> Iterator[str]:
    """Yield the state of a charge, for commands that write no round."""
    place = f"{state.kiln_name}, {state.stage}"
    if state.step and state.step_since:
        place += f", step {state.step} since {_clock(state.step_since)}"
    yield f"  {place}"
    if state.air:
        yield f"  {air_words(state.air, regional)}"
    if state.controlling_pct is not None and state.last_round:
        yield (
            f"  controlling MC {number(state.controlling_pct, 1)} % at {_clock(state.last_round)}"
        )
    for sensor in state.sensors:
        yield f"  {sensor.words}"
    yield from due_lines(state, regional, is_due=state.is_due)


def _clock(stamp: str) -> str:
    return f"{dt.datetime.fromisoformat(stamp):%Y-%m-%d %H:%M}"
