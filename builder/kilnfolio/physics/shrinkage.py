"""Shrinkage, and size, specific gravity and density at an MC.

References
----------
.. [1] Glass, S. V., and Zelinka, S. L., chapter 4 of Wood Handbook, FPL-GTR-282, USDA Forest
   Service, 2021, eqs. 4-9, 4-11, 4-12 and 4-14.
.. [2] Bergman, R., chapter 13 of Wood Handbook, FPL-GTR-190, 2010, eqs. 13-2 and 13-3, table 13-5.
"""

import numpy as np
from numpy.typing import ArrayLike

from kilnfolio.physics import _check
from kilnfolio.physics._check import in_range, numbers, plain
from kilnfolio.physics._types import FloatOrArray, Floats

FIBRE_SATURATION_PCT = 30.0
"""FSP of species without a value of their own; most lie at 25 to 30. [%] Source: [1]_, eq. 4-9."""

COEFFICIENT_MC_RANGE_PCT = (6.0, 14.0)
"""Range of MC that table 13-5 is meant for. [%] Source: [2]_. Not enforced."""

VOLUMETRIC_PER_SPECIFIC_GRAVITY = 26.5
"""Total volumetric shrinkage per unit of basic specific gravity. [%] Source: [1]_, eq. 4-12."""


SHRINKAGE_RANGE_PCT = (0.0, 40.0)
"""Shrinkages from green to oven-dry accepted. [%]"""

FSP_RANGE_PCT = (15.0, 45.0)
"""Fibre saturation points accepted. [%]"""

COEFFICIENT_RANGE = (0.0, 0.02)
"""Coefficients of dimensional change accepted; values in per cent are refused. [1/%]"""

SIZE_RANGE_MM = (0.0, 10_000.0)
"""Sizes of a board accepted, excluding the lower limit. [mm]"""


def shrinkage_at(
    total_pct: ArrayLike, mc_pct: ArrayLike, fsp_pct: ArrayLike = FIBRE_SATURATION_PCT
) -> FloatOrArray:
    """Return the shrinkage of wood from green to an MC.

    Parameters
    ----------
    total_pct : float or array_like
        Shrinkage from green to oven-dry in one direction, 0 to 40, of the green size. [%]
    mc_pct : float or array_like
        Present MC, 0 to 500. [%]
    fsp_pct : float or array_like, default 30
        FSP of the wood, 15 to 45. [%]

    Returns
    -------
    float or ndarray
        Shrinkage from green to this MC, of the green size. [%] Zero at and above the FSP,
        `total_pct` at 0 %; NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    A straight line, ``S = S0 (1 - MC/FSP)`` [1]_ (eq. 4-9). Thick wood starts to shrink at a higher
    mean MC, because its shell is below the FSP while its core is not, and wood that collapses
    shrinks more.
    """
    return plain(_shrinkage("total_pct", total_pct, "mc_pct", mc_pct, fsp_pct))


def dimension_change(
    size_mm: ArrayLike, coefficient: ArrayLike, mc_from_pct: ArrayLike, mc_to_pct: ArrayLike
) -> FloatOrArray:
    """Return a board's change in size between two MCs, by a coefficient of dimensional change.

    Parameters
    ----------
    size_mm : float or array_like
        Size at `mc_from_pct`, above 0, at most 10 000. [mm] Any unit will do; the result has the
        same.
    coefficient : float or array_like
        Relative change per point of MC, 0 to 0.02, such as 0.00365 and not 0.365. [1/%]
    mc_from_pct, mc_to_pct : float or array_like
        MC before and after, 0 to 30. [%]

    Returns
    -------
    float or ndarray
        Change of size: positive when the wood swells, negative when it shrinks. [unit of
        `size_mm`] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range. MCs above 30 % are refused because the line would
        include water that causes no movement.

    Notes
    -----
    ``ΔD = D C (MF - MI)`` [2]_ (eq. 13-2), meant for 6 to 14 % MC. The error grows away from that
    range, because the coefficient refers to the size at about 10 %;
    `dimension_change_from_shrinkage` is valid up to the FSP.
    """
    size = _size(size_mm)
    coefficient = in_range("coefficient", coefficient, *COEFFICIENT_RANGE, "per % MC")
    start = in_range("mc_from_pct", mc_from_pct, 0, FIBRE_SATURATION_PCT, "%")
    end = in_range("mc_to_pct", mc_to_pct, 0, FIBRE_SATURATION_PCT, "%")
    return plain(size * coefficient * (end - start))


