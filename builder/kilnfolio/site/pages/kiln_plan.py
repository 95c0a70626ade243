"""The plan: a page of all kilns and their orders, and a calendar of coming steps and ends."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.kiln_plan import plan_chart
from kilnfolio.forecast.calendar_file import calendar
from kilnfolio.forecast.mill import open_forecasts
from kilnfolio.forecast.mill_orders import NextLoad, PlannedOrder, mill_plan
from kilnfolio.forecast.plan import STANDINGS, TURNAROUND, Bar
from kilnfolio.forecast.result import CAUTION, Due, Forecast
from kilnfolio.forecast.words import NO_RECORD, record
from kilnfolio.records.quantities import Length
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review import figures
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.open_charges import draft_views

#: The plan of the kilns, and its calendar.
PLAN, CALENDAR = "plan.html", "plan.ics"


@dataclass(frozen=True)
class PlanRow:
    """A charge on the plan, running or to come."""

    kiln: str
    name: str
    target: str
    bar: Bar


@dataclass(frozen=True)
class OrderRow:
    """An order on the plan."""

    planned: PlannedOrder
    stock: str
    where: str


@dataclass(frozen=True)
class NextRow:
    """A load that could go in next."""

    kiln: str
    stock: str
    target: str
    begins: str
    done: str


@dataclass(frozen=True)
class RecordRow:
    """How well a running charge's forecast did on earlier charges."""

    charge: str
    target: str
    words: str


def plan_page(context: SiteContext) -> Page:
    """Return the page of all kilns: when each comes free, and the orders they dry."""
    forecasts = _all(context)
    folder = context.folder
    now = max((one.as_of for one in forecasts), default=folder.latest)
    found = mill_plan(folder, forecasts, now)
    names = {kiln: located.record.name for kiln, located in folder.kilns.items()}
    days_due = {one.order.id: one.order.due for one in found.orders}
    chart = plan_chart(found.plan, names, now, folder.mill.record.zone, days_due)
    return context.page(
        "plan.html",
        PLAN,
        "When the kilns come free",
        "plan",
        chart=chart or Markup(""),
        rows=[_row(names, bar) for bar in found.plan.bars],
        orders=[_order(context, names, one) for one in found.orders],
        next_loads=[_next(context, names, one) for one in found.next_loads],
        records=[
            RecordRow(one.charge, f"{routes.charge(one.charge)}#forecast-record", record(one))
            for one in forecasts
        ],
        no_record=NO_RECORD,
        drafts=draft_views(context, "order"),
        now=now,
        clashes=found.plan.clashes,
        caution=CAUTION,
        standings=STANDINGS,
        turnaround=round(TURNAROUND.total_seconds() / 3600.0),
        calendar=CALENDAR,
        summary="Each charge that runs, when it is likely to be done, which unloadings fall "
        f"together, and the orders against their days. {CAUTION}",
    )


def _row(names: dict[str, str], bar: Bar) -> PlanRow:
    target = routes.charge(bar.charge) if bar.charge else ""
    return PlanRow(names[bar.kiln], bar.charge or bar.name, target, bar)


def _order(context: SiteContext, names: dict[str, str], one: PlannedOrder) -> OrderRow:
    order = one.order
    if order.charges:
        where = f"charge {', '.join(order.charges)}"
    elif one.begins is not None:
        where = f"next in {names[one.kiln]}, from {one.begins:%d %b}"
    else:
        where = ""
    return OrderRow(
        one,
        f"{_stock(context, order.species, order.thickness)}, to "
        f"{figures.measure(order.target_mc.value, '%', 0)}",
        where,
    )


def _next(context: SiteContext, names: dict[str, str], load: NextLoad) -> NextRow:
    stock = _stock(context, load.species, load.thickness)
    return NextRow(
        names[load.kiln], stock, routes.schedule(load.schedule), _day(load.begins), _days(load.done)
    )


def _day(moment: dt.datetime) -> str:
    return f"{moment.day}{figures.NBSP}{moment:%b}"


def _days(due: Due) -> str:
    return f"{_day(due.median)}, between {_day(due.low80)} and {_day(due.high80)}"


def _stock(context: SiteContext, species: str, thickness: Length) -> str:
    return f"{context.species_name(species)} {context.regional.side_by_side(thickness)}"


def calendar_page(context: SiteContext) -> Page:
    """Return the calendar of coming steps and ends."""
    text = calendar(context.folder.mill.record.name, _all(context))
    return Page(CALENDAR, text, "Calendar", "script", "")


def _all(context: SiteContext) -> Sequence[Forecast]:
    forecasts = open_forecasts(context.folder)
    return [found for number in sorted(forecasts) if (found := forecasts.get(number)) is not None]
