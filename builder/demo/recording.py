"""The records of charges and lots, as people at the mill would write them."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from demo import scenario
from demo.instruments import (
    BALANCE_STEP_G,
    HAND_KELVIN,
    METER_CALIBRATION_C,
    SCALE_STEP_G,
    CutSection,
    cut_sections,
    rounded,
    weigh,
)
from demo.plans import ChargePlan, LotPlan, RunningPlan
from demo.timber import ROUGH_OVER_NOMINAL
from demo.yamltext import Line
from kilnfolio.physics.air import relative_humidity
from kilnfolio.physics.sorption import equilibrium_moisture_content
from kilnfolio.records.quantities import Length, celsius_from_fahrenheit, fahrenheit_from_celsius

if TYPE_CHECKING:
    from demo.simulate import MadeCharge, Making

HAND_STEP_C, HAND_STEP_F = 0.1, 0.5
#: Stress in green-dried 4/4 before conditioning, as movement of the prongs, and the limit [mm].
STRESS_BEFORE_MM, STRESS_LIMIT = 5.5, "1/8 in"


def log_name(plan: ChargePlan) -> str:
    """Return the name of a charge's logger file."""
    return f"{plan.kiln}-{plan.id}.csv"


def profile_of(plan: ChargePlan) -> str:
    """Return the logger profile of a charge."""
    if plan.heat_treatment:
        return f"{plan.kiln}-with-cores"
    if plan.moisture_sensors:
        return f"{plan.kiln}-with-{'pins' if plan.moisture_sensors.pins else 'wafer'}"
    return f"{plan.kiln}-export"


def probe_thickness_mm(plan: ChargePlan) -> float:
    """Return the thickness of the thickest piece, where the probes sit [mm]."""
    return round(Length.parse(plan.thickness).value * ROUGH_OVER_NOMINAL + 1.0)


def written(moment: dt.datetime) -> str:
    """Return a time as written on the sheet; with its offset only if the clock repeats it."""
    local = moment.astimezone(scenario.ZONE)
    plain = local.replace(tzinfo=None)
    other = plain.replace(tzinfo=scenario.ZONE, fold=1 - local.fold)
    if other.utcoffset() != local.utcoffset():
        return local.isoformat("T", "minutes")
    return plain.isoformat("T", "minutes")


def pack_numbers(plan: ChargePlan, positions: list[str]) -> dict[str, str]:
    """Return pack numbers with their positions."""
    return {
        f"{plan.id}-{number:02d}": position for number, position in enumerate(positions, start=1)
    }


def _head(making: Making) -> dict[str, Any]:
    """Return what a record says before its charge ends."""
    plan = making.plan
    return {
        "format": 1,
        "id": plan.id,
        "invented": True,
        "kiln": plan.kiln,
        "schedule": plan.schedule,
        "schedule_revision": making.library.schedules[plan.schedule].revision,
        "stock": [_stock(making)],
        "target_mc": f"{plan.target_mc:g} %",
        "stacking": _stacking(making),
        "loaded": written(plan.started - dt.timedelta(hours=17)),
        "started": written(plan.started),
    }


def _step_changes(making: Making) -> list[Line]:
    return [
        Line(at=written(making.moment(minute)), step=number, by=_who(making, minute), reason=reason)
        for minute, number, reason in making.sheet.steps
    ]