def dimension_change_from_shrinkage(
    size_mm: ArrayLike,
    total_pct: ArrayLike,
    mc_from_pct: ArrayLike,
    mc_to_pct: ArrayLike,
    fsp_pct: ArrayLike = FIBRE_SATURATION_PCT,
) -> FloatOrArray:
    """Return a board's change in size between two MCs, by its total shrinkage.

    Parameters
    ----------
    size_mm : float or array_like
        Size at `mc_from_pct`, above 0, at most 10 000. [mm]
    total_pct : float or array_like
        Shrinkage from green to oven-dry in that direction, 0 to 40. [%]
    mc_from_pct, mc_to_pct : float or array_like
        MC before and after, 0 to 500; changes above the FSP have no effect. [%]
    fsp_pct : float or array_like, default 30
        FSP of the wood, 15 to 45. [%]

    Returns
    -------
    float or ndarray
        Change of size: positive when the wood swells, negative when it shrinks. [unit of
        `size_mm`] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    `shrinkage_at` applied at both MCs to the green size. Below an FSP of 30 % it is Wood Handbook
    eq. 13-3 [2]_, ``ΔD = D (MF - MI)/(3000/S - 30 + MI)``.
    """
    size = _size(size_mm)
    before, after = (
        1.0 - _shrinkage("total_pct", total_pct, name, mc, fsp_pct) / 100.0
        for name, mc in (("mc_from_pct", mc_from_pct), ("mc_to_pct", mc_to_pct))
    )
    return plain(size * (after - before) / before)


def coefficient_from_shrinkage(
    total_pct: ArrayLike, mc_pct: ArrayLike = 10.0, fsp_pct: ArrayLike = FIBRE_SATURATION_PCT
) -> FloatOrArray:
    """Return the coefficient of dimensional change for a total shrinkage.

    Parameters
    ----------
    total_pct : float or array_like
        Shrinkage from green to oven-dry, above 0, at most 40. [%]
    mc_pct : float or array_like, default 10
        MC at which the size is known, 0 to 15. [%]
    fsp_pct : float or array_like, default 30
        FSP of the wood, 15 to 45. [%]

    Returns
    -------
    float or ndarray
        Relative change per point of MC. [1/%] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    The slope of eq. 13-3 [2]_, ``1/(100 FSP/S - FSP + MC)``; at 10 % and an FSP of 30 % that is
    ``1/(3000/S - 20)``, from which table 13-5 can be recomputed.
    """
    total = in_range("total_pct", total_pct, *SHRINKAGE_RANGE_PCT, "%", above_low=True)
    mc = in_range("mc_pct", mc_pct, 0, 15, "%")
    fsp = _fsp(fsp_pct)
    return plain(1.0 / (100.0 * fsp / total - fsp + mc))


def volumetric_shrinkage(basic_specific_gravity: ArrayLike) -> FloatOrArray:
    """Return an estimate of the total volumetric shrinkage from specific gravity.

    Parameters
    ----------
    basic_specific_gravity : float or array_like
        Oven-dry mass over green volume, relative to water, 0.08 to 1.3. [-]

    Returns
    -------
    float or ndarray
        Shrinkage of the volume from green to oven-dry. [%] NaN where the input is NaN.

    Raises
    ------
    ValueError
        If a specific gravity lies outside its range.

    Notes
    -----
    ``S0 ≈ 26.5 Gb`` [1]_ (eq. 4-12): the wood loses the volume of the water in its cell walls.
    Species differ from it by several points.
    """
    return plain(VOLUMETRIC_PER_SPECIFIC_GRAVITY * _gravity(basic_specific_gravity))


def specific_gravity_at(
    basic_specific_gravity: ArrayLike,
    volumetric_pct: ArrayLike,
    mc_pct: ArrayLike,
    fsp_pct: ArrayLike = FIBRE_SATURATION_PCT,
) -> FloatOrArray:
    """Return the specific gravity at an MC: oven-dry mass over the volume at that MC.

    Parameters
    ----------
    basic_specific_gravity : float or array_like
        Oven-dry mass over green volume, relative to water, 0.08 to 1.3. [-]
    volumetric_pct : float or array_like
        Volumetric shrinkage from green to oven-dry, 0 to 40. [%]
    mc_pct : float or array_like
        MC, 0 to 500. [%]
    fsp_pct : float or array_like, default 30
        FSP of the wood, 15 to 45. [%]

    Returns
    -------
    float or ndarray
        Specific gravity, at least the basic one. [-] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``Gx = Gb/(1 - Sx/100)`` [1]_ (eq. 4-11) with the volumetric shrinkage of eq. 4-9.
    """
    shrunk = _shrinkage("volumetric_pct", volumetric_pct, "mc_pct", mc_pct, fsp_pct)
    return plain(_gravity(basic_specific_gravity) / (1.0 - shrunk / 100.0))


