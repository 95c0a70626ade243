"""A mill's orders and kilns: what dries each order, what could go in next, and when it is done."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from kilnfolio.forecast.green_load import LoadForecast
from kilnfolio.forecast.mill_loads import NOT_A_KILN, forecast_for, kilns_for, loads_of
from kilnfolio.forecast.outcomes import charge_outcome
from kilnfolio.forecast.plan import (
    TURNAROUND,
    Bar,
    Plan,
    UnplannedOrder,
    later,
    next_charge,
    place_orders,
    plan,
    standing,
)
from kilnfolio.forecast.result import Due, Forecast
from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.folder import MillFolder, mill_of
from kilnfolio.records.order import OpenOrder
from kilnfolio.records.quantities import Length
from kilnfolio.records.schedule import Schedule
from kilnfolio.runtime.values import dataclass

NEXT_SHOWN = 6
"""Most loads proposed for a kiln next; what it dried last comes first."""


@dataclass(frozen=True)
class Choice:
    """A kiln and a schedule that could dry an order."""

    kiln: str
    schedule: str
    found: LoadForecast


@dataclass(frozen=True)
class PlannedOrder:
    """An order on the plan.

    Attributes
    ----------
    order : OpenOrder
    kiln : str
        Where it dries or would dry; empty if unknown.
    begins : datetime, optional
        When its charge will probably start, if it is not running yet.
    done : Due, optional
        When it will probably be dry; once it is, a time without bands.
    standing : str
        A key of `plan.STANDINGS`, ``dry``, or the reason why its standing is unknown.
    """

    order: OpenOrder
    kiln: str
    begins: dt.datetime | None
    done: Due | None
    standing: str


@dataclass(frozen=True)
class NextLoad:
    """A load that could go into a kiln next, and when it would be done."""

    kiln: str
    schedule: str
    species: str
    thickness: Length
    begins: dt.datetime
    done: Due


@dataclass(frozen=True)
class MillPlan:
    """The plan of the kilns, the orders, and the loads that could go in next."""

    plan: Plan
    orders: tuple[PlannedOrder, ...]
    next_loads: tuple[NextLoad, ...]


@derived("order loads", keys=lambda graph: graph.names("order"))
def order_loads(graph: Graph, number: str) -> tuple[Choice, ...]:
    """Return the kilns that could dry an order, each with the fastest schedule for it there."""
    folder = mill_of(graph)
    if number not in folder.orders or folder.orders[number].record.charges:
        return ()
    order = folder.orders[number].record
    best: dict[str, Choice] = {}
    for schedule in _schedules(folder, order):
        found = forecast_for(
            folder, schedule, order.species, order.thickness.value, order.target_mc.value
        )
        for kiln in kilns_for(folder, schedule) if found else ():
            known = best.get(kiln.id)
            if found and (known is None or found.days.median < known.found.days.median):
                best[kiln.id] = Choice(kiln.id, schedule.id, found)
    return tuple(best[kiln] for kiln in sorted(best))


def _schedules(folder: MillFolder, order: OpenOrder) -> Iterator[Schedule]:
    names = (
        [order.schedule]
        if order.schedule
        else sorted(reading.schedules_of_species(folder.graph, order.species))
    )
    for name in names:
        schedule = folder.schedules[name].record
        sizes = [size.value for size in schedule.for_stock.thickness]
        if order.schedule or any(abs(size / order.thickness.value - 1) < 0.02 for size in sizes):
            yield schedule


def mill_plan(folder: MillFolder, forecasts: Sequence[Forecast], now: dt.datetime) -> MillPlan:
    """Return the current plan of a mill's kilns.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    forecasts : sequence of Forecast
        Forecasts of the running charges.
    now : datetime
        The time of the plan: an empty kiln is free from then.
    """
    running = plan(forecasts)
    kilns = {
        name: located.record
        for name, located in folder.kilns.items()
        if located.record.kind not in NOT_A_KILN
    }
    busy = {bar.kiln for bar in running.bars}
    free = {}
    for name in kilns:
        done = running.free(name)
        if done is not None:
            free[name] = later(done, TURNAROUND)
        elif name not in busy:  # a kiln whose charge never reaches its target is not free
            free[name] = Due(now, now, now, now, now)
    open_ = [located.record for located in folder.orders.values() if located.record.shipped is None]
    bars = place_orders(
        [_unplanned(folder, order) for order in open_ if not order.charges],
        free,
        {name: kiln.capacity.value for name, kiln in kilns.items()},
    )
    done_of = {one.charge: (one.kiln, one.unload or one.end) for one in forecasts}
    orders = [_planned(folder, order, bars, done_of) for order in open_]
    return MillPlan(
        plan(forecasts, bars),
        tuple(sorted(orders, key=lambda one: (one.order.due, one.order.id))),
        tuple(_next_loads(folder, free)),
    )


def _unplanned(folder: MillFolder, order: OpenOrder) -> UnplannedOrder:
    choices = order_loads(folder.graph, order.id)
    return UnplannedOrder(
        order.id,
        order.due,
        (order.species, order.thickness.value, order.target_mc.value, order.schedule),
        order.volume.value if order.volume else None,
        {choice.kiln: choice.found.days for choice in choices},
    )


def _planned(
    folder: MillFolder,
    order: OpenOrder,
    bars: Sequence[Bar],
    done_of: dict[str, tuple[str, Due | None]],
) -> PlannedOrder:
    if not order.charges:
        bar = next((bar for bar in bars if order.id in bar.orders), None)
        if bar is None or bar.done is None:
            why = "no forecast: this mill has dried none of this wood on a schedule that fits"
            return PlannedOrder(order, "", None, None, why)
        return PlannedOrder(order, bar.kiln, bar.started, bar.done, standing(bar.done, order.due))
    last: Due | None = None
    kiln = ""
    for number in order.charges:
        if number in folder.charges:
            record = folder.charges[number].record
            at = record.unloaded
            where, due = record.kiln, Due(at, at, at, at, at)
        else:
            where, found = done_of.get(number, ("", None))
            if found is None:
                return PlannedOrder(order, where, None, None, "no forecast of its charge yet")
            due = found
        if last is None or due.median > last.median:
            last, kiln = due, where
    assert last is not None
    dry = all(number in folder.charges for number in order.charges)
    return PlannedOrder(order, kiln, None, last, "dry" if dry else standing(last, order.due))


def _next_loads(folder: MillFolder, free: dict[str, Due]) -> Iterator[NextLoad]:
    for kiln in sorted(free, key=lambda name: (free[name].median, name)):
        names = reading.charges(folder.graph, reading.of_kiln(kiln), newest_first=True)
        seen = dict.fromkeys(
            (charge.schedule, charge.species, charge.thickness.value)
            for charge in (charge_outcome(folder.graph, name) for name in names[:20])
        )
        for schedule, species, thickness in list(seen)[:NEXT_SHOWN]:
            for line in loads_of(folder.graph, schedule):
                if line.species == species and line.thickness.value == thickness:
                    done = next_charge(free[kiln], line.found.days.in_order())
                    yield NextLoad(kiln, schedule, species, line.thickness, free[kiln].median, done)
