"""Drills: a real charge made anonymous, one planted fault, and the review's findings on it.

A drill is kept only if the review finds the planted fault and nothing else that could be mistaken
for one; the trainee is marked by those findings. Charge, fault and place are random, so there is a
drill for every seed.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import cache, partial
from itertools import islice
from random import Random
from typing import Protocol

import numpy as np
from markupsafe import Markup

from kilnfolio.archive.sealed_mill import sealed_folder
from kilnfolio.charts.charge import charge_chart
from kilnfolio.charts.cores import core_chart
from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.charge import Weighing
from kilnfolio.records.folder import MillFolder, mill_of
from kilnfolio.records.model import Located
from kilnfolio.records.quantities import Temperature
from kilnfolio.records.setpoints import PlannedStep, mill_pressure, planned_steps
from kilnfolio.rendering.regional import RegionalFormat, regional_format
from kilnfolio.review.air import utc
from kilnfolio.review.dossier import Dossier, Finding
from kilnfolio.review.figures import NOTHING, as_entered, customary, measure, metric, number
from kilnfolio.review.findings import CHECKS
from kilnfolio.review.review import build_case, dossier_of
from kilnfolio.runtime.values import dataclass
from kilnfolio.training.anonymous import FIRST_DAY, Scene, anonymous
from kilnfolio.training.faults import FAULTS, Fault, NoRoomForItError, Planted

#: Number of charges that drills are made from.
_SOURCES = 50
#: Number of charges in which to try a fault before giving it up as invisible.
_TRIES = 6

_MOMENT = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d")


@dataclass(frozen=True)
class Place:
    """What a finding points to; a trainee need not give what is empty or None."""

    boards: Sequence[str] = ()
    probe: str = ""
    minutes: tuple[int, int] | None = None
    """Its first and last minute by local time, counted from the midnight before the start."""


@dataclass(frozen=True)
class Found:
    """A check's finding on the planted fault."""

    slug: str
    title: str
    message: str
    place: Place


@dataclass(frozen=True)
class Drill:
    """One drill: what the trainee sees, and the key."""

    number: int
    fault: Fault
    what: str
    """The alteration, in words."""
    found: Sequence[Found]
    """The review's findings; first that of the check that names the fault."""
    facts: Sequence[tuple[str, str]]
    steps: Sequence[Sequence[str]]
    boards: Sequence[Sequence[str]]
    tags: Sequence[str]
    weighings: Sequence[Sequence[str]]
    hand: Sequence[Sequence[str]]
    made: Sequence[str]
    """The operator's actions on the sheet, in order."""
    charts: Sequence[Markup]
    probes: Sequence[str] = ()
    """Core probes of a claimed heat treatment."""

    @property
    def places(self) -> list[dict[str, object]]:
        """What the check that names the fault points to, to compare with the trainee's answer."""
        return [
            {"boards": place.boards, "probe": place.probe, "minutes": place.minutes}
            for place in (one.place for one in self.found if one.slug == self.fault.must)
        ]

    @property
    def anchor(self) -> str:
        """The drill's id on its page."""
        return f"drill-{self.number}"


class Outcome(Protocol):
    """A check's outcome."""

    @property
    def outcome(self) -> str:
        """The outcome, as a word."""


class Candidate(Protocol):
    """The summary of a charge that a drill could be made from."""

    @property
    def checks(self) -> Sequence[Outcome]:
        """The outcomes of its checks."""

    @property
    def weighings(self) -> int:
        """Number of rounds of weighing."""


def sources_of_drills(graph: Graph) -> Sequence[str]:
    """Return the charges drills are made from: the oldest, whose records no longer change."""
    return reading.charges(graph, newest_first=True)[-_SOURCES:]


@derived("scene", keys=sources_of_drills, batch=70)
def scene(graph: Graph, number: str) -> Scene | None:
    """Return a charge as drills show it; None if it has no log."""
    return scene_of(sealed_folder(graph, number) or mill_of(graph), number)


def scene_of(folder: MillFolder, source: str) -> Scene | None:
    """Return a charge as drills show it; None if it has no log."""
    return anonymous(folder, source, "of this drill")


