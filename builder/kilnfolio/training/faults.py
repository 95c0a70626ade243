"""Faults that occur in records, and how each is planted in an anonymous charge.

Place and severity are random, so that one charge gives many drills. A fault changes the record as
the real slip would: whoever misread a mass also worked the MC from it. Nothing here judges the
altered record; that is up to the review.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import combinations
from random import Random
from typing import TypeVar

import numpy as np

from kilnfolio.physics.moisture import (
    controlling_moisture_content,
    mass_at,
    moisture_content,
    oven_dry_mass,
    wet_basis,
)
from kilnfolio.records.charge import Board, Charge, Event, Section, Weighing
from kilnfolio.records.log import as_datetime
from kilnfolio.records.quantities import Mass, Percent
from kilnfolio.records.setpoints import PlannedStep
from kilnfolio.review.air import utc
from kilnfolio.review.boards import board_histories, control_at, controls
from kilnfolio.runtime.values import dataclass
from kilnfolio.training.anonymous import Scene

T = TypeVar("T")


class NoRoomForItError(ValueError):
    """The fault cannot be planted in this charge."""


@dataclass(frozen=True)
class Planted:
    """An altered charge, and a description of the alteration."""

    scene: Scene
    what: str
    """What was altered, where, and from what to what; printed in the key."""


#: Plants a fault in a scene that ran by these steps, at a random place.
Plant = Callable[[Scene, Sequence[PlannedStep], Random], Planted]


@dataclass(frozen=True)
class Fault:
    """A slip or failure as the trainer's key explains it."""

    slug: str
    title: str
    plant: Plant
    action: str
    """A good operator's first action, in a few words."""
    do: str
    """A good operator's response, in full."""
    must: str
    """The check that must find it."""
    also: frozenset[str]
    """Checks that may find it too, because they use the same figures."""


#: Every fault, in the order of the drills; filled by `fault`.
FAULTS: list[Fault] = []


def fault(
    slug: str, title: str, *, must: str, action: str, do: str, also: Iterable[str] = ()
) -> Callable[[Plant], Plant]:
    """Register a fault with its title, the check that must find it, and the response."""

    def register(plant: Plant) -> Plant:
        FAULTS.append(Fault(slug, title, plant, action, do, must, frozenset(also)))
        return plant

    return register


# --- weighings ------------------------------------------------------------------------------------


@fault(
    "digits-transposed",
    "Two digits of a mass transposed",
    must="gained-weight-while-drying",
    action="Weigh the board again at once and correct the mass, keeping the old value",
    also=(
        "daily-loss",
        "rewetted",
        "drier-than-the-air-allows",
        "stated-mc",
    ),
    do="Weigh the board again at once; do not step on that figure. The weighings before and after "
    "agree with each other, so correct the mass and keep the old value, the reason and your name.",
)
def _digits(scene: Scene, _: Sequence[PlannedStep], chance: Random) -> Planted:
    weighings = scene.charge.weighings
    for index in _inner_indices(weighings, chance):
        for tag, mass in _shuffled(weighings[index].masses.items(), chance):
            digits = f"{mass.value:.0f}"
            swapped = digits[0] + digits[2] + digits[1] + digits[3:]
            lost = mass.value - float(swapped)
            if len(digits) == 4 and 120.0 <= lost <= 350.0 and _above_dry(scene, tag, swapped):
                altered = _with_masses(scene.charge, index, {tag: float(swapped)})
                return Planted(
                    scene.with_(weighings=altered),
                    f"Board {tag} on {scene.day(weighings[index].at)}: the scale showed "
                    f"{digits} g, {swapped} g was written.",
                )
    raise NoRoomForItError("no mass has two digits to transpose")


def _above_dry(scene: Scene, tag: str, grams: str) -> bool:
    return float(grams) > 1.03 * _sheet_dry(scene.charge)[tag]


