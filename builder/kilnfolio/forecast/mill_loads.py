"""Loads that have not gone in yet: their days, energy and cost, from a mill's records."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from statistics import median

from kilnfolio.forecast.energy import Amount, energy_for
from kilnfolio.forecast.finish import finish_of
from kilnfolio.forecast.green_load import (
    Load,
    LoadBasis,
    LoadForecast,
    forecast_load,
    forecast_loads,
    load_run,
)
from kilnfolio.forecast.mill import basis_known, loads_learn_from, planned
from kilnfolio.forecast.outcomes import ChargeOutcome, charge_outcome
from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.folder import MillFolder, mill_of
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.quantities import Length
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.setpoints import mill_pressure, planned_steps
from kilnfolio.records.species import Species
from kilnfolio.runtime.values import dataclass

NOT_A_KILN = frozenset({"air-drying yard", "dryer shed"})
"""Kinds of kiln record that do not follow a schedule."""

USUAL_TARGET = {"hardwood": 8.0, "softwood": 15.0}
"""Target if neither charges nor the schedule state one: common practice, no source. [% MC]"""

ENERGY_CHARGES = 20
"""Number of a kiln's newest charges whose metered energy is used."""


@dataclass(frozen=True)
class KilnCost:
    """Energy and cost of a load in one kiln.

    Attributes
    ----------
    kiln : str
        Id of the kiln.
    energy : Amount
        [kWh]
    cost : Amount, optional
        By the mill's tariff; None without a tariff.
    charges : int
        Number of charges with metered energy behind it.
    """

    kiln: str
    energy: Amount
    cost: Amount | None
    charges: int


@dataclass(frozen=True)
class LoadLine:
    """The estimate of a load of one stock on one schedule, before it goes in.

    Attributes
    ----------
    species : str
    thickness : Length
    target_pct : float
        The MC it is dried to. [%]
    own_days : tuple of float
        Days of the mill's complete charges of this stock on this schedule. [day]
    found : LoadForecast
    costs : tuple of KilnCost
        By kiln; only kilns with enough metered charges.
    """

    species: str
    thickness: Length
    target_pct: float
    own_days: tuple[float, ...]
    found: LoadForecast
    costs: tuple[KilnCost, ...]


@derived("loads", keys=lambda graph: graph.names("schedule"), batch=25)
def loads_of(graph: Graph, schedule: str) -> tuple[LoadLine, ...]:
    """Return the estimate of a load on a schedule for each stock the mill has dried before.

    Woods this mill never dried are left out, because the published formula alone is off by half.
    """
    folder = mill_of(graph)
    if schedule not in folder.schedules:
        return ()
    return tuple(_lines(folder, folder.schedules[schedule].record))


def _lines(folder: MillFolder, schedule: Schedule) -> Iterator[LoadLine]:
    charges = [
        charge_outcome(folder.graph, name)
        for name in reading.charges(folder.graph, reading.of_schedule(schedule.id))
    ]
    lines = []
    for species in schedule.for_stock.species:
        for thickness in schedule.for_stock.thickness:
            own = [charge for charge in charges if _is_of(charge, species, thickness)]
            target = target_of(own, schedule, folder.species[species].record)
            load = _known_load(folder, schedule, species, thickness.value, target)
            if load is not None:
                lines.append((species, thickness, own, target, load))
    estimates = forecast_loads([load for *_, load in lines])
    for (species, thickness, own, target, _), found in zip(lines, estimates, strict=True):
        if found is not None:
            days = tuple(charge.days for charge in own)
            costs = tuple(_costs(folder, schedule, found))
            yield LoadLine(species, thickness, target, days, found, costs)


def _is_of(charge: ChargeOutcome, species: str, thickness: Length) -> bool:
    same = abs(charge.thickness.value / thickness.value - 1.0) < 0.02
    return charge.species == species and same


def target_of(own: list[ChargeOutcome], schedule: Schedule, species: Species) -> float:
    """Return the target of a load: as on earlier charges, or as in the schedule [% MC]."""
    if own:
        return float(median(charge.target_pct for charge in own))
    stated = schedule.target_mc
    return stated.value if stated else USUAL_TARGET[species.kind]


def forecast_for(
    folder: MillFolder, schedule: Schedule, species: str, thickness_mm: float, target_pct: float
) -> LoadForecast | None:
    """Return how long a load will take; None for a wood this mill never dried.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    schedule : Schedule
        The schedule it is dried by.
    species : str
        Id of the species.
    thickness_mm : float
        Nominal thickness. [mm]
    target_pct : float
        The MC it is dried to. [%]
    """
    known = _known_load(folder, schedule, species, thickness_mm, target_pct)
    return None if known is None else forecast_load(*known)


def _known_load(
    folder: MillFolder, schedule: Schedule, species: str, thickness_mm: float, target_pct: float
) -> tuple[Load, LoadBasis] | None:
    """Return a load with what charges teach about it; None for a wood this mill never dried."""
    names = loads_learn_from(folder.graph, species)
    if not names and not schedule.time_based:
        return None
    load = load_of(folder, schedule, species, thickness_mm, target_pct)
    return load, basis_known(folder.graph, species, thickness_mm, names)


def load_of(
    folder: MillFolder, schedule: Schedule, species: str, thickness_mm: float, target_pct: float
) -> Load:
    """Return a load on a schedule, finished as this mill does; see `forecast_for`."""
    pressure = mill_pressure(folder)
    steps = planned(planned_steps(schedule, folder.steps_of(schedule), pressure), target_pct)
    load = Load(
        species,
        thickness_mm,
        steps,
        None,
        green_pct(folder.species[species].record),
        schedule.for_stock.start,
    )
    finish = finish_of(folder, load_run(load), schedule.id, target_pct)
    return replace(load, finish=finish)


def green_pct(species: Species) -> float:
    """Return the green MC of a species: the wetter of heartwood and sapwood, or the stem's [%]."""
    known = [
        value.value
        for group in species.green_mc
        for value in (group.heartwood, group.sapwood, group.whole_stem)
        if value is not None
    ]
    return max(known, default=Load.green_pct)


def kilns_for(folder: MillFolder, schedule: Schedule) -> list[Kiln]:
    """Return the kilns that can run a schedule: of a suitable kind, and hot enough."""
    pressure = mill_pressure(folder)
    steps = planned_steps(schedule, folder.steps_of(schedule), pressure)
    hottest = max(step.air.dry_bulb_c for step in steps)
    kilns = [folder.kilns[name].record for name in sorted(folder.kilns)]
    return [
        kiln
        for kiln in kilns
        if kiln.kind not in NOT_A_KILN
        and (not schedule.kiln_types or kiln.kind in schedule.kiln_types)
        and kiln.hottest.value >= hottest - 0.5
    ]


def daily_energy(folder: MillFolder, kiln: str) -> list[float]:
    """Return the metered daily energy of a kiln's newest charges [kWh/d]."""
    names = reading.charges(folder.graph, reading.of_kiln(kiln), newest_first=True)[:ENERGY_CHARGES]
    charges = [charge_outcome(folder.graph, name) for name in names]
    return [
        charge.energy_kwh / charge.days
        for charge in charges
        if charge.energy_kwh is not None and charge.days > 0.0
    ]


def _costs(folder: MillFolder, schedule: Schedule, found: LoadForecast) -> Iterator[KilnCost]:
    price = folder.mill.record.energy_price
    for kiln in kilns_for(folder, schedule):
        daily = daily_energy(folder, kiln.id)
        energy = energy_for(found.days, daily)
        if energy is not None:
            yield KilnCost(kiln.id, energy, energy.times(price[0]) if price else None, len(daily))
