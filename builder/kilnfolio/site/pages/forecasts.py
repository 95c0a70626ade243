"""The forecast of an open charge, as a section of the charge's page."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.fan import fan_chart
from kilnfolio.forecast.hindcast import Hindcast
from kilnfolio.forecast.mill import open_forecasts
from kilnfolio.forecast.result import CAUTION, Forecast
from kilnfolio.forecast.words import Coming, coming, record
from kilnfolio.rendering import routes
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext


@dataclass(frozen=True)
class EarlierForecast:
    """The forecast of an earlier charge made at about the same point."""

    charge: str
    target: str
    hindcast: Hindcast

    @property
    def days_off(self) -> float:
        """Days by which it ended later than forecast."""
        return (self.hindcast.actual_end - self.hindcast.forecast_end) / 24.0


@dataclass(frozen=True)
class ForecastView:
    """The forecast of an open charge, as its page prints it."""

    forecast: Forecast
    chart: Markup
    coming: Sequence[Coming]
    earlier: Sequence[EarlierForecast]
    record: str
    caution: str = CAUTION


def forecast_view(context: SiteContext, number: str) -> ForecastView | None:
    """Return the forecast of an open charge; None if it has none yet."""
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


def _earlier(found: Forecast) -> list[EarlierForecast]:
    """Return the hindcasts made at the share of the drying time nearest to this charge's."""
    shares = sorted(
        {one.share for one in found.hindcasts}, key=lambda share: abs(share - found.share)
    )
    return (
        [
            EarlierForecast(one.charge, routes.charge(one.charge), one)
            for one in found.hindcasts
            if one.share == shares[0]
        ][-10:]
        if shares
        else []
    )
