"""The faults: one for each check of the catalogue, by the check's slug.

Hours are counted from the start of heating. In the oak load step 2 comes at 287 h, the controlling
MC is 40 % at 365 h and 30 % at 450 h, the last drying step at 599 h, equalizing at 662 h and
conditioning at 683 h.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from tests.review.mutations import (
    MAPLE,
    SPRUCE,
    THICK_OAK,
    Channels,
    Mutation,
    Record,
    grams,
    later,
    more,
    moved,
    restated,
    several,
    stretch,
    weighed,
)

from kilnfolio.physics.air import relative_humidity
from kilnfolio.physics.moisture import wet_basis
from kilnfolio.physics.sorption import equilibrium_moisture_content

DRY_BULBS = "dry-bulb dry-bulb-entering dry-bulb-leaving"
ALL_BULBS = f"{DRY_BULBS} wet-bulb"


def _wet_basis(sections: list[Record]) -> list[Record]:
    mc = float(sections[0]["stated_mc"].split()[0])
    return [{**sections[0], "stated_mc": f"{float(wet_basis(mc)):.1f} %"}, *sections[1:]]


def _pulled_apart(sections: list[Record]) -> list[Record]:
    """Make one section wetter and the other drier, keeping their mean."""
    out = []
    for section, points in zip(sections, (14.0, -14.0), strict=True):
        dry = grams(section["oven_dry"])
        green = grams(section["green"]) + dry * points / 100
        out.append(
            {
                **section,
                "green": f"{green:.1f} g",
                "stated_mc": f"{100 * (round(green, 1) / dry - 1):.1f} %",
            }
        )
    return out


def _rounded_masses(record: Record) -> None:
    """Read the scale to the nearest five grams, and work out the sheet from that."""
    for done in record["weighings"]:
        done["masses"] = {
            name: f"{5 * round(grams(mass) / 5):.0f} g" for name, mass in done["masses"].items()
        }
    restated(record)


def _only(tags: tuple[str, ...]) -> Any:
    """Keep only these boards in the record, and work out the controlling MC from them."""

    def change(record: Record) -> None:
        record["boards"] = [board for board in record["boards"] if board["id"] in tags]
        for done in record["weighings"]:
            done["masses"] = {name: done["masses"][name] for name in tags}
        restated(record)

    return change


def _tare_forgotten(record: Record) -> None:
    """Weigh board S6 with another tare in the last two rounds."""
    weighed("S6", dict.fromkeys(range(51, 53), -95.0))(record)


def _quick_day(record: Record) -> None:
    """Let board S1 keep its water for four days and lose it all on the fifth."""
    per_round = {number: 3.5 * (number - 9) for number in range(10, 18)}
    weighed("S1", per_round)(record)


def _half_dry_board(record: Record) -> None:
    """Let board S1 come from half-dried timber: it waits for the others, then follows them."""
    board = record["boards"][0]
    for section in board["sections"]:
        section["green"] = f"{1.45 * grams(section['oven_dry']):.1f} g"
        section["stated_mc"] = "45.0 %"
    board["green_mass"] = f"{1.45 * grams(board['stated_oven_dry_mass']):.0f} g"
    for done in record["weighings"]:
        mass = min(grams(done["masses"]["S1"]), grams(board["green_mass"]))
        done["masses"]["S1"] = f"{mass:.0f} g"
    restated(record)


def _late_step(record: Record) -> None:
    """Record the step made at 407 h two and a half days late."""
    record["step_changes"][3]["at"] = moved(record["step_changes"][3]["at"], 60.0)


def _wetted_in_stop(record: Record) -> None:
    """Let board S10 take up water during a recorded stop."""
    record["stops"].append(
        {
            "start": moved(record["weighings"][15]["at"], 1),
            "end": moved(record["weighings"][15]["at"], 4),
            "cause": "no power",
            "by": "R. Tessaly",
        }
    )
    record["stops"].sort(key=lambda stop: str(stop["start"]))
    loss = grams(record["weighings"][15]["masses"]["S10"]) - grams(
        record["weighings"][16]["masses"]["S10"]
    )
    weighed("S10", {16: loss + 12.0})(record)


def _boards_wetter_at_the_end(record: Record) -> None:
    """Let every board read two points more at the last weighing: the scale was not zeroed."""
    for board in record["boards"]:
        weighed(board["id"], {52: 0.025 * grams(board["stated_oven_dry_mass"])})(record)


def _no_hand_readings(record: Record) -> None:
    """Nobody read the bulbs by hand, so only the log shows the air."""
    record["hand_readings"] = []


def _without_rounds(first: int, last: int) -> Any:
    def change(record: Record) -> None:
        del record["weighings"][first:last]

    return change


def _fahrenheit(hours: np.ndarray, channels: Channels) -> None:
    after = hours > 560
    channels["dry-bulb-leaving"][after] = 1.8 * channels["dry-bulb-leaving"][after] + 32.0


def _clock_ahead(hours: np.ndarray, channels: Channels) -> None:
    """Let the logger's clock run an hour and a half ahead."""
    for name, values in channels.items():
        channels[name] = np.interp(hours - 1.5, hours, values)


