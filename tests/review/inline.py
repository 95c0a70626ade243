"""A clean charge and a clean lot in memory, from small records and a log of smooth arrays.

    make_case()                                       every check that has data holds
    make_case({"kiln:reversal": "9 h"})               one value changed
    make_case({"survey": None})                       a part taken out
    make_case(log=moved("wet-bulb", 20, 1, by=3))   readings changed

A change names the record (the charge if none is named) and the path of the value: `boards.0.side`.
The records are written out as YAML and parsed again, so that every finding points at a real line.
"""

from __future__ import annotations

import copy
import datetime as dt
from collections import Counter
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import yaml

from kilnfolio.physics.air import relative_humidity, wet_bulb
from kilnfolio.physics.moisture import mass_at, oven_dry_mass
from kilnfolio.physics.sorption import relative_humidity_for_emc
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import Lookup, MillFolder, open_mill
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.limits import Limits
from kilnfolio.records.log import Log
from kilnfolio.records.lot import Lot
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import Located, Record
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.species import Species
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml, read_yaml
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.findings import Case, LotCase
from kilnfolio.review.review import (
    build_case,
    build_lot_case,
    heat_result,
    survey_result,
)
from kilnfolio.review.running import run_checks

PROJECT = Path(__file__).resolve().parents[2]
ZONE = ZoneInfo("America/Toronto")

#: The path of each record, as findings name it.
FILES = {
    "charge": "content/charges/2026/26-001/charge.yaml",
    "kiln": "content/kilns/k1.yaml",
    "schedule": "schedules/hardwood/maple.yaml",
    "species": "schedules/species/maple.yaml",
    "mill": "content/mill.yaml",
    "lot": "content/lots/L-1.yaml",
}
LOG_FILE = "content/charges/2026/26-001/kiln.csv"
MODELS: dict[str, type[Record]] = {
    "charge": Charge,
    "kiln": Kiln,
    "schedule": Schedule,
    "species": Species,
    "mill": Mill,
    "lot": Lot,
}

STARTED = dt.datetime(2026, 4, 6, 8, tzinfo=ZONE)
#: The controlling MC by day is near these; day 0 is the start. [%]
DAILY_MC = (60.0, 54.0, 48.0, 42.0, 37.0, 32.0, 27.0, 17.0, 10.0, 7.1)
#: How much wetter or drier each board is than the others, as a share.
BOARDS = MappingProxyType({"S1": 1.04, "S2": 1.02, "S3": 1.0, "S4": 0.99, "S5": 0.97, "S6": 0.95})
#: Equalizing holds the driest boards where they are and brings the wettest down.
END_MC = MappingProxyType({"S1": 7.5, "S2": 7.2, "S3": 6.9, "S4": 6.7, "S5": 6.4, "S6": 6.0})
INTERVAL = 10.0


def day(number: float, hours: float = 0.0) -> str:
    """Return a time of the charge, counted from its start, as records write it."""
    return (STARTED + dt.timedelta(days=number, hours=hours)).strftime("%Y-%m-%dT%H:%M")


def _mc(board: str, number: int) -> float:
    """Return the MC of a board on a day; near the end the boards converge."""
    if number == len(DAILY_MC):
        return END_MC[board]
    spread = BOARDS[board] if number < 9 else 1.0 + (BOARDS[board] - 1.0) * 3.2
    return DAILY_MC[number] * spread


def _board(name: str) -> dict[str, Any]:
    """Return a board whose sections agree with its masses, in grams as a scale shows them."""
    green = _mc(name, 0)
    sections = [
        {
            "id": f"{name}{end}",
            "green": f"{round(120 * (1 + green / 100), 1)} g",
            "oven_dry": "120.0 g",
            "oven_dry_before": "120.1 g",
            "stated_mc": f"{100 * (round(120 * (1 + green / 100), 1) / 120 - 1):.1f} %",
        }
        for end in "ab"
    ]
    return {
        "id": name,
        "side": "entering-air" if name in ("S1", "S3", "S5") else "leaving-air",
        "sections": sections,
        "green_mass": f"{_green_g(name)} g",
        "weighed_at": day(-1),
        "by": "A. B.",
        "stated_oven_dry_mass": f"{_dry_g(name):.0f} g",
    }


def _green_g(name: str) -> int:
    return 4800 + 37 * int(name[1])


def _dry_g(name: str) -> float:
    section = round(120 * (1 + _mc(name, 0) / 100), 1)
    return float(oven_dry_mass(_green_g(name), 100 * (section / 120 - 1)))


