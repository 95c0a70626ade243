"""How long the core of a timber takes to heat up: a planning figure, never evidence.

References
----------
.. [1] MacLean, J. D., "Thermal conductivity of wood", Heating, Piping and Air Conditioning 13,
   1941, with the constants for wood above 40 % MC; from memory.
.. [2] Wood Handbook, FPL-GTR-190, USDA Forest Service, 2010, chapter 4, heat capacity
   (eqs. 4-16 to 4-18); from memory.
.. [3] Carslaw, H. S., and Jaeger, J. C., Conduction of Heat in Solids, 2nd edition, Oxford, 1959,
   sections 3.3 and 5.6 (slab series, and their product for a prism).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics import air, water
from kilnfolio.physics._check import in_range, numbers
from kilnfolio.physics._solve import narrowed
from kilnfolio.physics._types import Floats

SIDE_RANGE_MM = (5.0, 400.0)
"""Thickness and width that `core_time` accepts. [mm]"""

GRAVITY_RANGE = (0.2, 1.1)
"""Basic specific gravity that `Timber` accepts. [-]"""

INITIAL_RANGE_C = (0.0, 60.0)
"""Temperature at the start that `Timber` accepts. [°C]"""

WET_BULB_RANGE_C = (0.0, 100.0)
"""Wet bulb that `HeatingAir` accepts. [°C]"""

TARGET_RANGE_C = (20.0, 99.0)
"""Core temperature that `core_time` accepts. [°C]"""

GREEN_MC_PCT = 70.0
"""MC where none is told: green. [%]"""

CONDUCTIVITY = (0.165, 1.39, 0.028, 0.038)
"""That of air, of dry wood at a specific gravity of 1, and the rise with each point of MC up to 40 %
and above. [Btu in/(h ft² °F)] Source: [1]_."""

BTU_IN = 0.14423
"""1 Btu in/(h ft² °F). [W/(m K)]"""

WATER_HEAT_CAPACITY = 4.18
"""Heat capacity of water. [kJ/(kg K)] Source: [2]_, eq. 4-17."""

SERIES_TERMS = 40
"""Terms of a slab's series that are summed."""

_ODD = 2 * np.arange(SERIES_TERMS) + 1
_WEIGHTS = 4.0 / math.pi * (-1.0) ** np.arange(SERIES_TERMS) / _ODD
_RATES = (_ODD * math.pi / 2.0) ** 2

_AT_ONCE = 500
"""Number of times since a change of the wet bulb that are computed at once, few enough for a cache."""

LEAST_FOURIER = 0.005
"""Below it nothing has arrived in the middle, and the series converges badly. [-]"""

LONGEST_MIN = 14 * 24 * 60.0
"""The longest heating that is computed. [min]"""

_WET_MC_PCT = 40.0
"""Above this MC conductivity rises faster with MC. [%] Source: [1]_."""


@dataclass(frozen=True)
class Timber:
    """The wood to be heated.

    Attributes
    ----------
    basic_specific_gravity : float
        Oven-dry mass over green volume, 0.2 to 1.1. [-]
    mc_pct : float, default 70
        MC, 0 to 200; above 40 it has little effect. [%]
    initial_c : float, default 15
        Temperature at the start, 0 to 60; frozen wood takes longer and is refused. [°C]
    """

    basic_specific_gravity: float
    mc_pct: float = GREEN_MC_PCT
    initial_c: float = 15.0

    def __post_init__(self) -> None:
        in_range("basic_specific_gravity", self.basic_specific_gravity, *GRAVITY_RANGE, "")
        in_range("mc_pct", self.mc_pct, 0, 200, "%")
        in_range("initial_c", self.initial_c, *INITIAL_RANGE_C, "°C")


@dataclass(frozen=True)
class HeatingAir:
    """The wet bulb during heating: one value, or a logged series.

    Attributes
    ----------
    wet_bulb_c : float or array_like, shape (n,)
        Wet bulb starting at each of `minutes`, 0 to 100; the last one continues. [°C]
    minutes : array_like, shape (n,), default (0,)
        Start of each wet bulb, rising from 0. [min]
    """

    wet_bulb_c: ArrayLike
    minutes: ArrayLike = (0.0,)

    def __post_init__(self) -> None:
        wet = np.atleast_1d(in_range("wet_bulb_c", self.wet_bulb_c, *WET_BULB_RANGE_C, "°C"))
        minutes = numbers("minutes", self.minutes)
        if minutes.shape != wet.shape or np.isnan(wet).any():
            raise ValueError(
                "minutes and wet_bulb_c must be of one length, without gaps; "
                f"received {minutes.size} and {wet.size}"
            )
        if minutes[0] != 0.0 or (np.diff(minutes) <= 0).any():
            raise ValueError(f"minutes must rise from 0; received {minutes[:4]}")


