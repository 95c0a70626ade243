"""A charge run on the bench as records of a mill folder, for review by the mill's own checks."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from kilnfolio.physics import moisture
from kilnfolio.physics.sorption import EMC_TEMP_RANGE_C
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.boards import COVERAGE
from kilnfolio.runtime.files import read_file, read_text
from kilnfolio.training.random_numbers import RandomNumbers
from kilnfolio.training.scenario import read_scenarios
from kilnfolio.training.simulation import START_C, STEP_H, Run, apply

#: Id of the charge, its kiln and its schedule.
NAME = "bench"
_STARTED = dt.datetime.fromisoformat("2026-01-05T08:00")
#: Face of a sample board, 0.6 m by 150 mm [m²], and the oven-dry mass of a section [g].
_FACE_M2, _SECTION_G = 0.09, 100.0
#: What the board scale and the section balance resolve [g].
_SCALE_G, _BALANCE_G = 1.0, 0.1
#: Largest difference between the air as set and a step of the sheet to count as that step [K].
_NEAR_K = 0.3
_NOISE_SEED = 0xB0A2D
_NOISE_K = 0.05
"""Standard deviation of the recorder's readings; constant values would look like a dead sensor."""
_MOST_DECISIONS = 5000


def record_constants() -> dict[str, Any]:
    """Return how a charge of the bench is written down, for the script that reviews it there."""
    return {
        "started": _STARTED.isoformat(),
        "face": _FACE_M2,
        "section": _SECTION_G,
        "scale": _SCALE_G,
        "balance": _BALANCE_G,
        "near": _NEAR_K,
        "noise": _NOISE_K,
        "noiseSeed": _NOISE_SEED,
        "coverage": COVERAGE,
        "emcRange": EMC_TEMP_RANGE_C,
    }


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class _Set(_Part):
    do: Literal["set"]
    dry_bulb: Annotated[float, Field(ge=20, le=110)]
    depression: Annotated[float, Field(ge=0.3, le=40)]


class _Wait(_Part):
    do: Literal["wait"]
    hours: Annotated[float, Field(gt=0, le=5000)]


class _Do(_Part):
    do: Literal["wick", "weigh"]


class SavedRun(BaseModel):
    """A file saved by the bench: the load, the seed, and every decision in order."""

    model_config = ConfigDict(extra="ignore", allow_inf_nan=False)

    format: Literal[1]
    what: Literal["charge run for practice"]
    scenario: str
    seed: Annotated[int, Field(ge=0, lt=2**32)]
    decisions: Annotated[
        list[Annotated[_Set | _Wait | _Do, Field(discriminator="do")]],
        Field(min_length=1, max_length=_MOST_DECISIONS),
    ]


def read_saved(path: Path) -> SavedRun:
    """Read a file saved by the bench.

    Raises
    ------
    ValueError
        If the file is not valid; the message says why.
    """
    try:
        return SavedRun.model_validate(json.loads(read_text(path)))
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "the file"
        reason = f"{place}: {first['msg']}"
    except (UnicodeDecodeError, ValueError, RecursionError):
        reason = "it is not JSON"
    raise ValueError(f"{path}: {reason}. Save it again on the bench, and change nothing in it")


