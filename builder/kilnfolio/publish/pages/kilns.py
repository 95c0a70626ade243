"""Pages of kilns: instruments with their calibrations, where it dries unevenly, and its charges."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from statistics import fmean

from kilnfolio.publish import routes
from kilnfolio.publish.charts.wet_spots import Spot, wet_spot_map
from kilnfolio.publish.page import Page
from kilnfolio.publish.pages.histories import ChargeRow, charge_rows
from kilnfolio.publish.pages.holdings import Holdings
from kilnfolio.publish.pages.words import listed, plural
from kilnfolio.records.kiln import Instrument, Kiln
from kilnfolio.review import figures

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


def kiln_pages(holdings: Holdings) -> Iterator[Page]:
    """Yield the index of kilns and a page for each."""
    records = [holdings.folder.kilns[name].record for name in sorted(holdings.folder.kilns)]
    rows = [
        (record, routes.kiln(record.id), len(holdings.charges_of_kiln[record.id]))
        for record in records
    ]
    yield holdings.page(
        "kilns_index.html",
        INDEX,
        "Kilns",
        "kiln",
        rows=rows,
        summary=f"{plural(len(records), 'kiln')}, with instruments, calibrations "
        "and the places that dry unevenly.",
    )
    for record in records:
        yield _page(holdings, record)


def _page(holdings: Holdings, record: Kiln) -> Page:
    spots, surveys = wet_spots(holdings, record)
    view = KilnView(
        record,
        _facts(record),
        [_line(one) for one in record.instruments],
        spots,
        surveys,
        wet_spot_map(record.name, spots) if spots else "",
        charge_rows(holdings, holdings.charges_of_kiln[record.id]),
    )
    return holdings.page(
        "kiln.html",
        routes.kiln(record.id),
        record.name,
        "kiln",
        view=view,
        crumbs=(("Kilns", INDEX),),
        summary=f"{record.kind.capitalize()} kiln, {figures.side_by_side(record.capacity)}.",
        text=[
            f"{record.name}.",
            *(f"{label}: {value}." for label, value in view.facts),
            *(f"{line.record.id}, {line.record.kind}." for line in view.instruments),
            record.notes or "",
        ],
    )


def _facts(record: Kiln) -> list[tuple[str, str]]:
    given = [
        ("Kind", record.kind),
        ("Holds", figures.side_by_side(record.capacity)),
        ("Hottest dry bulb", figures.side_by_side(record.hottest)),
    ]
    if record.air_speed:
        given.append(("Air speed through the load", figures.side_by_side(record.air_speed)))
    if record.reversal:
        given.append(("Fans reverse every", figures.side_by_side(record.reversal)))
    if record.positions:
        given.append(("Pack positions, from the door inward", listed(record.positions)))
    return given


def _line(instrument: Instrument) -> InstrumentLine:
    last = max((calibration.on for calibration in instrument.calibrations), default=None)
    uncertainty = instrument.uncertainty
    return InstrumentLine(
        instrument, last, "±" + figures.side_by_side(uncertainty) if uncertainty else ""
    )


def wet_spots(holdings: Holdings, kiln: Kiln) -> tuple[list[Spot], int]:
    """Return how far each position lies from its survey's mean, over all charges of a kiln.

    Returns
    -------
    tuple of list of Spot and int
        Positions from the door inward, those without a reading left out; the surveys used.
    """
    readings: dict[str, list[float]] = {}
    surveys = 0
    for charge in holdings.charges_of_kiln[kiln.id]:
        survey = holdings.dossiers[charge.id].survey
        if survey is None or not any(survey.positions):
            continue
        surveys += 1
        for position, mc in zip(survey.positions, survey.readings, strict=True):
            if position:
                readings.setdefault(position, []).append(mc - survey.mean_pct)
    order = [*kiln.positions, *sorted(set(readings) - set(kiln.positions))]
    return [
        Spot(position, round(fmean(readings[position]), 2), len(readings[position]))
        for position in order
        if position in readings
    ], surveys