def _wick_runs_dry(hours: np.ndarray, channels: Channels) -> None:
    """Let the wet bulb rise by half its depression in 20 minutes, and recover over two hours."""
    share = np.interp(hours, [505.0, 505.3, 511.0, 513.0], [0.0, 0.5, 0.5, 0.0])
    channels["wet-bulb"] += share * (channels["dry-bulb"] - channels["wet-bulb"])


def _pins_work_loose(hours: np.ndarray, channels: Channels) -> None:
    """Leave pins in a board like the others, which read too dry once the timber has shrunk."""
    mc = np.interp(hours, [0.0, 365.0, 450.0, 599.0, 700.0], [80.0, 40.0, 30.0, 12.0, 8.0])
    channels["pin-1"] = np.where(mc < 25.0, mc - 9.0, mc) + 0.1 * np.sin(hours)


def _wafer_drifts(hours: np.ndarray, channels: Channels) -> None:
    """Let an EMC sensor gain three points in a month on the bulbs."""
    dry, wet = channels["dry-bulb"], channels["wet-bulb"]
    emc = equilibrium_moisture_content(dry, relative_humidity(dry, np.minimum(wet, dry)))
    channels["emc"] = emc + 3.0 * np.clip(hours, 0.0, None) / 700.0


def _probe_out(hours: np.ndarray, channels: Channels) -> None:  # noqa: ARG001
    """Let a probe hang in the air beside its piece."""
    channels["core-1"] = channels["dry-bulb"] - 0.3


def _too_cool_a_core(hours: np.ndarray, channels: Channels) -> None:  # noqa: ARG001
    channels["core-2"] *= 55.8 / np.nanmax(channels["core-2"])


_CALIBRATED = {"on": "2024-01-08", "by": "D. Haldimar", "method": "ice point"}

