"""The set-points of a schedule, in all the ways people state them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from functools import lru_cache

from kilnfolio.physics.air import pressure_at_altitude, relative_humidity, wet_bulb
from kilnfolio.physics.sorption import equilibrium_moisture_content, relative_humidity_for_emc
from kilnfolio.records.charge import Charge, Stage
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.model import Located
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.quantities import Percent, Temperature
from kilnfolio.records.schedule import AIR_KEYS, Air, Modification, Schedule, Step
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class AirState:
    """One state of the kiln air in every notation, in °C, K and %."""

    dry_bulb_c: float
    wet_bulb_c: float
    relative_humidity_pct: float
    emc_pct: float

    @property
    def depression_k(self) -> float:
        """Wet-bulb depression [K]."""
        return self.dry_bulb_c - self.wet_bulb_c


def mill_pressure(folder: MillFolder) -> float:
    """Return the air pressure used for the mill's humidities [Pa]."""
    mill = folder.mill.record
    if mill.pressure:
        return mill.pressure.value
    return float(pressure_at_altitude(mill.altitude.value / 1000.0))


def resolve(air: Air, pressure_pa: float) -> AirState:
    """Return the state of the air for a set-point at an air pressure.

    Parameters
    ----------
    air : Air
        A dry bulb with a depression, wet bulb, RH or EMC.
    pressure_pa : float
        Air pressure. [Pa]

    Raises
    ------
    ValueError
        No such air exists: the depression exceeds that of dry air, or the EMC that of saturated
        air.
    """
    way = next(key for key in AIR_KEYS if getattr(air, key) is not None)
    return _resolved(air.dry_bulb.value, way, getattr(air, way).value, pressure_pa)


@lru_cache(maxsize=1024)
def _resolved(dry: float, way: str, value: float, pressure_pa: float) -> AirState:
    """Return one state; cached, because the same steps are run charge after charge."""
    if way in ("depression", "wet_bulb"):
        bulb = value if way == "wet_bulb" else dry - value
        humidity = relative_humidity(dry, bulb, pressure_pa)
        return AirState(dry, bulb, humidity, equilibrium_moisture_content(dry, humidity))
    humidity = value if way == "relative_humidity" else relative_humidity_for_emc(dry, value)
    return AirState(
        dry,
        wet_bulb(dry, humidity, pressure_pa),
        humidity,
        equilibrium_moisture_content(dry, humidity),
    )


@lru_cache(maxsize=4096)
def air_with_emc(dry_bulb_c: float, emc_pct: float, pressure_pa: float) -> AirState | None:
    """Return the air at a dry bulb [°C] that has an EMC [%]; None if there is none."""
    try:
        return resolve(
            Air(dry_bulb=Temperature(dry_bulb_c, ""), emc=Percent(emc_pct, "")), pressure_pa
        )
    except ValueError:
        return None


def state_of(dry_bulb_c: float, wet_bulb_c: float, pressure_pa: float) -> AirState:
    """Return the state of the air for two bulbs [°C] at an air pressure [Pa]."""
    return _resolved(dry_bulb_c, "wet_bulb", wet_bulb_c, pressure_pa)


@dataclass(frozen=True)
class PlannedStep:
    """One step of a schedule with its start and end."""

    number: int
    from_mc_pct: float | None
    until_mc_pct: float | None
    hours: float | None
    name: str
    air: AirState


def planned_steps(
    schedule: Schedule, steps: Sequence[Step], pressure_pa: float
) -> tuple[PlannedStep, ...]:
    """Return a schedule's steps with its declared modifications applied.

    Parameters
    ----------
    schedule : Schedule
        The schedule, for its modifications.
    steps : sequence of Step
        Its steps, with a notation expanded.
    pressure_pa : float
        Air pressure. [Pa]
    """
    planned = []
    begin: float | None = None
    for number, step in enumerate(steps, start=1):
        end = step.until_mc.value if isinstance(step.until_mc, Percent) else None
        air = resolve(step, pressure_pa)
        for modification in schedule.modifications:
            if _applies(modification, begin, first=number == 1):
                air = _modified(air, modification, pressure_pa)
        planned.append(
            PlannedStep(
                number, begin, end, step.hours.value if step.hours else None, step.name or "", air
            )
        )
        begin = end
    return tuple(planned)


def possible_steps(
    folder: MillFolder, located: Located[Schedule], pressure_pa: float
) -> tuple[PlannedStep, ...]:
    """Return `planned_steps` of a schedule of the mill.

    Raises
    ------
    RecordProblems
        A step, or a stage at the end, asks for air that cannot be.
    """
    schedule, steps = located.record, folder.steps_of(located.record)
    try:
        for stage in filter(None, (schedule.equalizing, schedule.conditioning)):
            resolve(stage, pressure_pa)
        return planned_steps(schedule, steps, pressure_pa)
    except ValueError:
        raise RecordProblems(impossible_air(located, steps, pressure_pa)) from None


