"""The forecast of an open charge, as a section of the charge's page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from kilnfolio.charts.fan import fan_chart
from kilnfolio.forecast.hindcast import Hindcast
from kilnfolio.forecast.mill import open_forecasts
from kilnfolio.forecast.result import CAUTION, Forecast
from kilnfolio.forecast.words import Coming, coming, record
from kilnfolio.rendering import routes
from kilnfolio.site.context import SiteContext


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
