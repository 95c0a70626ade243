"""A charge without names, numbers, places or dates, from which a drill is made.

The record's own models are walked, so that a field added later is not passed on by oversight: every
text is replaced unless its field is on the list of those that reveal nothing about a mill.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping
from pathlib import PurePosixPath
from string import ascii_uppercase
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from pydantic import BaseModel

from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.log import Log, join_logs, read_log
from kilnfolio.runtime.values import dataclass

#: The first day of every drill.
FIRST_DAY = dt.date(2000, 1, 1)
#: Fields whose text is from a fixed list of words, or that the drill needs.
_KEPT = frozenset(
    {
        "chosen_as",
        "claim",
        "control_rule",
        "corrected_for",
        "kind",
        "kiln",
        "method",
        "schedule",
        "channel",
        "chosen",
        "side",
        "species",
        "start",
    }
)
#: Fields that a drill leaves out.
_DROPPED: Mapping[str, Any] = {
    "condensate": None,
    "corrections": [],
    "defects": [],
    "energy": None,
    "intake": [],
    "log": [],
    "notes": None,
    "signatures": [],
    "stacking": None,
    "stress": None,
    "survey": None,
    "answers": [],
    "waivers": [],
    "board_scale": None,
    "reviewed": None,
    "pieces": None,
}
#: Fields whose keys are tags of boards.
_BY_BOARD = frozenset({"masses", "stated_mc"})


@dataclass(frozen=True)
class Scene:
    """An anonymous charge: its record, its log, and the time zone in which its days are counted."""

    charge: Charge
    log: Log
    zone: ZoneInfo

    def with_(self, **changes: object) -> Scene:
        """Return a copy of the scene with fields of the charge's record changed."""
        return dataclasses.replace(self, charge=self.charge.model_copy(update=changes))

    def day(self, moment: dt.datetime) -> str:
        """Return a time as a day of the drill and time of day: ``day 5, 07:10``."""
        local = moment.astimezone(self.zone)
        return f"day {(local.date() - FIRST_DAY).days + 1}, {local:%H:%M}"


def anonymous(folder: MillFolder, charge_id: str, name: str) -> Scene | None:
    """Return a charge without anything that could reveal whose it was.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    charge_id : str
        The source.
    name : str
        The charge's new name.

    Returns
    -------
    Scene or None
        None if the charge has no log.
    """
    located = folder.charges[charge_id]
    zone = folder.mill.record.zone
    home = PurePosixPath(located.file).parent
    logs = [
        read_log(
            folder.file(str(home / entry.file)),
            entry.file,
            folder.loggers[entry.profile].record,
            zone,
        )
        for entry in located.record.log
    ]
    if not logs:
        return None
    log, charge = join_logs(logs), located.record
    shift = _shift(charge.started, zone)
    tags = {board.id: letter for board, letter in zip(charge.boards, _letters(), strict=False)}
    walk = _Anonymizer(shift, zone, tags)
    log = dataclasses.replace(
        log, times=log.times + np.timedelta64(int(shift.total_seconds()), "s"), names=(name,)
    )
    return Scene(walk.record(charge).model_copy(update={"id": name, "invented": False}), log, zone)


def _letters() -> list[str]:
    return [*ascii_uppercase, *(f"A{letter}" for letter in ascii_uppercase)]


def _shift(started: dt.datetime, zone: ZoneInfo) -> dt.timedelta:
    """Return the shift of all times: whole days, and some minutes so that times of day differ too.

    The minutes are derived from the start, so a charge is always shifted by the same amount.
    """
    local = started.astimezone(zone)
    begin = dt.datetime.combine(FIRST_DAY, local.time(), zone)
    # in UTC: subtracting times of one zone would ignore a change of the clocks
    return (
        begin.astimezone(dt.UTC)
        - started.astimezone(dt.UTC)
        + dt.timedelta(minutes=7 + int(started.timestamp() // 60) % 17)
    )


@dataclass(frozen=True)
class _Anonymizer:
    shift: dt.timedelta
    zone: ZoneInfo
    tags: Mapping[str, str]

    def record(self, record: Any) -> Any:
        """Return a copy of a record with every field made anonymous."""
        changes = {
            name: _DROPPED[name] if name in _DROPPED else self.value(name, value, record)
            for name, value in vars(record).items()
        }
        return record.model_copy(update=changes)

    def value(self, name: str, value: Any, owner: Any) -> Any:
        """Return the anonymous value of a field."""
        if isinstance(value, BaseModel):
            return self.record(value)
        if isinstance(value, dt.datetime):
            return (value.astimezone(dt.UTC) + self.shift).astimezone(self.zone)
        if isinstance(value, list):
            return [self.item(name, one, number, owner) for number, one in enumerate(value, 1)]
        if isinstance(value, dict):
            keys = self.tags if name in _BY_BOARD else {}
            return {keys[key]: one for key, one in value.items() if key in keys}
        if isinstance(value, str):
            return self.words(name, value)
        return value

    def item(self, name: str, value: Any, number: int, owner: Any) -> Any:
        """Return an anonymous item of a list; sections are numbered after their board."""
        made = self.value(name, value, owner)
        if name == "sections":
            tag = self.tags.get(getattr(owner, "id", ""), "")
            return made.model_copy(update={"id": f"{tag}{number}"})
        if name == "probes":
            return made.model_copy(update={"position": f"piece {number}"})
        return made

    def words(self, name: str, value: str) -> str | None:
        """Return a text if it reveals nothing about the mill, otherwise something neutral."""
        if name in _KEPT:
            return value
        if name == "id":
            return self.tags.get(value, "")
        return {"by": "operator", "cause": "stop"}.get(name)
