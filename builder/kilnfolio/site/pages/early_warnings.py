"""The page on early warnings: what they watch, and how often they were right on check charges."""

from __future__ import annotations

from kilnfolio.forecast.measured import measured
from kilnfolio.forecast.result import CAUTION
from kilnfolio.forecast.warning import DRIFT_WEIGHINGS, LEAST_THRESHOLD, THRESHOLD_FACTOR
from kilnfolio.rendering.page import Page
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.checks import INDEX

EARLY_WARNINGS = "checks/early-warnings.html"


def early_warnings_page(context: SiteContext) -> Page:
    """Return the page of early warnings and of how good forecasts are."""
    return context.page(
        "early_warnings.html",
        EARLY_WARNINGS,
        "Early warnings",
        "check",
        measured=measured(),
        caution=CAUTION,
        least=LEAST_THRESHOLD,
        spare=THRESHOLD_FACTOR,
        weighings=DRIFT_WEIGHINGS,
        summary="A weighing that does not fit, tags swapped, a common drift: what is looked at while "
        "a charge runs, and how often it was right on check charges.",
        crumbs=(("Checks", INDEX),),
        text=[
            "Early warnings: a weighing that does not fit, swapped tags, a dry wick.",
            "Detection and false alarms.",
        ],
    )