def practice_records(folder: MillFolder, saved: SavedRun) -> dict[str, str]:
    """Return the files of a mill folder, by path, that record a charge of the bench.

    Parameters
    ----------
    folder : MillFolder
        The mill, for its limits, species and scenarios.
    saved : SavedRun
        From `read_saved`.

    Raises
    ------
    ValueError
        If this mill does not have the scenario, or nothing was dried.
    """
    species = {name: located.record for name, located in folder.species.items()}
    scenarios = read_scenarios(folder.root, species)
    if saved.scenario not in scenarios:
        known = ", ".join(scenarios) or "none"
        raise ValueError(f"there is no load '{saved.scenario}' in this mill. Known ones: {known}")
    given = scenarios[saved.scenario]
    run, charge = _charge(given, saved)
    if not run.log:
        raise ValueError("the kiln was never run: wait some hours before it is opened")
    mill = folder.mill.record
    records: dict[str, Any] = {
        "content/mill.yaml": {
            "format": 1,
            "name": f"{mill.name}, practice",
            "invented": True,
            "place": "The bench",
            "country": mill.country,
            "time_zone": "Atlantic/Reykjavik",  # no summer time: the bench has one clock all year
            "altitude": "0 m",
            "contact": {"name": "Trainer", "email": "trainer@mill.example"},
            "records_address": "https://mill.example/practice",
            "practice": mill.practice,
        },
        f"content/kilns/{NAME}.yaml": _kiln(),
        f"content/loggers/{NAME}.yaml": _LOGGER,
        f"schedules/{species[given['species']].kind}/{NAME}.yaml": _schedule(given),
        f"content/charges/2026/{NAME}/charge.yaml": charge,
    }
    files: dict[str, str] = {
        path: yaml.safe_dump(record, allow_unicode=True, sort_keys=False)
        for path, record in records.items()
    }
    for part in ("sources", "limits", f"species/{given['species']}"):
        files[f"schedules/{part}.yaml"] = read_file(folder.root / f"schedules/{part}.yaml").decode()
    noise = RandomNumbers(saved.seed ^ _NOISE_SEED)
    air = [(0.0, START_C, START_C - 0.5), *(row[:3] for row in run.log)]
    rows = [
        ",".join(
            [_stamp(row[0]).replace("T", " "), *(_noisy_reading(bulb, noise) for bulb in row[1:])]
        )
        for row in air
    ]
    files[f"content/charges/2026/{NAME}/{NAME}.csv"] = "\n".join(["time,DB,WB", *rows]) + "\n"
    return files


_LOGGER = {
    "format": 1,
    "id": NAME,
    "title": "The bench's recorder",
    "delimiter": ",",
    "decimal": ".",
    "interval_minutes": round(60 * STEP_H),
    "time": {"heading": "time", "format": "%Y-%m-%d %H:%M", "clock": "local"},
    "columns": [
        {"heading": "DB", "channel": "dry-bulb", "unit": "°C"},
        {"heading": "WB", "channel": "wet-bulb", "unit": "°C"},
    ],
}


def _kiln() -> dict[str, Any]:
    instruments = (("db", "temperature sensor", "dry-bulb"), ("wb", "wet-bulb sensor", "wet-bulb"))
    return {
        "format": 1,
        "id": NAME,
        "name": "The bench's kiln",
        "kind": "steam",
        "capacity": "60 m³",
        "hottest": "110 °C",
        "instruments": [
            {
                "id": tag,
                "kind": kind,
                "channel": channel,
                "uncertainty": "0.3 K",
                # a new date object each time: YAML would write a repeated one as an alias
                "calibrations": [{"on": _week_before(), "by": "Trainer", "method": "the bench's"}],
            }
            for tag, kind, channel in instruments
        ],
    }


def _week_before() -> dt.date:
    return _STARTED.date() - dt.timedelta(days=7)


def _schedule(given: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "format": 1,
        "id": NAME,
        "title": f"The sheet: {given['title']}",
        "revision": 1,
        "approved": {"by": "Trainer", "on": _week_before()},
        "for_stock": {
            "species": [given["species"]],
            "thickness": [f"{given['thickness_mm']:g} mm"],
            "start": "green",
        },
        "steps": [
            {
                "dry_bulb": f"{step['dry_bulb']:g} °C",
                "depression": f"{step['depression']:g} K",
                "until_mc": "final" if step["until_mc"] is None else f"{step['until_mc']:g} %",
            }
            for step in given["steps"]
        ],
        "source": "common practice",
        "status": "mill",
        "invented": True,
    }