def mass_for(name: str, mc: float) -> str:
    """Return the mass of a board at an MC, as the sheet writes it."""
    return f"{mass_at(_dry_g(name), mc):.3f} g"


def resection(mc: float) -> dict[str, Any]:
    """Return sections cut again from board S1 on day 8, when its masses give 10.4 %."""
    return {
        "at": day(8),
        "by": "A. B.",
        "board_mass": mass_for("S1", _mc("S1", 8)),
        "sections": [{"id": "S1c", "green": f"{100 + mc:.2f} g", "oven_dry": "100 g"}],
    }


def _weighing(number: int) -> dict[str, Any]:
    mcs = {name: _mc(name, number) for name in BOARDS}
    wettest = sorted(mcs.values())[-3:]
    return {
        "at": day(number),
        "by": "A. B.",
        "masses": {name: f"{mass_at(_dry_g(name), mc):.0f} g" for name, mc in mcs.items()},
        "stated_mc": {name: f"{mc:.1f} %" for name, mc in mcs.items()},
        "stated_controlling_mc": f"{sum(wettest) / 3:.1f} %",
    }


def charge_record() -> dict[str, Any]:
    """Return the charge as a person would type it."""
    return {
        "format": 1,
        "id": "26-001",
        "kiln": "k1",
        "schedule": "maple",
        "schedule_revision": 1,
        "stock": [
            {
                "species": "maple",
                "thickness": "4/4",
                "volume": "40 m³",
                "intake": [{"number": "in-1", "sawn": "2026-03-30", "claim": "claim A"}],
            }
        ],
        "target_mc": "8 %",
        "stacking": {"by": "A. B.", "on": "2026-04-05", "packs": {"P1": "front", "P2": "back"}},
        "loaded": day(-0.5),
        "started": day(0),
        "ended": day(10.5),
        "unloaded": day(11),
        "scale_resolution": "1 g",
        "balance_resolution": "0.1 g",
        "boards": [_board(name) for name in BOARDS],
        "weighings": [_weighing(number) for number in range(1, len(DAILY_MC) + 1)],
        "log": [{"file": "kiln.csv", "profile": "plain"}],
        "hand_readings": [
            {
                "at": day(number, 1),
                "by": "A. B.",
                "dry_bulb": "43.0 °C",
                "wet_bulb": "39.0 °C",
                "stated_emc": "14.1 %",
            }
            for number in (1, 2)
        ],
        "step_changes": [
            {"at": day(at), "step": step, "by": "A. B."} for step, at in ((1, 0), (2, 4), (3, 6))
        ],
        "stops": [],
        "events": [],
        "equalizing": {"start": day(9), "end": day(10), "dry_bulb": "60 °C", "emc": "6 %"},
        "conditioning": {"start": day(10), "end": day(10.5), "dry_bulb": "65 °C", "emc": "12 %"},
        "survey": _survey(),
        "condensate": "11.6 m³",
        "energy": "20000 kWh",
        "stress": {
            "at": day(13),
            "by": "A. B.",
            "method": "prong",
            "limit": "3.2 mm",
            "gaps": ["1 mm"] * 10,
            "shell_mc": "7.6 %",
            "core_mc": "8.3 %",
        },
        "heat_treatment": {
            "claim": "ISPM 15",
            "threshold": "56 °C",
            "minutes": 30,
            "thickest_piece": "26 mm",
            "probes": [
                {"channel": f"core-{n}", "thickness": "26 mm", "position": "back", "sealed": True}
                for n in (1, 2)
            ],
            "bark": {"widest": "0 mm"},
            "reviewed": {"by": "C. D.", "on": "2026-04-18"},
        },
        "signatures": [{"by": "C. D.", "on": "2026-04-20"}],
        "corrections": [
            {
                "field": "boards.S2.position",
                "old": "door",
                "new": "middle",
                "reason": "miswritten",
                "by": "A. B.",
                "at": day(1),
            }
        ],
        "waivers": [
            {"check": "section-pair", "reason": "a knot, seen", "by": "C. D.", "at": day(12)}
        ],
    }


def _survey() -> dict[str, Any]:
    readings = [
        {"mc": f"{8.0 + 0.1 * (n % 7 - 3):.1f} %", "pack": f"P{n % 2 + 1}"} for n in range(48)
    ]
    return {
        "at": day(12),
        "by": "C. D.",
        "method": "resistance meter",
        "chosen": "at random",
        "corrected_for": ["temperature", "species"],
        "readings": readings,
        "oven_pairs": [{"meter": "8.1 %", "oven": "7.9 %"}] * 5,
    }


