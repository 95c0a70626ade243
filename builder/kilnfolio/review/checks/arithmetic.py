"""Arithmetic and physics: what the masses and bulbs show, compared with what the sheet says."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from kilnfolio.physics.air import relative_humidity
from kilnfolio.physics.moisture import (
    maximum_moisture_content,
    moisture_content,
    wet_basis,
)
from kilnfolio.physics.sorption import equilibrium_moisture_content
from kilnfolio.physics.survey import chance_above
from kilnfolio.records.charge import HandReading
from kilnfolio.records.middle import median
from kilnfolio.review.boards import BoardHistory, Weighed, possible
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check
from kilnfolio.review.measures import measure
from kilnfolio.review.swaps import swapped_tags

_GROUP = "arithmetic and physics"
#: A path in the record of a charge.
_Path = tuple[str | int, ...]


@check(
    "wet-bulb-above-dry-bulb",
    title="Wet bulb above dry bulb",
    group=_GROUP,
    severity="fail",
    answers=("instrument at fault",),
    limits=("wet-bulb-above-dry-bulb",),
    source="common practice",
    reason="A wetted thermometer can be as warm as the dry one, never warmer. If it is, the two "
    "are swapped or one is faulty, and every humidity since is worthless.",
    passes="The wet bulb was never above the dry bulb.",
)
def wet_bulb_above_dry_bulb(case: Case) -> Results:
    air = case.need_air()
    if not (np.isfinite(air.wet_bulb) & np.isfinite(air.dry_bulb)).any():
        raise NoData("the log has no pair of bulbs")
    allowed = case.limits.value("wet-bulb-above-dry-bulb")
    excess = air.wet_bulb - air.dry_bulb
    for run in air.stretches(excess > allowed):
        worst = float(np.nanmax(excess[run.first : run.last + 1]))
        yield Breach(
            f"Wet bulb is above dry bulb by up to {worst:.1f} K from "
            f"{case.clock(air.times[run.first])} "
            f"to {case.clock(air.times[run.last])}: swapped or faulty.",
            (air.log.place(run.first),),
            "wet-bulb",
            worst,
            allowed,
            "K",
            at=air.times[run.first],
        )
    if np.isfinite(excess).any():
        most = float(np.nanmax(excess))
        yield Pass(
            f"The wet bulb was never more than {allowed:g} K above the dry bulb; the "
            f"nearest it came was {abs(most):.1f} K {'above' if most > 0 else 'below'} it."
        )


@check(
    "humidity-disagrees",
    title="Logged humidity against the bulbs",
    group=_GROUP,
    severity="question",
    limits=("humidity-disagrees",),
    source="common practice; compare wengert-extension",
    reason="Two ways of measuring the same air must agree. Where they differ, one instrument is "
    "drifting or the wick is dry.",
    passes="Humidity by the bulbs and by the sensor agree.",
)
def humidity_disagrees(case: Case) -> Results:
    air = case.need_air()
    sensor = air.log.channels.get("relative-humidity")
    if sensor is None or not np.isfinite(air.wet_bulb).any():
        raise NotApplicable("the log has no humidity sensor beside the bulbs")
    allowed = case.limits.value("humidity-disagrees")
    difference = np.abs(sensor - air.relative_humidity)
    known = difference[np.isfinite(difference)]
    if not known.size:
        raise NoData("the humidity sensor and the bulbs have no reading in common")
    typical = median(known)
    if typical > allowed:
        yield Breach(
            f"Humidity readings disagree by {typical:.1f} points.",
            (air.log.place(0),),
            "relative-humidity",
            typical,
            allowed,
            "points",
            at=air.times[0],
        )
    yield Pass(
        f"Humidity by the bulbs and by the sensor differ by {typical:.1f} points (median of all "
        "readings)."
    )


def hand_air(case: Case, reading: HandReading) -> tuple[float, float] | None:
    """Return RH and EMC [%] of bulbs read by hand; None where both cannot be right."""
    return _air_of(reading.dry_bulb.value, reading.wet_bulb.value, case.pressure_pa)


@lru_cache(maxsize=1024)  # several checks ask, and each again for every limit that is tried
def _air_of(dry_c: float, wet_c: float, pressure_pa: float) -> tuple[float, float] | None:
    if wet_c > dry_c:
        return None
    try:
        humidity = relative_humidity(dry_c, wet_c, pressure_pa)
    except ValueError:
        return None
    return humidity, equilibrium_moisture_content(dry_c, humidity)


@check(
    "stated-emc",
    title="EMC on the sheet against the bulbs",
    group=_GROUP,
    severity="question",
    limits=("stated-emc-low", "stated-emc-high", "stated-emc-high-from"),
    source="common practice; table against equation differ by up to 0.9 point (simpson-1971)",
    reason="An EMC read from the wrong row of a table makes the next set-point wrong too.",
    passes="Every EMC on the sheet follows from its bulbs.",
)
def stated_emc(case: Case) -> Results:
    readings = [
        (i, reading, reading.stated_emc.value)
        for i, reading in enumerate(case.charge.hand_readings)
        if reading.stated_emc is not None
    ]
    if not readings:
        raise NotApplicable("no hand reading states an EMC")
    high_from = case.limits.value("stated-emc-high-from")
    for index, reading, said in readings:
        place = (case.place("hand_readings", index, "stated_emc"),)
        found = hand_air(case, reading)
        if found is None:
            yield Breach(
                f"The bulbs of {case.clock(reading.at)} cannot both be right: "
                f"{reading.dry_bulb.entered} and {reading.wet_bulb.entered}.",
                place,
                at=reading.at,
            )
            continue
        emc = found[1]
        allowed = case.limits.value("stated-emc-high" if emc > high_from else "stated-emc-low")
        if abs(said - emc) > allowed:
            yield Breach(
                f"Sheet EMC {said:.1f} %; readings of {case.clock(reading.at)} give {emc:.1f} %.",
                place,
                "hand reading",
                said - emc,
                allowed,
                "points",
                at=reading.at,
            )
    yield Pass(f"Each of {len(readings)} EMC values on the sheet follows from its bulbs.")


@check(
    "stated-mc",
    title="MC on the sheet against the masses",
    group=_GROUP,
    severity="fail",
    limits=("stated-mc",),
    source="common practice",
    reason="MC = 100 × (mass − oven-dry mass) ÷ oven-dry mass. A slip here can trigger a step.",
    passes="Every MC on the sheet follows from its masses.",
)
def stated_mc(case: Case) -> Results:
    case.need_boards()
    stated, usable = _stated(case)
    if not stated:
        raise NotApplicable("the sheet states no MC")
    allowed = case.limits.value("stated-mc")
    for item, mc in usable:
        if abs(item.said_pct - mc) > allowed:
            yield Breach(
                f"{_named(case, item.path)}: MC should be {mc:.1f} %, not {item.said_pct:.1f} %.",
                (case.place(*item.path),),
                item.board,
                item.said_pct - mc,
                allowed,
                "points",
                at=_moment(case, item.path),
            )
    if not usable:
        raise NoData("no mass beside a stated MC gives an MC")
    yield Pass(
        f"Each of {len(usable)} MC values on the sheet follows from its masses to within "
        f"{allowed:g} points."
    )


def _moment(case: Case, path: _Path) -> dt.datetime | None:
    """Return the time of a value on the sheet; None for a section, which has no time."""
    match path:
        case ("weighings", int(index), *_):
            return case.charge.weighings[index].at
    return None


class _Stated(NamedTuple):
    """An MC on the sheet, with the masses from which it should follow."""

    board: str
    mass_g: float
    dry_g: float
    said_pct: float
    path: _Path
    section: str = ""


@measure
def _stated(case: Case) -> tuple[int, list[tuple[_Stated, float]]]:
    """Return how many MCs the sheet states, and those with possible masses with the MC of these."""
    stated = [*_stated_of_sections(case), *_stated_of_weighings(case)]
    usable = [item for item in stated if possible(item.mass_g, item.dry_g)]
    if not usable:
        return len(stated), []
    mcs = moisture_content(
        np.array([item.mass_g for item in usable]), np.array([item.dry_g for item in usable])
    )
    return len(stated), list(zip(usable, mcs.tolist(), strict=True))


def _stated_of_sections(case: Case) -> Iterator[_Stated]:
    for index, board in enumerate(case.charge.boards):
        for number, section in enumerate(board.sections):
            if section.stated_mc is not None:
                yield _Stated(
                    board.id,
                    section.green.value,
                    section.oven_dry.value,
                    section.stated_mc.value,
                    ("boards", index, "sections", number, "stated_mc"),
                    section.id,
                )


def _stated_of_weighings(case: Case) -> Iterator[_Stated]:
    dry = {history.board.id: _sheet_dry_mass(history) for history in case.boards}
    for index, weighing in enumerate(case.charge.weighings):
        for name, said in weighing.stated_mc.items():
            if name in weighing.masses and name in dry:
                yield _Stated(
                    name,
                    weighing.masses[name].value,
                    dry[name],
                    said.value,
                    ("weighings", index, "stated_mc", name),
                )


def _sheet_dry_mass(history: BoardHistory) -> float:
    """Return the oven-dry mass the operator worked with, so that each error is reported once."""
    said = history.board.stated_oven_dry_mass
    return said.value if said else history.oven_dry_g


@check(
    "stated-oven-dry-mass",
    title="Oven-dry mass on the sheet against the sections",
    group=_GROUP,
    severity="fail",
    limits=("stated-oven-dry-mass",),
    source="common practice",
    reason="Every later MC of the board rests on this one figure.",
    passes="Every oven-dry mass on the sheet follows from its sections.",
)
def stated_oven_dry_mass(case: Case) -> Results:
    stated = [
        (i, history, history.board.stated_oven_dry_mass.value)
        for i, history in enumerate(case.need_boards())
        if history.board.stated_oven_dry_mass is not None
    ]
    if not stated:
        raise NotApplicable("the sheet states no oven-dry mass")
    allowed = case.limits.value("stated-oven-dry-mass")
    for index, history, said in stated:
        off = 100.0 * abs(said - history.oven_dry_g) / history.oven_dry_g
        if off > allowed:
            yield Breach(
                f"Board {history.board.id}: oven-dry mass should be "
                f"{history.oven_dry_g:.0f} g, not {said:.0f} g.",
                (case.place("boards", index, "stated_oven_dry_mass"),),
                history.board.id,
                off,
                allowed,
                "%",
            )
    yield Pass(
        f"Each of {len(stated)} oven-dry masses on the sheet follows from its sections to "
        f"within {allowed:g} %."
    )


@check(
    "wet-basis",
    title="MC on the wet basis",
    group=_GROUP,
    severity="fail",
    limits=("wet-basis",),
    source="en-13183-1, formula",
    reason="Timber MC is a share of the oven-dry mass. On the wet basis 25 % reads 20 %.",
    passes="No stated MC looks like the wet basis.",
)
def wet_basis_suspected(case: Case) -> Results:
    near = case.limits.value("wet-basis")
    stated = _sections_on_wet_basis(case)
    if not stated:
        raise NotApplicable("no section states an MC")
    for item, mc, wet_mc in stated:
        if abs(item.said_pct - wet_mc) <= near < abs(item.said_pct - mc):
            yield Breach(
                f"Section {item.section}: this looks like wet-basis MC: {item.said_pct:.1f} % is "
                f"{mc:.1f} % on the oven-dry mass.",
                (case.place(*item.path),),
                item.board,
                item.said_pct,
                mc,
                "%",
            )
    yield Pass(f"None of {len(stated)} MC values stated for sections fits the wet basis.")


@measure
def _sections_on_wet_basis(case: Case) -> list[tuple[_Stated, float, float]]:
    """Return the sections with a stated MC, their MC, and the same on the wet basis [%]."""
    stated = [(item, mc) for item, mc in _stated(case)[1] if item.section]
    wet = np.atleast_1d(wet_basis(np.array([mc for _, mc in stated])))
    return [(item, mc, wet_mc) for (item, mc), wet_mc in zip(stated, wet.tolist(), strict=True)]


@check(
    "mass-below-oven-dry",
    title="Mass below oven-dry",
    group=_GROUP,
    severity="fail",
    answers=(),
    source="common practice",
    reason="No board can weigh less than its own dry wood: this mass is wrong, or the oven-dry "
    "mass is.",
    passes="No mass is below its oven-dry mass.",
)
def mass_below_oven_dry(case: Case) -> Results:
    for index, history in enumerate(case.need_boards()):
        for number, section in enumerate(history.board.sections):
            if section.green.value < section.oven_dry.value:
                yield Breach(
                    f"Section {section.id} of board {history.board.id} weighs less green than "
                    "oven-dry: are the two swapped?",
                    (case.place("boards", index, "sections", number, "green"),),
                    history.board.id,
                    section.green.value,
                    section.oven_dry.value,
                    "g",
                )
    dry = {history.board.id: history.oven_dry_g for history in case.boards}
    for index, weighing in enumerate(case.charge.weighings):
        for name, mass in weighing.masses.items():
            if mass.value < dry.get(name, 0.0):
                yield Breach(
                    f"Board {name} weighs less than bone dry on {case.clock(weighing.at)}: "
                    f"{mass.entered} against {dry[name]:.0f} g.",
                    (case.place("weighings", index, "masses", name),),
                    name,
                    mass.value,
                    dry[name],
                    "g",
                    at=weighing.at,
                )
    count = sum(len(weighing.masses) for weighing in case.charge.weighings)
    yield Pass(f"None of {count} masses of {len(case.boards)} boards is below its oven-dry mass.")


@check(
    "drier-than-the-air-allows",
    title="Drier than the air allowed",
    group=_GROUP,
    severity="question",
    limits=("drier-than-the-air-allows",),
    source="common practice",
    reason="Timber dries toward the EMC of its air and stops there. A board below it has a "
    "wrong oven-dry mass, or the air readings are wrong.",
    passes="No board is drier than the air allowed.",
)
def drier_than_the_air_allows(case: Case) -> Results:
    case.need_air()
    margin = case.limits.value("drier-than-the-air-allows")
    looked = 0
    case.need_boards()
    for history, weighed in _in_air(case):
        for point, driest in weighed:
            looked += 1
            if point.mc_pct < driest - margin:
                yield Breach(
                    f"Board {history.board.id} at {point.mc_pct:.1f} % on "
                    f"{case.clock(point.at)} is drier than the air allowed "
                    f"({driest:.1f} % EMC at the driest): recheck its oven-dry mass.",
                    case.weighing_place(point.at, history.board.id),
                    history.board.id,
                    driest - point.mc_pct,
                    margin,
                    "points",
                    at=point.at,
                )
                break
    if not looked:
        raise NoData("no weighing falls within the log")
    yield Pass(
        f"No board at any of {looked} weighings was more than {margin:g} point below the "
        "driest EMC its air had had."
    )


@measure
def _in_air(case: Case) -> list[tuple[BoardHistory, list[tuple[Weighed, float]]]]:
    """Return each board's weighings with the driest EMC that its air had had by then [%].

    Those before the first EMC in the log are left out.
    """
    air, found = case.need_air(), list[tuple[BoardHistory, list[tuple[Weighed, float]]]]()
    lowest = np.fmin.accumulate(np.where(np.isfinite(air.emc), air.emc, np.inf))
    lowest = np.concatenate([[np.inf], lowest])
    for history in case.boards:
        points = history.points[1:]
        moments = [point.at.timestamp() for point in points]
        driest = lowest[np.searchsorted(air.seconds, moments, side="right")].tolist()
        pairs = zip(points, driest, strict=True)
        found.append((history, [one for one in pairs if math.isfinite(one[1])]))
    return found


@check(
    "gained-weight-while-drying",
    title="Mass gained while drying",
    group=_GROUP,
    severity="question",
    limits=("gained-weight-while-drying", "gained-weight-clear-of-emc"),
    source="common practice",
    reason="While the air's EMC is below its MC a board can only lose water. A gain means a "
    "mis-read scale, a swapped tag, or rewetting.",
    passes="No board gained mass while the air was drying it.",
)
def gained_weight_while_drying(case: Case) -> Results:
    allowed = case.limits.value("gained-weight-while-drying")
    # when two boards are swapped, one seems to gain; boards that merely dry differently do not
    swapped = [swap for swap in swapped_tags(case) if swap.gain_pct > allowed]
    for swap in swapped:
        yield Breach(
            f"Boards {swap.first} and {swap.second}: the masses of {case.clock(swap.at)} would fit "
            f"if their tags were swapped {swap.how}.",
            (*case.weighing_place(swap.at, swap.first), *case.weighing_place(swap.at, swap.second)),
            f"{swap.first} and {swap.second}",
            swap.gain_pct,
            allowed,
            "%",
            at=swap.at,
        )
    case.need_boards()
    gains = _gains(case)
    for board, gain, before, after in gains:
        if gain <= allowed or any(swap.covers(board, after.at) for swap in swapped):
            continue
        if _air_was_drying(case, before, after):
            yield Breach(
                f"Board {board} gained {after.mass_g - before.mass_g:.0f} g between "
                f"{case.clock(before.at)} and {case.clock(after.at)} while drying.",
                (*case.weighing_place(before.at, board), *case.weighing_place(after.at, board)),
                board,
                gain,
                allowed,
                "%",
                at=after.at,
            )
    if not gains:
        raise NoData("no board was weighed twice")
    yield Pass(
        f"Between {len(gains)} pairs of weighings no board gained more than {allowed:g} % while "
        "the air was drying it."
    )


@measure
def _gains(case: Case) -> list[tuple[str, float, Weighed, Weighed]]:
    """Return each board's gain between every two weighings [%], negative where it lost, and these."""
    return [
        (
            history.board.id,
            100.0 * (after.mass_g - before.mass_g) / before.mass_g,
            before,
            after,
        )
        for history in case.boards
        for before, after in pairwise(history.points)
    ]