def core_time(
    size: tuple[float, float], wood: Timber, air: HeatingAir, target_c: float = 56.0
) -> float:
    """Return how long the middle of a timber takes to reach a temperature.

    Parameters
    ----------
    size : tuple of float
        Thickness and width, each 5 to 400. [mm]
    wood : Timber
        The wood.
    air : HeatingAir
        The wet bulb; with logged air, the result includes the time to heat the kiln.
    target_c : float, default 56
        Core temperature to reach, 20 to 99. [°C]

    Returns
    -------
    float
        Time from the start of `air`. [min]

    Raises
    ------
    ValueError
        If an argument lies outside its range; if the wet bulb is too low to heat the core that
        far, because a green surface stays at the wet bulb; or if it would take over 14 days.

    Notes
    -----
    The product of two slab series [3]_ with the faces at the wet bulb; changes of the wet bulb are
    superposed. Slow air, solid piling and frozen wood lengthen the time; only a probe in the core
    shows that the temperature was reached.
    """
    half = np.array([float(in_range("size", side, *SIDE_RANGE_MM, "mm")) / 2000.0 for side in size])
    if half.size != 2:
        raise ValueError(f"size must be a thickness and a width; received {size!r}")
    target = float(in_range("target_c", target_c, *TARGET_RANGE_C, "°C"))
    wet = np.atleast_1d(np.asarray(air.wet_bulb_c, float))
    minutes = np.atleast_1d(np.asarray(air.minutes, float))
    if wood.initial_c >= target:
        return 0.0
    spread = thermal_diffusivity(wood, (wood.initial_c + float(wet[-1])) / 2.0) / half**2 * 60.0
    if wet.max() <= target:
        raise ValueError(
            f"the core does not reach target_c, {target:g} °C: the wet bulb rises to "
            f"{wet.max():g} °C, not above it"
        )
    jumps = np.diff(wet, prepend=wood.initial_c)

    def core(at: ArrayLike) -> Floats:
        since = np.maximum(np.asarray(at)[..., np.newaxis] - minutes, 0.0)
        left = _slab(spread[0] * since) * _slab(spread[1] * since)
        return np.asarray(wood.initial_c + np.sum(jumps * (1.0 - left), axis=-1))

    times = np.unique(np.concatenate([minutes, np.geomspace(1.0, LONGEST_MIN, 400)]))
    part = max(_AT_ONCE // minutes.size, 1)
    hot = (
        first + int(reached.argmax())
        for first in range(0, times.size, part)
        if (reached := core(times[first : first + part]) >= target).any()
    )
    reached_at = next(hot, None)
    if reached_at is None:
        why = (
            f"the wet bulb ends at {wet[-1]:g} °C, not above it"
            if wet[-1] <= target
            else "it would take over 14 days"
        )
        raise ValueError(f"the core does not reach target_c, {target:g} °C: {why}")
    before, after = float(times[reached_at - 1]), float(times[reached_at])
    return narrowed(lambda at: float(core(at)) - target, before, after)[1]


def thermal_diffusivity(wood: Timber, temp_c: float) -> float:
    """Return the thermal diffusivity of wood across the grain.

    Parameters
    ----------
    wood : Timber
        The wood.
    temp_c : float
        Mean temperature, 0 to 100. [°C]

    Returns
    -------
    float
        Thermal diffusivity. [m²/s] About 1.5e-7 for green hardwood.

    Raises
    ------
    ValueError
        If the temperature lies outside its range.

    Notes
    -----
    Conductivity after MacLean, ``k = G (1.39 + 0.028 M) + 0.165`` Btu in/(h ft² °F), with 0.038 in
    place of 0.028 above 40 % [1]_; heat capacity of wood, water and, below FSP, their bond [2]_.
    """
    temp_k = float(in_range("temp_c", temp_c, 0, 100, "°C")) + air.ZERO_CELSIUS_K
    gravity, mc = wood.basic_specific_gravity, wood.mc_pct
    of_air, of_wood, per_point, per_wet_point = CONDUCTIVITY
    rise = (per_wet_point if mc > _WET_MC_PCT else per_point) * mc
    conductivity = BTU_IN * (gravity * (of_wood + rise) + of_air)
    at_zero, slope = water.DRY_WOOD_HEAT_CAPACITY
    dry = at_zero + slope * temp_k
    bond = mc * (-0.06191 + 2.36e-4 * temp_k - 1.33e-4 * mc) if mc < 28.0 else 0.0
    capacity = 1000.0 * ((dry + WATER_HEAT_CAPACITY * mc / 100.0) / (1.0 + mc / 100.0) + bond)
    return conductivity / (1000.0 * gravity * (1.0 + mc / 100.0) * capacity)


def _slab(fourier: Floats) -> Floats:
    """Return the share of the initial temperature difference left in the middle of a slab [-]."""
    left = np.exp(-_RATES * np.maximum(fourier, LEAST_FOURIER)[..., np.newaxis]) @ _WEIGHTS
    return np.asarray(np.where(fourier < LEAST_FOURIER, 1.0, left))
