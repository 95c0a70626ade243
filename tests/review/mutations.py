"""Faults planted in clean charges of the demonstration mill, one for each check.

A fault changes the record as a person would have mistyped it, or the log as an instrument would
have shown it. Everything else stays right, so whatever else is raised follows from the fault.
`restated` works out a sheet's MCs again from its masses, as would an operator who trusts the scale.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from tests.review.inline import _set
from tests.reviewed import demo_mill

from kilnfolio.physics.moisture import controlling_moisture_content
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.log import Log, read_log
from kilnfolio.records.lot import Lot
from kilnfolio.records.model import Located
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.species import Species
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.review.dossier import Dossier, Finding
from kilnfolio.review.findings import Publication
from kilnfolio.review.review import (
    build_case,
    build_lot_case,
    heat_result,
    survey_result,
)
from kilnfolio.review.running import run_checks

PROJECT = Path(__file__).resolve().parents[2]
#: Green red oak on MC steps, a white spruce load with core probes on timed steps, and a hard maple
#: load whose kiln logs humidity and whose schedule states its end air; thick oak; and a lot of
#: each.
OAK, SPRUCE, MAPLE, THICK_OAK = "HB-25-041", "HB-25-048", "HB-25-044", "HB-25-052"
LOT_OF = {
    OAK: "HBL-25-101",
    SPRUCE: "HBL-25-106",
    MAPLE: "HBL-25-104",
    THICK_OAK: "HBL-26-004",
}

Record = dict[str, Any]
Channels = dict[str, np.ndarray]


@dataclass(frozen=True)
class Mutation:
    """One fault: the charge it is planted in, and what it changes.

    `changes` names a record (the charge if none is named) and the path of a value; None removes the
    value, a function gets the old one. `record` changes the whole charge; `log` the channels, given
    the hours since heating began; `rows` which rows are kept.
    """

    charge: str = OAK
    changes: Mapping[str, Any] = field(default_factory=dict)
    record: Callable[[Record], object] | None = None
    log: Callable[[np.ndarray, Channels], object] | None = None
    rows: Callable[[np.ndarray], np.ndarray] | None = None
    repeats: int = 0
    publication: Mapping[str, Any] | None = None


# --- the clean charges ----------------------------------------------------------------------------


@cache
def mill() -> MillFolder:
    """Return the demonstration mill."""
    return demo_mill()


@cache
def clean_log(charge: str) -> Log:
    """Return a charge's log as it was written."""
    folder = mill()
    (entry,) = folder.charges[charge].record.log
    path = folder.charge_folder(charge) / entry.file
    shown_as = path.relative_to(folder.root).as_posix()
    return read_log(path, shown_as, folder.loggers[entry.profile].record, folder.mill.record.zone)


def raised(mutation: Mutation) -> set[str]:
    """Return the checks that ask or note something about a charge and its lot."""
    if mutation.publication is not None:
        found = run_checks(dataclasses.replace(Publication((), (), ()), **mutation.publication))
        return _speaking(found)
    folder = _folder(mutation)
    located = folder.charges[mutation.charge]
    case = build_case(folder, located, _log(mutation, located.record.started))
    findings = run_checks(case, located.record.answers, located.record.waivers)
    dossier = Dossier.model_construct(
        survey=survey_result(case), heat=heat_result(case), findings=findings
    )
    lot = build_lot_case(folder, LOT_OF[mutation.charge], {mutation.charge: dossier})
    return _speaking([*findings, *run_checks(lot)])


def _speaking(findings: Any) -> set[str]:
    spoken: list[Finding] = [f for f in findings if f.noted or f.outcome in ("question", "fail")]
    return {finding.check for finding in spoken}


@cache
def raised_when_clean(charge: str) -> frozenset[str]:
    """Return what is noted about the clean charge."""
    return frozenset(raised(Mutation(charge)))


_KINDS: dict[str, tuple[str, type[Any]]] = {
    "kiln": ("kilns", Kiln),
    "schedule": ("schedules", Schedule),
    "species": ("species", Species),
    "lot": ("lots", Lot),
    "charge": ("charges", Charge),
}