def _air_was_drying(case: Case, before: Weighed, after: Weighed) -> bool:
    """Return whether the EMC stayed well below the board's MC between two weighings.

    Near it, the faces, which are drier than the whole board, may take up water.
    """
    if case.air is None:
        return True
    emc = case.air.emc[case.air.within(before.at, after.at)]
    clear = case.limits.value("gained-weight-clear-of-emc")
    return not np.isfinite(emc).any() or float(np.nanmax(emc)) < before.mc_pct - clear


@check(
    "wetter-than-wood-can-be",
    title="More water than wood can hold",
    group=_GROUP,
    severity="fail",
    answers=(),
    limits=("wetter-than-wood-can-be",),
    source="wood-handbook, eq. 4-3",
    reason="Even with every cell full, wood holds only so much water; its specific gravity says "
    "how much. More than that means a slipped digit or a wrong unit.",
    passes="No board or section holds more water than its wood has room for.",
)
def wetter_than_wood_can_be(case: Case) -> Results:
    known = 0
    for index, board in enumerate(case.charge.boards):
        gravity = case.species[case.stock_of(board).species].basic_specific_gravity
        if gravity is None:
            continue
        known += 1
        most = maximum_moisture_content(gravity) * case.limits.value("wetter-than-wood-can-be")
        wettest, each = _every_mc(case, index)
        for mc, path in each if wettest > most else ():
            if mc > most:
                yield Breach(
                    f"{_named(case, path)} at {mc:.0f} % MC is wetter than the wood can be "
                    f"({most:.0f} %): check the mass and its unit.",
                    (case.place(*path),),
                    board.id,
                    mc,
                    most,
                    "%",
                    at=_moment(case, path),
                )
    if not known:
        raise NoData("no board is on record whose species sheet gives a specific gravity")
    yield Pass(
        f"No mass of {known} boards or of their sections holds more water than its wood has "
        "room for."
    )