@fault(
    "tags-swapped",
    "The tags of two boards swapped at one weighing",
    must="gained-weight-while-drying",
    action="Weigh both boards again with an eye on the tags, and put the masses back",
    also=(
        "daily-loss",
        "rewetted",
        "drier-than-the-air-allows",
    ),
    do="Two boards jump the same way and back: one gains what the other loses. Weigh both again "
    "with an eye on the tags, put the masses back to their boards and keep the old values.",
)
def _tags(scene: Scene, _: Sequence[PlannedStep], chance: Random) -> Planted:
    weighings = scene.charge.weighings
    dry = _sheet_dry(scene.charge)
    for index in _inner_indices(weighings, chance):
        masses = {tag: mass.value for tag, mass in weighings[index].masses.items()}
        ranked = sorted(masses, key=lambda tag: masses[tag])
        for light, heavy in _shuffled(combinations(ranked, 2), chance):
            apart = masses[heavy] - masses[light]
            if 60.0 <= apart <= 400.0 and masses[light] > 1.03 * dry[heavy]:
                altered = _with_masses(
                    scene.charge, index, {light: masses[heavy], heavy: masses[light]}
                )
                return Planted(
                    scene.with_(weighings=altered),
                    f"Boards {light} and {heavy} on {scene.day(weighings[index].at)}: each has "
                    "the other's mass.",
                )
    raise NoRoomForItError("no two boards are near enough in mass")


def _inner_indices(weighings: Sequence[Weighing], chance: Random) -> list[int]:
    """Return the indices of weighings that have others before and after them, shuffled."""
    return _shuffled(range(2, len(weighings) - 3), chance)


def _shuffled(items: Iterable[T], chance: Random) -> list[T]:
    found = list(items)
    chance.shuffle(found)
    return found


def _with_masses(charge: Charge, index: int, masses: Mapping[str, float]) -> list[Weighing]:
    """Return the weighings with masses of one changed and its stated MCs recomputed."""
    weighing = charge.weighings[index]
    written = dict(weighing.masses) | {
        tag: Mass(grams, f"{grams:.0f} g") for tag, grams in masses.items()
    }
    altered = _worked(charge, weighing.model_copy(update={"masses": written}))
    return [*charge.weighings[:index], altered, *charge.weighings[index + 1 :]]


def _worked(charge: Charge, weighing: Weighing) -> Weighing:
    """Return a weighing with its stated MCs recomputed from its masses, as the operator would."""
    if not weighing.stated_mc:
        return weighing
    dry = _sheet_dry(charge)
    mcs = {
        tag: round(float(moisture_content(weighing.masses[tag].value, dry[tag])), 1)
        for tag in weighing.stated_mc
        if tag in weighing.masses
    }
    changes: dict[str, object] = {"stated_mc": {tag: _percent(mc) for tag, mc in mcs.items()}}
    if weighing.stated_controlling_mc is not None and charge.control_rule == "wettest half":
        changes["stated_controlling_mc"] = _percent(
            float(controlling_moisture_content(list(mcs.values())))
        )
    return weighing.model_copy(update=changes)


def _percent(value: float) -> Percent:
    return Percent(round(value, 1), f"{value:.1f} %")


def _sheet_dry(charge: Charge) -> dict[str, float]:
    """Return the oven-dry masses used on the sheet [g]."""
    worked = {history.board.id: history.oven_dry_g for history in board_histories(charge)}
    return {
        board.id: board.stated_oven_dry_mass.value
        if board.stated_oven_dry_mass
        else worked[board.id]
        for board in charge.boards
    }


# --- sections -------------------------------------------------------------------------------------


@fault(
    "wet-basis",
    "A board worked on the wet basis",
    must="wet-basis",
    action="Work the sections again as a share of the oven-dry mass",
    also=(
        "stated-mc",
        "stated-oven-dry-mass",
        "controlling-mc",
    ),
    do="Work the sections again as a share of the oven-dry mass, correct the board's oven-dry mass "
    "and every MC since, and look whether a step was made on them.",
)
def _wet_basis(scene: Scene, _: Sequence[PlannedStep], chance: Random) -> Planted:
    boards = scene.charge.boards
    if len(scene.charge.weighings) < 8:
        raise NoRoomForItError("there are too few weighings")
    written = [
        place
        for place, one in enumerate(boards)
        if one.sections and all(section.stated_mc is not None for section in one.sections)
    ]
    if not written:
        raise NoRoomForItError("no MC is written beside the sections")
    place = chance.choice(written)
    board = boards[place]
    sections = [_on_wet_basis(section) for section in board.sections]
    wet = float(np.mean([one.stated_mc.value for one in sections if one.stated_mc]))
    dry = float(oven_dry_mass(board.green_mass.value, wet))
    altered = board.model_copy(
        update={"sections": sections, "stated_oven_dry_mass": Mass(dry, f"{dry:.0f} g")}
    )
    charge = scene.charge.model_copy(update={"boards": _in_place(boards, place, altered)})
    weighings = [_worked_low(charge, one, board.id, dry) for one in charge.weighings]
    return Planted(
        dataclasses.replace(scene, charge=charge.model_copy(update={"weighings": weighings})),
        f"Board {board.id}: the MC of its sections was worked as a share of the green mass, and "
        f"its oven-dry mass, {dry:.0f} g, from that.",
    )


