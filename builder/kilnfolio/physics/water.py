"""The water a charge loses, and the least heat needed to dry it.

References
----------
.. [1] Glass, S. V., and Zelinka, S. L., chapter 4 of Wood Handbook, FPL-GTR-190, USDA Forest
   Service, 2010, eq. 4-16 (heat capacity of dry wood) and eq. 4-17 (rule of mixtures and bond
   term).
.. [2] Stanish, M. A., Schajer, G. S., and Kayihan, F., "A mathematical model of drying for
   hygroscopic porous media", AIChE Journal 32(8), 1986, 1301-1311 (heat of sorption; from
   memory).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics import _check, air
from kilnfolio.physics._check import in_range, plain, refuse
from kilnfolio.physics._types import FloatOrArray, Floats
from kilnfolio.physics.shrinkage import FIBRE_SATURATION_PCT, FSP_RANGE_PCT

DRY_WOOD_HEAT_CAPACITY = (0.1031, 0.003867)
"""Heat capacity of oven-dry wood at 0 K and its rise per kelvin. [kJ/(kg K), kJ/(kg K²)]

Source: [1]_, eq. 4-16, for 280 to 420 K.
"""

HEAT_OF_FUSION = 333.6
"""Heat of fusion of ice at 0 °C. [kJ/kg] Source: the enthalpy of ice in ASHRAE Fundamentals, 333.4
to 333.6 by edition; used for frozen timber only."""

SORPTION_SHARE = 0.4
"""Heat of desorption of the last bound water, as a share of the heat of vaporization. [-]