KILN = {
    "format": 1,
    "id": "k1",
    "name": "Kiln 1",
    "kind": "steam",
    "capacity": "50 m³",
    "hottest": "82 °C",
    "reversal": "2 h",
    "instruments": [
        {
            "id": f"sensor-{channel}",
            "kind": "temperature sensor",
            "channel": channel,
            "uncertainty": "0.5 K",
            "calibrations": [{"on": "2025-10-01", "by": "E. F.", "method": "against a standard"}],
        }
        for channel in ("dry-bulb", "core-1", "core-2")
    ],
}

SCHEDULE = {
    "format": 1,
    "id": "maple",
    "title": "Maple 4/4",
    "revision": 1,
    "approved": {"by": "C. D.", "on": "2026-01-10"},
    "for_stock": {"species": ["maple"], "thickness": ["4/4"]},
    "steps": [
        {"dry_bulb": "43 °C", "depression": "4 K", "until_mc": "40 %"},
        {"dry_bulb": "43 °C", "depression": "8 K", "until_mc": "30 %"},
        {"dry_bulb": "60 °C", "depression": "25 K", "until_mc": "final"},
    ],
    "target_mc": "8 %",
    "equalizing": {"dry_bulb": "60 °C", "emc": "6 %"},
    "conditioning": {"dry_bulb": "65 °C", "emc": "12 %"},
    "kiln_types": ["steam"],
    "modifications": [
        {
            "what": "half a kelvin milder while wet",
            "why": "thin air",
            "depression_change": "-0.5 K",
            "while_above": "50 %",
        }
    ],
    "source": "common practice",
    "status": "common practice",
}

_KNOWN = {"source": "common practice", "status": "common practice"}
SPECIES = {
    "format": 1,
    "id": "maple",
    "trade_name": "Test maple",
    "scientific_name": "Acer inventum",
    "kind": "hardwood",
    "region": "invented",
    "refractory": True,
    "specific_gravity": [{"basic": 0.56, **_KNOWN}],
    "safe_daily_loss": [{"thickness": "4/4", "rate": "6.5 %/day", **_KNOWN}],
    "ceiling_while_wet": {"dry_bulb": "44 °C", "while_above": "30 %", **_KNOWN},
    "meter_correction": {"base_species": "Douglas-fir", "slope": 1.0, **_KNOWN},
}

MILL = {
    "format": 1,
    "name": "Test mill",
    "invented": True,
    "place": "Nowhere",
    "country": "Nowhere",
    "time_zone": "America/Toronto",
    "altitude": "0 m",
    "contact": {"name": "Office", "email": "office@example.org"},
    "records_address": "https://example.org/",
    "practice": "North American",
}

LOT = {
    "format": 1,
    "id": "L-1",
    "product": "Maple boards",
    "species": "maple",
    "thickness": "4/4",
    "order": {"target_mc": "8 %", "rule": "en-14298", "claimed_confidence": "95 %"},
    "packs": [
        {"number": f"P{n}", "charge": "26-001", "pieces": 300, "volume": "18 m³"} for n in (1, 2)
    ],
    "storage": {"temperature": "18 °C", "relative_humidity": "45 %"},
    "heat_treatment_stated": True,
    "claim": "claim A",
    "shipped": day(20),
    "issued": "2026-04-26",
}

# --- the log --------------------------------------------------------------------------------------


def depression_for(dry: float, emc: float) -> float:
    """Return the depression that gives an EMC at sea level [K]."""
    return dry - wet_bulb(dry, relative_humidity_for_emc(dry, emc))


#: The set-points: hours from the start, dry bulb [°C], depression [K].
SETTINGS = (
    (0, 43.0, 3.5),
    (96, 43.0, 8.0),
    (144, 60.0, 25.0),
    (216, 60.0, depression_for(60.0, 6.0)),
    (240, 65.0, depression_for(65.0, 12.0)),
    (252, 65.0, depression_for(65.0, 12.0)),
)
#: Hours the kiln takes from one setting to the next.
RAMP_H = 3.0

Channels = dict[str, np.ndarray]
LogChange = Callable[[Channels], object]


