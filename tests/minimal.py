"""The smallest mill folder that is read without a problem: invented, one record of each noun.

``minimal_mill(tmp_path)`` writes it; a test changes what it is about, and nothing else::

    minimal_mill(tmp_path, charge={"kiln": "k9"})                  merged into the record
    minimal_mill(tmp_path, charge={"survey": DROP})                the key is taken out
    minimal_mill(tmp_path, charge=lambda c: c["boards"].pop())     changed in place
    minimal_mill(tmp_path, lot="format: 1\\nid: [")                 the file's own text
    minimal_mill(tmp_path, log="time,DB,WB\\n")                     the logger's own file
    minimal_mill(tmp_path, files={"content/kilns/k2.yaml": {…}})   further files; None deletes one

The charge is air-dried red oak going from about 20 to 12 % MC in six days. Its figures hang
together: board masses fall exponentially toward the EMC of the logged air, sections agree with
their boards, the clock keeps local time, and the log has the noise of real sensors.
"""

from __future__ import annotations

import copy
import datetime as dt
import functools
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import yaml

LIBRARY = Path(__file__).resolve().parent.parent / "schedules"

#: Where each noun of the minimal mill is kept.
FILES = {
    "mill": "content/mill.yaml",
    "kiln": "content/kilns/k1.yaml",
    "logger": "content/loggers/two-bulbs.yaml",
    "charge": "content/charges/2026/C1/charge.yaml",
    "log": "content/charges/2026/C1/bulbs.csv",
    "lot": "content/lots/L1.yaml",
    "species": "schedules/species/quercus-rubra.yaml",
    "schedule": "schedules/hardwood/red-oak-4-4.yaml",
    "sources": "schedules/sources.yaml",
    "limits": "schedules/limits.yaml",
}

#: The writer in C: a tenth of the time for the same text.
DUMPER = yaml.CSafeDumper

#: A value that takes its key out of a record.
DROP = object()

Change = Mapping[str, Any] | Callable[[Any], object] | str | bytes

#: Local times, as a person writes them.
STARTED = dt.datetime.fromisoformat("2026-06-01T08:00")
STEP_2 = STARTED + dt.timedelta(days=3)
ENDED = STARTED + dt.timedelta(days=6)

#: Board tag to its oven-dry mass [g] and MC at the start [%].
BOARDS = {"S1": (2000.0, 20.5), "S2": (2110.0, 20.0), "S3": (1895.0, 19.5)}


def board_mc(start_pct: float, days: float) -> float:
    """Return the MC [%] after drying exponentially toward 8 %, four ninths of the way by day 6."""
    return 8.0 + (start_pct - 8.0) * math.exp(-days / 5.6)


def minimal_log() -> str:
    """Return the logger's export: half-hourly bulbs, two steps, a tenth of a kelvin of noise."""
    noise = np.random.default_rng(7).normal(0.0, 0.1, (289, 2))
    rows = ["time,DB,WB"]
    for number, (dry, wet) in enumerate(noise):
        moment = STARTED + dt.timedelta(minutes=30 * number)
        base = (50.0, 41.0) if moment < STEP_2 else (55.0, 42.0)
        rows.append(f"{moment:%Y-%m-%d %H:%M},{base[0] + dry:.2f},{base[1] + wet:.2f}")
    return "\n".join(rows) + "\n"


def _stamp(moment: dt.datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M}"


def _board(tag: str) -> dict[str, Any]:
    oven_dry, mc = BOARDS[tag]
    sections = [
        {
            "id": f"{tag}{side}",
            "green": f"{100 * (1 + (mc + off) / 100):.1f} g",
            "oven_dry": "100 g",
        }
        for side, off in (("a", 0.2), ("b", -0.2))
    ]
    return {
        "id": tag,
        "sections": sections,
        "green_mass": f"{oven_dry * (1 + mc / 100):.0f} g",
        "weighed_at": _stamp(STARTED - dt.timedelta(hours=2)),
        "by": "A. N. Other",
        "chosen_as": "wettest" if tag == "S1" else "typical",
    }