Source: [2]_. It falls quadratically to zero at the FSP.
"""

KJ_PER_KWH = 3600.0
"""Kilojoules in a kilowatt-hour, exactly. [kJ/kWh]"""

VOLUME_RANGE_M3 = (0.0, 10_000.0)
"""Volumes of a load accepted, excluding the lower limit. [m³]"""

BASIC_DENSITY_RANGE_KG_M3 = (80.0, 1300.0)
"""Basic densities accepted; a specific gravity such as 0.56 is refused. [kg/m³]"""

START_TEMP_RANGE_C = (-40.0, 100.0)
"""Temperatures of timber accepted at loading. [°C]"""

KILN_TEMP_RANGE_C = (0.0, air.BULB_RANGE_C[1])
"""Kiln temperatures accepted. [°C]"""


class SplitWater(NamedTuple):
    """The two kinds of water in wood, each in percent of the oven-dry mass.

    Attributes
    ----------
    free : float or ndarray
        Water in the cell cavities. [% MC]
    bound : float or ndarray
        Water in the cell walls. [% MC]
    """

    free: FloatOrArray
    bound: FloatOrArray


class LeastHeat(NamedTuple):
    """The parts of the least heat a charge needs, each in kWh.

    Attributes
    ----------
    warming_wood : float or ndarray
        Heating the oven-dry wood from start to kiln temperature. [kWh]
    warming_water : float or ndarray
        Heating all the water held at the start to kiln temperature. [kWh]
    melting : float or ndarray
        Melting the free water, if the timber was loaded frozen. [kWh]
    evaporating : float or ndarray
        Evaporating the removed water at kiln temperature. [kWh]
    freeing : float or ndarray
        Releasing the bound part of it from the cell walls. [kWh]
    """

    warming_wood: FloatOrArray
    warming_water: FloatOrArray
    melting: FloatOrArray
    evaporating: FloatOrArray
    freeing: FloatOrArray


def water_removed(
    volume_m3: ArrayLike,
    basic_density_kg_m3: ArrayLike,
    mc_from_pct: ArrayLike,
    mc_to_pct: ArrayLike,
) -> FloatOrArray:
    """Return the mass of water a charge loses between two MCs.

    Parameters
    ----------
    volume_m3 : float or array_like
        Green volume of the timber, above 0, at most 10 000. [m³]
    basic_density_kg_m3 : float or array_like
        Oven-dry mass over green volume, 80 to 1300. [kg/m³] A specific gravity of 0.56 is 560
        here.
    mc_from_pct, mc_to_pct : float or array_like
        Mean MC before and after, 0 to 500. [%]

    Returns
    -------
    float or ndarray
        Water removed; negative if the timber gained. [kg] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``V ρ (MC1 - MC2)/100``, from the definition of MC. If the volume was measured dry, the result
    is too small by the shrinkage.
    """
    dry_mass = _dry_mass(volume_m3, basic_density_kg_m3)
    start = _check.moisture_content("mc_from_pct", mc_from_pct)
    end = _check.moisture_content("mc_to_pct", mc_to_pct)
    return plain(dry_mass * (start - end) / 100.0)


def timber_mass(
    volume_m3: ArrayLike, basic_density_kg_m3: ArrayLike, mc_pct: ArrayLike
) -> FloatOrArray:
    """Return the mass of timber at a moisture content.

    Parameters
    ----------
    volume_m3 : float or array_like
        Green volume of the timber, above 0, at most 10 000. [m³]
    basic_density_kg_m3 : float or array_like
        Oven-dry mass over green volume, 80 to 1300. [kg/m³]
    mc_pct : float or array_like
        Mean MC, 0 to 500. [%]

    Returns
    -------
    float or ndarray
        Mass of wood and water together. [kg] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``V ρ (1 + MC/100)``, from the definitions of basic density and MC.
    """
    mc = _check.moisture_content("mc_pct", mc_pct)
    return plain(_dry_mass(volume_m3, basic_density_kg_m3) * (1.0 + mc / 100.0))


def split_water(mc_pct: ArrayLike, fsp_pct: ArrayLike = FIBRE_SATURATION_PCT) -> SplitWater:
    """Return the free and the bound water in wood.

    Parameters
    ----------
    mc_pct : float or array_like
        Moisture content, 0 to 500. [% MC]
    fsp_pct : float or array_like, default 30
        FSP of the wood, 15 to 45. [%]

    Returns
    -------
    SplitWater
        `free` and `bound`, which add up to `mc_pct`. [% MC] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    Follows the definition of the fibre saturation point: walls full, cavities empty. It is true of
    a cell, or of wood of uniform MC. A drying board has a dry shell and a wet core, and holds free
    water long after its mean has fallen below the FSP.
    """
    mc = _check.moisture_content("mc_pct", mc_pct)
    fsp = in_range("fsp_pct", fsp_pct, *FSP_RANGE_PCT, "%")
    bound = np.minimum(mc, fsp)
    return SplitWater(free=plain(mc - bound), bound=plain(bound + 0.0 * mc))


def least_heat_parts(
    volume_m3: ArrayLike,
    basic_density_kg_m3: ArrayLike,
    mc_from_pct: ArrayLike,
    mc_to_pct: ArrayLike,
    start_temp_c: ArrayLike,
    kiln_temp_c: ArrayLike,
    fsp_pct: ArrayLike = FIBRE_SATURATION_PCT,
) -> LeastHeat:
    """Return the least heat needed to dry a charge, part by part.

    Parameters
    ----------
    volume_m3 : float or array_like
        Green volume of the timber, above 0, at most 10 000. [m³]
    basic_density_kg_m3 : float or array_like
        Oven-dry mass over green volume, 80 to 1300. [kg/m³]
    mc_from_pct, mc_to_pct : float or array_like
        Mean MC before and after, 0 to 500, the latter not above the former. [%]
    start_temp_c : float or array_like
        Temperature of the timber when loaded, -40 to 100. [°C]
    kiln_temp_c : float or array_like
        Kiln temperature, 0 to 150, not below the start. [°C]
    fsp_pct : float or array_like, default 30
        FSP of the wood, 15 to 45. [%]

    Returns
    -------
    LeastHeat
        Five named parts, each a float or an array. [kWh] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range, the MC rises or the kiln is colder than the timber.

    Notes
    -----
    The enthalpy of warm dry timber and its vapour, both at kiln temperature, minus that of cold
    wet timber, per kilogram of oven-dry wood:

    * wood: the integral of ``0.1031 + 0.003867 T`` kJ/(kg K) [1]_;
    * water: all the water at the start, 4.186 kJ/(kg K) as in `air`, added by the rule of
      mixtures;
    * frozen timber: the water above the FSP is ice, 2.1 kJ/(kg K) and 333.6 kJ/kg; bound water
      does not freeze;
    * vapour: `air.latent_heat` at kiln temperature;
    * bound water: ``0.4 L (1 - MC/FSP)²`` more [2]_, integrated from one MC to the other.

    Losses through walls and leaks, the heating of vent air, kiln frame and stickers, fans, and the
    handbook's bond term (about a fifth more for heating wood and bound water) are left out, so the
    sum is a lower bound of what a meter shows.
    """
    dry_mass = _dry_mass(volume_m3, basic_density_kg_m3)
    start_mc = _check.moisture_content("mc_from_pct", mc_from_pct)
    end_mc = _check.moisture_content("mc_to_pct", mc_to_pct)
    start = in_range("start_temp_c", start_temp_c, *START_TEMP_RANGE_C, "°C")
    kiln = in_range("kiln_temp_c", kiln_temp_c, *KILN_TEMP_RANGE_C, "°C")
    fsp = in_range("fsp_pct", fsp_pct, *FSP_RANGE_PCT, "%")
    rising = "mc_to_pct must not be above mc_from_pct"
    refuse(end_mc > start_mc, rising, mc_from_pct=start_mc, mc_to_pct=end_mc)
    cooling = "kiln_temp_c must not be below start_temp_c"
    refuse(kiln < start, cooling, kiln_temp_c=kiln, start_temp_c=start)

    latent = air.latent_heat(kiln)
    bound, free = np.minimum(start_mc, fsp) / 100.0, np.maximum(start_mc - fsp, 0.0) / 100.0
    specific, ice_specific = air.WATER_HEAT[1], air.ICE_HEAT[1]
    frozen_span, thawed_span = np.maximum(-start, 0.0), kiln - np.maximum(start, 0.0)
    per_kg = LeastHeat(
        warming_wood=_wood_enthalpy(kiln) - _wood_enthalpy(start),
        warming_water=bound * specific * (kiln - start)
        + free * (ice_specific * frozen_span + specific * thawed_span),
        melting=np.where(start < 0.0, free, 0.0 * (free + start)) * HEAT_OF_FUSION,
        evaporating=latent * (start_mc - end_mc) / 100.0,
        freeing=SORPTION_SHARE * latent * (_bound(end_mc, fsp) - _bound(start_mc, fsp)),
    )
    return LeastHeat(*(plain(part * dry_mass / KJ_PER_KWH) for part in per_kg))


def least_heat(
    volume_m3: ArrayLike,
    basic_density_kg_m3: ArrayLike,
    mc_from_pct: ArrayLike,
    mc_to_pct: ArrayLike,
    start_temp_c: ArrayLike,
    kiln_temp_c: ArrayLike,
    fsp_pct: ArrayLike = FIBRE_SATURATION_PCT,
) -> FloatOrArray:
    """Return the least heat needed to dry a charge.

    Parameters
    ----------
    volume_m3 : float or array_like
        Green volume of the timber, above 0, at most 10 000. [m³]
    basic_density_kg_m3 : float or array_like
        Oven-dry mass over green volume, 80 to 1300. [kg/m³]
    mc_from_pct, mc_to_pct : float or array_like
        Mean MC before and after, 0 to 500, the latter not above the former. [%]
    start_temp_c : float or array_like
        Temperature of the timber when loaded, -40 to 100. [°C]
    kiln_temp_c : float or array_like
        Kiln temperature, 0 to 150, not below the start. [°C]
    fsp_pct : float or array_like, default 30
        FSP of the wood, 15 to 45. [%]

    Returns
    -------
    float or ndarray
        The sum of `least_heat_parts`, whose notes describe the model. [kWh] NaN where an input is
        NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range, the MC rises or the kiln is colder than the timber.
    """
    parts = least_heat_parts(
        volume_m3,
        basic_density_kg_m3,
        mc_from_pct,
        mc_to_pct,
        start_temp_c,
        kiln_temp_c,
        fsp_pct,
    )
    return sum(parts)


def _dry_mass(volume_m3: ArrayLike, basic_density_kg_m3: ArrayLike) -> Floats:
    volume = in_range("volume_m3", volume_m3, *VOLUME_RANGE_M3, "m³", above_low=True)
    density = in_range(
        "basic_density_kg_m3", basic_density_kg_m3, *BASIC_DENSITY_RANGE_KG_M3, "kg/m³"
    )
    return volume * density


def _wood_enthalpy(temp_c: Floats) -> Floats:
    at_zero, slope = DRY_WOOD_HEAT_CAPACITY
    kelvin = temp_c + air.ZERO_CELSIUS_K
    return kelvin * (at_zero + 0.5 * slope * kelvin)


def _bound(mc: Floats, fsp: Floats) -> Floats:
    """Return the integral of (1 - MC/FSP)² from an MC to the FSP, per kilogram of oven-dry wood."""
    return fsp / 300.0 * (1.0 - np.minimum(mc, fsp) / fsp) ** 3