@cache
def clean_channels() -> tuple[np.ndarray, Mapping[str, np.ndarray]]:
    """Return hours from the start, and what a good logger in a good kiln records."""
    hours = np.arange(0, 252 + 1e-9, INTERVAL / 60)
    dry = _ramped(hours, 20.0, [dry for _, dry, _ in SETTINGS])
    depression = _ramped(hours, 2.0, [depression for *_, depression in SETTINGS])
    # never quite constant, so that no sensor looks stuck: incommensurate ripples of a tenth
    dry = dry + 0.1 * np.sin(2.7 * hours)
    wet = dry - depression + 0.1 * np.sin(1.9 * hours)
    core = _lagged(hours, dry, 5.0)
    return hours, MappingProxyType(
        {
            "dry-bulb": dry,
            "dry-bulb-entering": dry + 0.5,
            "dry-bulb-leaving": dry - 0.5,
            "wet-bulb": wet,
            "relative-humidity": relative_humidity(dry, np.minimum(wet, dry)),
            "vent": (np.sin(hours) > 0.9).astype(float),
            "spray": (np.sin(hours) < -0.9).astype(float),
            "fan": np.ones(len(hours)),
            "core-1": core,
            "core-2": core - 0.3,
        }
    )


def _ramped(hours: np.ndarray, first: float, values: list[float]) -> np.ndarray:
    points, levels = [0.0], [first]
    for (at, *_), value in zip(SETTINGS, values, strict=True):
        points += [at + 1e-6, at + RAMP_H]
        levels += [levels[-1], value]
    return np.interp(hours, points, levels)


def _lagged(hours: np.ndarray, values: np.ndarray, lag_h: float) -> np.ndarray:
    """Return the response of a body with one time constant."""
    out, step = np.empty_like(values), hours[1] - hours[0]
    out[0] = values[0]
    for i in range(1, len(values)):
        out[i] = out[i - 1] + (values[i] - out[i - 1]) * (1 - np.exp(-step / lag_h))
    return out


def rows(at_hour: float, hours: float) -> slice:
    """Return the rows from an hour on, for this long, both ends included."""
    first = round(at_hour * 60 / INTERVAL)
    return slice(first, first + round(hours * 60 / INTERVAL) + 1)


def line(at_hour: float) -> int:
    """Return the line of the log file for an hour; one line of headings comes first."""
    return round(at_hour * 60 / INTERVAL) + 2


def moved(channel: str, at_hour: float, hours: float, *, by: float) -> LogChange:
    """Add to a channel for some hours."""

    def change(channels: Channels) -> None:
        channels[channel][rows(at_hour, hours)] += by

    return change


def held(channel: str, at_hour: float, hours: float, *, to: float) -> LogChange:
    """Hold a channel at one value for some hours."""

    def change(channels: Channels) -> None:
        channels[channel][rows(at_hour, hours)] = to

    return change


def without(*names: str) -> LogChange:
    """Take channels out of the log."""

    def change(channels: Channels) -> None:
        for name in names:
            del channels[name]

    return change


def both(*changes: LogChange) -> LogChange:
    """Make several changes of the log."""

    def change(channels: Channels) -> None:
        for one in changes:
            one(channels)

    return change


#: Charges without a log.
NO_LOG = object()


def make_log(
    change: LogChange | None = None,
    *,
    gap: tuple[float, float] | None = None,
    repeats: int = 0,
    every: int = 1,
) -> Log:
    """Return the log; `gap` leaves out readings between two hours, `every` keeps only every nth."""
    hours, clean = clean_channels()
    channels = {name: values.copy() for name, values in clean.items()}
    if change:
        change(channels)
    kept = np.ones(len(hours), bool)
    if gap:
        kept = (hours <= gap[0] + 1e-9) | (hours >= gap[1] - 1e-9)
    start = np.datetime64(int(STARTED.timestamp()), "s")
    times = start + np.round(hours * 3600).astype("timedelta64[s]")
    lines = np.arange(len(hours)) + 2
    lines[100:] += repeats
    left_out = Counter({"rows whose clock repeats or runs back": repeats} if repeats else {})
    kept &= np.arange(len(hours)) % every == 0
    return Log(
        times[kept],
        {name: values[kept] for name, values in channels.items()},
        lines[kept],
        np.zeros(int(kept.sum()), int),
        (LOG_FILE,),
        len(hours) + repeats,
        left_out,
        INTERVAL * every,
    )


# --- records to cases -----------------------------------------------------------------------------


@cache
def real_limits() -> Located[Limits]:
    """Return the limits the mill uses."""
    name = "schedules/limits.yaml"
    return validate(read_yaml(PROJECT / name, name), Limits)


def limit(key: str, index: int = 0) -> float:
    """Return the value of a limit from the file."""
    return real_limits().record.limits[key][index].value


