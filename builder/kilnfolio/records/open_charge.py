"""A charge whose record is not complete: what is known, and what is still to be filled in.

A charge is open until `ended` and `unloaded` are both written. Until then marks and missing keys
are not a problem, and other records are read as usual; an invalid value still is a problem.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import PurePosixPath
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import BaseModel

from kilnfolio.records.charge import Charge, Stage, Stop
from kilnfolio.records.drafts import Draft, draft_id, only_absent
from kilnfolio.records.formats import current
from kilnfolio.records.model import Located
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.validation import is_mark, validate
from kilnfolio.records.yaml_source import Document
from kilnfolio.runtime.values import dataclass

#: The last keys written in a charge, which an open one lacks.
LAST = ("ended", "unloaded")
#: Stands in for missing times while the rest is read; no record can be of that year.
_NOT_YET = dt.datetime(2900, 1, 1, tzinfo=dt.UTC)


@dataclass(frozen=True)
class OpenCharge(Draft):
    """A charge that is running, or whose record nobody has completed.

    Attributes
    ----------
    so_far : Located of Charge, optional
        The record so far, with its last moment in place of missing keys of `LAST`; None until it
        names kiln, schedule, timber and the time heating began.
    """

    so_far: Located[Charge] | None

    def until(self, moment: dt.datetime) -> Located[Charge] | None:
        """Return `so_far` with a later end, such as the log's last time."""
        if self.so_far is None:
            return None
        record = self.so_far.record
        later = {
            key: max(getattr(record, key), moment)
            for key in LAST
            if not _written(self.document.value, key)
        }
        return replace(self.so_far, record=record.model_copy(update=later))


def read_charge(document: Document, zone: ZoneInfo | None) -> Located[Charge] | OpenCharge:
    """Return a charge, or an open one if its end is not written.

    Raises
    ------
    RecordProblems
        A value is not valid or, in a finished charge, missing.
    """
    document = current(document, "charge")
    if not isinstance(document.value, dict) or all(_written(document.value, key) for key in LAST):
        return validate(document, Charge, zone=zone)
    try:
        validate(document, Charge, zone=zone)
    except RecordProblems as error:
        home = PurePosixPath(document.file).parent.name
        return OpenCharge(
            "charge",
            draft_id(document, home),
            document,
            only_absent(error),
            _so_far(document, zone),
        )
    raise AssertionError("a charge without its end was taken for whole")


def may_be_open(text: bytes) -> bool:
    """Return whether a charge may be open, by its text: False if each of `LAST` has a time."""
    return not all(re.search(rf"(?m)^{key}: *['\"]?[0-9]{{4}}-".encode(), text) for key in LAST)


def _written(value: Mapping[str, Any], key: str) -> bool:
    return value.get(key) is not None and not is_mark(value[key])


def _so_far(document: Document, zone: ZoneInfo | None) -> Located[Charge] | None:
    value = _without_sections_in_the_oven(_without_marks(document.value))
    value |= {key: _NOT_YET for key in LAST if key not in value}
    ending = _not_ended(value)
    for span in ending:
        span["end"] = _NOT_YET
    try:
        located = validate(replace(document, value=value), Charge, zone=zone)
    except RecordProblems:
        return None
    latest = max(moment for moment in moments(located.record) if moment != _NOT_YET)
    record = located.record.model_copy(
        update={key: latest for key in LAST if value[key] is _NOT_YET}
        | _ended_at(located.record, latest)
    )
    return Located(record, document)


def _not_ended(value: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the stops and stages that have begun but not ended."""
    spans = [*(value.get("stops") or ()), value.get("equalizing"), value.get("conditioning")]
    return [
        span for span in spans if isinstance(span, dict) and "start" in span and "end" not in span
    ]


def _ended_at(record: Charge, latest: dt.datetime) -> dict[str, object]:
    """Return the stops and stages that have not ended, ended at a given moment."""

    def ended(span: Stop | Stage) -> Stop | Stage:
        if span.end != _NOT_YET:
            return span
        return span.model_copy(update={"end": max(latest, span.start + dt.timedelta(minutes=1))})

    changed: dict[str, object] = {"stops": [ended(stop) for stop in record.stops]}
    for name in ("equalizing", "conditioning"):
        if stage := getattr(record, name):
            changed[name] = ended(stage)
    return changed


def _without_sections_in_the_oven(value: Any) -> Any:
    """Return a charge without sections that have no oven-dry mass yet; all boards are kept."""
    for board in value.get("boards") or ():
        if isinstance(board, dict) and isinstance(board.get("sections"), list):
            board["sections"] = [
                one for one in board["sections"] if not isinstance(one, dict) or "oven_dry" in one
            ]
    return value


def _without_marks(value: Any) -> Any:
    """Return plain values without keys whose value is a mark or consists of marks."""
    if not isinstance(value, dict):
        return [_without_marks(item) for item in value] if isinstance(value, list) else value
    return {
        key: _without_marks(item)
        for key, item in value.items()
        if item is not None
        and not is_mark(item)
        and not (isinstance(item, list) and item and all(map(is_mark, item)))
    }


def moments(value: object) -> Iterator[dt.datetime]:
    """Yield every moment in a record."""
    if isinstance(value, dt.datetime):
        yield value
    elif isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from moments(getattr(value, name))
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from moments(item)
    elif isinstance(value, (list, tuple)):
        for item in value:
            yield from moments(item)