def _weighing(day: int) -> dict[str, Any]:
    return {
        "at": _stamp(STARTED + dt.timedelta(days=day)),
        "by": "A. N. Other",
        "masses": {
            tag: f"{oven_dry * (1 + board_mc(mc, day) / 100):.0f} g"
            for tag, (oven_dry, mc) in BOARDS.items()
        },
    }


def minimal_records() -> dict[str, Any]:
    """Return every record of the minimal mill as plain values, fresh at each call."""
    mill = {
        "format": 1,
        "name": "Minimal Mill",
        "invented": True,
        "place": "Nowhere",
        "country": "Canada",
        "time_zone": "America/Toronto",
        "altitude": "310 m",
        "contact": {"name": "Office", "email": "office@mill.example"},
        "records_address": "https://mill.example/records",
        "practice": "North American",
    }
    kiln = {
        "format": 1,
        "id": "k1",
        "name": "Kiln 1",
        "kind": "steam",
        "capacity": "60 m³",
        "hottest": "85 °C",
        "positions": ["door", "middle", "back"],
        "instruments": [
            {
                "id": "db",
                "kind": "temperature sensor",
                "channel": "dry-bulb",
                "uncertainty": "0.5 K",
                "calibrations": [
                    {"on": dt.date(2026, 1, 12), "by": "A. N. Other", "method": "ice point"}
                ],
            },
            {
                "id": "wb",
                "kind": "wet-bulb sensor",
                "channel": "wet-bulb",
                "uncertainty": "0.5 K",
                "calibrations": [
                    {"on": dt.date(2026, 1, 12), "by": "A. N. Other", "method": "ice point"}
                ],
            },
            {"id": "pins", "kind": "resistance meter"},
        ],
    }
    logger = {
        "format": 1,
        "id": "two-bulbs",
        "title": "Two bulbs, comma-separated",
        "delimiter": ",",
        "decimal": ".",
        "interval_minutes": 30,
        "time": {"heading": "time", "format": "%Y-%m-%d %H:%M", "clock": "local"},
        "columns": [
            {"heading": "DB", "channel": "dry-bulb", "unit": "°C"},
            {"heading": "WB", "channel": "wet-bulb", "unit": "°C"},
        ],
    }
    species = {
        "format": 1,
        "id": "quercus-rubra",
        "trade_name": "Northern red oak",
        "scientific_name": "Quercus rubra",
        "kind": "hardwood",
        "region": "Eastern North America",
        "refractory": True,
        "specific_gravity": [
            {"basic": 0.56, "source": "wood-handbook, Table 5-3", "status": "read"}
        ],
        "safe_daily_loss": [
            {
                "thickness": "4/4",
                "rate": "3.8 %/day",
                "source": "wengert-extension, table of safe drying rates",
                "status": "memory",
            }
        ],
    }
    schedule = {
        "format": 1,
        "id": "red-oak-4-4",
        "title": "Red oak 4/4, air-dried",
        "revision": 1,
        "approved": {"by": "A. N. Other", "on": dt.date(2026, 1, 5)},
        "for_stock": {"species": ["quercus-rubra"], "thickness": ["4/4"], "start": "air-dried"},
        "steps": [
            {"dry_bulb": "50 °C", "depression": "9 K", "until_mc": "15.2 %"},
            {"dry_bulb": "55 °C", "depression": "13 K", "until_mc": "final"},
        ],
        "source": "common practice",
        "status": "mill",
        "invented": True,
    }
    charge = {
        "format": 1,
        "id": "C1",
        "invented": True,
        "kiln": "k1",
        "schedule": "red-oak-4-4",
        "schedule_revision": 1,
        "target_mc": "12 %",
        "stock": [
            {
                "species": "quercus-rubra",
                "thickness": "4/4",
                "volume": "40 m³",
                "start": "air-dried",
            }
        ],
        "loaded": _stamp(STARTED - dt.timedelta(hours=1)),
        "started": _stamp(STARTED),
        "ended": _stamp(ENDED),
        "unloaded": _stamp(ENDED + dt.timedelta(hours=6)),
        "scale_resolution": "1 g",
        "balance_resolution": "0.1 g",
        "boards": [_board(tag) for tag in BOARDS],
        "weighings": [_weighing(day) for day in range(7)],
        "log": [{"file": "bulbs.csv", "profile": "two-bulbs"}],
        "step_changes": [
            {"at": _stamp(STARTED), "step": 1, "by": "A. N. Other"},
            {"at": _stamp(STEP_2), "step": 2, "by": "A. N. Other"},
        ],
        "survey": {
            "at": _stamp(ENDED + dt.timedelta(hours=3)),
            "by": "A. N. Other",
            "method": "resistance meter",
            "instrument": "pins",
            "chosen": "at random",
            "wood_temperature": "20 °C",
            "calibration_temperature": "20 °C",
            "corrected_for": ["temperature", "species"],
            "readings": [
                {"mc": f"{mc} %", "pack": "P1", "position": position}
                for mc, position in zip(
                    (12.1, 12.4, 11.8, 12.0, 12.6, 11.5, 12.2, 11.9, 12.3, 12.0, 11.7, 12.5),
                    ("door", "middle", "back") * 4,
                    strict=True,
                )
            ],
        },
        "signatures": [{"by": "A. N. Other", "on": dt.date(2026, 6, 8)}],
    }
    lot = {
        "format": 1,
        "id": "L1",
        "invented": True,
        "product": "Red oak boards, 4/4",
        "species": "quercus-rubra",
        "thickness": "4/4",
        "order": {
            "target_mc": "12 %",
            "rule": "band",
            "lowest": "10 %",
            "highest": "14 %",
            "share": "90 %",
        },
        "packs": [{"number": "P1", "charge": "C1", "pieces": 220, "volume": "2.1 m³"}],
        "issued": dt.date(2026, 6, 9),
    }
    return {
        "mill": mill,
        "kiln": kiln,
        "logger": logger,
        "charge": charge,
        "lot": lot,
        "species": species,
        "schedule": schedule,
    }


