"""Lines of a mill for a group of mills: one line for each charge and lot, and the schedules used.

Lines say which edition they are, what they hold, and whose they are. A mill keeps its keys, its
logs and its reviews; nothing of those is in them.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from kilnfolio import __version__
from kilnfolio.api.mill import MillView
from kilnfolio.api.tables import TABLES, Edition
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.mill import TimeZone
from kilnfolio.records.model import Record
from kilnfolio.records.region import RegionName
from kilnfolio.records.schedule import Schedule
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.runtime.files import write_whole

LineEdition = Literal["mill", "auditor"]
#: The tables that lines are taken from.
HELD = ("charges", "lots")
_STEPS = {"notation", "steps", "modifications", "equalizing", "conditioning", "target_mc"}


#: A time, with its zone and in a year that a mill has records of.
_Time = Annotated[
    AwareDatetime,
    Field(ge=dt.datetime(1900, 1, 1, tzinfo=dt.UTC), lt=dt.datetime(2200, 1, 1, tzinfo=dt.UTC)),
]
#: A figure that can be squared and added up.
_Amount = Annotated[float, Field(ge=-1e12, le=1e12)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class MillOfLines(_Part):
    """Whose lines they are."""

    name: str = Field(min_length=1, max_length=200)
    country: str = Field(max_length=200)
    practice: RegionName
    time_zone: TimeZone
    invented: bool


class ChargeLine(_Part):
    """A complete charge; the names are those of the table of charges."""

    charge: str = Field(min_length=1, max_length=100)
    invented: bool
    kiln: str
    schedule: str
    schedule_revision: int
    species: str
    thickness_mm: _Amount
    volume_m3: _Amount
    started: _Time
    ended: _Time
    days: _Amount
    target_mc_pct: _Amount
    final_mean_mc_pct: _Amount | None
    final_sd_mc_pct: _Amount | None
    readings: int | None
    water_kg: _Amount | None
    energy_kwh: _Amount | None
    fails: int
    questions: int


class LotLine(_Part):
    """A complete lot; the names are those of the table of lots."""

    lot: str
    product: str
    species: str
    thickness_mm: _Amount
    target_mc_pct: _Amount
    meets_order: bool | None
    mean_mc_pct: _Amount | None
    readings: int
    heat_treatment_shown: bool | None
    issued: dt.date
    version: int
    shipped: _Time | None = None
    customer: str | None = None


class ScheduleLine(_Part):
    """A schedule that a charge was dried by."""

    id: str
    title: str
    revision: int
    status: str
    steps: str = Field(min_length=64, max_length=64)
    """SHA-256 of its steps as written, equal where two mills have the same."""
    written: dict[str, str] = {}
    """What the digest covers, in words: each step, the stages, the target; empty in older lines."""


class Lines(_Part):
    """The lines of a mill."""

    kilnfolio: str
    lines: Literal[1]
    edition: LineEdition
    caution: str
    holds: dict[str, list[str]]
    mill: MillOfLines
    species: dict[str, str]
    schedules: list[ScheduleLine]
    charges: list[ChargeLine]
    lots: list[LotLine]


def lines_of(mill: MillView, folder: MillFolder, edition: LineEdition = "auditor") -> Lines:
    """Return the lines of a mill.

    Parameters
    ----------
    mill : MillView
        The mill.
    folder : MillFolder
        Its records.
    edition : str
        ``auditor``, or ``mill`` for what never leaves the mill or its group, such as customers.
    """
    rows = {name: [_named(name, edition, row) for row in mill.rows(name, edition)] for name in HELD}
    record = folder.mill.record
    used = sorted({str(row["schedule"]) for row in rows["charges"]})
    woods = sorted({str(row["species"]) for name in HELD for row in rows[name]})
    return Lines(
        kilnfolio=__version__,
        lines=1,
        edition=edition,
        caution=SAFETY,
        holds={name: [one.name for one in TABLES[name].columns_in(edition)] for name in HELD},
        mill=MillOfLines(
            name=record.name,
            country=record.country,
            practice=record.practice,
            time_zone=record.zone.key,
            invented=record.invented,
        ),
        species={wood: folder.species[wood].record.trade_name for wood in woods},
        schedules=[_schedule(folder.schedules[name].record) for name in used],
        charges=[ChargeLine.model_validate(row) for row in rows["charges"]],
        lots=[LotLine.model_validate(row) for row in rows["lots"]],
    )


def _named(table: str, edition: Edition, row: Iterable[object]) -> dict[str, object]:
    names = (column.name for column in TABLES[table].columns_in(edition))
    return dict(zip(names, row, strict=True))


def _schedule(record: Schedule) -> ScheduleLine:
    written = json.dumps(record.model_dump(mode="json", include=_STEPS), sort_keys=True)
    digest = hashlib.sha256(written.encode()).hexdigest()
    return ScheduleLine(
        id=record.id,
        title=record.title,
        revision=record.revision,
        status=record.status,
        steps=digest,
        written=dict(_written(record)),
    )


def _written(record: Schedule) -> Iterator[tuple[str, str]]:
    """Yield each part of what `_STEPS` names, and how it is written."""
    if record.notation:
        yield "notation", record.notation
    for number, step in enumerate(record.steps, 1):
        yield f"step {number}", _entered(step)
    for name in ("equalizing", "conditioning"):
        if (stage := getattr(record, name)) is not None:
            yield name, _entered(stage)
    if record.target_mc is not None:
        yield "target MC", record.target_mc.entered
    for number, change in enumerate(record.modifications, 1):
        yield f"modification {number}", _entered(change)


def _entered(part: Record) -> str:
    given = ((name, getattr(part, name)) for name in type(part).model_fields)
    return ", ".join(
        f"{name.replace('_', ' ').replace('mc', 'MC')} {getattr(value, 'entered', value)}"
        for name, value in given
        if value is not None
    )


def write_lines(lines: Lines, out: Path) -> None:
    """Write lines as JSON."""
    data = lines.model_dump(mode="json", exclude_none=False)
    write_whole(out, (json.dumps(data, indent=1, ensure_ascii=False) + "\n").encode())
