"""A charge from plan to record, export and truth.

Tests and benchmarks only need `make_charge`; the same plan and seed give the same bytes.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np

from demo import recording, scenario
from demo.chamber import HEAT_RAMP, SOFTWOOD_RAMP, Chamber, SensorErrors
from demo.exports import Sensor, export
from demo.heating import core_temperatures
from demo.instruments import cut_sections, meter_readings, pin_readings, wafer_emc, weigh
from demo.kiln_run import KilnRun, Span
from demo.library import Library
from demo.operating import DAY, Operator, SampleBoard, Sheet
from demo.plans import ChargePlan, HeatTreatmentPlan, RunningPlan
from demo.timber import Boards, Stand, choose, draw_boards, together
from kilnfolio.physics.air import saturation_pressure, wet_bulb
from kilnfolio.physics.sorption import equilibrium_moisture_content
from kilnfolio.records.quantities import Length

#: Number of boards from which the sample boards are chosen.
CANDIDATES = 60
#: Minutes between rows of the simulation's trace.
TRACE_MINUTES = 5


@dataclass(frozen=True)
class Air:
    """The true air at each row of the trace, in minutes, °C and %."""

    minutes: np.ndarray
    dry: np.ndarray
    wet: np.ndarray
    humidity: np.ndarray
    leaving: np.ndarray
    channels: dict[str, np.ndarray]

    def at(self, minute: float) -> tuple[float, float]:
        """Return the true bulbs at a minute [°C]."""
        row = min(round(minute / TRACE_MINUTES), len(self.minutes) - 1)
        return float(self.dry[row]), float(self.wet[row])


@dataclass(frozen=True)
class MadeCharge:
    """A simulated charge: its record, its files, and what really happened."""

    plan: ChargePlan
    record: dict[str, Any]
    files: dict[str, bytes]
    truth: dict[str, Any]
    planted: dict[str, Any]
    unloaded: dt.datetime
    surveyed: dt.datetime

    def moment(self, minute: float) -> dt.datetime:
        """Return the local time of a minute after heating began."""
        return _moment(self.plan, minute)


@dataclass
class Making:
    """The state of a charge being simulated."""

    plan: ChargePlan
    library: Library
    chance: np.random.Generator
    kiln: KilnRun
    samples: list[SampleBoard]
    packs: list[str]
    pack_of: np.ndarray
    sheet: Sheet | None = None
    air: Air | None = None

    def moment(self, minute: float) -> dt.datetime:
        """Return the local time of a minute."""
        return _moment(self.plan, minute)


def _moment(plan: ChargePlan, minute: float) -> dt.datetime:
    return (plan.started.astimezone(dt.UTC) + dt.timedelta(minutes=round(minute))).astimezone(
        scenario.ZONE
    )


def make_charge(plan: ChargePlan, library: Library, seed: int | None = None) -> MadeCharge:
    """Return a charge simulated as planned.

    Parameters
    ----------
    plan : ChargePlan
        The plan.
    library : Library
        Species and schedules.
    seed : int, optional
        Seed of the random numbers; by default the plan's own.
    """
    making = _load(plan, library, np.random.default_rng(plan.seed if seed is None else seed))
    making.sheet = Operator(
        plan, library, making.kiln, making.samples, scenario.CREW, scenario.ZONE, making.chance
    ).run()
    making.kiln.advance(making.sheet.ended + 10)
    _note_planted(making)
    making.air = _air(making)
    files = {recording.log_name(plan): _export(making)}
    final = making.kiln.boards.mean_mc.copy()
    cooled = 30.0 if plan.schedule.endswith("-dh") else 16.0
    rest = plan.survey.days_after * 24.0 + 10.0
    making.kiln.cool_and_rest(cooled, rest)
    record, unloaded, surveyed = recording.charge_record(making, cooled)
    return MadeCharge(
        plan, record, files, _truth(making, final), making.sheet.planted, unloaded, surveyed
    )


def make_running(running: RunningPlan, library: Library, now: dt.datetime) -> MadeCharge:
    """Return a charge as it stands at a given time, with the truth of how it will end."""
    plan = running.charge
    making = _load(plan, library, np.random.default_rng(plan.seed))
    making.sheet = Operator(
        plan, library, making.kiln, making.samples, scenario.CREW, scenario.ZONE, making.chance
    ).run()
    making.kiln.advance(making.sheet.ended + 10)
    _note_planted(making)
    making.air = _air(making)
    truth = _truth(making, making.kiln.boards.mean_mc.copy()) | {
        "ended": recording.written(making.moment(making.sheet.ended)),
        "steps": {
            number: recording.written(making.moment(minute))
            for minute, number, _ in making.sheet.steps
        },
    }
    minute = (now - plan.started).total_seconds() / 60.0
    _stop_at(making, minute, running.rounds_missed)
    files = {recording.log_name(plan): _export(making)}
    return MadeCharge(
        plan,
        recording.running_record(making, running, now),
        files,
        truth,
        making.sheet.planted,
        now,
        now,
    )


def _stop_at(making: Making, minute: float, rounds_missed: int) -> None:
    """Remove everything written after a minute from a charge."""
    sheet = making.sheet
    sheet.rounds = [done for done in sheet.rounds if done.minute <= minute]
    if rounds_missed:
        del sheet.rounds[-rounds_missed:]
    last = sheet.rounds[-1].minute + 60.0 if rounds_missed else minute
    sheet.steps = [step for step in sheet.steps if step[0] <= last]
    sheet.equalizing = sheet.conditioning = None
    sheet.ended = minute


def _load(plan: ChargePlan, library: Library, chance: np.random.Generator) -> Making:
    species = library.species[plan.species]
    nominal = Length.parse(plan.thickness).value
    stand = Stand(
        plan.species,
        species.basic_density_kg_m3,
        species.fsp_pct,
        nominal,
        plan.green_mc,
        plan.green_sd,
        plan.start == "air-dried",
    )
    kiln = scenario.KILNS[plan.kiln]
    load = draw_boards(stand, plan.load_boards, chance)
    packs = kiln.positions[: max(1, round(plan.volume_m3 / kiln.pack_m3))]
    pack_of = np.arange(plan.load_boards) % len(packs)
    load.warmer_k = np.array([kiln.warmer_k[packs[pack]] for pack in pack_of])
    picked, chosen_as = _pick(draw_boards(stand, CANDIDATES, chance), plan.boards, chance)
    samples = _samples(picked, chosen_as, packs, chance)
    outside = scenario.outside_temperatures(plan.started, chance)
    soft = species.kind == "softwood"
    wood_heat = plan.volume_m3 * stand.basic_density * 1.35
    chamber = Chamber(
        kiln.physics,
        library.pressure_pa,
        wood_heat,
        outside,
        SensorErrors(*kiln.controller_errors),
        chance,
        indoors_c=max(8.0, float(outside[:6].mean()) + 4.0),
        ramp=SOFTWOOD_RAMP if soft else HEAT_RAMP,
    )
    run = KilnRun(
        together(load, picked),
        plan.load_boards,
        chamber,
        plan.volume_m3 * stand.basic_density / 100.0,
        kiln.reversal_h * 60.0,
        plan.moisture_sensors.pins if plan.moisture_sensors else (),
    )
    if plan.power_stop:
        first = _ten(plan.power_stop.day * DAY)
        run.power_stops = [Span(first, first + _ten(60 * plan.power_stop.hours))]
    if plan.fault and plan.fault.kind == "stopped fan":
        first = _ten(plan.fault.day * DAY)
        run.fan_stops = [Span(first, first + _ten(60 * plan.fault.hours))]
    return Making(plan, library, chance, run, samples, list(packs), pack_of)


def _ten(minutes: float) -> float:
    return 10.0 * round(minutes / 10.0)


def _pick(candidates: Boards, count: int, chance: np.random.Generator) -> tuple[Boards, list[str]]:
    """Choose sample boards as people do: wet ones, the thickest, some typical ones, a dry one."""
    mc, slow = candidates.mean_mc, candidates.half_thickness / candidates.diffusivity**0.5
    wet_first = list(np.argsort(-(mc / mc.std() + slow / slow.std())))
    picks = {"wettest": wet_first[1 : 1 + max(2, count // 4)], "driest": [wet_first[-2]]}
    taken = {index for group in picks.values() for index in group}
    thick = [i for i in np.argsort(-candidates.half_thickness) if i not in taken][:1]
    taken |= set(thick)
    typical = [i for i in wet_first[10:-8] if i not in taken]
    picks["thickest"] = thick
    left = count - sum(map(len, picks.values()))
    picks["typical"] = list(chance.choice(typical, size=left, replace=False))
    order = [(index, reason) for reason, group in picks.items() for index in group]
    order = [order[i] for i in chance.permutation(len(order))]
    boards = choose(candidates, np.array([index for index, _ in order]))
    boards.across = np.where(np.arange(count) % 2 == 0, 0.04, 0.96)
    return boards, [reason for _, reason in order]


def _samples(
    boards: Boards, chosen_as: list[str], positions: list[str], chance: np.random.Generator
) -> list[SampleBoard]:
    samples = []
    for number, (mc, dry, reason) in enumerate(
        zip(boards.mean_mc, boards.oven_dry_g, chosen_as, strict=True), start=1
    ):
        tag = f"S{number}"
        samples.append(
            SampleBoard(
                tag,
                cut_sections(tag, float(mc), float(dry), chance),
                weigh(float(dry * (1 + mc / 100)) * 1.001, chance),
                positions[(number - 1) * len(positions) // len(chosen_as)],
                "entering-air" if number % 2 else "leaving-air",
                reason,
            )
        )
    return samples


def _note_planted(making: Making) -> None:
    """Record when a fault of wick or fan began and ended; wicks are changed at a morning round."""
    fault, planted = making.plan.fault, making.sheet.planted
    if fault and fault.kind == "dry wick":
        first = fault.day * DAY
        found = next(
            done.minute for done in making.sheet.rounds if done.minute >= first + 60.0 * fault.hours
        )
        planted |= {"first": first, "hours": (found - 3.0 - first) / 60.0}
    if fault and fault.kind == "stopped fan":
        stop = making.kiln.fan_stops[0]
        planted |= {"first": stop.first, "hours": (stop.last - stop.first) / 60.0}


# --- the air and the log --------------------------------------------------------------------------


def _air(making: Making) -> Air:
    trace = making.kiln.chamber.trace
    minutes, dry = np.array(trace.minute), np.array(trace.dry)
    humidity = np.clip(100.0 * np.array(trace.vapour) / saturation_pressure(dry), 1.0, 100.0)
    wet = wet_bulb(dry, humidity, making.library.pressure_pa)
    return Air(
        minutes,
        dry,
        wet,
        humidity,
        np.array(trace.leaving),
        {
            "vent": 100.0 * np.array(trace.vent),
            "spray": np.array(trace.spray),
            "fan": np.array(trace.fan),
            "wood": np.array(trace.wood),
            "compressor": 100.0 * np.array(trace.compressor),
        },
    )


def wick_error(
    minutes: np.ndarray, depression: np.ndarray, first: float, hours: float
) -> np.ndarray:
    """Return the error of a drying wick, which reads too warm [K].

    The error grows slowly while the wick crusts, then within two hours once it runs dry.
    """
    crusting = np.clip((minutes - first) / (60.0 * (hours - 2.0)), 0.0, 1.0)
    dry_through = np.clip((minutes - first - 60.0 * (hours - 2.0)) / 60.0, 0.0, 1.0)
    share = 0.50 * crusting + 0.35 * dry_through
    return np.where((minutes >= first) & (minutes < first + 60.0 * hours), share, 0.0) * depression


def _export(making: Making) -> bytes:
    plan, air, kiln = making.plan, making.air, scenario.KILNS[making.plan.kiln]
    profile = scenario.LOGGERS[recording.profile_of(plan)]
    every = profile["interval_minutes"] // TRACE_MINUTES
    kept = np.arange(len(air.minutes)) % every == 0
    kept &= air.minutes <= making.sheet.ended + 5
    for stop in making.kiln.power_stops:
        kept &= ~((air.minutes > stop.first) & (air.minutes <= stop.last))
    wet = air.wet.copy()
    if plan.fault and plan.fault.kind == "dry wick":
        wet = wet + wick_error(
            air.minutes,
            air.dry - air.wet,
            making.sheet.planted["first"],
            making.sheet.planted["hours"],
        )
    felt = {
        "dry-bulb": air.dry,
        "dry-bulb-entering": air.dry,
        "dry-bulb-leaving": air.leaving,
        "wet-bulb": wet,
        "depression": air.dry - wet,
        "relative-humidity": air.humidity,
        "vent": np.where(air.channels["vent"] < 2.0, 0.0, air.channels["vent"]),
        "spray": (air.channels["spray"] > 0.05).astype(float),
        "fan": air.channels["fan"],
    }
    felt |= _cores(making) | _moisture_sensors(making)
    extra = {"Compressor [%]": air.channels["compressor"][kept]} if plan.kiln == "kiln-3" else {}
    sensors = {name: kiln.sensors.get(name, Sensor(0.0, 0.0, 1.0)) for name in felt}
    return export(
        profile,
        plan.started,
        air.minutes[kept],
        {name: values[kept] for name, values in felt.items()},
        sensors,
        scenario.ZONE,
        making.chance,
        extra,
    )


def _cores(making: Making) -> dict[str, np.ndarray]:
    treatment = making.plan.heat_treatment
    if treatment is None:
        return {}
    air, kiln = making.air, making.kiln
    ticks = np.minimum(air.minutes // 10, len(kiln.mean_history) - 1)
    mean_mc = np.array(kiln.mean_history)[ticks]
    outside = kiln.chamber.outside[ticks]
    cores = {
        f"core-{number}": core_temperatures(
            air.dry,
            air.wet,
            air.channels["wood"],
            mean_mc,
            outside,
            recording.probe_thickness_mm(making.plan),
            leak,
            TRACE_MINUTES,
        )
        for number, leak in enumerate(treatment.leaks, start=1)
    }
    if making.plan.fault and making.plan.fault.kind == "cold core":
        coldest = min(cores, key=lambda name: cores[name].max())
        making.sheet.planted |= {"probe": coldest, "highest_c": float(cores[coldest].max())}
    return cores


def _moisture_sensors(making: Making) -> dict[str, np.ndarray]:
    """Return what the wafer and the pins show, if they are plugged in [%]."""
    plan, air, kiln = making.plan.moisture_sensors, making.air, making.kiln
    if plan is None:
        return {}
    found = {}
    if plan.wafer:
        true = equilibrium_moisture_content(air.dry, air.humidity)
        found["emc"] = wafer_emc(true, TRACE_MINUTES)
    ticks = np.minimum(air.minutes // 10, len(kiln.pinned_history) - 1)
    courses = np.array(kiln.pinned_history)[ticks]
    for number in range(len(plan.pins)):
        found[f"pin-{number + 1}"] = pin_readings(courses[:, number], air.channels["wood"])
    return found


def _truth(making: Making, at_end: np.ndarray) -> dict[str, Any]:
    load = at_end[: making.kiln.load]
    days = making.sheet.ended / DAY
    return {
        "days": round(days, 1),
        "load_mean_mc": round(float(load.mean()), 2),
        "load_sd_mc": round(float(load.std(ddof=1)), 2),
        "load_driest_mc": round(float(load.min()), 2),
        "load_wettest_mc": round(float(load.max()), 2),
    }


def survey_of(making: Making) -> tuple[np.ndarray, np.ndarray, np.ndarray, float, float]:
    """Return the surveyed pieces (indices, true MCs, readings) and the mean shell and core MC."""
    plan, kiln = making.plan, making.kiln
    count = plan.survey.readings
    if plan.fault and plan.fault.kind == "small survey":
        count = int(plan.fault.size)
        making.sheet.planted |= {"readings": count}
    pieces = np.sort(making.chance.choice(kiln.load, size=min(count, kiln.load), replace=False))
    pieces = pieces[np.argsort(making.pack_of[pieces], kind="stable")]
    mc = kiln.boards.mean_mc[pieces]
    shown = meter_readings(
        mc,
        plan.survey.wood_temp_c,
        making.chance,
        temperature_corrected="temperature" in plan.survey.corrected_for,
    )
    shell, core = kiln.boards.shell_and_core()
    return pieces, mc, shown, float(shell[: kiln.load].mean()), float(core[: kiln.load].mean())


def clean(plan: ChargePlan) -> ChargePlan:
    """Return the plan without its planted fault."""
    cold = plan.fault is not None and plan.fault.kind == "cold core"
    return dataclasses.replace(
        plan, fault=None, heat_treatment=HeatTreatmentPlan() if cold else plan.heat_treatment
    )
