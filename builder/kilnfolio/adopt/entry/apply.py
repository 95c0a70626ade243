"""Puts an entry into a charge's record: only once, in order of time, and without changing anything.

An entry's content decides whether the record already has it, so entries may come in any order and
more than once. Existing values are never changed; a conflict is reported. The end of a stop or
stage completes the one that was begun.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any, Literal
from zoneinfo import ZoneInfo

from kilnfolio.adopt.entry import entries as kinds
from kilnfolio.adopt.entry.times import written
from kilnfolio.adopt.record_file import ChargeFile
from kilnfolio.adopt.record_text import Path
from kilnfolio.records.model import TO_FILL, localize
from kilnfolio.records.quantities import Quantity
from kilnfolio.records.validation import is_mark
from kilnfolio.runtime.values import dataclass

Outcome = Literal["new", "same", "conflict"]


@dataclass(frozen=True)
class Applied:
    """The result of applying an entry.

    Attributes
    ----------
    outcome : {"new", "same", "conflict"}
        Added to the record's text; already there; or contradicted by the record.
    words : str
        The entry in a few words; for a conflict, both values.
    """

    outcome: Outcome
    words: str


def apply(file: ChargeFile, entry: Any, by: str | None, zone: ZoneInfo) -> Applied:
    """Put an entry into a record's text; if there is a conflict, leave the text unchanged.

    Parameters
    ----------
    file : ChargeFile
        The record, edited in place.
    entry : Entry
        One of `entries.Entry`.
    by : str, optional
        Who made the entry, if it does not say.
    zone : ZoneInfo
        The mill's zone.
    """
    who = entry.by or by
    return _APPLY[type(entry)](_Record(file, zone), entry, {"by": who} if who else {})


@dataclass(frozen=True)
class _Record:
    """A record's text, with the mill's zone."""

    file: ChargeFile
    zone: ZoneInfo

    def at(self, path: Path) -> Any:
        value = self.file.record.at(path)
        return None if is_mark(value) else value

    def items(self, key: str) -> list[Any]:
        found = self.at((key,))
        return found if isinstance(found, list) else []

    def moment(self, value: object) -> dt.datetime | None:
        """Return a time in the record; None if it cannot be read."""
        try:
            moment = dt.datetime.fromisoformat(str(value).replace(" ", "T"))
            return moment if moment.tzinfo else localize(moment, self.zone, value)
        except Exception:  # a problem of the record, which `check` reports
            return None

    def said(self, at: dt.datetime) -> str:
        return written(at, self.zone)

    def insert(self, key: str, when: str, at: dt.datetime, item: Mapping[str, Any]) -> None:
        """Insert an item in order of time."""
        times = [self.moment(one.get(when)) for one in self.items(key) if isinstance(one, dict)]
        index = sum(1 for time in times if time is None or time <= at)
        self.file.insert((key,), index, dict(item))

    def find(self, key: str, when: str, at: dt.datetime) -> list[int]:
        """Return the items of a list at a given time."""
        return [
            index
            for index, one in enumerate(self.items(key))
            if isinstance(one, dict) and self.moment(one.get(when)) == at
        ]


def _weighing(record: _Record, entry: kinds.WeighingEntry, by: dict[str, str]) -> Applied:
    """Add a round of masses, and one of MCs if some boards were read by meter."""
    found = [
        _round(record, entry.at, key, inner, values, head)
        for key, inner, values, head in (
            ("weighings", "masses", entry.masses, by),
            ("mc_rounds", "mc", entry.mc, {**by, "method": "hand meter"}),
        )
        if values
    ]
    conflicts = [one for one in found if one.outcome == "conflict"]
    outcome: Outcome = (
        "conflict" if conflicts else "new" if any(one.outcome == "new" for one in found) else "same"
    )
    return Applied(outcome, "; ".join(one.words for one in conflicts or found) or "nothing")


def _round(
    record: _Record,
    at: dt.datetime,
    key: str,
    inner: str,
    values: Mapping[str, Quantity],
    head: Mapping[str, str],
) -> Applied:
    when = record.said(at)
    words = f"round of {when}: " + ", ".join(f"{tag} {one.entered}" for tag, one in values.items())
    there = record.find(key, "at", at)
    if not there:
        record.insert(
            key,
            "at",
            at,
            {"at": when, **head, inner: {tag: one.entered for tag, one in values.items()}},
        )
        return Applied("new", words)
    index, lacking = there[0], {}
    for tag, value in values.items():
        stands = record.at((key, index, inner, tag))
        if stands is None:
            lacking[tag] = value.entered
        elif not _same(stands, value):
            return Applied(
                "conflict",
                f"round of {when}, board {tag}: the record says {stands}, "
                f"the entry {value.entered}",
            )
    for tag, text in lacking.items():
        record.file.record.put((key, index, inner, tag), text)
    return Applied("new" if lacking else "same", words)


def _same(stands: object, value: Quantity) -> bool:
    try:
        return abs(type(value).parse(str(stands)).value - value.value) <= 1e-9 * max(
            1.0, abs(value.value)
        )
    except ValueError:
        return False


def _step(record: _Record, entry: kinds.StepEntry, by: dict[str, str]) -> Applied:
    when = record.said(entry.at)
    words = f"step {entry.step} set at {when}"
    for index in record.find("step_changes", "at", entry.at):
        stands = record.at(("step_changes", index, "step"))
        if stands == entry.step:
            return Applied("same", words)
        return Applied(
            "conflict", f"at {when} the record says step {stands}, the entry step {entry.step}"
        )
    record.insert(
        "step_changes",
        "at",
        entry.at,
        {
            "at": when,
            "step": entry.step,
            **by,
            **({"reason": entry.reason} if entry.reason else {}),
        },
    )
    return Applied("new", words)


def _stop(record: _Record, entry: kinds.StopEntry, by: dict[str, str]) -> Applied:
    start = record.said(entry.start)
    words = f"stop from {start}" + (f" to {record.said(entry.end)}" if entry.end else "")
    for index in record.find("stops", "start", entry.start):
        return _ended(record, ("stops", index, "end"), entry.end, words)
    record.insert(
        "stops",
        "start",
        entry.start,
        {
            "start": start,
            "end": record.said(entry.end) if entry.end else TO_FILL,
            "cause": entry.cause,
            **by,
        },
    )
    return Applied("new", words)


def _ended(record: _Record, path: Path, end: dt.datetime | None, words: str) -> Applied:
    """Complete a stop or stage with its end."""
    stands = record.at(path)
    if end is None or (stands is not None and record.moment(stands) == end):
        return Applied("same", words)
    if stands is not None:
        return Applied("conflict", f"{words}: the record says it ended {stands}")
    record.file.record.put(path, record.said(end))
    return Applied("new", words)


def _event(record: _Record, entry: kinds.EventEntry, by: dict[str, str]) -> Applied:
    when = record.said(entry.at)
    words = f"{entry.event} at {when}" + (f": {entry.note}" if entry.note else "")
    for index in record.find("events", "at", entry.at):
        one = record.items("events")[index]
        if one.get("kind") == entry.event and (one.get("note") or None) == entry.note:
            return Applied("same", words)
    record.insert(
        "events",
        "at",
        entry.at,
        {"at": when, "kind": entry.event, **by, **({"note": entry.note} if entry.note else {})},
    )
    return Applied("new", words)


def _stage(record: _Record, entry: kinds.StageEntry, by: dict[str, str]) -> Applied:
    start = record.said(entry.start)
    words = (
        f"{entry.stage} from {start}"
        + (f" to {record.said(entry.end)}" if entry.end else "")
        + f", {entry.dry_bulb.entered}, EMC {entry.emc.entered}"
    )
    stands = record.at((entry.stage,))
    if isinstance(stands, dict):
        if record.moment(stands.get("start")) != entry.start:
            return Applied("conflict", f"{words}: the record says it began {stands.get('start')}")
        for key in ("dry_bulb", "emc"):
            if not _same(stands.get(key), getattr(entry, key)):
                return Applied(
                    "conflict",
                    f"{words}, {key.replace('_', ' ')}: the record says "
                    f"{stands.get(key)}, the entry {getattr(entry, key).entered}",
                )
        return _ended(record, (entry.stage, "end"), entry.end, words)
    record.file.record.put(
        (entry.stage,),
        {
            "start": start,
            "end": record.said(entry.end) if entry.end else TO_FILL,
            "dry_bulb": entry.dry_bulb.entered,
            "emc": entry.emc.entered,
            **by,
        },
    )
    return Applied("new", words)


def _finish(record: _Record, entry: kinds.FinishEntry, by: dict[str, str]) -> Applied:
    del by  # the record has no field for it; signatures say who is responsible for the charge
    moments = {key: at for key in ("ended", "unloaded") if (at := getattr(entry, key))}
    words = ", ".join(f"{key} {record.said(at)}" for key, at in moments.items())
    lacking = {}
    for key, at in moments.items():
        stands = record.at((key,))
        if stands is None:
            lacking[key] = record.said(at)
        elif record.moment(stands) != at:
            return Applied(
                "conflict", f"{key}: the record says {stands}, the entry {record.said(at)}"
            )
    for key, text in lacking.items():
        record.file.record.put((key,), text)
    return Applied("new" if lacking else "same", words)


_APPLY: Mapping[type, Callable[[_Record, Any, dict[str, str]], Applied]] = {
    kinds.WeighingEntry: _weighing,
    kinds.StepEntry: _step,
    kinds.StopEntry: _stop,
    kinds.EventEntry: _event,
    kinds.StageEntry: _stage,
    kinds.FinishEntry: _finish,
}