def _on_wet_basis(section: Section) -> Section:
    mc = float(moisture_content(section.green.value, section.oven_dry.value))
    return section.model_copy(update={"stated_mc": _percent(float(wet_basis(mc)))})


def _worked_low(charge: Charge, weighing: Weighing, tag: str, dry: float) -> Weighing:
    """Return a weighing worked with too large an oven-dry mass, as far as the MC stays above 0."""
    mass = weighing.masses.get(tag)
    if mass is not None and mass.value < dry:
        # nobody writes down a negative MC: the operator leaves the board out
        rest = {name: one for name, one in weighing.stated_mc.items() if name != tag}
        weighing = weighing.model_copy(update={"stated_mc": rest})
    return _worked(charge, weighing)


def _in_place(boards: Sequence[Board], index: int, board: Board) -> list[Board]:
    return [*boards[:index], board, *boards[index + 1 :]]


@fault(
    "section-not-dry",
    "A moisture section weighed before it was dry",
    must="section-pair",
    action="Put the section back into the oven until its mass holds",
    also=("drier-than-the-air-allows",),
    do="Two sections of one board should agree. Put the wetter-looking oven mass back into the "
    "oven until it holds; until then do not use the board to decide a step.",
)
def _not_dry(scene: Scene, _: Sequence[PlannedStep], chance: Random) -> Planted:
    boards = scene.charge.boards
    paired = [place for place, one in enumerate(boards) if len(one.sections) > 1]
    if len(scene.charge.weighings) < 8 or not paired:
        raise NoRoomForItError("there are too few weighings, or one section a board")
    index = chance.choice(paired)
    board = boards[index]
    wet = chance.randrange(len(board.sections))
    section = board.sections[wet]
    mass = round(section.oven_dry.value * chance.uniform(1.08, 1.13), 1)
    mc = float(moisture_content(section.green.value, mass))
    damp = section.model_copy(
        update={"oven_dry": Mass(mass, f"{mass:.1f} g"), "stated_mc": _percent(mc)}
    )
    sections = [*board.sections[:wet], damp, *board.sections[wet + 1 :]]
    mean = float(
        np.mean([moisture_content(one.green.value, one.oven_dry.value) for one in sections])
    )
    dry = float(oven_dry_mass(board.green_mass.value, mean))
    altered = board.model_copy(
        update={"sections": sections, "stated_oven_dry_mass": Mass(dry, f"{dry:.0f} g")}
    )
    charge = scene.charge.model_copy(update={"boards": _in_place(boards, index, altered)})
    weighings = [_worked_low(charge, one, board.id, dry) for one in charge.weighings]
    return Planted(
        dataclasses.replace(scene, charge=charge.model_copy(update={"weighings": weighings})),
        f"Section {section.id}: {mass:.1f} g was written as oven-dry while it still fell; dry it "
        f"weighs {section.oven_dry.value:.1f} g.",
    )


# --- steps and the end ----------------------------------------------------------------------------


@fault(
    "stepped-early",
    "A step made before it was due",
    must="step-timing",
    action="Go back to the air of the step before, unless checks have opened",
    do="Look at the ends and faces of the wettest boards; go back to the air of the step before, "
    "unless checks have opened; write down when, why and by whom the step was made.",
)
def _early(scene: Scene, steps: Sequence[PlannedStep], chance: Random) -> Planted:
    charge = scene.charge
    control = controls(charge, board_histories(charge))
    for place in _shuffled(range(1, len(charge.step_changes)), chance):
        change = charge.step_changes[place]
        trigger = steps[change.step - 2].until_mc_pct if change.step <= len(steps) else None
        if trigger is None:
            continue
        sooner = [one.at for one in control if one.at < change.at and one.mc_pct > trigger + 2.5]
        before = charge.step_changes[place - 1].at
        if sooner and sooner[-1] > before + dt.timedelta(hours=14):
            at = sooner[-1] + dt.timedelta(minutes=20)
            made = change.model_copy(update={"at": at, "reason": None})
            changes = [*charge.step_changes[:place], made, *charge.step_changes[place + 1 :]]
            found = control_at(control, at)
            return Planted(
                _air_from(scene.with_(step_changes=changes), at, change.at, _next(charge, place)),
                f"Step {change.step} was set on {scene.day(at)} at a controlling MC of "
                f"{found.mc_pct if found else float('nan'):.1f} %; it was due at {trigger:g} %.",
            )
    raise NoRoomForItError("no step was long enough")


