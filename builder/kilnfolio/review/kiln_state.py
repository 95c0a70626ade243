"""The state of an open charge: its air, its boards, and what falls due next.

This is what the person at the kiln wants to know. The kiln-side page and sheet, the today page and
the commands that write a round all use it, so that they agree.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import asdict
from itertools import pairwise
from typing import Any

from kilnfolio.physics.moisture import mass_at
from kilnfolio.physics.rules import equalizing_start
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.log import Log
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.quantities import Mass
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.setpoints import (
    AirState,
    AskedAir,
    PlannedStep,
    asked_air,
    first_step,
    mill_pressure,
    possible_steps,
)
from kilnfolio.review.boards import BoardHistory, Control, board_histories, controls
from kilnfolio.review.checks.rate import safe_loss
from kilnfolio.review.figures import measure
from kilnfolio.review.limits import LimitTable, NoLimit, charge_limits
from kilnfolio.review.review import read_logs
from kilnfolio.review.sensors import (
    SensorReading,
    corrected_log,
    has_moisture_sensors,
    last_readings,
    pin_rounds,
)
from kilnfolio.runtime.values import dataclass

#: Decimals of a printed mass, by unit.
MASS_DECIMALS = {"g": 0, "kg": 3, "lb": 2, "oz": 1}
#: Hours between rounds of a charge with too few rounds to tell: a day (common practice).
_USUAL_HOURS = 24.0


@dataclass(frozen=True)
class DueAt:
    """An MC at which something falls due.

    Attributes
    ----------
    label : str
        Its name, as in ``step 4``, ``equalize`` or ``target``.
    mc_pct : float
        The MC. [%]
    whose : {"controlling", "driest", "wettest"}
        The MC that decides.
    """

    label: str
    mc_pct: float
    whose: str

    @property
    def step(self) -> int | None:
        """Number of the step that falls due; None after the last step."""
        return int(self.label[5:]) if self.label.startswith("step ") else None


@dataclass(frozen=True)
class BoardState:
    """The present state of a sample board.

    Attributes
    ----------
    tag, position : str
        Its tag, and its position in the load.
    unit : str
        Unit in which its mass is written.
    oven_dry_g : float or None
        Oven-dry mass; None while its sections are in the oven. [g]
    last_g, last_at : float or None, str or None
        Last mass [g] and its time, local with offset.
    mc_pct, loss_pct_day : float or None
        MC at the last weighing, and its daily loss since the one before. [%, points/d]
    limit_pct_day : float or None
        Safe loss for its timber. [points/d]
    """

    tag: str
    position: str
    unit: str
    oven_dry_g: float | None
    last_g: float | None
    last_at: str | None
    mc_pct: float | None
    loss_pct_day: float | None
    limit_pct_day: float | None


@dataclass(frozen=True)
class SensorState:
    """What a moisture sensor showed last, corrected.

    Attributes
    ----------
    channel, at : str
        The log channel, and the time, local with offset.
    value_pct, uncertainty_points : float, float or None
        MC or EMC [%], and its expanded uncertainty where the kiln's record gives one [points].
    words : str
        All of it, as in ``pin-1 14.2 % MC ± 1.5 on 08 Jun 07:00``.
    """

    channel: str
    at: str
    value_pct: float
    uncertainty_points: float | None
    words: str


@dataclass(frozen=True)
class StepState:
    """A step of the schedule, with its air not rounded [°C, %]."""

    number: int
    from_mc_pct: float | None
    hours: float | None
    dry_bulb_c: float
    wet_bulb_c: float
    relative_humidity_pct: float
    emc_pct: float


@dataclass(frozen=True)
class KilnState:
    """The state of an open charge; the comments explain each attribute."""

    charge: str
    kiln: str
    kiln_name: str
    schedule: str
    target_pct: float
    control_rule: str
    #: Local times with offset.
    started: str
    #: "drying", "equalizing" or "conditioning".
    stage: str
    #: The step in force and when it was set; None before the first.
    step: int | None
    step_since: str | None
    steps: tuple[StepState, ...]
    #: Air in force; None before the first step.
    air: StepState | None
    boards: tuple[BoardState, ...]
    #: Controlling MC at the last round, its boards and time.
    controlling_pct: float | None
    controlling_boards: tuple[str, ...]
    last_round: str | None
    #: Hours between rounds, and when the next one is due.
    every_hours: float
    next_round: str
    due: tuple[DueAt, ...]
    #: The next thing that falls due by MC; None in a timed schedule and after the last.
    next_due: DueAt | None
    #: When the next step of a timed schedule falls due.
    next_due_at: str | None
    #: Whether the MC of `next_due` has been reached.
    is_due: bool
    resolution_g: float
    sensors: tuple[SensorState, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return plain values for the kiln-side page."""
        return asdict(self)

    @property
    def unit(self) -> str:
        """The unit of most boards' masses."""
        units = [board.unit for board in self.boards]
        return max(set(units), key=units.count) if units else "g"