def charge_record(
    making: Making, cooled_hours: float
) -> tuple[dict[str, Any], dt.datetime, dt.datetime]:
    """Return the record of a charge, and when it was unloaded and surveyed."""
    plan, sheet = making.plan, making.sheet
    ended = making.moment(sheet.ended)
    unloaded = _at(ended + dt.timedelta(hours=cooled_hours + 0.5))
    surveyed = _office_hour(unloaded, plan.survey.days_after, 9, 40)
    survey, stress, defects = _findings(making, surveyed)
    record = {
        **_head(making),
        "ended": written(ended),
        "unloaded": written(unloaded),
        "cooled_for": f"{cooled_hours:g} h",
        "control_rule": "wettest half",
        "board_scale": "board-scale",
        "scale_resolution": f"{SCALE_STEP_G:g} g",
        "balance_resolution": f"{BALANCE_STEP_G:g} g",
        "boards": _boards(making, unloaded),
        "weighings": _weighings(making),
        "log": [Line(file=log_name(plan), profile=profile_of(plan))],
        "hand_readings": _hand_readings(making),
        "step_changes": _step_changes(making),
        "stops": _stops(making),
        "events": _events(making),
        "equalizing": _stage(making, sheet.equalizing),
        "conditioning": _stage(making, sheet.conditioning),
        "survey": survey,
        "stress": stress,
        "defects": defects,
        "heat_treatment": _heat_treatment(making, unloaded),
        "energy": f"{round(making.kiln.chamber.energy_kwh, -1):.0f} kWh",
        "meter_readings": _meter_readings(making),
        "condensate": _condensate(making),
        "signatures": [
            Line(by=scenario.CREW[0], on=unloaded.date().isoformat(), role="kiln operator"),
            Line(
                by=scenario.SUPERVISOR,
                on=(surveyed + dt.timedelta(days=1)).date().isoformat(),
                role="drying supervisor",
            ),
        ],
        "waivers": [
            {
                "check": check,
                "reason": reason,
                "by": scenario.SUPERVISOR,
                "at": written(surveyed + dt.timedelta(days=1)),
            }
            for check, reason in plan.waivers
        ],
        "corrections": _corrections(plan, survey, surveyed),
        "notes": plan.notes,
    }
    return record, unloaded, surveyed


def running_record(making: Making, running: RunningPlan, now: dt.datetime) -> dict[str, Any]:
    """Return the record of a running charge, as far as it is written."""
    plan = making.plan
    boards = _boards(making, now)
    for board in boards:
        if board["id"] in running.in_the_oven:
            board["sections"] = [
                Line(
                    {
                        key: "…" if key == "oven_dry" else value
                        for key, value in section.items()
                        if key != "stated_mc"
                    }
                )
                for section in board["sections"]
            ]
            board["stated_oven_dry_mass"] = None
    weighings = _weighings(making)
    if running.in_the_oven:  # no MC can be worked out before the sections are out of the oven
        weighings = [Line({key: one[key] for key in ("at", "by", "masses")}) for one in weighings]
    minute = (now - plan.started).total_seconds() / 60.0
    events = [
        event
        for event in (_events(making) if making.sheet.rounds else [])
        if event["at"] <= written(now)
    ]
    note = Line(
        at=written(making.moment(minute - 55.0)),
        kind="note",
        by=_who(making, minute - 60.0),
        note=running.note,
    )
    return {
        **_head(making),
        "ended": "…",
        "unloaded": "…",
        "control_rule": "wettest half",
        "board_scale": "board-scale",
        "scale_resolution": f"{SCALE_STEP_G:g} g",
        "balance_resolution": f"{BALANCE_STEP_G:g} g",
        "boards": boards,
        "weighings": weighings,
        "log": [Line(file=log_name(plan), profile=profile_of(plan))],
        "hand_readings": _hand_readings(making),
        "step_changes": _step_changes(making),
        "events": [*events, note],
    }


def _corrections(
    plan: ChargePlan, survey: dict[str, Any], surveyed: dt.datetime
) -> list[dict[str, Any]]:
    wrong = plan.miscopied
    if wrong is None:
        return []
    return [
        {
            "field": f"survey.readings.{wrong.reading}.mc",
            "old": wrong.typed,
            "new": survey["readings"][wrong.reading]["mc"],
            "reason": "Typed wrongly from the survey sheet; found when the two were compared.",
            "by": scenario.INSPECTOR,
            "at": written(_office_hour(surveyed, wrong.days_after, 11, 20)),
        }
    ]


