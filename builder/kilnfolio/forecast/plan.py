"""All kilns in one view: which charge is done when, and which unloadings fall together."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from kilnfolio.forecast.result import Due, Forecast

CLASH = dt.timedelta(hours=12)
"""Two charges that are likely to be done within this time want the same forklift."""


@dataclass(frozen=True)
class Bar:
    """One running charge on the plan.

    Attributes
    ----------
    kiln, charge : str
        Id of the kiln, number of the charge.
    started : datetime
    done : Due, optional
        When it is done, equalizing and conditioning included; None if its plan never gets there.
    """

    kiln: str
    charge: str
    started: dt.datetime
    done: Due | None


@dataclass(frozen=True)
class Clash:
    """Two charges that are likely to come out at about one time."""

    first: str
    second: str
    at: dt.datetime


@dataclass(frozen=True)
class Plan:
    """The bars, the kilns in order, and the clashes in order of time."""

    bars: tuple[Bar, ...]
    clashes: tuple[Clash, ...]

    def free(self, kiln: str) -> Due | None:
        """Return when a kiln is likely to be free; None while nothing runs in it or ends."""
        own = [bar.done for bar in self.bars if bar.kiln == kiln and bar.done is not None]
        return max(own, key=lambda due: due.median, default=None)


def plan(forecasts: Iterable[Forecast]) -> Plan:
    """Return the plan of the charges that run."""
    bars = tuple(
        sorted(
            (Bar(one.kiln, one.charge, one.started, one.unload or one.end) for one in forecasts),
            key=lambda bar: (bar.kiln, bar.started),
        )
    )
    return Plan(bars, tuple(sorted(_clashes(bars), key=lambda clash: clash.at)))


def next_charge(free: Due, days: Sequence[float]) -> Due:
    """Return when a charge would be done that goes in as soon as a kiln is free.

    Parameters
    ----------
    free : Due
        When the kiln is likely to be free.
    days : sequence of float
        Likely days, then the least and the most of 80 and of 95 in 100: median, low80, high80,
        low95, high95.
    """
    median, low80, high80, low95, high95 = (dt.timedelta(days=value) for value in days)

    def apart(name: str, own: dt.timedelta) -> dt.timedelta:
        """Add the two spreads as independent errors are added."""
        waited = (getattr(free, name) - free.median).total_seconds()
        dried = (own - median).total_seconds()
        size = (waited**2 + dried**2) ** 0.5
        return dt.timedelta(seconds=size if waited + dried >= 0 else -size)

    likely = free.median + median
    return Due(
        likely + apart("low95", low95),
        likely + apart("low80", low80),
        likely,
        likely + apart("high80", high80),
        likely + apart("high95", high95),
    )


def _clashes(bars: Sequence[Bar]) -> Iterable[Clash]:
    for first, second in combinations(bars, 2):
        if first.kiln == second.kiln or first.done is None or second.done is None:
            continue
        if abs(first.done.median - second.done.median) <= CLASH:
            yield Clash(first.charge, second.charge, max(first.done.median, second.done.median))