@measure
def _every_mc(case: Case, index: int) -> tuple[float, list[tuple[float, _Path]]]:
    """Return the highest MC of a board and its sections, and each with the path of its mass [%]."""
    each = [(100.0 * (mass / dry - 1.0), path) for mass, dry, path in _every_mass(case, index)]
    return max((mc for mc, _ in each), default=0.0), each


def _every_mass(case: Case, index: int) -> Iterator[tuple[float, float, _Path]]:
    """Yield each mass of a board and its sections, with the oven-dry mass and the path."""
    board, dry = case.charge.boards[index], case.boards[index].oven_dry_g
    for number, section in enumerate(board.sections):
        path: _Path = ("boards", index, "sections", number, "green")
        yield section.green.value, section.oven_dry.value, path
    if np.isfinite(dry):
        for number, weighing in enumerate(case.charge.weighings):
            if board.id in weighing.masses:
                yield (
                    weighing.masses[board.id].value,
                    dry,
                    ("weighings", number, "masses", board.id),
                )


def _named(case: Case, path: _Path) -> str:
    """Return in words what a mass or an MC on the sheet belongs to."""
    match path:
        case ("boards", int(index), "sections", int(number), _):
            board = case.charge.boards[index]
            return f"Section {board.sections[number].id} of board {board.id}"
        case (_, int(number), _, str(board_id)):
            return f"Board {board_id} on {case.clock(case.charge.weighings[number].at)}"
    raise ValueError(f"no mass stands at {path}")