def kiln_state(folder: MillFolder, charge: Charge) -> KilnState:
    """Return the state of a charge at its last record.

    Parameters
    ----------
    folder : MillFolder
        The mill, with the records that the charge names.
    charge : Charge
        The charge as recorded so far.

    Raises
    ------
    RecordProblems
        Its schedule asks for air that cannot be.
    """
    located = folder.schedules[charge.schedule]
    schedule, pressure = located.record, mill_pressure(folder)
    steps = possible_steps(folder, located, pressure)
    limits = charge_limits(folder, charge)
    histories = board_histories(charge)
    log = _sensor_log(folder, charge)
    rounds = controls(charge, histories, pin_rounds(log, folder.mill.record.zone))
    asked: tuple[AskedAir, ...] = ()
    with suppress(ValueError):  # a stage set to air that cannot be is for `check` to name
        asked = asked_air(charge, steps, pressure) if charge.step_changes else ()
    changes = [change for change in charge.step_changes if change.step <= len(steps)]
    step = steps[changes[-1].step - 1] if changes else None
    stage = (
        "conditioning" if charge.conditioning else "equalizing" if charge.equalizing else "drying"
    )
    due = tuple(dues(charge, schedule, steps, limits))
    last = rounds[-1] if rounds else None
    begun = step.number if step else first_step(charge, steps, last.mc_pct if last else None) - 1
    nearest = _next_due(due, begun, stage)
    times = [weighing.at for weighing in charge.weighings]
    every = _every_hours(times)
    since = changes[-1].at if changes else None
    return KilnState(
        charge.id,
        charge.kiln,
        folder.kilns[charge.kiln].record.name,
        schedule.title,
        charge.target_mc.value,
        charge.control_rule,
        _stamp(charge.started),
        stage,
        step.number if step else None,
        _stamp(since) if since else None,
        tuple(_step_state(one) for one in steps),
        _air_state(asked[-1].air, step) if asked else None,
        tuple(_board_state(folder, charge, history, limits) for history in histories),
        last.mc_pct if last else None,
        last.boards if last else (),
        _stamp(last.at) if last else None,
        every,
        _stamp((times[-1] if times else charge.started) + dt.timedelta(hours=every)),
        due,
        nearest,
        _timed_due(schedule, step, since),
        bool(nearest and last and _deciding(nearest, last) <= nearest.mc_pct),
        charge.scale_resolution.value if charge.scale_resolution else 1.0,
        tuple(
            _sensor_state(one)
            for one in last_readings(log, folder.kilns[charge.kiln].record, folder.mill.record.zone)
        )
        if log
        else (),
    )


def _sensor_log(folder: MillFolder, charge: Charge) -> Log | None:
    """Return the log of an open charge, its moisture sensors corrected; None without any.

    A log that cannot be read is for `check` to name, and keeps nobody from writing a round down.
    """
    kiln = folder.kilns[charge.kiln].record
    if not (charge.log and has_moisture_sensors(kiln)):
        return None
    opened = folder.open_charges.get(charge.id)
    log = None
    with suppress(RecordProblems):
        log = read_logs(folder, opened.so_far) if opened and opened.so_far else None
    if log is None or not len(log.times):
        return None
    return corrected_log(log, kiln, folder.species[charge.stock[0].species].record)


def _sensor_state(one: SensorReading) -> SensorState:
    doubt = f" ± {one.uncertainty_points:g}" if one.uncertainty_points else ""
    what = "EMC" if one.kind == "EMC sensor" else "MC"
    name = "EMC sensor" if one.channel == "emc" else one.channel
    value = measure(one.value_pct, "%", 1)
    shown = f"{value}{'' if what in name else f' {what}'}{doubt}"
    words = f"{name} showed {shown} on {one.at:%d %b %H:%M}"
    return SensorState(one.channel, _stamp(one.at), one.value_pct, one.uncertainty_points, words)