def minimal_mill(root: Path, *, files: Mapping[str, Any] | None = None, **changes: Change) -> Path:
    """Write the minimal mill below `root` and return `root`.

    Parameters
    ----------
    root : Path
        An empty folder.
    files : mapping, optional
        Further files by path below `root`: plain values, text or bytes; None deletes the file.
    **changes
        By noun, as in `FILES`: a mapping merged into the record, a function that changes it in
        place, or the file's whole text.
    """
    unknown = set(changes) - set(FILES)
    assert not unknown, f"the minimal mill has no {unknown}"
    contents: dict[str, Any] = {FILES[noun]: raw for noun, raw in _unchanged().items()}
    for noun, change in changes.items():
        contents[FILES[noun]] = (
            change if isinstance(change, (str, bytes)) else _changed(_values(noun), change)
        )
    for name, content in {**contents, **(files or {})}.items():
        if content is None:
            (root / name).unlink(missing_ok=True)
            continue
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(_as_bytes(content))
    return root


@functools.cache
def _unchanged() -> dict[str, bytes]:
    """Return the file of each noun; thousands of tests write them."""
    raw = {noun: _as_bytes(record) for noun, record in minimal_records().items()}
    raw["log"] = minimal_log().encode()
    return raw | {noun: (LIBRARY / f"{noun}.yaml").read_bytes() for noun in ("sources", "limits")}


def _values(noun: str) -> Any:
    """Return the plain values of a noun's file, for one test to change."""
    records = minimal_records()
    return records[noun] if noun in records else copy.deepcopy(_library(noun))


@functools.cache
def _library(noun: str) -> Any:
    return yaml.load(_unchanged()[noun], yaml.CSafeLoader)


def _changed(record: Any, change: Any) -> Any:
    if callable(change):
        change(record)
        return record
    return _merged(record, change)


def _merged(record: Any, change: Any) -> Any:
    if not isinstance(change, Mapping) or not isinstance(record, dict):
        return change
    for key, value in change.items():
        if value is DROP:
            del record[key]
        else:
            record[key] = _merged(record.get(key), value)
    return record


def _as_bytes(content: Any) -> bytes:
    if isinstance(content, bytes):
        return content
    text = (
        content
        if isinstance(content, str)
        else yaml.dump(content, Dumper=DUMPER, allow_unicode=True, sort_keys=False, width=1000)
    )
    return text.encode()
