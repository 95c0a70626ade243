"""Charges simulated through the rest of their schedules, as their operators will run them.

All charges advance together, because a forecast also forecasts every earlier charge from several
points to learn its own error. Between two times at which a step can change, only the MC is carried
from one time step to the next; all else is worked out for these time steps at once.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kilnfolio.forecast.curve import GRID, Curve
from kilnfolio.forecast.inputs import Finish, PlannedStep, Run, dryness
from kilnfolio.forecast.pace import BoardPaces
from kilnfolio.physics._types import Floats
from kilnfolio.physics.drying_formula import temperature_factor
from kilnfolio.records.middle import median
from kilnfolio.runtime.values import dataclass

STEP_H = 4.0
"""Time step. [h]"""

LONGEST_H = 300 * 24.0
"""A charge not at its target by then will not get there under this plan. [h]"""

RECENT_H = 72.0
"""The recent time over which a kiln's logged air is compared with the plan. [h]"""

HABIT_RANGE = (0.8, 1.25)
"""Range of logged over planned EMC that is carried forward. [-]"""

_CONTROL, _DRIEST, _WETTEST, _HOURS = range(4)

_LEAST, _MOST = float(GRID[0]), GRID.size - 1.001
"""The least MC of a curve, and the last place between two of its MCs."""


@dataclass(frozen=True)
class Case:
    """A charge at the time its forecast begins.

    Attributes
    ----------
    run : Run
        The charge as known then.
    curve : Curve
    paces : BoardPaces
    as_of : float
        That time. [h]
    """

    run: Run
    curve: Curve
    paces: BoardPaces
    as_of: float


@dataclass(frozen=True)
class Course:
    """The future course of a charge; times are in hours, NaN if never reached.

    Attributes
    ----------
    step_due : ndarray, shape (steps,)
        When each step of the schedule ends, by its trigger or its hours; NaN for a step that is
        already over.
    target : float
        When the controlling MC reaches the schedule's last MC, or a timed schedule ends.
    equalizing, conditioning, unload : float
        When equalizing begins, when conditioning begins, and when conditioning ends; NaN if not
        planned.
    hours, controlling_pct : ndarray, shape (n,)
        The controlling MC from the last weighing on.
    boards_pct : ndarray, shape (n, boards)
        The MC of each board at `hours`. [%]
    """

    step_due: Floats
    target: float
    equalizing: float
    conditioning: float
    unload: float
    hours: Floats
    controlling_pct: Floats
    boards_pct: Floats

    def board_reaches(self, board: int, mc_pct: float) -> float:
        """Return when a board reaches an MC; NaN if it does not [h]."""
        mc = self.boards_pct[:, board]
        below = np.flatnonzero(mc <= mc_pct)
        if not below.size:
            return float("nan")
        after = int(below[0])
        if after == 0:
            return float(self.hours[0])
        return float(np.interp(mc_pct, mc[[after, after - 1]], self.hours[[after, after - 1]]))


def step_in_force(run: Run) -> int:
    """Return the index of the step in force at a charge's last record."""
    if run.steps_taken:
        return run.steps_taken[-1][1]
    step = 0
    for mc in run.controlling_pct:
        while step < len(run.steps) - 1 and _trigger_met(run.steps[step], mc):
            step += 1
    return step


def _trigger_met(step: PlannedStep, mc: float) -> bool:
    return step.until_mc_pct is not None and mc <= step.until_mc_pct


def steps_at(run: Run, hours: Floats) -> np.ndarray:
    """Return the index of the step in force at each of these times."""
    taken = run.steps_taken or tuple(_taken_by_rule(run))
    times = np.array([hour for hour, _ in taken])
    steps = np.array([step for _, step in taken])
    return np.asarray(steps[np.maximum(np.searchsorted(times, hours, side="left") - 1, 0)])


def _taken_by_rule(run: Run) -> list[tuple[float, int]]:
    taken, step = [(0.0, 0)], 0
    for hour, mc in zip(run.weighings.hours, run.controlling_pct, strict=True):
        before = step
        while step < len(run.steps) - 1 and _trigger_met(run.steps[step], mc):
            step += 1
        if step != before:
            taken.append((float(hour), step))
    return taken


def habit(run: Run) -> float:
    """Return recent logged over planned EMC: how the kiln keeps its set-points [-]."""
    if not run.air.hours.size:
        return 1.0
    recent = run.air.hours > run.air.hours[-1] - RECENT_H
    planned = np.array([step.emc_pct for step in run.steps])
    ratio = run.air.emc_pct[recent] / planned[steps_at(run, run.air.hours[recent])]
    return float(np.clip(median(ratio), *HABIT_RANGE))