def _next(charge: Charge, place: int) -> dt.datetime:
    """Return when a step's air was replaced by the next."""
    if place + 1 < len(charge.step_changes):
        return charge.step_changes[place + 1].at
    return charge.equalizing.start if charge.equalizing else charge.ended


def _air_from(scene: Scene, start: dt.datetime, due: dt.datetime, end: dt.datetime) -> Scene:
    """Return the scene with a step's air starting at `start` instead of when it was due.

    The readings are stretched over the longer time, so that nothing jumps.
    """
    log = scene.log
    first, middle, last = np.searchsorted(log.times, [utc(start), utc(due), utc(end)])
    source = np.linspace(middle, last - 1, last - first).astype(int)
    channels = {name: values.copy() for name, values in log.channels.items()}
    for values in channels.values():
        values[first:last] = values[source]
    return dataclasses.replace(scene, log=dataclasses.replace(log, channels=channels))


@fault(
    "equalizing-cut-short",
    "Equalizing ended by the clock",
    must="equalizing-end",
    action="Go on until the wettest board is at the target, or survey the load",
    do="Go on equalizing until the wettest board is at the target; the hours of the last charge "
    "are not a rule. If the load is already out, survey it before anything is promised.",
)
def _cut_short(scene: Scene, _: Sequence[PlannedStep], chance: Random) -> Planted:
    charge, stage = scene.charge, scene.charge.equalizing
    if stage is None:
        raise NoRoomForItError("the charge was not equalized")
    ends = [index for index, one in enumerate(charge.weighings) if one.at <= stage.end]
    if len(ends) < 8:
        raise NoRoomForItError("there are too few weighings")
    dry = _sheet_dry(charge)
    last = charge.weighings[ends[-1]]
    mcs = {tag: float(moisture_content(mass.value, dry[tag])) for tag, mass in last.masses.items()}
    tag = max(mcs, key=lambda name: mcs[name])
    ends_at = charge.target_mc.value + round(chance.uniform(1.2, 2.2), 1)
    lag = ends_at - mcs[tag]
    weighings = list(charge.weighings)
    begin = ends[-1] - 7
    for index in range(begin, len(weighings)):
        share = min(1.0, (index - begin) / (ends[-1] - begin))
        mc = float(moisture_content(weighings[index].masses[tag].value, dry[tag])) + lag * share
        weighings[index] = _with_masses(charge, index, {tag: round(float(mass_at(dry[tag], mc)))})[
            index
        ]
    return Planted(
        scene.with_(weighings=weighings),
        f"Board {tag} lags: it is at {ends_at:.1f} % when equalizing ends on "
        f"{scene.day(stage.end)}, and the target is {charge.target_mc.value:g} %.",
    )


# --- the log --------------------------------------------------------------------------------------


@fault(
    "dry-wick",
    "The recorder's wick runs dry",
    must="dry-wick",
    action="Change the wick, clean the trough and read both bulbs by hand",
    also=("air-as-asked",),
    do="Change the wick, clean the trough, and read both bulbs by hand. The EMC of those hours "
    "cannot be used; say so on the record, and watch the boards: the air was drier than shown.",
)
def _wick(scene: Scene, _: Sequence[PlannedStep], chance: Random) -> Planted:
    log, wet = scene.log, scene.log.channels.get("wet-bulb")
    readings = scene.charge.hand_readings
    if wet is None or len(readings) < 8:
        raise NoRoomForItError("there is no wet bulb, or too few hand readings")
    index = chance.randrange(2, len(readings) - 3)
    most = round(chance.uniform(2.2, 3.2), 1)
    start = readings[index].at - dt.timedelta(hours=16)
    end = readings[min(index + 2, len(readings) - 1)].at + dt.timedelta(hours=3)
    first, last = (int(place) for place in np.searchsorted(log.times, [utc(start), utc(end)]))
    ramp = np.linspace(0.0, 1.0, max(last - first, 1)) ** 0.5
    channels = dict(log.channels)
    dried = wet.copy()
    # not above the dry bulb, which would be another fault
    room = np.maximum(channels["dry-bulb"][first:last] - wet[first:last] - 0.4, 0.0)
    dried[first:last] += np.minimum(most * ramp, 0.85 * room)
    channels["wet-bulb"] = np.round(dried, 2)
    event = Event.model_construct(at=end, kind="wick changed", by="operator", note=None)
    altered = scene.with_(events=sorted([*scene.charge.events, event], key=lambda one: one.at))
    return Planted(
        dataclasses.replace(altered, log=dataclasses.replace(log, channels=channels)),
        f"From {scene.day(start)} the recorder's wet bulb drifts upward, by {most:.1f} K at the "
        f"most, until the wick is changed on {scene.day(end)}. The hand readings show the true air.",
    )


