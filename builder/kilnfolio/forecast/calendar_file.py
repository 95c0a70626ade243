"""Coming steps and ends as a calendar file that phones and desktops can subscribe to.

References
----------
.. [1] RFC 5545, Internet Calendaring and Scheduling Core Object Specification, 2009: sections 3.1
   (lines of 75 octets, CRLF), 3.3.11 (escaping), 3.6.1 (events).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator

from kilnfolio.forecast.result import CAUTION, Due, Forecast

_LINE_OCTETS = 75


def calendar(mill: str, forecasts: Iterable[Forecast]) -> str:
    """Return the calendar of a mill's running charges; equal forecasts give equal bytes.

    Parameters
    ----------
    mill : str
        The mill's name.
    forecasts : iterable of Forecast
        Forecasts of the running charges.

    Notes
    -----
    Events have no duration, because a step is a point in time, and are in UTC; the description
    gives the band [1]_.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//kilnfolio//forecast//EN",
        "CALSCALE:GREGORIAN",
        f"X-WR-CALNAME:{_escaped(mill)}: kilns",
    ]
    for found in sorted(forecasts, key=lambda one: one.charge):
        for name, words, due in _moments(found):
            lines += _event(found, name, words, due)
    lines.append("END:VCALENDAR")
    return "".join(f"{part}\r\n" for line in lines for part in _folded(line))


def _moments(found: Forecast) -> Iterator[tuple[str, str, Due]]:
    for step in found.steps:
        if step.due is not None:
            at = f" at {step.trigger_pct:g} %" if step.trigger_pct is not None else ""
            yield f"step-{step.step}", f"step {step.step} due{at}", step.due
    for name, words, due in (
        ("end", "drying ends", found.end),
        ("equalizing", "equalizing begins", found.equalizing),
        ("conditioning", "conditioning begins", found.conditioning),
        ("unload", "ready to unload", found.unload),
    ):
        if due is not None:
            yield name, words, due


def _event(found: Forecast, name: str, words: str, due: Due) -> list[str]:
    described = (
        f"Likely {due.median:%Y-%m-%d %H:%M}. 80 of 100 such forecasts lie between "
        f"{due.low80:%Y-%m-%d %H:%M} and {due.high80:%Y-%m-%d %H:%M}. {CAUTION}"
    )
    return [
        "BEGIN:VEVENT",
        f"UID:{_escaped(found.charge)}-{name}@forecast.kilnfolio",
        f"DTSTAMP:{_utc(found.as_of)}",
        f"DTSTART:{_utc(due.median)}",
        f"SUMMARY:{_escaped(found.charge)}: {_escaped(words)} (estimate)",
        f"DESCRIPTION:{_escaped(described)}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    ]


def _utc(moment: dt.datetime) -> str:
    return f"{moment.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}"


def _escaped(words: str) -> str:
    for character in ("\\", ";", ","):
        words = words.replace(character, f"\\{character}")
    return "\\n".join(words.splitlines())


def _folded(line: str) -> Iterator[str]:
    """Yield a line folded into parts of at most 75 octets, each after the first led by a space."""
    part, size = "", 0
    for character in line:
        octets = len(character.encode("utf-8"))
        if size + octets > _LINE_OCTETS:
            yield part
            part, size = " ", 1
        part, size = part + character, size + octets
    yield part