def make_drills(
    folder: MillFolder,
    lines: Mapping[str, Candidate],
    scene: Callable[[str], Scene | None] | None = None,
) -> list[Drill]:
    """Return a drill for every fault that can be planted in one of this mill's charges.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    lines : Mapping
        Summaries of the charges to use. Those with the fewest findings come first, and each is used
        once if there are enough.
    scene : callable, optional
        Replaces `scene_of`, for callers that already have the scenes.
    """
    drills: list[Drill] = []
    # cached, because most faults are tried on several charges
    scene = cache(scene or partial(scene_of, folder))
    sources = sorted(lines, key=lambda name: (_raised(lines[name]), lines[name].weighings, name))
    for fault in FAULTS:
        chance = Random(fault.slug)
        for source, drill in _drills_of(folder, fault, sources, scene, chance, len(drills) + 1):
            drills.append(drill)
            sources.remove(source)
            sources.append(source)  # move it to the end of the queue
            break
    return drills


def drills_by_chance(
    folder: MillFolder,
    sources: Sequence[str],
    seed: int,
    count: int,
    scene: Callable[[str], Scene | None] | None = None,
) -> list[Drill]:
    """Return random drills for a seed: any charge, any fault, anywhere in its record.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    sources : sequence of str
        The charges to make them from.
    seed : int
        The seed; the same seed gives the same drills.
    count : int
        How many drills. As far as charges allow, no fault is repeated before all have been used.
    scene : callable, optional
        Replaces `scene_of`, for callers that already have the scenes.

    Returns
    -------
    list of Drill
        Fewer, or none, if no charge of the mill can show any of the faults.
    """
    chance, scene = Random(seed), cache(scene or partial(scene_of, folder))
    drills: list[Drill] = []
    while len(drills) < count:
        before = len(drills)
        for fault in chance.sample(FAULTS, len(FAULTS)):
            order = chance.sample(list(sources), len(sources))
            made = _drills_of(folder, fault, order, scene, chance, len(drills) + 1)
            drills += [drill for _, drill in islice(made, 1)]
            if len(drills) == count:
                break
        if len(drills) == before:
            break
    return drills


def _drills_of(
    folder: MillFolder,
    fault: Fault,
    sources: Sequence[str],
    scene: Callable[[str], Scene | None],
    chance: Random,
    place: int,
) -> Iterator[tuple[str, Drill]]:
    """Yield drills of a fault with their charges, up to the limit of tries."""
    for source, whole, planted in islice(_tries(folder, fault, sources, scene, chance), _TRIES):
        if drill := _drill(folder, source, whole, planted, fault, place):
            yield source, drill


def _raised(line: Candidate) -> int:
    return sum(one.outcome in ("question", "fail") for one in line.checks)


def _tries(
    folder: MillFolder,
    fault: Fault,
    sources: Sequence[str],
    scene: Callable[[str], Scene | None],
    chance: Random,
) -> Iterator[tuple[str, Scene, Planted]]:
    """Yield the charges in which a fault can be planted, with it planted."""
    for source in sources:
        if whole := scene(source):
            with suppress(NoRoomForItError):
                yield source, whole, fault.plant(whole, _steps_of(folder, whole), chance)


def _steps_of(folder: MillFolder, scene: Scene) -> Sequence[PlannedStep]:
    schedule = folder.schedules[scene.charge.schedule].record
    pressure = mill_pressure(folder)
    return regional_format(folder.mill.record).steps_as_set(
        planned_steps(schedule, folder.steps_of(schedule), pressure), pressure
    )


def _drill(
    folder: MillFolder, source: str, scene: Scene, planted: Planted, fault: Fault, place: int
) -> Drill | None:
    """Return a drill, or None if the fault is not found or not the only one found."""
    before, after = (_reviewed(folder, source, one) for one in (scene, planted.scene))
    found = _found(planted.scene, before, after, fault)
    if not found or found[0].slug != fault.must or not _only_fault(before, found, fault):
        return None
    return _shown(folder, planted, fault, place, after, found)


def _only_fault(before: Dossier, found: Sequence[Found], fault: Fault) -> bool:
    """Return whether the review finds this fault and nothing that suggests another."""
    signs = frozenset().union(*({one.must, *one.also} for one in FAULTS))
    own = {one.check for one in before.findings if one.outcome in ("question", "fail")}
    return own.isdisjoint(signs) and {one.slug for one in found} <= {fault.must, *fault.also}