def density_at(
    basic_specific_gravity: ArrayLike,
    volumetric_pct: ArrayLike,
    mc_pct: ArrayLike,
    fsp_pct: ArrayLike = FIBRE_SATURATION_PCT,
) -> FloatOrArray:
    """Return the density of wood at an MC, including its water.

    Parameters
    ----------
    basic_specific_gravity : float or array_like
        Oven-dry mass over green volume, relative to water, 0.08 to 1.3. [-]
    volumetric_pct : float or array_like
        Volumetric shrinkage from green to oven-dry, 0 to 40. [%]
    mc_pct : float or array_like
        MC, 0 to 500. [%]
    fsp_pct : float or array_like, default 30
        FSP of the wood, 15 to 45. [%]

    Returns
    -------
    float or ndarray
        Mass of wood and water over the volume at this MC. [kg/m³] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``1000 Gx (1 + MC/100)`` [1]_ (eq. 4-14).
    """
    gravity = specific_gravity_at(basic_specific_gravity, volumetric_pct, mc_pct, fsp_pct)
    return plain(1000.0 * gravity * (1.0 + _check.moisture_content("mc_pct", mc_pct) / 100.0))


def _shrinkage(
    total_name: str, total_pct: ArrayLike, mc_name: str, mc_pct: ArrayLike, fsp_pct: ArrayLike
) -> Floats:
    """Evaluate Wood Handbook eq. 4-9, checking arguments under the caller's names for them."""
    total = in_range(total_name, total_pct, *SHRINKAGE_RANGE_PCT, "%")
    mc = _check.moisture_content(mc_name, mc_pct)
    fsp = _fsp(fsp_pct)
    dry_share: Floats = np.maximum(1.0 - mc / fsp, 0.0)
    return total * dry_share


def _gravity(value: ArrayLike) -> Floats:
    return in_range("basic_specific_gravity", value, 0.08, 1.3, "")


def _size(value: ArrayLike) -> Floats:
    return in_range("size_mm", value, *SIZE_RANGE_MM, "mm", above_low=True)


def _fsp(value: ArrayLike) -> Floats:
    return in_range("fsp_pct", value, *FSP_RANGE_PCT, "%")


def shrunk_place(
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    radial_pct: ArrayLike,
    tangential_pct: ArrayLike,
    *,
    facing: tuple[float, float] = (0.0, 1.0),
) -> tuple[FloatOrArray, FloatOrArray]:
    """Return the position of a point of a log's cross-section after shrinking.

    Parameters
    ----------
    x_mm, y_mm : float or array_like
        The point in green wood, from the pith. [mm]
    radial_pct, tangential_pct : float or array_like
        Shrinkage so far in the two directions, 0 to 40, of the green size. [%]
    facing : tuple of float
        A point that fixes the orientation: the ray from the pith through it does not move. [mm]

    Returns
    -------
    tuple of float or ndarray
        The point in the shrunk wood. [mm]

    Raises
    ------
    ValueError
        If a coordinate is infinite, or a shrinkage outside its range.

    Notes
    -----
    A radius r becomes ``r (1 - R)`` and an angle from the ray ``a (1 - T)/(1 - R)``, so that an arc
    of growth ring shrinks by T without strain. This holds for a piece without the pith: around the
    pith the angles do not close, and the wood splits. Rings are assumed circular and shrinkage
    uniform; grain, knots and juvenile wood are ignored.
    """
    x, y = numbers("x_mm", x_mm), numbers("y_mm", y_mm)
    radial = in_range("radial_pct", radial_pct, 0.0, 40.0, "%") / 100.0
    tangential = in_range("tangential_pct", tangential_pct, 0.0, 40.0, "%") / 100.0
    ray = np.arctan2(facing[1], facing[0])
    angle = np.arctan2(y, x) - ray
    turned = ray + np.arctan2(np.sin(angle), np.cos(angle)) * (1.0 - tangential) / (1.0 - radial)
    radius = np.hypot(x, y) * (1.0 - radial)
    return plain(radius * np.cos(turned)), plain(radius * np.sin(turned))