@check(
    "water-balance",
    title="Water lost against water collected",
    group=_GROUP,
    severity="note",
    limits=("water-balance", "loading-temperature"),
    source="common practice",
    reason="The water that the boards lost must have gone somewhere. Much less in the drain points "
    "to vents or leaks; much more, to a wrong volume or wrong boards.",
    passes="The water collected agrees with what the boards lost.",
)
def water_balance(case: Case) -> Results:
    if case.charge.condensate is None:
        if case.kiln.kind == "dehumidification":
            raise NoData("no collected water is on record")
        raise NotApplicable(f"a {case.kiln.kind} kiln collects no water")
    if case.water is None:
        raise NoData(
            "boards, survey or density are missing, so nobody knows how much water was lost"
        )
    collected = 1000.0 * case.charge.condensate.value  # a cubic metre of water is a tonne
    off = 100.0 * (collected - case.water.water_kg) / case.water.water_kg
    allowed = case.limits.value("water-balance")
    if abs(off) > allowed:
        yield Breach(
            f"Water balance is out by {off:+.0f} %: {collected:.0f} kg collected, the "
            f"boards and the survey say {case.water.water_kg:.0f} kg.",
            (case.place("condensate"),),
            "water",
            off,
            allowed,
            "%",
        )
    yield Pass(
        f"{collected:.0f} kg of water were collected; the boards and the survey say "
        f"{case.water.water_kg:.0f} kg ({off:+.0f} %)."
    )


