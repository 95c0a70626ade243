"""A finished charge in one line, from its review or from the mill's own list of earlier years."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import replace
from statistics import fmean, stdev
from typing import Literal
from zoneinfo import ZoneInfo

from kilnfolio.forecast.green_load import Load, forecast_by_formula
from kilnfolio.forecast.mill import planned
from kilnfolio.forecast.replay import replay
from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.charge import Charge
from kilnfolio.records.earlier import EarlierCharge, earlier
from kilnfolio.records.folder import MillFolder, mill_of
from kilnfolio.records.quantities import Quantity
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.setpoints import mill_pressure, planned_steps
from kilnfolio.review.dossier import Dossier, Outcome
from kilnfolio.review.evidence import DefectShare
from kilnfolio.review.limits import limit_table
from kilnfolio.review.reviews import charge_dossier
from kilnfolio.runtime.values import dataclass
from kilnfolio.trends.in_steps import fast_spans, hours_by_step, hours_of, stops_by_step

NOT_RECOMPUTED = "from the mill's own list, not recomputed here"
"""Printed with everything that rests on earlier charges."""

_HOUR = dt.timedelta(hours=1)


@dataclass(frozen=True)
class PlacedReading:
    """A reading of the final survey whose place in the kiln is known."""

    position: str
    mc_pct: float


@dataclass(frozen=True)
class PlacedDefect:
    """Pieces of one pack with a defect, of those examined."""

    defect: str
    position: str
    pieces: int
    of: int


@dataclass(frozen=True)
class PastCharge:
    """A finished charge in one line; None where something was not recorded.

    Attributes
    ----------
    number : str
    origin : {"record", "list"}
        Whether it was recomputed from a record, or is from the mill's own list.
    kiln, species : str
        Ids; the species is that of the first stock.
    thickness_mm : float
        Nominal thickness of the first stock. [mm]
    thickness : str
        The same as entered.
    mixed : bool
        Whether the load held more than one stock.
    schedule : str
        Id of the schedule, or its name in the list; "" if not known.
    revision : int or None
        Revision of the schedule.
    suppliers : tuple of str
        In alphabetical order.
    started, ended : datetime
        Heating to the end; noon for a day of the list.
    hours : float
        Time between them. [h]
    hours_forecast : float or None
        What the forecast gives a load as wet on this schedule, by the published formula alone: it
        learns nothing from the mill's charges, so it stays the same when they change. For the list,
        the time expected then. [h]
    start_mc_pct, target_pct : float or None, float
        Mean MC of the boards at the start, and the target. [%]
    final_mean_pct, final_sd_pct : float or None
        Final survey: mean and standard deviation. [%]
    readings : int
        Number of its readings.
    energy_kwh_kg : float or None
        Metered energy for each kilogram of water taken out. [kWh/kg]
    wick_k_per_day : float or None
        Slope of the depression at constant set-points; negative for a wick that dries. [K/day]
    side_difference_k : float or None
        Difference between entering and leaving air, median. [K]
    hot_hours : float or None
        Time hotter than asked, beyond the tolerance. [h]
    fast_hours : float or None
        Time in which a wet board lost more than its safe daily loss. [h]
    stress_index_pct : float or None
        Largest gradient index. [%]
    stops : int or None
        Number of declared stops.
    fast_steps, stop_steps : tuple of (int, float), or None
        Hours faster than safe, and stops, by the step of the schedule in which they lay; None if
        that is not known. [h] [-]
    stopped_hours : float or None
        Their length. [h]
    defects : tuple of DefectShare
        Every defect looked for at the final inspection.
    placed_defects : tuple of PlacedDefect
        The same by pack, where they were counted so.
    placed : tuple of PlacedReading
        Readings whose place is known.
    outcome : str
        The gravest outcome of its checks; "" for the list, which has none.
    """

    number: str
    origin: Literal["record", "list"]
    kiln: str
    species: str
    thickness_mm: float
    thickness: str
    mixed: bool
    schedule: str
    revision: int | None
    suppliers: tuple[str, ...]
    started: dt.datetime
    ended: dt.datetime
    hours: float
    hours_forecast: float | None
    start_mc_pct: float | None
    target_pct: float
    final_mean_pct: float | None
    final_sd_pct: float | None
    readings: int
    energy_kwh_kg: float | None
    wick_k_per_day: float | None
    side_difference_k: float | None
    hot_hours: float | None
    fast_hours: float | None
    stress_index_pct: float | None
    stops: int | None
    stopped_hours: float | None
    fast_steps: tuple[tuple[int, float], ...] | None
    stop_steps: tuple[tuple[int, float], ...] | None
    defects: tuple[DefectShare, ...]
    placed_defects: tuple[PlacedDefect, ...]
    placed: tuple[PlacedReading, ...]
    outcome: Outcome | Literal[""]

    @property
    def listed(self) -> bool:
        """Whether it is from the mill's own list."""
        return self.origin == "list"

    @property
    def stock(self) -> str:
        """Key of its timber: species and thickness to a tenth of a millimetre."""
        return f"{self.species}/{round(self.thickness_mm, 1):g}"

    @property
    def over_target_pct(self) -> float | None:
        """Final mean less target [points]."""
        return None if self.final_mean_pct is None else self.final_mean_pct - self.target_pct