def equalized(schedule: Schedule) -> bool:
    """Return whether a charge is equalized: always by an MC-based schedule, else if it says so."""
    return bool(schedule.equalizing) or not schedule.time_based


def dues(
    charge: Charge, schedule: Schedule, steps: Sequence[PlannedStep], limits: LimitTable
) -> Iterator[DueAt]:
    """Yield the MCs at which something falls due, in the order in which they are reached."""
    for step in steps:
        if step.number > 1 and step.from_mc_pct is not None:
            yield DueAt(f"step {step.number}", step.from_mc_pct, "controlling")
    target = charge.target_mc.value
    if equalized(schedule):
        begin = float(equalizing_start(target, limits.value("equalizing-below-target")))
        yield DueAt("equalize", begin, "driest")
    yield DueAt("target", target, "wettest")


def _next_due(due: Sequence[DueAt], begun: int, stage: str) -> DueAt | None:
    if stage == "conditioning":
        return None
    if stage == "equalizing":
        return due[-1]
    return next((one for one in due if one.step is None or one.step > begun), None)


def _deciding(due: DueAt, last: Control) -> float:
    return {"controlling": last.mc_pct, "driest": last.driest_pct, "wettest": last.wettest_pct}[
        due.whose
    ]


def _timed_due(
    schedule: Schedule, step: PlannedStep | None, since: dt.datetime | None
) -> str | None:
    if not schedule.time_based or step is None or since is None or step.hours is None:
        return None
    return _stamp(since + dt.timedelta(hours=step.hours))


def _every_hours(times: Sequence[dt.datetime]) -> float:
    """Return the usual hours between rounds, from the last seven."""
    gaps = sorted(
        (after - before).total_seconds() / 3600.0 for before, after in pairwise(times[-8:])
    )
    return float(round(gaps[len(gaps) // 2])) or 1.0 if len(gaps) >= 2 else _USUAL_HOURS


def _step_state(step: PlannedStep) -> StepState:
    return _air_state(step.air, step)


def _air_state(air: AirState, step: PlannedStep | None) -> StepState:
    return StepState(
        step.number if step else 0,
        step.from_mc_pct if step else None,
        step.hours if step else None,
        air.dry_bulb_c,
        air.wet_bulb_c,
        air.relative_humidity_pct,
        air.emc_pct,
    )


def _board_state(
    folder: MillFolder, charge: Charge, history: BoardHistory, limits: LimitTable
) -> BoardState:
    board, last = history.board, history.points[-1] if history.points else None
    dry = history.estimates[-1].oven_dry_g if history.estimates else None
    masses = [(board.weighed_at, board.green_mass.value)] + [
        (weighing.at, weighing.masses[board.id].value)
        for weighing in charge.weighings
        if board.id in weighing.masses
    ]
    at, mass = masses[-1]
    stock = charge.stock_of(board)
    try:
        safe = safe_loss(
            folder.species[stock.species].record,
            stock.thickness.value,
            limits.value("thick-stock-divisor"),
        )
    except NoLimit:
        safe = None
    return BoardState(
        board.id,
        board.position or "",
        mass_unit(board.green_mass),
        dry,
        mass,
        _stamp(at),
        last.mc_pct if last and last.at == at else None,
        last.daily_loss_pct if last and last.at == at else None,
        safe and safe[1],
    )


def mass_unit(mass: Mass) -> str:
    """Return the unit of a mass as written; pounds if it was in pounds and ounces."""
    words = mass.entered.split()
    unit = words[-1].lstrip("0123456789.").rstrip(".")
    if unit == "oz" and len(words) > 2:
        return "lb"
    return unit if unit in MASS_DECIMALS else "g"


def mass_due(board: BoardState, due: DueAt) -> float | None:
    """Return the mass of a board at a given MC [g]; None while its sections are in the oven."""
    if board.oven_dry_g is None or math.isnan(board.oven_dry_g):
        return None
    return float(mass_at(board.oven_dry_g, due.mc_pct))


def _stamp(moment: dt.datetime) -> str:
    return moment.isoformat(timespec="minutes")