@check(
    "hand-weights-rounded",
    title="Hand weights look rounded",
    group=_GROUP,
    severity="note",
    limits=("hand-weights-rounded", "hand-weights-rounded-count"),
    source="common practice; chi-square test of the last digit",
    reason="A scale shows every last digit about equally often. If some are missing, weights were "
    "rounded by eye or copied out of habit.",
    passes="The last digits of the hand weights are spread as a scale would give them.",
)
def hand_weights_rounded(case: Case) -> Results:
    if case.charge.scale_resolution is None:
        raise NoData("the resolution of the board scale is not on record")
    masses = [mass.value for weighing in case.charge.weighings for mass in weighing.masses.values()]
    least = case.limits.value("hand-weights-rounded-count")
    if len(masses) < least:
        raise NoData(f"{len(masses)} hand weights are too few to tell; {least:g} are needed")
    digits = np.round(np.array(masses) / case.charge.scale_resolution.value).astype(np.int64) % 10
    counts, expected = np.bincount(digits, minlength=10), len(masses) / 10
    chance = chance_above(float(np.sum((counts - expected) ** 2) / expected), 9)
    allowed = case.limits.value("hand-weights-rounded")
    if chance < allowed:
        share = 100.0 * counts.max() / len(masses)
        yield Breach(
            f"Hand weights look rounded: {share:.0f} % of {len(masses)} share one "
            "last digit; please confirm.",
            (case.place("weighings"),),
            "weights",
            chance,
            allowed,
            "probability",
        )
    yield Pass(
        f"The last digits of {len(masses)} hand weights are spread as a scale would give them."
    )
