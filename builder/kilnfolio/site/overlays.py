"""A charge as pages lay it over others: its course from the start in few points, and its result."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from functools import partial

from kilnfolio.forecast.outcomes import ChargeOutcome
from kilnfolio.graph.derived import Group, derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.charge import Charge, ChargeStock
from kilnfolio.records.folder import mill_of
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.reviews import charge_dossier
from kilnfolio.runtime.values import dataclass

POINTS = 40
"""Most points of air that an overlay keeps of a charge."""
MOST = 6
"""Most charges that one chart lays over each other."""

#: Complete charges by kind of timber, as in ``quercus-rubra-25mm``, by start.
charges_of_kind = Group("charges of kind")
#: The kinds of timber that charges have dried.
kinds_dried = Group("kinds dried")


@dataclass(frozen=True)
class AirAt:
    """The air at a time of a charge.

    Attributes
    ----------
    day : float
        Days from the start. [d]
    dry_bulb_c, emc_pct : float or None
        [°C] [%]
    """

    day: float
    dry_bulb_c: float | None
    emc_pct: float | None


@dataclass(frozen=True)
class Overlay:
    """A charge for comparisons.

    Attributes
    ----------
    charge, species, kiln, schedule, schedule_title : str
        Number; ids; and title with revision.
    thickness : str
        As entered.
    thickness_mm, days, target_pct : float
        [mm] [d] [%]
    mc : tuple of (float, float)
        Days from the start, and controlling MC at each weighing. [d] [%]
    air, asked : tuple of AirAt
        Measured, and asked for from that time on.
    mean_pct, sd_pct : float or None
        Of the final survey. [%] [points]
    readings : int
        Number of survey readings.
    kwh, kwh_per_m3, kwh_per_kg : float or None
        Metered energy; by volume of timber, and by mass of water removed. [kWh]
    volume_m3 : float or None
        Volume of timber. [m³]
    metered : tuple of (float, float)
        Days from the start, and energy since the first reading of the meter, at each reading of a
        charge that has two or more. [d] [kWh]
    least : tuple of (float, float)
        Days from the start, and the computed least heat up to then. [d] [kWh]
    stops : float
        Hours of declared stops and gaps of the log. [h]
    """

    charge: str
    species: str
    kiln: str
    schedule: str
    schedule_title: str
    thickness: str
    thickness_mm: float
    days: float
    target_pct: float
    mc: tuple[tuple[float, float], ...]
    air: tuple[AirAt, ...]
    asked: tuple[AirAt, ...]
    mean_pct: float | None
    sd_pct: float | None
    readings: int
    kwh: float | None
    kwh_per_m3: float | None
    kwh_per_kg: float | None
    stops: float
    volume_m3: float | None = None
    metered: tuple[tuple[float, float], ...] = ()
    least: tuple[tuple[float, float], ...] = ()


def kind_of(main: ChargeStock | ChargeOutcome) -> str:
    """Return the kind of a charge's main timber: species and thickness."""
    return f"{main.species}-{round(main.thickness.value)}mm"


@derived(
    "charge overlay",
    keys=reading.charges,
    fills=(charges_of_kind, kinds_dried),
    batch=250,
    edition="mill",
)
def charge_overlay(graph: Graph, number: str) -> Overlay:
    """Return a charge for comparisons."""
    mill = mill_of(graph)
    record = mill.charges[number].record
    kind = kind_of(record.stock[0])
    graph.join(charges_of_kind, kind, number, record.started.astimezone(dt.UTC).isoformat())
    graph.join(kinds_dried, "", kind)
    title = mill.schedules[record.schedule].record.title
    return overlay_of(record, charge_dossier(graph, number), title)


def overlay_of(record: Charge, dossier: Dossier, schedule: str) -> Overlay:
    """Return a charge for comparisons, from its record, its review and its schedule's title."""
    main, water, survey = record.stock[0], dossier.water, dossier.survey
    metered = water.metered_kwh if water else None

    day = partial(_days, dossier.started)
    air = _thinned(
        [
            AirAt(day(one.at), one.dry_bulb_c, one.emc_pct)
            for one in (dossier.log.air if dossier.log else ())
            if dossier.started <= one.at <= dossier.ended
        ]
    )
    stops = sum((gap.end - gap.start).total_seconds() for gap in dossier.gaps) / 3600.0
    return Overlay(
        record.id,
        main.species,
        record.kiln,
        record.schedule,
        f"{schedule}, revision {record.schedule_revision}",
        main.thickness.entered,
        main.thickness.value,
        day(dossier.ended),
        dossier.target_mc_pct,
        tuple((max(day(one.at), 0.0), one.mc_pct) for one in dossier.controlling),
        tuple(air),
        tuple(AirAt(day(one.at), one.dry_bulb_c, one.emc_pct) for one in dossier.set_points),
        survey.mean_pct if survey else None,
        survey.sd_pct if survey else None,
        survey.n if survey else 0,
        metered,
        _per(metered, water.volume_m3 if water else None),
        _per(metered, water.water_kg if water else None),
        round(stops, 1),
        water.volume_m3 if water else None,
        _metered(record),
        _least_heat(dossier),
    )


def _metered(record: Charge) -> tuple[tuple[float, float], ...]:
    readings = record.meter_readings
    if len(readings) < 2:
        return ()
    return tuple(
        (_days(record.started, one.at), one.reading.value - readings[0].reading.value)
        for one in readings
    )


def _least_heat(dossier: Dossier) -> tuple[tuple[float, float], ...]:
    """Return the least heat of a charge, shared out by the water that had left the boards."""
    water = dossier.water
    if water is None or water.mc_from_pct <= water.mc_to_pct:
        return ()
    total = water.mc_from_pct - water.mc_to_pct
    gone = [(0.0, 0.0)]
    for one in dossier.controlling:
        share = (water.mc_from_pct - one.mean_pct) / total
        day = min(max(_days(dossier.started, one.at), 0.0), _days(dossier.started, dossier.ended))
        # a board that takes up water gives no heat back
        gone.append((day, min(max(share, gone[-1][1]), 1.0)))
    gone.append((_days(dossier.started, dossier.ended), 1.0))
    return tuple((day, share * water.least_heat_kwh) for day, share in gone)


def _days(start: dt.datetime, at: dt.datetime) -> float:
    return round((at - start).total_seconds() / 86_400.0, 3)


def _thinned(points: Sequence[AirAt]) -> Sequence[AirAt]:
    every = max(1, math.ceil(len(points) / POINTS))
    return points[::every]


def _per(amount: float | None, of: float | None) -> float | None:
    return amount / of if amount is not None and of else None
