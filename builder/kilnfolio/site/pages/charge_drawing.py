"""The chart of a charge on its pages, with what was ordered and what the checks found."""

from __future__ import annotations

from markupsafe import Markup

from kilnfolio.charts.charge import Mark, charge_chart
from kilnfolio.records import reading
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.findings import title_of
from kilnfolio.site.context import SiteContext


def charge_drawing(context: SiteContext, dossier: Dossier) -> Markup:
    """Return the chart of a charge, as the context's edition shows it."""
    return charge_chart(
        dossier,
        context.records_of(dossier.charge).mill.record.zone,
        context.regional,
        _ordered(context, dossier.charge),
        _marks(context.regional, dossier),
    )


def _ordered(context: SiteContext, charge: str) -> tuple[float, float] | None:
    """Return the MC band ordered for a piece [%], if all lots of a charge share one.

    An auditor is not shown what customers ordered.
    """
    if context.edition == "auditor":
        return None
    lots = [context.lot_lines[lot] for lot in context.lots[reading.of_charge(charge)]]
    bands = {(lot.piece_low, lot.piece_high) for lot in lots}
    if len(bands) != 1:
        return None
    [(low, high)] = bands
    return None if low is None or high is None else (low, high)


def _marks(regional: RegionalFormat, dossier: Dossier) -> list[Mark]:
    """Return the chart's flags: findings that block or ask something, at the time they occurred."""
    return [
        Mark(
            finding.at,
            f"{title_of(finding)}: {regional.localized(finding.message)}",
            "flag-fail" if finding.outcome == "fail" else "flag-question",
        )
        for finding in dossier.findings
        if finding.at is not None and finding.outcome in ("fail", "question", "answered")
    ]
