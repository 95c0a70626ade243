"""Times as people type them at the kiln, and as records hold them."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any
from zoneinfo import ZoneInfo

from pydantic_core import PydanticCustomError

from kilnfolio.records.model import localize
from kilnfolio.records.problems import Place, Problem, RecordProblems

#: How far ahead of this computer's clock the time of an entry may lie.
MAX_AHEAD = dt.timedelta(minutes=10)

_CLOCK = re.compile(r"(\d{1,2})[:.](\d{2})")
_DAY_AND_CLOCK = re.compile(r"(\d{4}-\d{2}-\d{2})[T ](\d{1,2})[:.](\d{2})([+-]\d{2}:\d{2}|Z)?")


def moment(text: str | None, zone: ZoneInfo, now: dt.datetime, what: str = "--at") -> dt.datetime:
    """Return a typed time as a datetime, to the minute.

    Parameters
    ----------
    text : str, optional
        A time of day as in ``07:10`` (today's, or yesterday's if that is still to come), a date and
        time as in ``2026-03-02T07:10``, or None for now.
    zone : ZoneInfo
        The mill's zone.
    now : datetime
        The current time.
    what : str
        The option's name, for messages.

    Raises
    ------
    RecordProblems
        It is not a time, or is one that the mill's clocks skipped or showed twice.
    """
    now = now.astimezone(zone).replace(second=0, microsecond=0)
    if text is None:
        return now
    words = text.strip()
    if clock := _CLOCK.fullmatch(words):
        naive = now.replace(tzinfo=None, hour=int(clock[1]) % 24, minute=int(clock[2]) % 60)
        if int(clock[1]) > 23 or int(clock[2]) > 59:
            raise _refused(what, text, "no clock shows it", "Write it as in 07:10")
        if naive > now.replace(tzinfo=None):
            naive -= dt.timedelta(days=1)
    elif found := _DAY_AND_CLOCK.fullmatch(words):
        try:
            naive = dt.datetime.fromisoformat(f"{found[1]}T{int(found[2]):02}:{found[3]}")
            if found[4]:
                return dt.datetime.fromisoformat(f"{naive.isoformat()}{found[4]}").astimezone(zone)
        except ValueError:
            raise _refused(
                what, text, "there is no such date or time", "Write it as in 2026-03-02T07:10"
            ) from None
    else:
        raise _refused(what, text, "it is not a time", "Write it as in 07:10 or 2026-03-02T07:10")
    try:
        return localize(naive, zone, text)
    except PydanticCustomError as error:
        context = error.context or {}
        raise _refused(
            what, text, str(context.get("why", "")), str(context.get("instead", ""))
        ) from None


def written(at: dt.datetime, zone: ZoneInfo) -> str:
    """Return a time as records hold it: local, with its offset if that is ambiguous."""
    local = at.astimezone(zone)
    naive = local.replace(tzinfo=None, fold=0)
    text = naive.isoformat(timespec="seconds" if naive.second else "minutes")
    try:
        if localize(naive, zone, text) == at:
            return text
    except PydanticCustomError:
        pass
    return local.isoformat(timespec="seconds" if naive.second else "minutes")


def _refused(what: str, text: str, why: str, instead: str) -> RecordProblems:
    return RecordProblems([Problem(Place(what), f"'{text}'", why, instead)])


def ahead_of(entry: Any, now: dt.datetime) -> dt.timedelta | None:
    """Return how far the latest time of an entry lies in the future; None if it does not.

    Parameters
    ----------
    entry : entry of `kilnfolio.adopt.entry.entries`
        The entry.
    now : datetime
        The time by this computer's clock.
    """
    latest = max(
        moment
        for key in ("at", "start", "end", "ended", "unloaded")
        if (moment := getattr(entry, key, None)) is not None
    )
    return latest - now if latest - now > MAX_AHEAD else None


def span(time_: dt.timedelta) -> str:
    """Return a span of time in words: ``40 min``, ``5 h``, ``3 days``."""
    minutes = int(time_.total_seconds() // 60)
    if minutes < 120:
        return f"{minutes} min"
    return f"{minutes // 60} h" if minutes < 2 * 24 * 60 else f"{minutes // (24 * 60)} days"
