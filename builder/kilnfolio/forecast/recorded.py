"""Days that charges took, beside what a forecast would have said, by timber, thickness and state.

Only quarters that are over count, so that what prints this changes four times a year and not with
every charge.
"""

from __future__ import annotations

from collections.abc import Iterator
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
from kilnfolio.forecast.outcomes import ChargeOutcome, charge_outcome
from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.folder import MillFolder, mill_of
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


@derived("recorded days")
def recorded_days(graph: Graph, _: str) -> tuple[RecordedDays, ...]:
    """Return the days of each timber and thickness on record, by name and thickness."""
    folder = mill_of(graph)
    quarters = reading.quarters(graph, "charge")[:-1]
    names = [name for quarter in quarters for name in reading.charges(graph, f"quarter:{quarter}")]
    found: dict[tuple[str, float, str], dict[str, ChargeOutcome]] = {}
    for name in names:
        charge = charge_outcome(graph, name)
        key = charge.species, round(charge.thickness.value, 1), charge.start
        found.setdefault(key, {})[name] = charge
    return tuple(_rows(folder, found))


def _rows(
    folder: MillFolder, found: dict[tuple[str, float, str], dict[str, ChargeOutcome]]
) -> Iterator[RecordedDays]:
    counted = {name for charges in found.values() for name in charges}
    for (species, _, start), named in sorted(found.items(), key=lambda pair: pair[0]):
        charges = list(named.values())
        days = sorted(charge.days for charge in charges)
        schedule = multimode(charge.schedule for charge in charges)[0]
        thickness = charges[-1].thickness
        forecast = formula = None
        if schedule in folder.schedules:
            plan = folder.schedules[schedule].record
            target = target_of(charges, plan, folder.species[species].record)
            load = load_of(folder, plan, species, thickness.value, target)
            if start == "air-dried":  # the plan may be for green timber
                load = replace(load, start=start, green_pct=AIR_DRIED_PCT)
            earlier = [name for name in loads_learn_from(folder.graph, species) if name in counted]
            learnt = forecast_load(
                load, basis_known(folder.graph, species, thickness.value, earlier)
            )
            alone = None if plan.time_based else forecast_by_formula(load)
            forecast = learnt.days if learnt else None
            formula = alone.days.median if alone else None
        yield RecordedDays(
            species,
            thickness,
            start,
            tuple(days),
            float(median(days)),
            schedule,
            forecast,
            formula,
        )
