"""A vented kiln in weather: which air it can reach, and the heat that takes.

A kiln that dries by venting takes in outdoor air, so the vapour of its air is never less than that
outdoors, and a leak lets in dry air in winter whether anybody wants it or not. Two balances say
what happens in a step of the simulation:

* vapour: what the wood and the spray give off leaves with the air that is exchanged,
  ``w = w_out + (loss + spray)/G``;
* heat: the coils warm the load, replace what walls and exchanged air carry away, and evaporate the
  water, ``Q = C dT/dt + (U + G c)(T - T_out) + loss r``.

w is the humidity ratio, G the flow of dry air, U the loss of the walls, r the heat of vaporization.
The air of a kiln is renewed within minutes, so both are steady within a step. Heat of the fans, the
kiln's own steel and the heat of desorption are left out. ``assets/charge-run.js`` mirrors this file.

References
----------
.. [1] ASHRAE Handbook, Fundamentals, 2017, SI edition, chapter 1, eqs. 20, 30 and 33.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from kilnfolio.physics import air, airflow, drying_core, water
from kilnfolio.runtime.values import dataclass

START_CLOCK_H, WARMEST_H = 8.0, 15.0
"""Time of day when a charge is started and when it is warmest outdoors; common practice. [h]"""
STEAM_C = 100.0
"""Temperature of the steam sprayed in. [°C]"""


@dataclass(frozen=True)
class Outdoors:
    """The air outdoors."""

    temp: float
    """[°C]"""
    humidity: float
    """RH [%]."""
    ratio: float
    """Humidity ratio [kg/kg]."""
    dry_air: float
    """Mass of dry air in a cubic metre [kg/m³]."""


@dataclass(frozen=True)
class Exchange:
    """The air exchanged in a step, and the humidity ratio it leads to."""

    flow: float
    """Dry air through vents and leaks [kg/s]."""
    spray: float
    """Steam sprayed in [kg/s]."""
    ratio: float
    """Humidity ratio of the kiln's air [kg/kg]."""
    limit: str
    """'vents' if they are open and the air stays too moist, 'spray' if it stays too dry."""


def outdoors(weather: Sequence[Mapping[str, float]], hour: float) -> Outdoors:
    """Return the air outdoors at an hour of a charge.

    Parameters
    ----------
    weather : sequence of mapping
        Spells in order: ``from_hour``, ``temperature`` [°C], ``vapour`` [Pa] and ``swing``, the
        difference between the warmest and the coldest hour of a day [K].
    hour : float
        Hours since the start. [h]

    Notes
    -----
    The vapour stays the same by day and night, unless the night is too cold to hold it.
    """
    spell = [one for one in weather if one["from_hour"] <= hour][-1]
    turn = math.cos(2.0 * math.pi * (hour + START_CLOCK_H - WARMEST_H) / 24.0)
    temp = spell["temperature"] + 0.5 * spell["swing"] * turn
    saturated = float(air.saturation_pressure(temp))
    vapour = min(spell["vapour"], saturated)
    dry = air.STANDARD_PRESSURE_PA - vapour
    return Outdoors(
        temp,
        100.0 * vapour / saturated,
        air.MOLAR_MASS_RATIO * vapour / dry,
        dry / (airflow.DRY_AIR_GAS_CONSTANT * (temp + air.ZERO_CELSIUS_K)),
    )


def exchange(kiln: Mapping[str, float], outside: Outdoors, wanted: float, loss: float) -> Exchange:
    """Return how vents and spray answer, and the humidity ratio that follows.

    Parameters
    ----------
    kiln : mapping
        ``vents`` and ``leak`` [m³/s of outdoor air], and ``spray`` [kg/s].
    outside : Outdoors
        The air outdoors.
    wanted : float
        Humidity ratio of the air as set. [kg/kg]
    loss : float
        Water the wood gives off. [kg/s]
    """
    leak, vents = kiln["leak"] * outside.dry_air, kiln["vents"] * outside.dry_air
    rise = wanted - outside.ratio
    if rise <= 0.0 or loss > vents * rise:
        return Exchange(vents, 0.0, outside.ratio + loss / vents, "vents")
    if loss >= leak * rise:
        return Exchange(loss / rise, 0.0, wanted, "")
    missing = leak * rise - loss
    if missing <= kiln["spray"]:
        return Exchange(leak, missing, wanted, "")
    return Exchange(leak, kiln["spray"], outside.ratio + (loss + kiln["spray"]) / leak, "spray")