def _at(moment: dt.datetime) -> dt.datetime:
    """Return the next working hour after a time, on a ten-minute mark."""
    local = moment.astimezone(scenario.ZONE)
    if not 6 <= local.hour < 17:
        day = local.date() + dt.timedelta(days=local.hour >= 17)
        return dt.datetime.combine(day, dt.time(6, 40), scenario.ZONE)
    return local.replace(minute=local.minute // 10 * 10, second=0, microsecond=0)


def _office_hour(after: dt.datetime, days: int, hour: int, minute: int) -> dt.datetime:
    day = after.astimezone(scenario.ZONE).date() + dt.timedelta(days=days)
    return dt.datetime.combine(day, dt.time(hour, minute), ZoneInfo(scenario.ZONE.key))


def _who(making: Making, minute: float) -> str:
    later = [
        written_round.by for written_round in making.sheet.rounds if written_round.minute <= minute
    ]
    return later[-1] if later else scenario.CREW[0]


# --- the timber ----------------------------------------------------------------------------------


def _stock(making: Making) -> dict[str, Any]:
    plan = making.plan
    thickness = Length.parse(plan.thickness).value * ROUGH_OVER_NOMINAL / 1000.0
    pieces = round(plan.volume_m3 / (thickness * 0.165 * 3.4), -1)
    sawn = plan.started.date() - dt.timedelta(days=plan.sawn_days_before)
    return {
        "species": plan.species,
        "thickness": plan.thickness,
        "volume": f"{plan.volume_m3:g} m³",
        "pieces": int(pieces),
        "start": plan.start,
        "intake": [
            Line(
                number=f"{plan.supplier[:3].upper()}-{sawn:%y%j}",
                supplier=f"{plan.supplier} (invented)",
                sawn=sawn.isoformat(),
                claim=plan.claim,
            )
        ],
    }


def _stacking(making: Making) -> dict[str, Any]:
    plan = making.plan
    thick = Length.parse(plan.thickness).value > 40
    return {
        "by": scenario.STACKER,
        "on": (plan.started.date() - dt.timedelta(days=2)).isoformat(),
        "sticker_thickness": "19 mm" if not thick else "25 mm",
        "sticker_spacing": "406 mm" if not thick else "610 mm",
        "sticker_mc": f"{8.0 + 2.5 * making.chance.random():.1f} %",
        "baffles_closed": True,
        "top_weight": "concrete slabs, about 350 kg/m²",
        "packs": pack_numbers(plan, making.packs),
    }


def _boards(making: Making, unloaded: dt.datetime) -> list[dict[str, Any]]:
    plan = making.plan
    cut = plan.started - dt.timedelta(hours=20)
    again = {board.id for board in making.samples[: plan.resectioned]}
    return [
        {
            "id": board.id,
            "position": board.position,
            "side": board.side,
            "chosen_as": board.chosen_as,
            "sections": _sections(board.sections),
            "green_mass": f"{board.green_g} g",
            "weighed_at": written(cut + dt.timedelta(minutes=7 * number)),
            "by": scenario.YARD,
            "stated_oven_dry_mass": f"{board.oven_dry_g} g",
            "resections": [_resection(making, number, unloaded)] if board.id in again else [],
        }
        for number, board in enumerate(making.samples)
    ]


def _sections(sections: tuple[CutSection, ...]) -> list[Line]:
    return [
        Line(
            id=section.id,
            green=f"{section.green_g:.1f} g",
            oven_dry=f"{section.oven_dry_g:.1f} g",
            stated_mc=f"{section.mc_pct:.1f} %",
        )
        for section in sections
    ]


def _resection(making: Making, number: int, unloaded: dt.datetime) -> dict[str, Any]:
    """Return the sections cut from a sample board after unloading."""
    boards, place = making.kiln.boards, making.kiln.load + number
    mc, mass = float(boards.mean_mc[place]), float(boards.mass_g[place])
    sections = cut_sections(
        f"{making.samples[number].id}r", mc, float(boards.oven_dry_g[place]), making.chance
    )
    return {
        "at": written(unloaded + dt.timedelta(minutes=25 + 10 * number)),
        "by": scenario.INSPECTOR,
        "board_mass": f"{weigh(mass, making.chance)} g",
        "sections": _sections(sections),
    }


def _weighings(making: Making) -> list[Line]:
    return [
        Line(
            at=written(making.moment(done.minute)),
            by=done.by,
            masses=Line({name: f"{mass} g" for name, mass in done.masses.items()}),
            stated_mc=Line(done.stated),
            stated_controlling_mc=done.controlling,
        )
        for done in making.sheet.rounds
    ]


def _meter_readings(making: Making) -> list[Line]:
    start, rounds = making.plan.meter_kwh, making.sheet.rounds
    if start is None:
        return []
    first = Line(at=written(making.plan.started), by=rounds[0].by, reading=f"{start} kWh")
    return [
        first,
        *(
            Line(
                at=written(making.moment(done.minute)),
                by=done.by,
                reading=f"{start + round(done.energy_kwh, -1):.0f} kWh",
            )
            for done in rounds
            if done.minute > 0
        ),
    ]


# --- the air -------------------------------------------------------------------------------------


def _hand_readings(making: Making) -> list[Line]:
    readings, last = [], -600.0
    for done in making.sheet.rounds:
        minute = done.minute - 13.0
        if minute - last < 600 or minute > making.sheet.ended or _stopped(making, minute):
            continue
        last = minute
        readings.append(_hand_reading(making, minute, done.by))
    return readings


def _stopped(making: Making, minute: float) -> bool:
    return any(stop.first - 30 <= minute <= stop.last + 240 for stop in making.kiln.power_stops)


def _hand_reading(making: Making, minute: float, by: str) -> Line:
    bulbs = [value + making.chance.normal(0.0, HAND_KELVIN) for value in making.air.at(minute)]
    if scenario.KILNS[making.plan.kiln].fahrenheit:
        shown = [rounded(fahrenheit_from_celsius(value), HAND_STEP_F) for value in bulbs]
        words = [f"{value:.1f} °F" for value in shown]
        dry, wet = (celsius_from_fahrenheit(value) for value in shown)
    else:
        dry, wet = (rounded(value, HAND_STEP_C) for value in bulbs)
        words = [f"{dry:.1f} °C", f"{wet:.1f} °C"]
    humidity = relative_humidity(dry, min(wet, dry), making.library.pressure_pa)
    emc = equilibrium_moisture_content(dry, humidity)
    return Line(
        at=written(making.moment(minute)),
        by=by,
        dry_bulb=words[0],
        wet_bulb=words[1],
        stated_relative_humidity=f"{humidity:.0f} %",
        stated_emc=f"{emc:.1f} %",
    )


def _stage(making: Making, stage: Any) -> dict[str, Any] | None:
    if stage is None:
        return None
    return {
        "start": written(making.moment(stage.start)),
        "end": written(making.moment(stage.end)),
        "dry_bulb": f"{stage.air.dry_bulb_c:.1f} °C",
        "emc": f"{stage.air.emc_pct:.1f} %",
        "by": _who(making, stage.start),
    }


def _stops(making: Making) -> list[Line]:
    return [
        Line(
            start=written(making.moment(stop.first)),
            end=written(making.moment(stop.last)),
            cause=making.plan.power_stop.cause,
            by=_who(making, stop.last),
        )
        for stop in making.kiln.power_stops
    ]


def _events(making: Making) -> list[Line]:
    ended, planted = making.sheet.ended, making.sheet.planted
    found = [(-35.0, "wick changed", "fresh wick before start-up")]
    if making.plan.moisture_sensors:
        found.append((-50.0, "note", _sensors_fitted(making)))
    dry_wick = making.plan.fault is not None and making.plan.fault.kind == "dry wick"
    if dry_wick:
        found.append(
            (
                planted["first"] + 60 * planted["hours"],
                "wick changed",
                "wick stiff with scale and dry at the tip; water box cleaned and refilled",
            )
        )
    if not dry_wick:
        found += [
            (done.minute - 5.0, "wick changed", None)
            for done in making.sheet.rounds[6::7]
            if done.minute < ended - 600
        ]
    middle = making.sheet.rounds[len(making.sheet.rounds) // 3]
    found.append((middle.minute + 8.0, "inspection", "hand lens: no fresh checks on faces or ends"))
    return [
        Line(at=written(making.moment(minute)), kind=kind, by=_who(making, minute), note=note)
        for minute, kind, note in sorted(found, key=lambda event: event[0])
    ]


def _sensors_fitted(making: Making) -> str:
    """Return the note of the day on which pins and wafer were fitted."""
    plan = making.plan.moisture_sensors
    wafer = "New wafer in the EMC sensor." if plan.wafer else ""
    places = (making.packs[making.pack_of[piece]] for piece in plan.pins)
    pins = ", ".join(f"pin-{number} in {place}" for number, place in enumerate(places, start=1))
    return " ".join(filter(None, (pins and f"Pins in boards of the load: {pins}.", wafer)))


def _condensate(making: Making) -> str | None:
    """Return the water measured at the compressor's tray; a little is lost on the way."""
    collected = making.kiln.chamber.condensed_kg
    return f"{0.97 * collected:.0f} L" if collected > 0 else None


# --- the end -------------------------------------------------------------------------------------


def _findings(
    making: Making, at: dt.datetime
) -> tuple[dict[str, Any], dict[str, Any] | None, list[Line]]:
    from demo.simulate import survey_of

    plan = making.plan
    pieces, mc, shown, shell, core = survey_of(making)
    numbers = list(pack_numbers(plan, making.packs))
    readings = [
        Line(
            mc=f"{reading:.1f} %",
            pack=numbers[making.pack_of[piece]],
            position=making.packs[making.pack_of[piece]],
        )
        for piece, reading in zip(pieces, shown, strict=True)
    ]
    survey = {
        "at": written(at),
        "by": scenario.INSPECTOR,
        "method": "resistance meter",
        "instrument": "pin-meter",
        "wood_temperature": f"{plan.survey.wood_temp_c:g} °C",
        "calibration_temperature": f"{METER_CALIBRATION_C:g} °C",
        "corrected_for": list(plan.survey.corrected_for),
        "depth": f"{Length.parse(plan.thickness).value * 0.25:.0f} mm",
        "chosen": "at random",
        "readings": readings,
        "oven_pairs": _oven_pairs(making, mc),
    }
    return survey, _stress(making, at, shell, core), _defects(making)


def _oven_pairs(making: Making, mc: np.ndarray) -> list[Line]:
    chance = making.chance
    paired = np.sort(chance.choice(len(mc), size=min(8, len(mc)), replace=False))
    return [
        Line(
            meter=f"{value + 0.1 + chance.normal(0.0, 0.3):.1f} %",
            oven=f"{value + chance.normal(0.0, 0.08):.1f} %",
        )
        for value in mc[paired]
    ]


def _stress(making: Making, at: dt.datetime, shell: float, core: float) -> dict[str, Any] | None:
    """Return the prong test: the stress left by conditioning, less after a long, warm one."""
    stage = making.sheet.conditioning
    if stage is None:
        return None
    hours = (stage.end - stage.start) / 60.0
    thick = Length.parse(making.plan.thickness).value / 25.4
    relaxing = 5.0 * thick * 2.0 ** ((82.0 - stage.air.dry_bulb_c) / 22.0)
    soft = making.library.species[making.plan.species].kind == "softwood"
    before = STRESS_BEFORE_MM * (0.45 if soft else 1.0)
    left = 0.5 + before * float(np.exp(-hours / relaxing))
    gaps = left + making.chance.normal(0.0, 0.45, 10)
    return {
        "at": written(at + dt.timedelta(hours=2)),
        "by": scenario.INSPECTOR,
        "method": "prong",
        "gaps": [f"{gap:.1f} mm" for gap in gaps],
        "limit": STRESS_LIMIT,
        "shell_mc": f"{shell:.1f} %",
        "core_mc": f"{core:.1f} %",
    }


#: Defects looked for when grading every charge, with the share usually found.
_DEFECTS = (
    ("end-checks", 0.030),
    ("surface-checks", 0.012),
    ("bow", 0.020),
    ("crook", 0.018),
    ("cup", 0.010),
    ("honeycomb", 0.0),
    ("stain", 0.006),
)


def _defects(making: Making) -> list[Line]:
    chance, looked = making.chance, 120
    worst = {"bow": 9, "crook": 8, "cup": 3}
    found = []
    for name, share in _DEFECTS:
        pieces = int(chance.binomial(looked, share))
        extent = worst.get(name) if pieces else None
        found.append(
            Line(
                defect=name,
                pieces=pieces,
                of=looked,
                worst=f"{extent + int(chance.integers(0, 3))} mm" if extent else None,
            )
        )
    return found


def _heat_treatment(making: Making, unloaded: dt.datetime) -> dict[str, Any] | None:
    plan, claim = making.plan, making.plan.heat_treatment
    if claim is None:
        return None
    thickness = f"{probe_thickness_mm(plan):.0f} mm"
    positions = [
        making.packs[-2],
        making.packs[len(making.packs) // 2],
        making.packs[-2],
        making.packs[0],
    ]
    return {
        "claim": claim.claim,
        "threshold": f"{claim.threshold_c:g} °C",
        "minutes": int(claim.minutes),
        "probes": [
            Line(
                channel=f"core-{number}",
                thickness=thickness,
                position=position,
                sealed=True,
                uncertainty="0.4 K",
            )
            for number, position in enumerate(positions, start=1)
        ],
        "thickest_piece": thickness,
        "bark": Line(widest=f"{making.chance.integers(6, 19)} mm"),
        "reviewed": Line(
            by=scenario.SUPERVISOR,
            on=(unloaded + dt.timedelta(days=1)).date().isoformat(),
            role="drying supervisor",
        ),
    }


#: Days from the survey to the record of a lot that stays at the mill.
_HELD_DAYS = 3

# --- lots ----------------------------------------------------------------------------------------


def lot_record(plan: LotPlan, made: MadeCharge) -> dict[str, Any]:
    """Return the record of a lot taken from a charge."""
    charge, stock = made.plan, made.record["stock"][0]
    numbers = list(made.record["stacking"]["packs"])
    per_pack = scenario.KILNS[charge.kiln].pack_m3
    volume = min(per_pack, charge.volume_m3 / len(numbers))
    pieces = stock["pieces"] // len(numbers)
    packs = [
        Line(
            number=numbers[index],
            charge=charge.id,
            pieces=pieces - (3 * index + len(plan.id)) % 9,
            # because of shrinkage and culls, less leaves than went in
            volume=f"{volume * (0.93 - 0.004 * (index % 4)):.2f} m³",
        )
        for index in plan.packs
    ]
    leaves = _office_hour(made.surveyed, plan.shipped_days_after or _HELD_DAYS, 13, 20)
    issued = leaves + dt.timedelta(days=plan.reissued_days_after)
    return {
        "format": 1,
        "id": plan.id,
        "invented": True,
        "product": plan.product,
        "species": charge.species,
        "thickness": plan.thickness or charge.thickness,
        "width": plan.width,
        "length": plan.length,
        "order": dict(plan.order),
        "packs": packs,
        "storage": {"temperature": plan.storage[0], "relative_humidity": plan.storage[1]},
        "heat_treatment_stated": plan.heat_treatment_stated,
        "claim": plan.claim,
        "shipped": written(leaves) if plan.shipped_days_after else None,
        "customer": {"name": f"{plan.customer} (invented)", "order_number": plan.order_number},
        "issued": issued.date().isoformat(),
        "version": 2 if plan.reissued_days_after else 1,
        "notes": plan.notes,
    }