PLANTED: Mapping[str, Mutation] = {
    # --- arithmetic and physics
    "wet-bulb-above-dry-bulb": Mutation(
        log=lambda hours, channels: channels["wet-bulb"].__setitem__(
            (hours > 560) & (hours < 561), channels["dry-bulb"][(hours > 560) & (hours < 561)] + 0.6
        )
    ),
    "humidity-disagrees": Mutation(MAPLE, log=stretch("relative-humidity", -5, 2000, by=-4.5)),
    "stated-emc": Mutation(changes={"hand_readings.4.stated_emc": more(1.6, "%")}),
    "stated-mc": Mutation(changes={"weighings.6.stated_mc.S2": more(1.0, "%")}),
    "stated-oven-dry-mass": Mutation(changes={"boards.1.stated_oven_dry_mass": more(12, "g", 0)}),
    "wet-basis": Mutation(changes={"boards.2.sections": _wet_basis}),
    "mass-below-oven-dry": Mutation(changes={"weighings.30.masses.S4": "1402 g"}),
    "drier-than-the-air-allows": Mutation(record=_tare_forgotten),
    "gained-weight-while-drying": Mutation(record=weighed("S7", {43: 75.0})),
    "wetter-than-wood-can-be": Mutation(
        changes={"weighings.12.masses.S4": lambda old: f"{10 * grams(old):.0f} g"}
    ),
    "water-balance": Mutation(MAPLE, {"condensate": lambda old: f"{0.5 * grams(old):.0f} L"}),
    "hand-weights-rounded": Mutation(record=_rounded_masses),
    # --- instruments and log
    "gap-in-log": Mutation(rows=lambda hours: (hours < 300) | (hours > 302.5)),
    "clock-repeats": Mutation(repeats=3),
    "stuck-sensor": Mutation(log=stretch("dry-bulb-leaving", 367, 375.5, to=43.2)),
    "spike": Mutation(log=stretch("dry-bulb", 300.0, 300.1, by=9.0)),
    "dry-wick": Mutation(log=_wick_runs_dry),
    "calibration-due": Mutation(changes={"kiln:instruments.8.calibrations": [_CALIBRATED]}),
    "unit-slip": Mutation(log=_fahrenheit),
    "clock-against-hand": Mutation(log=_clock_ahead),
    "drop-across-load": Mutation(log=stretch("dry-bulb-leaving", 470, 700, by=-1.4, ramp=6)),
    "zone-spread": Mutation(log=stretch("dry-bulb-leaving", 500, 503, by=-4.5)),
    "pins-against-boards": Mutation(log=_pins_work_loose),
    "emc-sensor-against-bulbs": Mutation(log=_wafer_drifts),
    # --- sample boards
    "sample-count": Mutation(record=_only(("S6", "S9", "S10"))),
    "sample-coverage": Mutation(
        changes={
            "stock": lambda stock: [
                {**stock[0], "volume": "30 m³"},
                {**stock[0], "thickness": "5/4", "volume": "12 m³"},
            ]
        }
    ),
    "section-pair": Mutation(changes={"boards.5.sections": _pulled_apart}),
    "oven-constancy": Mutation(
        changes={
            "boards.3.sections.0": lambda section: {
                **section,
                "oven_dry_before": f"{1.004 * grams(section['oven_dry']):.1f} g",
            }
        }
    ),
    "board-sides": Mutation(
        changes={"boards": lambda boards: [{**board, "side": "entering-air"} for board in boards]}
    ),
    "weighing-interval": Mutation(record=_without_rounds(6, 9)),
    "controlling-mc": Mutation(changes={"weighings.20.stated_controlling_mc": "50.0 %"}),
    "re-section": Mutation(
        changes={
            "boards.0.resections.0.sections": lambda sections: [
                {**section, "green": f"{grams(section['green']) * 1.02:.1f} g"}
                for section in sections
            ]
        }
    ),
    # --- schedule as run
    "step-timing": Mutation(changes={"step_changes.1.at": later(-14)}),
    "step-skipped": Mutation(changes={"step_changes.5.at": later(12)}),
    "dry-bulb-overshoot": Mutation(log=stretch(ALL_BULBS, 520, 522, by=4.0)),
    "too-hot-while-wet": Mutation(log=stretch(ALL_BULBS, 200, 200.5, by=3.0)),
    "air-too-dry-while-wet": Mutation(log=stretch("wet-bulb", 200, 203, by=-1.6, ramp=4)),
    "thickness-rule": Mutation(changes={"schedule:for_stock.thickness": ["3/4"]}),
    "vent-against-spray": Mutation(
        log=several(stretch("spray", 200, 200.7, to=1.0), stretch("vent", 200, 200.7, to=50.0))
    ),
    "fans-stopped": Mutation(log=stretch("fan", 200, 205, to=0.0)),
    "fan-reversal": Mutation(changes={"kiln:reversal": "8 h"}),
    # --- the schedule itself
    "schedule-ceiling": Mutation(
        changes={
            "schedule:modifications": {
                "new": [
                    {
                        "what": "warmer while wet",
                        "why": "time",
                        "dry_bulb_change": "4 K",
                        "while_above": "31 %",
                    }
                ]
            }["new"]
        }
    ),
    "schedule-emc-against-mc": Mutation(MAPLE, {"schedule:steps.6.relative_humidity": "48 %"}),
    "schedule-order": Mutation(MAPLE, {"schedule:steps.0.dry_bulb": "41 °C"}),
    "schedule-end-air": Mutation(MAPLE, {"schedule:conditioning.relative_humidity": "80 %"}),
    "schedule-within-kiln": Mutation(changes={"kiln:hottest": "75 °C"}),
    "schedule-modified": Mutation(
        changes={"schedule:modifications": [{"what": "milder at first", "why": "wide boards"}]}
    ),
    "schedule-approved": Mutation(changes={"schedule:approved": None}),
    # --- following the schedule
    "air-as-asked": Mutation(
        record=_no_hand_readings, log=stretch("wet-bulb", 505, 520, by=3.4, ramp=5)
    ),
    "step-late": Mutation(record=_late_step),
    "start-step": Mutation(THICK_OAK, {"step_changes.0.step": 5}),
    "step-hours": Mutation(SPRUCE, {"step_changes.4.at": later(-4)}),
    # --- drying rate
    "loss-per-running-hour": Mutation(log=stretch("fan", 96, 105, to=0.0)),
    "regain-in-stop": Mutation(record=_wetted_in_stop),
    "daily-loss": Mutation(record=_quick_day),
    "thick-stock-limit": Mutation(
        THICK_OAK, {"species:safe_daily_loss": lambda losses: losses[:1]}
    ),
    "rewetted": Mutation(record=weighed("S10", {16: 55.0})),
    "shock-change": Mutation(
        log=lambda hours, channels: channels["wet-bulb"].__iadd__(
            np.interp(hours, [190, 200, 210, 210.7], [0, 1.7, 1.7, 0])
        )
    ),
    "stain-conditions": Mutation(
        record=_no_hand_readings,
        log=several(
            lambda hours, channels: channels["wet-bulb"].__iadd__(
                np.interp(hours, [60, 70, 98, 108], [0, 0.75, 0.75, 0])
                * (channels["dry-bulb"] - channels["wet-bulb"])
            ),
            lambda _, channels: channels.pop("fan"),  # nobody knows whether the air moved
        ),
    ),
    "outlier-board": Mutation(record=_half_dry_board),
    # --- end of charge
    "equalizing-start": Mutation(changes={"equalizing.start": later(-18)}),
    "equalizing-end": Mutation(record=weighed("S8", dict.fromkeys(range(47, 53), 20.0))),
    "driest-board": Mutation(record=weighed("S8", {50: -66.0, 51: -66.0, 52: -66.0})),
    "conditioning-rise": Mutation(log=stretch("wet-bulb", 683, 688.5, by=-5.0)),
    "energy-for-water": Mutation(changes={"energy": "90000 kWh"}),
    "boards-against-survey": Mutation(record=_boards_wetter_at_the_end),
    "survey-coverage": Mutation(
        changes={
            "survey.readings": lambda old: [
                {**one, "pack": "HB-25-041-01", "position": "bay 1 low"}
                if one["pack"] == "HB-25-041-12"
                else one
                for one in old
            ]
        }
    ),
    "survey-shape": Mutation(changes={"survey.readings": lambda old: _two_groups(old)}),
    "cooled-before-survey": Mutation(
        changes={"survey.at": "2025-10-31T13:00", "survey.wood_temperature": None}
    ),
    "conditioning-emc": Mutation(log=stretch("wet-bulb", 684, 700, by=-1.5)),
    "conditioning-rule": Mutation(
        changes={"conditioning.emc": "10.6 %"}, log=stretch("wet-bulb", 684, 700, by=-1.2)
    ),
    "meter-corrections": Mutation(
        changes={"survey.corrected_for": ["species"], "survey.wood_temperature": None}
    ),
    "meter-against-oven": Mutation(
        changes={
            "survey.oven_pairs": lambda pairs: [
                {**pair, "meter": f"{grams(pair['meter']) + 1.6:.1f} %"} for pair in pairs
            ]
        }
    ),
    "target-reached": Mutation(changes={"survey.readings": lambda old: _readings(old, 1.0)}),
    "drying-stress": Mutation(changes={"stress.gaps": ["5.1 mm"] * 10}),
    "shell-and-core": Mutation(changes={"stress.core_mc": more(4.5, "%")}),
    # --- heat treatment
    "heat-treatment-run": Mutation(SPRUCE, log=_too_cool_a_core),
    "air-record-alone": Mutation(SPRUCE, {"heat_treatment.probes": []}),
    "probe-in-air": Mutation(SPRUCE, log=_probe_out),
    "probe-placement": Mutation(SPRUCE, {"heat_treatment.probes.1.sealed": False}),
    "heat-treatment-margin": Mutation(SPRUCE, {"heat_treatment.probes.2.uncertainty": "14 K"}),
    "core-probe-calibration": Mutation(
        SPRUCE,
        {
            "kiln:instruments": lambda instruments: [
                {**one, "calibrations": []} if one.get("channel") == "core-3" else one
                for one in instruments
            ]
        },
    ),
    "heat-treatment-review": Mutation(SPRUCE, {"heat_treatment.reviewed": None}),
    "residual-bark": Mutation(SPRUCE, {"heat_treatment.bark": {"widest": "44 mm"}}),
    # --- lots
    "lot-moisture": Mutation(
        changes={"survey.readings": lambda old: _readings(old, 3.2, "HB-25-041-02", 3)}
    ),
    "sample-size-for-claim": Mutation(
        changes={"lot:order": lambda order: {**order, "claimed_confidence": "95 %"}}
    ),
    "survey-age": Mutation(changes={"lot:shipped": later(24 * 50)}),
    "storage-air": Mutation(changes={"lot:storage.relative_humidity": "75 %"}),
    "pack-in-charge": Mutation(changes={"lot:packs.3.number": "HB-25-041-19"}),
    "shipped-in-order": Mutation(changes={"lot:shipped": lambda at: moved(at, -24 * 8)}),
    "volume-out": Mutation(changes={"lot:packs.0.volume": "40 m³"}),
    "claim-evidence": Mutation(changes={"stock.0.intake.0.claim": None}),
    # --- record keeping
    "who-wrote-it": Mutation(changes={"weighings.3.by": None}),
    "signed": Mutation(changes={"signatures": []}),
    "dates-in-order": Mutation(changes={"stacking.on": "2025-10-03"}),
    "corrections-kept": Mutation(
        changes={
            "corrections": [
                {
                    "field": "boards.S2.green_mass",
                    "old": "2911 g",
                    "new": "2119 g",
                    "reason": "digits changed about",
                    "by": "T. Wexcombe",
                    "at": "2025-10-02T09:00",
                }
            ]
        }
    ),
    "waivers-explained": Mutation(
        changes={
            "waivers": [
                {
                    "check": "stepped-timing",
                    "reason": "as told",
                    "by": "M. Okafor",
                    "at": "2025-11-03T09:00",
                }
            ]
        }
    ),
    # --- publication
    "archive-unchanged": Mutation(publication={"differences": ("charge.yaml is another file",)}),
    "safety-wording": Mutation(publication={"without_wording": ("mill/index.html",)}),
    "customer-fields": Mutation(publication={"beyond_list": ("Lot.customer",)}),
}


def _readings(old: list[Record], points: float, pack: str = "", most: int = 10**6) -> list[Record]:
    """Add points to the survey's readings, of one pack or of all."""
    left, out = most, []
    for reading in old:
        raised = left > 0 and pack in ("", reading["pack"])
        left -= raised
        mc = f"{grams(reading['mc']) + points:.1f} %"
        out.append({**reading, "mc": mc} if raised else reading)
    return out


def _two_groups(old: list[Record]) -> list[Record]:
    """Let half of the pieces read low and half high, around the same mean."""
    return [
        {**one, "mc": f"{grams(one['mc']) + (1.3 if number % 2 else -1.3):.1f} %"}
        for number, one in enumerate(old)
    ]
