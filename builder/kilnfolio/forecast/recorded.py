"""Days that charges took, beside what a forecast would have said, by timber, thickness and state.

Only quarters that are over count, so that what prints this changes four times a year and not with
every charge.
"""

from __future__ import annotations

from dataclasses import replace
from statistics import median, multimode

from kilnfolio.forecast.green_load import (
    AIR_DRIED_PCT,
    Days,
    forecast_by_formula,
    forecast_load,
)
from kilnfolio.forecast.mill import basis_known, loads_learn_from
from kilnfolio.forecast.mill_loads import load_of, target_of
from kilnfolio.forecast.outcomes import charge_outcome, charges_of_stock, stocks
from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.folder import mill_of
from kilnfolio.records.quantities import Length
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class RecordedDays:
    """A timber in one thickness, green or air-dried: the days its charges took, and a forecast.

    Attributes
    ----------
    species : str
        Id of the species.
    thickness : Length
    start : str
        Its state when it went in: ``green``, or as the charges say.
    own_days : tuple of float
        Days of its charges, the shortest first. [d]
    median : float
        Their median. [d]
    schedule : str
        Id of the schedule that most of them went by.
    forecast : Days or None
        Of a load on that schedule before it goes in, learnt from charges of those quarters; None if
        there is none.
    formula : float or None
        Days for the same load by the red-oak formula alone; None if the schedule goes by the clock.
    """

    species: str
    thickness: Length
    start: str
    own_days: tuple[float, ...]
    median: float
    schedule: str
    forecast: Days | None
    formula: float | None


@derived("recorded days", keys=stocks, batch=3)
def recorded_days(graph: Graph, stock: str) -> RecordedDays | None:
    """Return the days of a stock on record; None if only the newest quarter has charges of it."""
    over = frozenset(reading.quarters(graph, "charge")[:-1])

    def counts(name: str) -> bool:
        return reading.quarter_of(charge_outcome(graph, name).started) in over

    charges = [
        charge_outcome(graph, name) for name in charges_of_stock(graph, stock) if counts(name)
    ]
    if not charges:
        return None
    days = sorted(charge.days for charge in charges)
    schedule = multimode(charge.schedule for charge in charges)[0]
    last = charges[-1]
    forecast = formula = None
    folder = mill_of(graph)
    if schedule in folder.schedules:
        plan = folder.schedules[schedule].record
        target = target_of(charges, plan, folder.species[last.species].record)
        load = load_of(folder, plan, last.species, last.thickness.value, target)
        if last.start == "air-dried":  # the plan may be for green timber
            load = replace(load, start=last.start, green_pct=AIR_DRIED_PCT)
        earlier = [name for name in loads_learn_from(graph, last.species) if counts(name)]
        basis = basis_known(graph, last.species, last.thickness.value, earlier)
        learnt = forecast_load(load, basis)
        alone = None if plan.time_based else forecast_by_formula(load)
        forecast = learnt.days if learnt else None
        formula = alone.days.median if alone else None
    return RecordedDays(
        last.species,
        last.thickness,
        last.start,
        tuple(days),
        float(median(days)),
        schedule,
        forecast,
        formula,
    )


def all_recorded_days(graph: Graph) -> list[RecordedDays]:
    """Return the days of each stock on record, by name and thickness."""
    found = [recorded_days(graph, stock) for stock in stocks(graph)]
    return [one for one in found if one is not None]