def _folder(mutation: Mutation) -> MillFolder:
    folder = mill()
    charge = folder.charges[mutation.charge].record
    names = {
        "charge": charge.id,
        "kiln": charge.kiln,
        "schedule": charge.schedule,
        "species": charge.stock[0].species,
        "lot": LOT_OF[charge.id],
    }
    changed: dict[str, Record] = {}

    def record(kind: str) -> Record:
        home, _ = _KINDS[kind]
        located: Located[Any] = getattr(folder, home)[names[kind]]
        if kind not in changed:
            document = parse_yaml((folder.root / located.file).read_bytes(), located.file)
            changed[kind] = document.value
        return changed[kind]

    for path, value in mutation.changes.items():
        kind, _, inside = path.rpartition(":")
        _set(record(kind or "charge"), inside.split("."), value)
    if mutation.record:
        mutation.record(record("charge"))
    parts = {}
    for kind, value in changed.items():
        home, model = _KINDS[kind]
        there = getattr(folder, home)
        text = json.dumps(value, ensure_ascii=False, default=str).encode()
        document = parse_yaml(text, there[names[kind]].file)
        made = validate(document, model, zone=folder.mill.record.zone)
        parts[home] = {**there, names[kind]: made}
    return folder.with_records(**parts)


def _log(mutation: Mutation, started: dt.datetime) -> Log:
    log = clean_log(mutation.charge)
    hours = (log.times.astype(np.int64) - started.timestamp()) / 3600.0
    channels = {name: values.copy() for name, values in log.channels.items()}
    if mutation.log:
        mutation.log(hours, channels)
    kept = np.ones(len(hours), bool) if mutation.rows is None else mutation.rows(hours)
    left_out = log.left_out.copy()
    if mutation.repeats:
        left_out += Counter({"rows whose clock repeats or runs back": mutation.repeats})
    return dataclasses.replace(
        log,
        times=log.times[kept],
        lines=log.lines[kept],
        files=log.files[kept],
        channels={name: values[kept] for name, values in channels.items()},
        left_out=left_out,
    )


# --- what operators and instruments do ------------------------------------------------------------


def grams(mass: str) -> float:
    """Return the number in a mass as the sheets write it."""
    return float(str(mass).split()[0])


def restated(record: Record, first: int = 0) -> None:
    """Work out the sheet's MCs again from a weighing on."""
    dry = {board["id"]: grams(board["stated_oven_dry_mass"]) for board in record["boards"]}
    for done in record["weighings"][first:]:
        mcs = {name: 100 * (grams(mass) / dry[name] - 1) for name, mass in done["masses"].items()}
        done["stated_mc"] = {name: f"{mc:.1f} %" for name, mc in mcs.items()}
        done["stated_controlling_mc"] = f"{controlling_moisture_content(list(mcs.values())):.1f} %"


def weighed(board: str, rounds: Mapping[int, float]) -> Callable[[Record], None]:
    """Add grams to a board's mass in some rounds, and work out the sheet again."""

    def change(record: Record) -> None:
        for number, more in rounds.items():
            masses = record["weighings"][number]["masses"]
            masses[board] = f"{grams(masses[board]) + more:.0f} g"
        restated(record)

    return change


def stretch(
    names: str,
    first: float,
    last: float,
    *,
    by: float = 0.0,
    to: float | None = None,
    ramp: float = 0.0,
) -> Callable[[np.ndarray, Channels], None]:
    """Shift channels between two hours by an amount that ramps in and out over `ramp` hours, or
    hold them.

    A channel the log does not have is left out.
    """

    def change(hours: np.ndarray, channels: Channels) -> None:
        share = ((hours >= first) & (hours <= last)).astype(float)
        if ramp:
            share = np.interp(hours, [first - ramp, first, last, last + ramp], [0, 1, 1, 0])
        for name in names.split():
            if name not in channels:
                continue
            if to is None:
                channels[name] += by * share
            else:
                channels[name][share > 0] = to

    return change


def several(*changes: Callable[[np.ndarray, Channels], object]) -> Any:
    """Make several changes of the log."""

    def change(hours: np.ndarray, channels: Channels) -> None:
        for one in changes:
            one(hours, channels)

    return change


def moved(at: str, hours: float) -> str:
    """Return a time of the record, so many hours later."""
    return (dt.datetime.fromisoformat(str(at)) + dt.timedelta(hours=hours)).isoformat(
        timespec="minutes"
    )


def later(hours: float) -> Callable[[str], str]:
    """Move a time of the record."""
    return lambda at: moved(at, hours)


def more(amount: float, unit: str, decimals: int = 1) -> Callable[[Any], str]:
    """Add to a number of the record."""
    return lambda old: f"{grams(old) + amount:.{decimals}f} {unit}"