def impossible_air(
    located: Located[Schedule], steps: Sequence[Step], pressure_pa: float
) -> Iterator[Problem]:
    """Yield the set-points of a schedule that no air can have.

    Parameters
    ----------
    located : Located of Schedule
        The schedule.
    steps : sequence of Step
        Its steps, with a notation expanded.
    pressure_pa : float
        Air pressure. [Pa]
    """
    schedule, found = located.record, False
    stages = ((name, getattr(schedule, name)) for name in ("equalizing", "conditioning"))
    written: list[tuple[tuple[str | int, ...], str, Air]] = [
        *((("steps", place), f"step {place + 1}", step) for place, step in enumerate(steps)),
        *(((name,), name, air) for name, air in stages if air),
    ]
    for path, words, air in written:
        if why := _why_not(air, pressure_pa):
            found = True
            yield Problem(
                located.place(*path),
                f"{words} of '{schedule.id}'",
                why,
                "Check the units first, as °F written for °C; then "
                "whether a wet bulb was written in place of a depression, or the other way round",
            )
    if found:
        return
    try:
        planned_steps(schedule, steps, pressure_pa)
    except ValueError:
        yield Problem(
            located.place("modifications"),
            f"modifications of '{schedule.id}'",
            "they change a step to air that cannot be",
            "Check their units, and the sign of each change",
        )


def impossible_stages(located: Located[Charge], pressure_pa: float) -> Iterator[Problem]:
    """Yield the stages of a charge that were set to air that cannot be."""
    for name in ("equalizing", "conditioning"):
        stage: Stage | None = getattr(located.record, name)
        if stage and (why := _why_not(_air_of(stage), pressure_pa)):
            yield Problem(located.place(name), name, why, "Check the EMC against the dry bulb")


def _why_not(air: Air, pressure_pa: float) -> str:
    """Return why there is no such air; empty if there is."""
    try:
        resolve(air, pressure_pa)
    except ValueError:
        way = next(key for key in AIR_KEYS if getattr(air, key) is not None)
        word = "EMC" if way == "emc" else way.replace("_", " ")
        return (
            f"no air has a dry bulb of {air.dry_bulb.entered} with {word} "
            f"{getattr(air, way).entered}"
        )
    return ""


def _air_of(stage: Stage) -> Air:
    return Air(dry_bulb=stage.dry_bulb, emc=stage.emc)


def step_at(steps: Sequence[PlannedStep], mc_pct: float) -> int:
    """Return the number of the step of an MC-based schedule for a controlling MC."""
    for step in steps:
        if step.until_mc_pct is None or mc_pct > step.until_mc_pct:
            return step.number
    return steps[-1].number


def first_step(charge: Charge, steps: Sequence[PlannedStep], mc_pct: float | None) -> int:
    """Return the number of the step with which a charge begins.

    Air-dried timber begins at the step for its controlling MC [%]; green timber, or timber that
    has not been weighed yet (None), at the first.
    """
    return 1 if charge.loaded_green or mc_pct is None else step_at(steps, mc_pct)


def _applies(modification: Modification, begin: float | None, *, first: bool) -> bool:
    above = modification.while_above
    return above is None or first or (begin is not None and begin > above.value)


def _modified(air: AirState, change: Modification, pressure_pa: float) -> AirState:
    dry = air.dry_bulb_c + (change.dry_bulb_change.value if change.dry_bulb_change else 0.0)
    depression = air.depression_k + (
        change.depression_change.value if change.depression_change else 0.0
    )
    state = _resolved(dry, "depression", max(depression, 0.0), pressure_pa)
    if not change.humidity_points:
        return state
    humidity = min(100.0, state.relative_humidity_pct + change.humidity_points)
    return _resolved(dry, "relative_humidity", humidity, pressure_pa)


@dataclass(frozen=True)
class AskedAir:
    """The air asked for from a given time on."""

    at: dt.datetime
    label: str
    step: PlannedStep | None
    air: AirState


def asked_air(
    charge: Charge, steps: Sequence[PlannedStep], pressure_pa: float
) -> tuple[AskedAir, ...]:
    """Return the set-points throughout the charge, oldest first.

    They follow the operator's step changes or, in a timed schedule without written step changes,
    the clock. Without either, they are not known.
    """
    return tuple(sorted(_asked(charge, steps, pressure_pa), key=lambda asked: asked.at))


def _asked(charge: Charge, steps: Sequence[PlannedStep], pressure_pa: float) -> Iterator[AskedAir]:
    if charge.step_changes:
        for change in charge.step_changes:
            if change.step <= len(steps):
                step = steps[change.step - 1]
                yield AskedAir(change.at, str(step.number), step, step.air)
    elif steps and all(step.hours is not None for step in steps):
        at = charge.started
        for step in steps:
            yield AskedAir(at, str(step.number), step, step.air)
            at += dt.timedelta(hours=step.hours or 0.0)
    for label in ("equalizing", "conditioning"):
        stage: Stage | None = getattr(charge, label)
        if stage:
            yield AskedAir(
                stage.start,
                label,
                None,
                resolve(_air_of(stage), pressure_pa),
            )