@derived("past charge", keys=reading.charges, batch=50)
def past_charge(graph: Graph, number: str) -> PastCharge:
    """Return a finished charge of record in one line."""
    folder = mill_of(graph)
    record, dossier = folder.charges[number].record, charge_dossier(graph, number)
    board = replay(graph, number)
    wet = limit_table(folder).value("daily-loss-above")
    line = _of_review(record, dossier)
    fast = fast_spans(dossier, wet)
    return replace(
        line,
        hours_forecast=_forecast_hours(folder, record, line.start_mc_pct),
        fast_hours=None if fast is None else sum(map(hours_of, fast)),
        fast_steps=None if fast is None else hours_by_step(record, fast),
        stress_index_pct=board.trace.peak_pct if board else None,
    )


def _of_review(record: Charge, dossier: Dossier) -> PastCharge:
    """Return what a charge's review alone shows of it."""
    main, survey, air, water = record.stock[0], dossier.survey, dossier.air, dossier.water
    stops = [gap for gap in dossier.gaps if gap.kind == "stop"]
    return PastCharge(
        number=record.id,
        origin="record",
        kiln=record.kiln,
        species=main.species,
        thickness_mm=main.thickness.value,
        thickness=main.thickness.entered,
        mixed=len(record.stock) > 1,
        schedule=record.schedule,
        revision=record.schedule_revision,
        suppliers=tuple(
            sorted({lot.supplier for one in record.stock for lot in one.intake if lot.supplier})
        ),
        started=record.started,
        ended=record.ended,
        hours=(record.ended - record.started) / _HOUR,
        hours_forecast=None,
        start_mc_pct=dossier.controlling[0].mean_pct if dossier.controlling else None,
        target_pct=dossier.target_mc_pct,
        final_mean_pct=survey.mean_pct if survey else None,
        final_sd_pct=survey.sd_pct if survey and survey.n > 1 else None,
        readings=survey.n if survey else 0,
        energy_kwh_kg=water.metered_kwh / water.water_kg
        if water and water.metered_kwh is not None and water.water_kg > 0.0
        else None,
        wick_k_per_day=air.wick.drift_k_per_day if air and air.wick else None,
        side_difference_k=air.zone_spread_k if air else None,
        hot_hours=_hot_hours(dossier),
        fast_hours=None,
        stress_index_pct=None,
        stops=len(stops),
        stopped_hours=sum((stop.end - stop.start) / _HOUR for stop in stops),
        fast_steps=None,
        stop_steps=stops_by_step(record, [stop.start for stop in stops]),
        defects=tuple(DefectShare(one.defect, one.pieces, one.of) for one in record.defects),
        placed_defects=tuple(
            PlacedDefect(one.defect, place.position, place.pieces, place.of)
            for one in record.defects
            for place in one.places
        ),
        placed=tuple(
            PlacedReading(position, mc)
            for position, mc in zip(survey.positions, survey.readings, strict=True)
            if position
        )
        if survey
        else (),
        outcome=dossier.outcome_of(),
    )


def _hot_hours(dossier: Dossier) -> float | None:
    """Return the time hotter than asked [h]; None if the air was not judged."""
    if not any(step.hours_settled for step in dossier.adherence):
        return None
    return sum(
        outside.hours
        for step in dossier.adherence
        for outside in step.outside
        if outside.side == "too hot"
    )


def _forecast_hours(folder: MillFolder, record: Charge, start_pct: float | None) -> float | None:
    """Return the hours for a load as wet on the schedule that was run, by the formula alone."""
    schedule = _schedule_run(folder, record)
    if schedule is None or start_pct is None:
        return None
    steps = planned(
        planned_steps(schedule, folder.steps_of(schedule), mill_pressure(folder)),
        record.target_mc.value,
    )
    main = record.stock[0]
    load = Load(main.species, main.thickness.value, steps, green_pct=start_pct)
    found = forecast_by_formula(load)
    return None if found is None else 24.0 * found.days.median