def _reviewed(folder: MillFolder, source: str, scene: Scene) -> Dossier:
    located = Located(scene.charge, folder.charges[source].document)
    return dossier_of(folder, build_case(folder, located, scene.log))


def _found(scene: Scene, before: Dossier, after: Dossier, fault: Fault) -> list[Found]:
    """Return the findings on the altered charge that the original does not have."""
    known = {(finding.check, finding.message) for finding in before.findings}
    new = [finding for finding in after.findings if _new(finding, known)]
    new.sort(key=lambda finding: finding.check != fault.must)
    return [
        Found(
            finding.check,
            CHECKS[finding.check].title,
            _by_days(scene, finding.message),
            _place(scene, finding),
        )
        for finding in new
    ]


def _new(finding: Finding, known: set[tuple[str, str]]) -> bool:
    return finding.outcome in ("question", "fail") and (finding.check, finding.message) not in known


def _place(scene: Scene, finding: Finding) -> Place:
    """Return what a finding points to: its boards or probe, and the times it names."""
    tags = {board.id for board in scene.charge.boards}
    moments = [_moment(scene, match) for match in _MOMENT.findall(finding.message)]
    if finding.at:
        moments.append(finding.at)
        if finding.unit == "h" and finding.value:
            moments.append(finding.at + dt.timedelta(hours=finding.value))
    minutes = [_minute(scene, moment) for moment in moments]
    return Place(
        [word for word in finding.subject.split(" and ") if word in tags],
        finding.subject if finding.subject in _probes(scene) else "",
        (min(minutes), max(minutes)) if minutes else None,
    )


def _probes(scene: Scene) -> list[str]:
    claim = scene.charge.heat_treatment
    return [probe.channel for probe in claim.probes] if claim else []


def _minute(scene: Scene, moment: dt.datetime) -> int:
    """Return a time as minutes of local time since the midnight before the start."""
    local = moment.astimezone(scene.zone)
    return 1440 * (local.date() - FIRST_DAY).days + 60 * local.hour + local.minute


def _moment(scene: Scene, words: str) -> dt.datetime:
    return dt.datetime.strptime(words, "%Y-%m-%d %H:%M").replace(tzinfo=scene.zone)


def _by_days(scene: Scene, text: str) -> str:
    """Return a text with its times given as days of the drill."""
    return _MOMENT.sub(lambda match: scene.day(_moment(scene, match[0])), text)


# --- what the trainee sees ------------------------------------------------------------------------


def _shown(
    folder: MillFolder,
    planted: Planted,
    fault: Fault,
    place: int,
    dossier: Dossier,
    found: Sequence[Found],
) -> Drill:
    scene = planted.scene
    charge, regional = scene.charge, regional_format(folder.mill.record)
    return Drill(
        place,
        fault,
        planted.what,
        found,
        [
            (regional.term("Timber"), ", ".join(_timber(folder, scene))),
            ("Target", f"{charge.target_mc.value:g} % MC"),
            ("Steps go by", charge.control_rule),
            ("Length", f"{(charge.ended - charge.started).total_seconds() / 86400.0:.0f} days"),
        ],
        [*_steps(regional, _steps_of(folder, scene))],
        [*_boards(scene)],
        [board.id for board in charge.boards],
        [_weighing(scene, one) for one in charge.weighings],
        [*_hand(regional, scene)],
        [*_made(scene)],
        [*_charts(scene, dossier, place, regional)],
        _probes(scene),
    )


def _timber(folder: MillFolder, scene: Scene) -> Iterator[str]:
    for stock in scene.charge.stock:
        species = folder.species[stock.species].record
        yield f"{species.trade_name} {as_entered(stock.thickness)}, {stock.start}"


def _steps(regional: RegionalFormat, steps: Sequence[PlannedStep]) -> Iterator[Sequence[str]]:
    for step in steps:
        due = "start" if step.number == 1 else measure(step.from_mc_pct, "%", 0)
        if step.number > 1 and step.from_mc_pct is None:
            due = f"after {steps[step.number - 2].hours or 0.0:g} h"
        yield (
            str(step.number),
            due,
            *_bulb(regional, step.air.dry_bulb_c),
            *_bulb(regional, step.air.wet_bulb_c),
            measure(step.air.emc_pct, "%", 1),
        )


