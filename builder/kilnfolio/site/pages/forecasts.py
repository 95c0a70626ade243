"""Forecasts of open charges: a section of the charge's page, a page of all kilns, a calendar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from kilnfolio.charts.fan import fan_chart
from kilnfolio.charts.kiln_plan import plan_chart
from kilnfolio.forecast.calendar_file import calendar
from kilnfolio.forecast.hindcast import Hindcast
from kilnfolio.forecast.mill import open_forecasts
from kilnfolio.forecast.plan import Bar, Clash, plan
from kilnfolio.forecast.result import CAUTION, Forecast
from kilnfolio.forecast.words import Coming, coming, record
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.site.context import SiteContext

#: When the kilns come free, and the same as a calendar.
PLAN, CALENDAR = "plan.html", "plan.ics"


@dataclass(frozen=True)
class Earlier:
    """How an earlier charge was forecast from about the same point."""

    charge: str
    target: str
    one: Hindcast

    @property
    def days_off(self) -> float:
        """How much later than forecast it ended [day]."""
        return (self.one.actual_end - self.one.forecast_end) / 24.0


@dataclass(frozen=True)
class ForecastView:
    """What the page of an open charge prints of its forecast."""

    found: Forecast
    chart: Markup
    coming: Sequence[Coming]
    earlier: Sequence[Earlier]
    record: str
    caution: str = CAUTION


@dataclass(frozen=True)
class PlanRow:
    """A running charge on the plan."""

    kiln: str
    bar: Bar
    target: str


def forecast_view(context: SiteContext, number: str) -> ForecastView | None:
    """Return the forecast of an open charge; None where it has none yet."""
    found: Forecast | None = open_forecasts(context.folder).get(number)
    if found is None:
        return None
    return ForecastView(
        found,
        fan_chart(found, context.folder.mill.record.zone),
        coming(found),
        _earlier(found),
        record(found),
    )


def _earlier(found: Forecast) -> list[Earlier]:
    """Return the hindcasts made from the share of time nearest to this charge's."""
    shares = sorted(
        {one.share for one in found.hindcasts}, key=lambda share: abs(share - found.share)
    )
    return (
        [
            Earlier(one.charge, routes.charge(one.charge), one)
            for one in found.hindcasts
            if one.share == shares[0]
        ][-10:]
        if shares
        else []
    )


def plan_page(context: SiteContext) -> Page:
    """Return the page of all kilns and when they come free."""
    forecasts = _all(context)
    planned = plan(forecasts)
    names = {kiln: located.record.name for kiln, located in context.folder.kilns.items()}
    now = max((one.as_of for one in forecasts), default=None)
    chart = (
        Markup("")
        if now is None
        else plan_chart(planned, names, now, context.folder.mill.record.zone)
    )
    rows = [PlanRow(names[bar.kiln], bar, routes.charge(bar.charge)) for bar in planned.bars]
    clashes: Sequence[Clash] = planned.clashes
    return context.page(
        "plan.html",
        PLAN,
        "When the kilns come free",
        "plan",
        chart=chart,
        rows=rows,
        now=now,
        clashes=clashes,
        caution=CAUTION,
        calendar=CALENDAR,
        summary="Each running charge, when it is likely to be done, and which unloadings fall "
        "together. " + CAUTION,
    )


def calendar_page(context: SiteContext) -> Page:
    """Return the calendar of steps and ends to come."""
    text = calendar(context.folder.mill.record.name, _all(context))
    return Page(CALENDAR, text, "Calendar", "script", "")


def _all(context: SiteContext) -> list[Forecast]:
    forecasts = open_forecasts(context.folder)
    return [found for number in sorted(forecasts) if (found := forecasts.get(number)) is not None]