def load_heat(dry_mass_kg: float, mc_pct: float, temp_c: float) -> float:
    """Return the heat capacity of the load [kJ/K]; for the wood, see `physics.water`."""
    at_zero, slope = water.DRY_WOOD_HEAT_CAPACITY
    wood = at_zero + slope * (temp_c + air.ZERO_CELSIUS_K)
    return dry_mass_kg * (wood + mc_pct / 100.0 * drying_core.WATER_HEAT_CAPACITY)


def hottest(
    kiln: Mapping[str, float],
    outside: Outdoors,
    capacity: float,
    now: float,
    flow: float,
    loss: float,
    seconds: float,
) -> float:
    """Return the dry bulb that full heating reaches in a step [°C].

    Parameters
    ----------
    kiln : mapping
        ``heating`` [kW] and ``walls`` [kW/K].
    outside : Outdoors
        The air outdoors.
    capacity : float
        Heat capacity of the load. [kJ/K]
    now : float
        Dry bulb at the start of the step. [°C]
    flow, loss : float
        Dry air exchanged and water evaporated in the step before. [kg/s]
    seconds : float
        Length of the step. [s]
    """
    stored, away = capacity / seconds, kiln["walls"] + flow * _air_heat(outside)
    given = kiln["heating"] - loss * float(air.latent_heat(max(now, 0.0)))
    return max((stored * now + away * outside.temp + given) / (stored + away), outside.temp)


def heat_used(
    kiln: Mapping[str, float],
    outside: Outdoors,
    capacity: float,
    bulbs: tuple[float, float],
    made: Exchange,
    loss: float,
    seconds: float,
) -> float:
    """Return the heat of coils and spray in a step [kJ].

    Parameters
    ----------
    kiln, outside, capacity, seconds
        As for `hottest`.
    bulbs : tuple of float
        Dry bulb before and after the step. [°C]
    made : Exchange
        The air exchanged.
    loss : float
        Water evaporated. [kg/s]

    Notes
    -----
    Steam is taken to come in as hot as the air leaves; its heat is that of steam at 100 °C over
    water at 0 °C.
    """
    before, after = bulbs
    away = (kiln["walls"] + made.flow * _air_heat(outside)) * (after - outside.temp)
    evaporated = loss * float(air.latent_heat(max(after, 0.0)))
    coils = max(capacity * (after - before) / seconds + away + evaporated, 0.0)
    steam = air.WATER_HEAT[0] + air.VAPOUR_SPECIFIC_HEAT * STEAM_C
    return (coils + made.spray * steam) * seconds


def humidity_of(ratio: float, temp_c: float) -> float:
    """Return the RH of air of a humidity ratio, at most 100 [%]."""
    vapour = air.STANDARD_PRESSURE_PA * ratio / (air.MOLAR_MASS_RATIO + ratio)
    return min(100.0 * vapour / float(air.saturation_pressure(temp_c)), 100.0)


def _air_heat(outside: Outdoors) -> float:
    """Return the heat capacity of moist air per mass of dry air [kJ/(kg K)]."""
    return air.DRY_AIR_SPECIFIC_HEAT + air.VAPOUR_SPECIFIC_HEAT * outside.ratio


def plain_weather(spells: Sequence[Any]) -> list[dict[str, float]]:
    """Return the spells of a scenario as plain values; see `outdoors`."""
    return [
        {
            "from_hour": 24.0 * spell.from_day,
            "temperature": spell.temperature.value,
            "vapour": float(air.vapour_pressure(spell.temperature.value, spell.humidity.value)),
            "swing": spell.swing.value,
        }
        for spell in spells
    ]