def _charge(given: Mapping[str, Any], saved: SavedRun) -> tuple[Run, dict[str, Any]]:
    """Replay the decisions; return the run, and its record as a mill would have written it."""
    run = Run(given, saved.seed)
    dry_g = 1e3 * _FACE_M2 * given["thickness_mm"] / 1e3 * given["basic_density"]
    green = [float(mc) for mc in run.profile.mean(axis=-1)[: given["samples"]]]
    changes: list[dict[str, Any]] = []
    events: list[dict[str, Any]] = []
    weighings: dict[float, dict[str, Any]] = {}
    for decision in saved.decisions:
        at = _stamp(run.hour)
        if decision.do == "set":
            step = _step_of(given, decision)
            if step is None:
                events.append(
                    _event(
                        at, "note", f"set {decision.dry_bulb:g} °C, {decision.depression:g} K less"
                    )
                )
            elif not changes or changes[-1]["step"] != step:
                changes = [one for one in changes if one["at"] != at]
                changes.append({"at": at, "step": step, "by": "Trainee"})
        elif decision.do == "wick":
            events.append(_event(at, "wick changed", None))
        apply(run, decision.model_dump())
        if decision.do == "weigh":
            weighings[run.hour] = {
                "at": at,
                "by": "Trainee",
                "masses": dict(_masses(dry_g, run.weighings[-1].mcs)),
            }
    weighings.pop(0.0, None)  # it is in the boards' green masses
    return run, {
        "format": 1,
        "id": NAME,
        "invented": True,
        "kiln": NAME,
        "schedule": NAME,
        "schedule_revision": 1,
        "target_mc": f"{given['target']:g} %",
        "stock": [
            {
                "species": given["species"],
                "thickness": f"{given['thickness_mm']:g} mm",
                "volume": f"{given['volume_m3']:g} m³",
                "start": "green",
            }
        ],
        "loaded": _stamp(-1),
        "started": _stamp(0),
        "ended": _stamp(run.hour),
        "unloaded": _stamp(run.hour + 24),
        "scale_resolution": f"{_SCALE_G:g} g",
        "balance_resolution": f"{_BALANCE_G:g} g",
        "boards": _boards(green, dry_g),
        "weighings": list(weighings.values()),
        "step_changes": changes,
        "events": events,
        "log": [{"file": f"{NAME}.csv", "profile": NAME}],
        "notes": f"Run for practice on the bench, load {saved.scenario}, seed {saved.seed}.",
    }


def _boards(green: Sequence[float], dry_g: float) -> list[dict[str, Any]]:
    return [
        _board(f"S{place}", mc, dry_g, wettest=mc == max(green))
        for place, mc in enumerate(green, 1)
    ]


def _step_of(given: Mapping[str, Any], decision: _Set) -> int | None:
    for number, step in enumerate(given["steps"], 1):
        apart = (decision.dry_bulb - step["dry_bulb"], decision.depression - step["depression"])
        if max(map(abs, apart)) <= _NEAR_K:
            return number
    return None


def _event(at: str, kind: str, note: str | None) -> dict[str, Any]:
    return {"at": at, "kind": kind, "by": "Trainee"} | ({"note": note} if note else {})


def _board(tag: str, mc: float, dry_g: float, *, wettest: bool) -> dict[str, Any]:
    section = f"{float(moisture.mass_at(_SECTION_G, mc)):.1f} g"
    return {
        "id": tag,
        "sections": [
            {"id": f"{tag}{side}", "green": section, "oven_dry": f"{_SECTION_G:.1f} g"}
            for side in "ab"
        ],
        "green_mass": f"{float(moisture.mass_at(dry_g, mc)):.0f} g",
        "weighed_at": _stamp(-2),
        "by": "Trainee",
        "chosen_as": "wettest" if wettest else "typical",
    }


def _masses(dry_g: float, mcs: tuple[float, ...]) -> Iterator[tuple[str, str]]:
    for place, mc in enumerate(mcs, 1):
        yield f"S{place}", f"{float(moisture.mass_at(dry_g, mc)):.0f} g"


def _noisy_reading(temp_c: float, noise: RandomNumbers) -> str:
    """Return a reading with the noise of a real sensor."""
    return f"{temp_c + _NOISE_K * noise.normal():.2f}"


def _stamp(hour: float) -> str:
    return f"{_STARTED + dt.timedelta(hours=hour):%Y-%m-%dT%H:%M}"