@fault(
    "wet-bulb-stuck",
    "A sensor that stands still",
    must="stuck-sensor",
    action="Read the wet bulb by hand, have the sensor looked at, mark the hours as not measured",
    also=(
        "air-as-asked",
        "air-too-dry-while-wet",
    ),
    do="Read the wet bulb by hand, have the sensor and its line looked at, and mark the hours as "
    "not measured. Do not draw a line through them.",
)
def _stuck(scene: Scene, _: Sequence[PlannedStep], chance: Random) -> Planted:
    log, wet = scene.log, scene.log.channels.get("wet-bulb")
    if wet is None or len(wet) < 400:
        raise NoRoomForItError("there is no wet bulb, or too short a log")
    # across a step change, where the other bulb moves
    changes = [one.at for one in scene.charge.step_changes[1:]]
    if not changes:
        raise NoRoomForItError("no step is written down")
    middle, hours = chance.choice(changes), chance.randint(16, 28)
    start = middle - dt.timedelta(hours=4)
    end = start + dt.timedelta(hours=hours)
    first, last = (int(place) for place in np.searchsorted(log.times, [utc(start), utc(end)]))
    still = wet.copy()
    still[first:last] = wet[first]
    return Planted(
        dataclasses.replace(
            scene, log=dataclasses.replace(log, channels={**log.channels, "wet-bulb": still})
        ),
        f"The wet bulb repeats {wet[first]:.1f} °C from {scene.day(start)} for {hours} h, "
        "through a step change.",
    )


@fault(
    "stop-not-written",
    "A stop that nobody wrote down",
    must="gap-in-log",
    action="Ask the shift, write the stop down with its cause, and weigh the boards",
    also=("loss-per-running-hour",),
    do="Ask the shift what happened, write the stop down with its hours and cause, weigh the "
    "boards, and look for stain if the load stood warm and wet.",
)
def _stop(scene: Scene, _: Sequence[PlannedStep], chance: Random) -> Planted:
    log = scene.log
    if len(log.times) < 400:
        raise NoRoomForItError("the log is too short")
    first, hours = int(chance.uniform(0.1, 0.8) * len(log.times)), chance.randint(7, 14)
    rows = max(2, round(hours * 60 / log.interval_minutes))
    kept = np.ones(len(log.times), bool)
    kept[first : first + rows] = False
    short = dataclasses.replace(
        log,
        times=log.times[kept],
        channels={name: values[kept] for name, values in log.channels.items()},
        lines=log.lines[kept],
        files=log.files[kept],
    )
    start = as_datetime(log.times[first], scene.zone)
    return Planted(
        dataclasses.replace(scene, log=short),
        f"The log has no readings for about {hours} h from {scene.day(start)}, and no stop is written.",
    )


@fault(
    "cold-core",
    "A core that never got there",
    must="heat-treatment-run",
    action="State no heat treatment for this load",
    do="State no heat treatment for this load. The other probes and the air record do not help: "
    "the rule holds for every probe. Tell whoever reviews the charts.",
)
def _cold_core(scene: Scene, _: Sequence[PlannedStep], chance: Random) -> Planted:
    claim = scene.charge.heat_treatment
    channels = [probe.channel for probe in claim.probes] if claim else []
    known = [name for name in channels if name in scene.log.channels]
    if claim is None or not known:
        raise NoRoomForItError("no heat treatment is claimed")
    name = chance.choice(known)
    values = scene.log.channels[name]
    most, low = float(np.nanmax(values)), float(np.nanmin(values))
    lower = claim.threshold.value - round(chance.uniform(0.5, 1.5), 1)
    cold = np.round(low + (values - low) * (lower - low) / (most - low), 2)
    return Planted(
        dataclasses.replace(
            scene,
            log=dataclasses.replace(scene.log, channels={**scene.log.channels, name: cold}),
        ),
        f"The core under probe {name} never passes {lower:.1f} °C; "
        f"{claim.threshold.value:g} °C is required.",
    )
