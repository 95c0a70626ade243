"""All kilns in one view: which charge is done when, and which unloadings fall together."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from kilnfolio.forecast.green_load import Days
from kilnfolio.forecast.result import Due, Forecast

CLASH = dt.timedelta(hours=12)
"""Two charges that are likely to be done within this time want the same forklift."""


TURNAROUND = dt.timedelta(hours=24)
"""Between unloading a kiln and heating the next charge; common practice, no source."""


@dataclass(frozen=True)
class Bar:
    """One charge on the plan, running or to come.

    Attributes
    ----------
    kiln : str
        Id of the kiln.
    charge : str
        Number of the charge that runs; empty for one to come.
    started : datetime
        When heating began, or is likely to begin.
    done : Due, optional
        When it is done, equalizing and conditioning included; None if its plan never gets there.
    orders : tuple of str
        The orders that a charge to come is for.
    """

    kiln: str
    charge: str
    started: dt.datetime
    done: Due | None
    orders: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """What it is called on the plan."""
        return f"charge {self.charge}" if self.charge else f"order {', '.join(self.orders)}"


@dataclass(frozen=True)
class Clash:
    """Two charges that are likely to come out at about one time, by their names on the plan."""

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


@dataclass(frozen=True)
class Wish:
    """An order that is in no charge yet.

    Attributes
    ----------
    order : str
        Its number.
    due : date
        The day it is to be dry.
    stock : tuple
        What it is: orders of equal stock may share a charge.
    volume_m3 : float, optional
        [m³]
    days : mapping of str to Days
        How long it takes, by the kilns that can dry it.
    """

    order: str
    due: dt.date
    stock: tuple[object, ...]
    volume_m3: float | None
    days: Mapping[str, Days]


def plan(forecasts: Iterable[Forecast], to_come: Iterable[Bar] = ()) -> Plan:
    """Return the plan of the charges that run, and of those to come."""
    running = (Bar(one.kiln, one.charge, one.started, one.unload or one.end) for one in forecasts)
    bars = tuple(sorted([*running, *to_come], key=lambda bar: (bar.kiln, bar.started)))
    return Plan(bars, tuple(sorted(_clashes(bars), key=lambda clash: clash.at)))


def place(
    wishes: Iterable[Wish], free: Mapping[str, Due], capacity_m3: Mapping[str, float]
) -> list[Bar]:
    """Return charges to come for orders: each, by its day, where it would be done first.

    Orders of one stock share a charge while their volumes fit the kiln. It is a proposal: who
    plans the kilns knows what else has to go in.

    Parameters
    ----------
    wishes : iterable of Wish
    free : mapping of str to Due
        When each kiln can be heated again.
    capacity_m3 : mapping of str to float
        Stacked timber that each kiln holds. [m³]
    """
    now_free, bars = dict(free), list[Bar]()
    shared: dict[tuple[object, ...], tuple[int, float]] = {}
    for wish in sorted(wishes, key=lambda one: (one.due, one.order)):
        if wish.volume_m3 is not None and wish.stock in shared:
            index, left = shared[wish.stock]
            if wish.volume_m3 <= left:
                bars[index] = replace(bars[index], orders=(*bars[index].orders, wish.order))
                shared[wish.stock] = index, left - wish.volume_m3
                continue
        choices = [
            (next_charge(now_free[kiln], days.in_order()), kiln)
            for kiln, days in sorted(wish.days.items())
            if kiln in now_free
        ]
        if not choices:
            continue
        done, kiln = min(choices, key=lambda choice: (choice[0].median, choice[1]))
        bars.append(Bar(kiln, "", now_free[kiln].median, done, (wish.order,)))
        if wish.volume_m3 is not None:
            shared[wish.stock] = len(bars) - 1, capacity_m3.get(kiln, 0.0) - wish.volume_m3
        now_free[kiln] = later(done, TURNAROUND)
    return bars


def later(due: Due, by: dt.timedelta) -> Due:
    """Return a moment with its bands, so much later."""
    return Due(
        *(getattr(due, name) + by for name in ("low95", "low80", "median", "high80", "high95"))
    )


#: What is said of an order's day against when it is likely to be dry.
STANDINGS = {
    "in time": "nine in ten such forecasts or more are in time",
    "likely in time": "more than half are",
    "likely late": "fewer than half are",
    "late": "fewer than one in ten are",
}


def standing(done: Due, due: dt.date) -> str:
    """Return whether an order is likely to be dry by the end of its day: a key of `STANDINGS`."""
    for name, word in (
        ("high80", "in time"),
        ("median", "likely in time"),
        ("low80", "likely late"),
    ):
        if getattr(done, name).date() <= due:
            return word
    return "late"


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
            yield Clash(first.name, second.name, max(first.done.median, second.done.median))