def texts(changes: Mapping[str, Any]) -> dict[str, str]:
    """Return each record as YAML, with the changes made."""
    changed: dict[str, Any] = {}
    for path, value in changes.items():
        name, _, inside = path.rpartition(":")
        name = name or "charge"
        record = changed.setdefault(name, copy.deepcopy(clean_records()[name]))
        _set(record, inside.split("."), value)
    return {**clean_texts(), **{name: _written(record) for name, record in changed.items()}}


@cache
def clean_records() -> dict[str, Any]:
    """Return the records of the clean charge and lot."""
    charge = charge_record()
    charge["boards"][1]["position"] = "middle"
    charge["boards"][0]["resections"] = [resection(10.4)]
    return {
        "charge": charge,
        "kiln": KILN,
        "schedule": SCHEDULE,
        "species": SPECIES,
        "mill": MILL,
        "lot": LOT,
    }


@cache
def clean_texts() -> dict[str, str]:
    """Return them as a person would type them."""
    return {name: _written(record) for name, record in clean_records().items()}


def _written(record: dict[str, Any]) -> str:
    return yaml.dump(record, sort_keys=False, allow_unicode=True, Dumper=_Plain)


@cache
def parsed(kind: str, text: str) -> Located[Any]:
    """Return a record parsed from its text, once for all tests that do not change it."""
    return validate(parse_yaml(text.encode(), FILES[kind]), MODELS[kind], zone=ZONE)


class _Plain(yaml.CSafeDumper):
    """Writes repeated parts out in full, since records may not contain aliases."""

    def ignore_aliases(self, data: object) -> bool:  # noqa: ARG002
        return True


def _set(record: Any, path: list[str], value: Any) -> None:
    """Set one value; None removes the key or item, a function gets the old value."""
    for key in path[:-1]:
        record = record[int(key) if isinstance(record, list) else key]
    last: Any = int(path[-1]) if isinstance(record, list) else path[-1]
    if callable(value):
        value = value(record[last])
    if value is None:
        del record[last]
    else:
        record[last] = value


def make_folder(changes: Mapping[str, Any] = MappingProxyType({})) -> MillFolder:
    """Return the mill folder in memory."""
    located = {name: parsed(name, text) for name, text in texts(changes).items()}
    species = located["species"]
    softwood = parsed(
        "species",
        _written({**SPECIES, "id": "pine", "trade_name": "Test pine", "kind": "softwood"}),
    )
    charges, lots = {"26-001": located["charge"]}, {"L-1": located["lot"]}
    return open_mill(PROJECT).with_records(
        mill=located["mill"],
        limits=real_limits(),
        species={"maple": species, "pine": softwood},
        schedules={"maple": located["schedule"]},
        kilns={"k1": located["kiln"]},
        charges=charges,
        lots=lots,
        located_charge=charges.__getitem__,
        lots_of_charge=Lookup(
            lambda number: tuple(
                name
                for name, lot in sorted(lots.items())
                if any(pack.charge == number for pack in lot.record.packs)
            )
        ),
        charges_with_pack=Lookup(
            lambda pack: tuple(
                name
                for name, charge in charges.items()
                if charge.record.stacking and pack in charge.record.stacking.packs
            )
        ),
    )


def make_case(
    changes: Mapping[str, Any] = MappingProxyType({}), *, log: Any = None, **shape: Any
) -> Case:
    """Return a charge as the checks get it, clean except for the changes."""
    folder = make_folder(changes)
    made = None if log is NO_LOG else make_log(log, **shape)
    return build_case(folder, folder.charges["26-001"], made)


def make_lot_case(
    changes: Mapping[str, Any] = MappingProxyType({}),
    *,
    log: Any = None,
    more: Mapping[str, Any] = MappingProxyType({}),
) -> LotCase:
    """Return a lot as the checks get it; `more` holds other charges and lots of the mill."""
    folder = make_folder(changes)
    case = build_case(folder, folder.charges["26-001"], None if log is NO_LOG else make_log(log))
    # what the checks of lots read from a dossier, without digests of files, which do not exist here
    dossier = Dossier.model_construct(
        survey=survey_result(case),
        heat=heat_result(case),
        findings=run_checks(case, case.charge.answers, case.charge.waivers),
    )
    folder.charges.update(more.get("charges", {}))  # type: ignore[attr-defined]
    folder.lots.update(more.get("lots", {}))  # type: ignore[attr-defined]
    return build_lot_case(folder, "L-1", {"26-001": dossier})


def written_at(place: Any, changes: Mapping[str, Any]) -> str:
    """Return the line a finding points at."""
    name = next(name for name, file in FILES.items() if file == place.file)
    return texts(changes)[name].splitlines()[place.line - 1].strip()