def _schedule_run(folder: MillFolder, record: Charge) -> Schedule | None:
    """Return the revision of the schedule that a charge ran; None if the mill no longer has it."""
    current = [folder.schedules[record.schedule]] if record.schedule in folder.schedules else []
    for located in (*current, *folder.superseded.get(record.schedule, ())):
        if located.record.revision == record.schedule_revision:
            return located.record
    return None


# --- earlier charges ------------------------------------------------------------------------------


@derived("listed charges")
def listed_charges(graph: Graph, _: str) -> tuple[PastCharge, ...]:
    """Return the charges of the mill's own list, oldest first."""
    table, zone = earlier(graph), reading.zone_of(graph)
    placed: dict[str, list[PlacedReading]] = {}
    for row in table.readings:
        placed.setdefault(row.charge, []).append(PlacedReading(row.position, row.mc.value))
    inspected: dict[str, list[PlacedDefect]] = {}
    for pack in table.inspected:
        inspected.setdefault(pack.charge, []).extend(
            PlacedDefect(defect, pack.position, pieces, pack.examined)
            for defect, pieces in pack.defects.items()
        )
    lines = [
        line_of_row(row, placed.get(row.charge, ()), inspected.get(row.charge, ()), zone)
        for row in table.charges
    ]
    return tuple(sorted(lines, key=_in_time))


def line_of_row(
    row: EarlierCharge,
    placed: Iterable[PlacedReading],
    inspected: Iterable[PlacedDefect],
    zone: ZoneInfo,
) -> PastCharge:
    """Return a row of the mill's own list, with its readings and defects by place, as a line."""
    placed = tuple(placed)
    mcs = [one.mc_pct for one in placed]
    started, ended = (_noon(day, zone) for day in (row.started, row.ended))
    return PastCharge(
        number=row.charge,
        origin="list",
        kiln=row.kiln,
        species=row.species,
        thickness_mm=row.thickness.value,
        thickness=row.thickness.entered,
        mixed=False,
        schedule=row.schedule or "",
        revision=row.revision,
        suppliers=(row.supplier,) if row.supplier else (),
        started=started,
        ended=ended,
        hours=row.hours.value if row.hours else (ended - started) / _HOUR,
        hours_forecast=_value(row.hours_forecast),
        start_mc_pct=_value(row.start_mc),
        target_pct=row.target_mc.value,
        final_mean_pct=row.final_mc.value if row.final_mc else fmean(mcs) if mcs else None,
        final_sd_pct=row.final_sd.value if row.final_sd else stdev(mcs) if len(mcs) > 1 else None,
        readings=row.readings or len(mcs),
        energy_kwh_kg=_value(row.energy),
        wick_k_per_day=_value(row.wick_per_day),
        side_difference_k=_value(row.side_difference),
        hot_hours=_value(row.too_hot),
        fast_hours=_value(row.too_fast),
        stress_index_pct=_value(row.stress_index),
        stops=row.stops,
        stopped_hours=_value(row.stopped),
        fast_steps=_in_step(_value(row.too_fast), row.too_fast_step),
        stop_steps=_in_step(row.stops, row.stops_step),
        defects=tuple(
            DefectShare(defect, pieces, row.examined)
            for defect, pieces in row.defects.items()
            if row.examined
        ),
        placed_defects=tuple(inspected),
        placed=placed,
        outcome="",
    )


def _in_step(amount: float | None, step: int | None) -> tuple[tuple[int, float], ...] | None:
    """Return an amount by the one step that the list names; empty if there was none of it."""
    if amount is None or (amount and step is None):
        return None
    return ((step, float(amount)),) if amount and step else ()


def _value(quantity: Quantity | None) -> float | None:
    return None if quantity is None else quantity.value


def _noon(day: dt.date, zone: ZoneInfo) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(12), zone)


def _in_time(line: PastCharge) -> tuple[dt.datetime, str]:
    return line.started, line.number


# --- all of them ----------------------------------------------------------------------------------


def past_charges(graph: Graph, group: str = reading.ALL) -> tuple[PastCharge, ...]:
    """Return finished charges in order of time, those of the mill's own list among them.

    Parameters
    ----------
    graph : Graph
        The mill.
    group : str
        All by default, or ``kiln:ID``, ``species:ID`` or ``schedule:ID``, as
        `reading.of_kiln` and its neighbours return them.
    """
    kind, _, named = group.partition(":")
    lines = [past_charge(graph, number) for number in reading.charges(graph, group)]
    lines += [line for line in listed_charges(graph) if not named or getattr(line, kind) == named]
    return tuple(sorted(lines, key=_in_time))