def _bulb(regional: RegionalFormat, temp_c: float) -> tuple[str, str]:
    return regional.ordered(metric(temp_c, Temperature), customary(temp_c, Temperature))


def _boards(scene: Scene) -> Iterator[Sequence[str]]:
    """Yield each board's row: its sections (green, oven-dry, MC), then the board itself."""
    most = max((len(board.sections) for board in scene.charge.boards), default=0)
    for board in scene.charge.boards:
        cells = [
            _entered(value)
            for section in board.sections
            for value in (section.green, section.oven_dry, section.stated_mc)
        ]
        cells += [NOTHING] * (3 * most - len(cells))
        yield (board.id, *cells, _entered(board.green_mass), _entered(board.stated_oven_dry_mass))


def _entered(value: object) -> str:
    return getattr(value, "entered", NOTHING)


def _weighing(scene: Scene, weighing: Weighing) -> Sequence[str]:
    stated = weighing.stated_controlling_mc
    return (
        scene.day(weighing.at),
        *(
            number(weighing.masses[board.id].value, 0) if board.id in weighing.masses else NOTHING
            for board in scene.charge.boards
        ),
        number(stated.value if stated else None, 1),
    )


def _hand(regional: RegionalFormat, scene: Scene) -> Iterator[Sequence[str]]:
    """Yield the bulbs read by hand, with the log's values at the same time."""
    log, of = scene.log, regional.temperature_scale.of
    for hand in scene.charge.hand_readings:
        index = int(np.searchsorted(log.times, utc(hand.at)))
        near = min(index, len(log.times) - 1)
        close = abs((log.times[near] - utc(hand.at)).astype(int)) <= 3600
        yield (
            scene.day(hand.at),
            *(number(of(bulb.value), 1) for bulb in (hand.dry_bulb, hand.wet_bulb)),
            *(
                number(of(float(log.channels[name][near])), 1)
                if close and name in log.channels
                else NOTHING
                for name in ("dry-bulb", "wet-bulb")
            ),
        )


def _made(scene: Scene) -> Iterator[str]:
    """Yield the operator's actions, oldest first."""
    charge = scene.charge
    done = [(one.at, f"step {one.step} set") for one in charge.step_changes]
    done += [(one.at, one.kind) for one in charge.events if one.kind != "note"]
    done += [(one.start, f"kiln stopped until {scene.day(one.end)}") for one in charge.stops]
    for name in ("equalizing", "conditioning"):
        stage = getattr(charge, name)
        if stage:
            air = f"{as_entered(stage.dry_bulb)}, EMC {stage.emc.value:g} %"
            done += [(stage.start, f"{name} begun: {air}"), (stage.end, f"{name} ended")]
    claim = charge.heat_treatment
    if claim:
        done.append(
            (
                charge.ended,
                f"heat treatment claimed: {as_entered(claim.threshold)}, "
                f"{claim.minutes:g} min, {len(claim.probes)} core probes",
            )
        )
    for at, words in sorted(done, key=lambda one: one[0]):
        yield f"{scene.day(at)}: {words}"


def _charts(
    scene: Scene, dossier: Dossier, place: int, regional: RegionalFormat
) -> Iterator[Markup]:
    """Yield the charts, with ids unique to the drill and time counted in days."""
    for name, chart in (
        ("charge-chart", charge_chart(dossier, scene.zone, regional, dated=False)),
        ("core-chart", core_chart(dossier, scene.zone, regional)),
    ):
        if not chart:
            continue
        words = str(chart).replace(f'"{name}', f'"drill-{place}-{name}')
        words = words.replace(f" {name}-desc", f" drill-{place}-{name}-desc")
        words = re.sub(r"(hours) from [^<]*", r"\1 from the start", words)
        # a read-out would show dates, but drills count days
        words = re.sub(
            r' data-from="([^"]+)"',
            lambda found: f' data-minute="{_minute(scene, dt.datetime.fromisoformat(found[1]))}"',
            words,
        )
        yield Markup(re.sub(r' data-read(?:out)?="[^"]*"', "", words))
