"""A forecast in sentences, shared by the today page, the kiln-side page, the sheet and the plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from kilnfolio.forecast.result import Due, Forecast
from kilnfolio.runtime.values import dataclass

NO_RECORD = (
    "No record yet: it takes two earlier charges of this wood that came down to their target."
)
"""Printed instead of the record if there is none."""

BY_CLOCK = "It goes by the hours of its steps; no earlier charge is asked."
"""Printed instead of the record for a timed schedule."""

NOT_REACHED = "not under this plan"
"""Printed if the planned air never gets the timber there."""

_NBSP = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True)
class Coming:
    """A coming event, and when.

    Attributes
    ----------
    what : str
        As in ``Step 4 at 30 %``.
    due : Due, optional
        When it is due; None if the plan does not get there.
    """

    what: str
    due: Due | None


def coming(found: Forecast) -> list[Coming]:
    """Return a charge's coming events in order: steps, the end, equalizing, unloading."""
    return [*_steps(found), *_ends(found)]


def next_step(found: Forecast) -> Coming:
    """Return the next event: a step or, after the last, the end of drying."""
    return coming(found)[0]


def ready(found: Forecast) -> Coming:
    """Return when the charge can be unloaded, or when its drying ends if nothing follows."""
    return list(_ends(found))[-1]


def _steps(found: Forecast) -> Iterator[Coming]:
    for step in found.steps:
        at = step.trigger_pct
        what = f"Step {step.step}" if at is None else f"Step {step.step} at {at:g}{_NBSP}%"
        yield Coming(what, step.due)


def _ends(found: Forecast) -> Iterator[Coming]:
    at = found.target_pct
    yield Coming("End of drying" if at is None else f"End of drying at {at:g}{_NBSP}%", found.end)
    for what, due in (
        ("Equalizing", found.equalizing),
        ("Conditioning", found.conditioning),
        ("Ready to unload", found.unload),
    ):
        if due is not None:
            yield Coming(what, due)


def likely(due: Due | None, now: dt.datetime) -> str:
    """Return in words when something is likely, with its 80 % band, or that it is overdue.

    Parameters
    ----------
    due : Due or None
        A time of a forecast.
    now : datetime
        The time of the page or sheet that prints the words.
    """
    if due is None:
        return NOT_REACHED
    if due.low95 == due.high95:
        return f"{due.median:%d %b %H:%M}, by the clock"
    band = span(due)
    at = f"{due.median:%d %b %H:%M}"
    if now > due.high80:
        return f"overdue: it was likely by {at} (80 in 100: {band}); weigh the boards"
    if now > due.median:
        return f"any time now: likely since {at} (80 in 100: {band}); weigh the boards"
    return f"likely {at} (80 in 100: {band})"


def span(due: Due) -> str:
    """Return the 80 % band in words: to the hour if it is short, otherwise to the day."""
    low, high = due.low80, due.high80
    if high - low >= dt.timedelta(days=4):
        return f"{low:%d %b} to {high:%d %b}"
    same = low.date() == high.date()
    return f"{low:%d %b %H:%M} to " + (f"{high:%H:%M}" if same else f"{high:%d %b %H:%M}")


def record(found: Forecast) -> str:
    """Return a sentence on how well the same forecast did on the mill's earlier charges."""
    if found.origin == "clock":
        return BY_CLOCK
    error = found.usual_error_pct()
    if error is None:
        return NO_RECORD
    charges = {one.charge for one in found.hindcasts}
    if len(charges) == 1:
        return (
            "On your last charge, from about this point, this forecast missed the end by "
            f"{error:.0f}{_NBSP}% of the whole time."
        )
    return (
        f"On your last {len(charges)} charges, from about this point, this forecast missed the end "
        f"by {error:.0f}{_NBSP}% of the whole time (median)."
    )