@dataclass(frozen=True)
class _Stages:
    """A charge's steps, equalizing and conditioning as one list of stages."""

    dry_bulb: list[float]
    emc: list[float]
    kind: list[int]
    value: list[float]

    @classmethod
    def of(cls, steps: Sequence[PlannedStep], finish: Finish | None, ratio: float) -> _Stages:
        stages = cls([], [], [], [])
        for i, step in enumerate(steps):
            if step.hours is not None:
                stages._add(step.dry_bulb_c, step.emc_pct * ratio, _HOURS, -step.hours)
            elif finish is not None and i == len(steps) - 1:
                stages._add(step.dry_bulb_c, step.emc_pct * ratio, _DRIEST, finish.driest_pct)
            else:
                assert step.until_mc_pct is not None
                stages._add(step.dry_bulb_c, step.emc_pct * ratio, _CONTROL, step.until_mc_pct)
        if finish is not None:
            stages._add(finish.dry_bulb_c, finish.emc_pct, _WETTEST, finish.wettest_pct)
            stages._add(finish.dry_bulb_c, finish.emc_pct, _HOURS, -finish.conditioning_hours)
        return stages

    def _add(self, dry_bulb: float, emc: float, kind: int, value: float) -> None:
        self.dry_bulb.append(dry_bulb)
        self.emc.append(emc)
        self.kind.append(kind)
        self.value.append(value)


