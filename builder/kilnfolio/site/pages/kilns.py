"""Pages of kilns: instruments with their calibrations, where it dries unevenly, and its charges."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from kilnfolio.charts.trends import Trend, trend_chart
from kilnfolio.charts.wet_spots import Spot, wet_spot_map
from kilnfolio.records.kiln import Instrument, Kiln
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review.drops import UnusualDrop
from kilnfolio.review.evidence import KilnCharge, kiln_evidence
from kilnfolio.review.limits import limit_table
from kilnfolio.site.context import SHOWN, SiteContext
from kilnfolio.site.pages.open_charges import draft_views
from kilnfolio.site.pages.phrases import listed, plural
from kilnfolio.site.pages.summaries import ChargeRow, charge_rows
from kilnfolio.site.pages.workings import Shown, Workings, by_id, points, shown, work_out

INDEX = "kilns/index.html"


@dataclass(frozen=True)
class InstrumentLine:
    """An instrument with its latest calibration."""

    record: Instrument
    last: dt.date | None
    uncertainty: str


@dataclass(frozen=True)
class KilnView:
    """Everything a kiln page prints."""

    record: Kiln
    facts: list[tuple[str, str]]
    instruments: list[InstrumentLine]
    spots: list[Spot]
    surveys: int
    """Surveys the map is made from."""
    map: str
    charges: list[ChargeRow]
    """The newest."""
    total: int
    """Charges in all."""
    kept: list[tuple[KilnCharge, str]]
    """How its air was kept in each charge, and where the charge is."""
    trends: str
    drops: list[tuple[UnusualDrop, str]]
    """Charges whose drop across the load stood above the kiln's own history, with their pages."""
    """How well it controlled its air from charge to charge, as a chart."""
    how: Workings
    """How each computed number was had."""


def kiln_index(context: SiteContext) -> Page:
    """Return the index of kilns."""
    records = [context.folder.kilns[name].record for name in sorted(context.folder.kilns)]
    rows = [
        (record, routes.kiln(record.id), len(context.charges[f"kiln:{record.id}"]))
        for record in records
    ]
    return context.page(
        "kilns_index.html",
        INDEX,
        "Kilns",
        "kiln",
        rows=rows,
        drafts=draft_views(context, "kiln"),
        summary=f"{plural(len(records), 'kiln')}, with instruments, calibrations "
        "and the places that dry unevenly.",
    )


def kiln_page(context: SiteContext, name: str) -> Page:
    """Return the page of a kiln."""
    record = context.folder.kilns[name].record
    charges = context.charges[f"kiln:{name}"]
    lines = [context.lines[charge].evidence for charge in charges]
    rise = limit_table(context.folder).value("load-drop-rise")
    evidence = kiln_evidence(name, record.positions, lines, rise)
    readings = [reading for line in lines for reading in line.positions]
    spots = [Spot(spot.position, spot.points, spot.readings) for spot in evidence.wet_spots]
    view = KilnView(
        record,
        _facts(context.regional, record),
        [_line(context.regional, one) for one in record.instruments],
        spots,
        evidence.surveys,
        wet_spot_map(record.name, spots) if spots else "",
        charge_rows(context, charges[:SHOWN]),
        len(charges),
        [(line, routes.charge(line.charge)) for line in evidence.charges[:SHOWN]],
        _trends(context, record.name, evidence.charges[:SHOWN]),
        [(drop, routes.charge(drop.charge)) for drop in evidence.drops[:SHOWN]],
        by_id([_spot_working(spots, readings)]),
    )
    return context.page(
        "kiln.html",
        routes.kiln(record.id),
        record.name,
        "kiln",
        view=view,
        crumbs=(("Kilns", INDEX),),
        summary=f"{record.kind.capitalize()} kiln, "
        f"{context.regional.side_by_side(record.capacity)}.",
        text=[
            f"{record.name}.",
            *(f"{label}: {value}." for label, value in view.facts),
            *(f"{line.record.id}, {line.record.kind}." for line in view.instruments),
            record.notes or "",
        ],
    )


def _trends(context: SiteContext, name: str, charges: Sequence[KilnCharge]) -> str:
    """Return the trends of a kiln's air as a chart, in the region's units."""
    scale = context.regional.difference_scale

    def of(value: float | None) -> float | None:
        return None if value is None else scale.of(value)

    return trend_chart(
        name,
        [(one.charge, one.started) for one in charges],
        [
            Trend(
                "Wick, steepest day",
                f"{scale.unit}/day",
                [of(one.wick.worst_drift_k_per_day) if one.wick else None for one in charges],
                2,
            ),
            Trend(
                "Entering and leaving air, median difference",
                scale.unit,
                [of(one.zone_spread_k) for one in charges],
            ),
            Trend(
                "Above the set dry bulb",
                f"{scale.unit}\N{NO-BREAK SPACE}h",
                [of(one.dry_bulb_over_kh) for one in charges],
                0,
            ),
        ],
        context.folder.mill.record.zone,
    )


def _spot_working(spots: Sequence[Spot], readings: Sequence[tuple[str, float]]) -> Shown:
    """Return how each place's distance from the mean was had, its readings listed."""
    return shown(
        "wet-spots",
        "A place against the mean of its surveys",
        (
            work_out(
                "mean_of_points",
                spot.position,
                of=[points(above) for position, above in readings if position == spot.position],
            )
            for spot in spots
        ),
        "Each reading less the mean of its own survey.",
    )


def _facts(regional: RegionalFormat, record: Kiln) -> list[tuple[str, str]]:
    given = [
        ("Kind", record.kind),
        ("Holds", regional.side_by_side(record.capacity)),
        ("Hottest dry bulb", regional.side_by_side(record.hottest)),
    ]
    if record.air_speed:
        given.append(("Air speed through the load", regional.side_by_side(record.air_speed)))
    if record.reversal:
        given.append(("Fans reverse every", regional.side_by_side(record.reversal)))
    if record.positions:
        given.append(("Pack positions, from the door inward", listed(record.positions)))
    return given


def _line(regional: RegionalFormat, instrument: Instrument) -> InstrumentLine:
    last = max((calibration.on for calibration in instrument.calibrations), default=None)
    uncertainty = instrument.uncertainty
    return InstrumentLine(
        instrument, last, "±" + regional.side_by_side(uncertainty) if uncertainty else ""
    )
