"""All kilns in one view: when each charge is done, and which unloadings coincide."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

from kilnfolio.forecast.green_load import Days
from kilnfolio.forecast.result import Due, Forecast
from kilnfolio.runtime.values import dataclass

CLASH = dt.timedelta(hours=12)
"""Two charges that will probably be done within this time need the same forklift."""


TURNAROUND = dt.timedelta(hours=24)
"""Time between unloading a kiln and heating the next charge; common practice, no source."""


@dataclass(frozen=True)
class Bar:
    """A charge on the plan, running or to come.

    Attributes
    ----------
    kiln : str
        Id of the kiln.
    charge : str
        Number of a running charge; empty for one to come.
    started : datetime
        When heating began, or will probably begin.
    done : Due, optional
        When it is done, including equalizing and conditioning; None if its plan never gets there.
    orders : tuple of str
        The orders that a coming charge is for.
    """

    kiln: str
    charge: str
    started: dt.datetime
    done: Due | None
    orders: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Its name on the plan."""
        return f"charge {self.charge}" if self.charge else f"order {', '.join(self.orders)}"


@dataclass(frozen=True)
class Clash:
    """Two charges, named as on the plan, that will probably come out at about the same time."""

    first: str
    second: str
    at: dt.datetime


@dataclass(frozen=True)
class Plan:
    """The bars sorted by kiln, and the clashes in order of time."""

    bars: tuple[Bar, ...]
    clashes: tuple[Clash, ...]

    def free(self, kiln: str) -> Due | None:
        """Return when a kiln will be free; None if it is empty or its charge never ends."""
        own = [bar.done for bar in self.bars if bar.kiln == kiln and bar.done is not None]
        return max(own, key=lambda due: due.median, default=None)


@dataclass(frozen=True)
class UnplannedOrder:
    """An order that is not in a charge yet.

    Attributes
    ----------
    number : str
        Its number.
    due : date
        The day by which it is to be dry.
    stock : tuple
        Its timber: orders of equal stock may share a charge.
    volume_m3 : float, optional
        [m³]
    days : mapping of str to Days
        How long it takes in each kiln that can dry it.
    """

    number: str
    due: dt.date
    stock: tuple[object, ...]
    volume_m3: float | None
    days: Mapping[str, Days]


def plan(forecasts: Iterable[Forecast], to_come: Iterable[Bar] = ()) -> Plan:
    """Return the plan of running and coming charges."""
    running = (Bar(one.kiln, one.charge, one.started, one.unload or one.end) for one in forecasts)
    bars = tuple(sorted([*running, *to_come], key=lambda bar: (bar.kiln, bar.started)))
    return Plan(bars, tuple(sorted(_clashes(bars), key=lambda clash: clash.at)))


def place_orders(
    orders: Iterable[UnplannedOrder], free: Mapping[str, Due], capacity_m3: Mapping[str, float]
) -> list[Bar]:
    """Return coming charges for orders, by due date, each in the kiln that would finish it first.

    Orders of one stock share a charge as long as their volumes fit the kiln. This is only a
    proposal: whoever plans the kilns knows what else has to go in.

    Parameters
    ----------
    orders : iterable of UnplannedOrder
    free : mapping of str to Due
        When each kiln can be heated again.
    capacity_m3 : mapping of str to float
        Volume of timber that each kiln holds. [m³]
    """
    now_free, bars = dict(free), list[Bar]()
    shared: dict[tuple[object, ...], tuple[int, float]] = {}
    for order in sorted(orders, key=lambda one: (one.due, one.number)):
        if order.volume_m3 is not None and order.stock in shared:
            index, left = shared[order.stock]
            if order.volume_m3 <= left:
                bars[index] = replace(bars[index], orders=(*bars[index].orders, order.number))
                shared[order.stock] = index, left - order.volume_m3
                continue
        choices = [
            (next_charge(now_free[kiln], days.in_order()), kiln)
            for kiln, days in sorted(order.days.items())
            if kiln in now_free
        ]
        if not choices:
            continue
        done, kiln = min(choices, key=lambda choice: (choice[0].median, choice[1]))
        bars.append(Bar(kiln, "", now_free[kiln].median, done, (order.number,)))
        if order.volume_m3 is not None:
            shared[order.stock] = len(bars) - 1, capacity_m3.get(kiln, 0.0) - order.volume_m3
        now_free[kiln] = later(done, TURNAROUND)
    return bars


def later(due: Due, by: dt.timedelta) -> Due:
    """Return a time with its bands, shifted to later."""
    return Due(
        *(getattr(due, name) + by for name in ("low95", "low80", "median", "high80", "high95"))
    )


#: Words for an order's due date compared with when it will probably be dry.
STANDINGS = {
    "in time": "nine in ten such forecasts or more are in time",
    "likely in time": "more than half are",
    "likely late": "fewer than half are",
    "late": "fewer than one in ten are",
}


def standing(done: Due, due: dt.date) -> str:
    """Return whether an order will be dry by the end of its due date, as a key of `STANDINGS`."""
    for name, word in (
        ("high80", "in time"),
        ("median", "likely in time"),
        ("low80", "likely late"),
    ):
        if getattr(done, name).date() <= due:
            return word
    return "late"


def next_charge(free: Due, days: Sequence[float]) -> Due:
    """Return when a charge that goes in as soon as a kiln is free would be done.

    Parameters
    ----------
    free : Due
        When the kiln will probably be free.
    days : sequence of float
        Days it takes: median, low80, high80, low95, high95.
    """
    median, low80, high80, low95, high95 = (dt.timedelta(days=value) for value in days)

    def combined(name: str, own: dt.timedelta) -> dt.timedelta:
        """Add the two spreads in quadrature, as independent errors."""
        waited = (getattr(free, name) - free.median).total_seconds()
        dried = (own - median).total_seconds()
        size = (waited**2 + dried**2) ** 0.5
        return dt.timedelta(seconds=size if waited + dried >= 0 else -size)

    likely = free.median + median
    return Due(
        likely + combined("low95", low95),
        likely + combined("low80", low80),
        likely,
        likely + combined("high80", high80),
        likely + combined("high95", high95),
    )


def _clashes(bars: Sequence[Bar]) -> Iterable[Clash]:
    for first, second in combinations(bars, 2):
        if first.kiln == second.kiln or first.done is None or second.done is None:
            continue
        if abs(first.done.median - second.done.median) <= CLASH:
            yield Clash(first.name, second.name, max(first.done.median, second.done.median))
