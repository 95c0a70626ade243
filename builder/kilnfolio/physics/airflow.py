"""Air through a stack of boards on stickers: its speed, and its drop in temperature."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics import air
from kilnfolio.physics._check import in_range, plain
from kilnfolio.physics._types import FloatOrArray

DRY_AIR_GAS_CONSTANT = 287.055
"""Gas constant of dry air, ASHRAE Fundamentals, chapter 1. [J/(kg·K)]"""
_SECONDS_A_DAY = 86_400.0


def gap_speed(
    flow_m3_s: ArrayLike,
    length_m: ArrayLike,
    height_m: ArrayLike,
    board_mm: ArrayLike,
    sticker_mm: ArrayLike,
    bypass_pct: ArrayLike = 0.0,
) -> FloatOrArray:
    """Return the mean speed of the air in the gaps between the layers.

    Parameters
    ----------
    flow_m3_s : float or array_like
        Flow of the fans, 0 to 1000. [m³/s]
    length_m, height_m : float or array_like
        Length of the load along the kiln and height of its layers, 0.1 to 100. [m]
    board_mm, sticker_mm : float or array_like
        Thickness of boards and stickers, 1 to 500. [mm]
    bypass_pct : float or array_like
        Share of the flow that passes over, under and around the load, 0 to 100. [%]

    Notes
    -----
    Continuity: the flow through the load divided by the open part of its face, the fraction
    sticker/(board + sticker). The mean does not show dead spots.
    """
    flow = in_range("flow_m3_s", flow_m3_s, 0.0, 1000.0, "m³/s")
    length = in_range("length_m", length_m, 0.1, 100.0, "m")
    height = in_range("height_m", height_m, 0.1, 100.0, "m")
    board = in_range("board_mm", board_mm, 1.0, 500.0, "mm")
    sticker = in_range("sticker_mm", sticker_mm, 1.0, 500.0, "mm")
    through = 1.0 - in_range("bypass_pct", bypass_pct, 0.0, 100.0, "%") / 100.0
    return plain(flow * through / (length * height * sticker / (board + sticker)))


def drop_across(
    water_kg_day: ArrayLike,
    flow_m3_s: ArrayLike,
    dry_bulb_c: ArrayLike,
    wet_bulb_c: ArrayLike,
    pressure_pa: float = air.STANDARD_PRESSURE_PA,
) -> FloatOrArray:
    """Return the drop in air temperature across the load.

    Parameters
    ----------
    water_kg_day : float or array_like
        Water the load gives off, 0 to 1 000 000. [kg/day]
    flow_m3_s : float or array_like
        Air flow through the load, above 0, at most 1000. [m³/s]
    dry_bulb_c, wet_bulb_c : float or array_like
        The air on the entering side. [°C]
    pressure_pa : float
        Air pressure. [Pa]

    Returns
    -------
    float or ndarray
        The drop without heat from elsewhere; never more than the depression, at which the air is
        saturated and takes up no more water. [K]

    Notes
    -----
    The heat that evaporates the water, `air.latent_heat` at the wet bulb, divided by the heat
    capacity of the dry air and its vapour. The heat of desorption of bound water is left out.
    """
    lost = in_range("water_kg_day", water_kg_day, 0.0, 1e6, "kg/day") / _SECONDS_A_DAY
    flow = in_range("flow_m3_s", flow_m3_s, 1e-6, 1000.0, "m³/s")
    dry = in_range("dry_bulb_c", dry_bulb_c, 0.0, 150.0, "°C")
    humidity = air.relative_humidity(dry_bulb_c, wet_bulb_c, pressure_pa)
    ratio = air.humidity_ratio(dry_bulb_c, humidity, pressure_pa)
    vapour = pressure_pa * ratio / (air.MOLAR_MASS_RATIO + ratio)
    mass = flow * (pressure_pa - vapour) / (DRY_AIR_GAS_CONSTANT * (dry + air.ZERO_CELSIUS_K))
    capacity = mass * (air.DRY_AIR_SPECIFIC_HEAT + air.VAPOUR_SPECIFIC_HEAT * ratio)
    drop = lost * air.latent_heat(wet_bulb_c) / capacity
    return plain(np.minimum(drop, dry - np.asarray(wet_bulb_c)))