class _March:
    """The state of all cases, advanced from one possible change of step to the next."""

    def __init__(self, cases: Sequence[Case]) -> None:
        self.count = len(cases)
        stages = [_Stages.of(case.run.steps, case.run.finish, habit(case.run)) for case in cases]
        self.stages = np.array([len(one.kind) for one in stages])
        width = int(self.stages.max()) + 1
        self.temp, self.emc, self.value = (
            _padded([getattr(one, name) for one in stages], width)
            for name in ("dry_bulb", "emc", "value")
        )
        self.kind = _padded([one.kind for one in stages], width).astype(int)
        # when a later stage ends is known ahead, unless it depends on when it begins
        self.ahead = ~np.isin(self.kind[:, :-1], (_HOURS, _WETTEST))
        self.warmth = np.asarray(temperature_factor(self.temp))
        boards = max(len(case.paces.boards) for case in cases)
        # a place without a board, or a board never weighed, follows the others and is not looked at
        self.mc = np.full((self.count, boards), GRID[0])
        self.held = np.zeros((self.count, boards), bool)
        self.base = np.zeros((self.count, boards, GRID.size))
        for i, case in enumerate(cases):
            own = len(case.paces.boards)
            last = _last_weighed(case.run)
            self.held[i, :own] = np.isfinite(last)
            self.mc[i, :own] = np.where(self.held[i, :own], last, GRID[0])
            self.base[i, :own] = case.curve.level + case.paces.log_ratio
        self.slope = np.array([case.curve.slope for case in cases])
        self.usual = np.array([case.curve.usual_dryness for case in cases])
        self.dry = dryness(self.temp, self.emc) if self.slope.any() else np.zeros(self.temp.shape)
        # the curve of each board in the air of its stage, the stage it was made for, and the place
        # of its first MC among those of all boards
        self.level = self.base.copy()
        self.next_level = self.level.reshape(-1)[1:]  # the same numbers, from the second on
        self.level_of = np.full(self.count, -1)
        self.first = GRID.size * np.arange(self.count * boards).reshape(self.count, boards)
        self.one = np.arange(self.count)
        boards_held = self.held.sum(axis=1)
        self.counted = np.array(
            [
                {"wettest half": (n + 1) // 2, "wettest board": 1, "mean": n}[case.run.rule]
                for n, case in zip(boards_held, cases, strict=True)
            ]
        )
        self.wettest = np.arange(boards) >= (boards - self.counted)[:, np.newaxis]
        self.start = np.array([_last_hour(case.run) for case in cases])
        self.between = np.array([_usual_interval(case.run) for case in cases])
        self.now = self.start.copy()
        self.taken = 0
        self.step = np.array([step_in_force(case.run) for case in cases])
        self.begun = np.array([_begun(case.run) for case in cases])
        self.target = np.array([case.run.target_mc_pct or -1.0 for case in cases])
        self.due = np.full((self.count, width), np.nan)
        self.reached = np.full(self.count, np.nan)
        self.control = self._controlling(self.mc)
        self.path = [(self.now[np.newaxis], self.control[np.newaxis], self._of_boards(self.mc))]
        self.reached[self.control <= self.target] = self.start[self.control <= self.target]

    def done(self) -> np.ndarray:
        late = STEP_H * self.taken >= LONGEST_H
        over = self.step >= self.stages
        return np.asarray((over & ((self.target < 0) | np.isfinite(self.reached))) | late)

    def advance(self) -> None:
        """Advance all cases to the next time at which one may change its step or be done."""
        steps = self._until_change()
        mc = self._dried(steps)
        control = np.concatenate([self.control[np.newaxis], self._controlling(mc[1:])])
        # added one by one, as a clock would: 0.1 + 4 + 4 differs from 0.1 + 8 in the last digit
        now = np.cumsum([self.now, *[np.full(self.count, STEP_H)] * steps], axis=0)
        self._note_reached(control, now)
        self._note_due(mc, control, now)
        self.mc, self.control, self.now = mc[-1], control[-1], now[-1]
        self.taken += steps
        self.path.append((now[1:], control[1:], self._of_boards(mc[1:])))
        self._change_steps()

    def _until_change(self) -> int:
        """Return the number of time steps in which no case changes its step or is done."""
        weighings = (self.between / STEP_H).astype(int)
        left = weighings - self.taken % weighings
        stage = np.minimum(self.step, self.stages - 1)
        timed = self.kind[self.one, stage] == _HOURS
        hours = self.begun - self.value[self.one, stage] - self.now
        left = np.where(timed, np.maximum(hours // STEP_H, 1.0), left)
        left = np.where(self.step >= self.stages, np.where(self.done(), np.inf, 1.0), left)
        return int(min(left.min(), LONGEST_H / STEP_H - self.taken))

    def _dried(self, steps: int) -> Floats:
        """Return the MC now and after each time step, shape (steps + 1, cases, boards)."""
        stage = np.minimum(self.step, self.stages - 1)
        self._set_level(stage)
        emc = self.emc[self.one, stage][:, np.newaxis]
        hours = self.warmth[self.one, stage][:, np.newaxis] * -STEP_H
        rows = np.empty((steps + 1, *self.mc.shape))
        rows[0] = mc = self.mc
        for row in rows[1:]:
            apart = mc - emc
            half = emc + apart * self._left(mc, hours)
            row[:] = mc = emc + apart * self._left((mc + half) / 2.0, hours)
        return rows

    def _set_level(self, stage: np.ndarray) -> None:
        """Make the curves anew of cases that have come to another stage."""
        moved = np.flatnonzero(stage != self.level_of)
        if moved.size:
            dryer = self.dry[moved, stage[moved]][:, np.newaxis] - self.usual[moved]
            self.level[moved] = self.base[moved] + (self.slope[moved] * dryer)[:, np.newaxis]
            self.level_of = stage

    def _left(self, mc: Floats, hours: Floats) -> Floats:
        """Return the share of its distance to the EMC that a board of this MC keeps.

        `hours` are negative, as they stand in the exponent.
        """
        place = np.minimum(np.maximum(mc - _LEAST, 0.0), _MOST)
        low = place.astype(int)
        part = place - low
        low += self.first
        below, above = self.level.take(low), self.next_level.take(low)
        left: Floats = np.exp(np.exp((1.0 - part) * below + part * above) * hours)
        return left

    def _of_boards(self, mc: Floats) -> Floats:
        """Return MCs with NaN where no board was weighed, shape (…, cases, boards)."""
        return np.where(self.held, mc, np.nan).reshape(-1, *self.held.shape)

    def _note_reached(self, control: Floats, now: Floats) -> None:
        """Record when the controlling MC comes to the target."""
        low = control[1:] <= self.target
        crossed = np.flatnonzero(np.isnan(self.reached) & low.any(axis=0))
        if crossed.size:
            row = low[:, crossed].argmax(axis=0)
            before, after = control[row, crossed], control[row + 1, crossed]
            when = self._when(before, after, self.target[crossed], now[row, crossed])
            self.reached[crossed] = when

    def _note_due(self, mc: Floats, control: Floats, now: Floats) -> None:
        """Record when this and later stages fall due, whether or not they begin then."""
        kind, value, due = self.kind[:, :-1], self.value[:, :-1], self.due[:, :-1]
        step, number = self.step[:, np.newaxis], np.arange(kind.shape[1])
        counts = (number >= step) & (number < self.stages[:, np.newaxis]) & np.isnan(due)
        counts &= self.ahead | (number == step)
        measures = self._measures(mc, control, now)[:, self.one[:, np.newaxis], kind]
        low = measures[1:] <= value
        case, stage = np.nonzero(counts & low.any(axis=0))
        if case.size:
            row = low[:, case, stage].argmax(axis=0)
            before, after = measures[row, case, stage], measures[row + 1, case, stage]
            due[case, stage] = self._when(before, after, value[case, stage], now[row, case])

    def _measures(self, mc: Floats, control: Floats, now: Floats) -> Floats:
        """Return the quantity that ends each kind of stage, shape (…, cases, 4)."""
        driest = np.where(self.held, mc, np.inf).min(axis=-1)
        wettest = np.where(self.held, mc, -np.inf).max(axis=-1)
        return np.stack([control, driest, wettest, self.begun - now], axis=-1)

    @staticmethod
    def _when(before: Floats, after: Floats, value: Floats, now: Floats) -> Floats:
        fall = np.maximum(before - after, 1e-12)
        return np.asarray(now + STEP_H * np.clip((before - value) / fall, 0.0, 1.0))

    def _change_steps(self) -> None:
        """Change steps as the operator does: at a weighing, once the trigger is met."""
        since = (self.now - self.start) % self.between
        weighing = (since < 1e-6) | (self.between - since < 1e-6)
        for _ in range(self.due.shape[1]):
            stage = np.minimum(self.step, self.stages)
            due = self.due[self.one, np.minimum(stage, self.due.shape[1] - 1)]
            timed = self.kind[self.one, np.minimum(stage, self.stages - 1)] == _HOURS
            go = (self.step < self.stages) & (due <= self.now) & (weighing | timed)
            if not go.any():
                return
            self.begun = np.where(go, np.where(timed, due, self.now), self.begun)
            self.step = np.where(go, self.step + 1, self.step)

    def _controlling(self, mc: Floats) -> Floats:
        ordered = np.sort(np.where(self.held, mc, -np.inf), axis=-1)
        return np.asarray(np.where(self.wettest, ordered, 0.0).sum(axis=-1) / self.counted)


def march(cases: Sequence[Case]) -> list[Course]:
    """Return the future course of each case."""
    state = _March(cases)
    while not state.done().all():
        state.advance()
    path = tuple(np.concatenate(rows) for rows in zip(*state.path, strict=True))
    return [_course(state, i, case, *(rows[:, i] for rows in path)) for i, case in enumerate(cases)]


def _course(
    state: _March, i: int, case: Case, hours: Floats, control: Floats, mc: Floats
) -> Course:
    steps = len(case.run.steps)
    due = state.due[i]
    timed = case.run.target_mc_pct is None
    target = float(due[steps - 1] if timed else state.reached[i])
    end = target + 48.0 if np.isfinite(target) else hours[-1]
    shown = hours <= end
    nan = float("nan")
    finish = case.run.finish is not None
    return Course(
        due[:steps],
        target,
        float(due[steps - 1]) if finish else nan,
        float(due[steps]) if finish else nan,
        float(due[steps + 1]) if finish else nan,
        hours[shown],
        control[shown],
        mc[shown, : len(case.paces.boards)],
    )


def _last_weighed(run: Run) -> Floats:
    """Return each board's MC at its last weighing."""
    last = np.full(len(run.weighings.boards), np.nan)
    for row in run.weighings.mc_pct:
        last = np.where(np.isfinite(row), row, last)
    return last


def _last_hour(run: Run) -> float:
    return float(run.weighings.hours[-1])


def _usual_interval(run: Run) -> float:
    """Return the usual time between weighings, in whole time steps, from 8 h to 3 days [h]."""
    gaps = np.diff(run.weighings.hours)
    usual = median(gaps) if gaps.size else 24.0
    return float(np.clip(STEP_H * round(usual / STEP_H), 2 * STEP_H, 72.0))


def _begun(run: Run) -> float:
    taken = run.steps_taken or tuple(_taken_by_rule(run))
    return taken[-1][0]


def _padded(rows: Sequence[Sequence[float]], width: int) -> Floats:
    """Return rows as one array, each padded with its last value."""
    return np.array([[*row, *[row[-1]] * (width - len(row))] for row in rows], float)
