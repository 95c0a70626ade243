"""Pages of kilns: instruments and calibrations, the map of uneven drying, and the charges."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import replace

from kilnfolio.charts.trends import Trend, trend_chart
from kilnfolio.charts.wet_spots import Spot, wet_spot_map
from kilnfolio.physics.control_chart import (
    LEAST,
    RUN,
    beyond_limits,
    control_limits,
    runs_on_one_side,
)
from kilnfolio.records import reading
from kilnfolio.records.kiln import Instrument, Kiln
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review.dossier import Working
from kilnfolio.review.drops import UnusualDrop
from kilnfolio.review.evidence import KilnCharge, kiln_evidence
from kilnfolio.review.limits import limit_table
from kilnfolio.runtime.values import dataclass
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
class Steadiness:
    """Whether a quantity of a kiln stays as it was from charge to charge."""

    trend: Trend
    """Oldest charge first; with limits if there are enough charges."""
    signals: list[tuple[str, str, str]]
    """Charge, its page, and the signal."""


@dataclass(frozen=True)
class KilnView:
    """Everything a kiln page prints."""

    record: Kiln
    facts: list[tuple[str, str]]
    instruments: list[InstrumentLine]
    spots: list[Spot]
    surveys: int
    """Number of surveys the map is made from."""
    map: str
    charges: list[ChargeRow]
    """The newest charges."""
    total: int
    """Number of all charges."""
    kept: list[tuple[KilnCharge, str]]
    """How its air was kept in each charge, with the charge's page."""
    trends: str
    """Chart of how well it controlled its air from charge to charge."""
    steady: list[Steadiness]
    """Each quantity of the kiln's control chart."""
    enough: int
    """Number of charges needed for limits."""
    run: int
    """Number of charges in a row on one side of the mean that make a signal."""
    drops: list[tuple[UnusualDrop, str]]
    """Charges with an unusually large drop across the load for this kiln, with their pages."""
    how: Workings
    """The working of each computed number."""


def kiln_index(context: SiteContext) -> Page:
    """Return the index of kilns."""
    records = [context.folder.kilns[name].record for name in sorted(context.folder.kilns)]
    rows = [
        (record, routes.kiln(record.id), len(context.charges[reading.of_kiln(record.id)]))
        for record in records
    ]
    return context.page(
        "kilns_index.html",
        INDEX,
        "Kilns",
        "kiln",
        rows=rows,
        measuring=routes.MEASURING if context.edition == "mill" else "",
        drafts=draft_views(context, "kiln"),
        summary=f"{plural(len(records), 'kiln')}, with instruments, calibrations "
        "and the places that dry unevenly.",
    )


def kiln_page(context: SiteContext, name: str) -> Page:
    """Return the page of a kiln."""
    record = context.folder.kilns[name].record
    charges = context.charges[reading.of_kiln(name)]
    lines = [context.lines[charge].evidence for charge in charges]
    rise = limit_table(context.folder).value("load-drop-rise")
    evidence = kiln_evidence(name, record.positions, lines, rise)
    readings = [reading for line in lines for reading in line.positions]
    spots = [Spot(spot.position, spot.points, spot.readings) for spot in evidence.wet_spots]
    shown_charges = evidence.charges[:SHOWN][::-1]
    steady = [
        steadiness(trend, [one.charge for one in shown_charges])
        for trend in _trends(context, shown_charges)
    ]
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
        trend_chart(
            f"Air control of {record.name}",
            [(one.charge, one.started) for one in shown_charges],
            [one.trend for one in steady],
            context.folder.mill.record.zone,
        ),
        steady,
        LEAST,
        RUN,
        [(drop, routes.charge(drop.charge)) for drop in evidence.drops[:SHOWN]],
        by_id([_spot_working(spots, readings), _limits_working(steady)]),
    )
    return context.page(
        "kiln.html",
        routes.kiln(record.id),
        record.name,
        "kiln",
        view=view,
        trends=routes.trend(f"kiln:{name}") if charges and context.edition == "mill" else "",
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


def _trends(context: SiteContext, charges: Sequence[KilnCharge]) -> list[Trend]:
    """Return the chart data of a kiln's air control, in the region's units."""
    scale = context.regional.difference_scale

    def of(value: float | None) -> float | None:
        return None if value is None else scale.of(value)

    return [
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
            from_zero=True,
        ),
        Trend(
            "Above the set dry bulb",
            f"{scale.unit}\N{NO-BREAK SPACE}h",
            [of(one.dry_bulb_over_kh) for one in charges],
            0,
            from_zero=True,
        ),
    ]


def steadiness(trend: Trend, charges: Sequence[str]) -> Steadiness:
    """Return each quantity with its limits and signals, if there are enough charges."""
    names = [name for name, value in zip(charges, trend.values, strict=True) if value is not None]
    if len(names) < LEAST:
        return Steadiness(trend, [])
    limits = control_limits(trend.known)
    signals = [
        (names[at], "above" if trend.known[at] > limits.high else "below", "its limit")
        for at in beyond_limits(trend.known)
    ] + [
        (
            names[first],
            "above" if trend.known[first] > limits.mean else "below",
            f"the mean in {last - first + 1} charges in a row, from this one on",
        )
        for first, last in runs_on_one_side(trend.known)
    ]
    return Steadiness(
        replace(trend, limits=limits),
        [(name, routes.charge(name), f"{side} {what}") for name, side, what in signals],
    )


def _limits_working(steady: Sequence[Steadiness]) -> Shown:
    """Return the working of each limit."""

    def worked() -> Iterator[Working | None]:
        for one in steady:
            if one.trend.limits:
                for end in ("upper",) if one.trend.low is None else ("lower", "upper"):
                    yield work_out(
                        f"{end}_control_limit",
                        f"{one.trend.name}, {one.trend.unit}",
                        of=one.trend.known,
                    )

    return shown(
        "control-limits",
        "The limits of a quantity",
        worked(),
        "The spread is that from one charge to the next, so that a slow change does not widen its own "
        "limits. A quantity that is never below 0 has no limit below 0.",
    )


def _spot_working(spots: Sequence[Spot], readings: Sequence[tuple[str, float]]) -> Shown:
    """Return the working of each place's distance from the mean, with its readings."""
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
