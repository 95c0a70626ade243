"""Moisture content from masses: the arithmetic of sections and sample boards.

MC is the mass of water divided by the oven-dry mass, in percent, as in EN 13183-1 and ASTM D4442.
Masses may be in any unit, the same throughout one call.

References
----------
.. [1] EN 13183-1:2002, Moisture content of a piece of sawn timber, part 1: oven dry method.
.. [2] Wengert, E. M., extension articles on sample boards: section MCs are averaged, and the
   board's oven-dry mass follows from its mass when the sections were cut.
.. [3] JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM), 4.2.3 and 5.1.2.
.. [4] Glass, S. V., and Zelinka, S. L., chapter 4 of Wood Handbook, FPL-GTR-282, 2021, eq. 4-3.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kilnfolio.physics import _check
from kilnfolio.physics._check import in_range, plain, refuse
from kilnfolio.physics._types import FloatOrArray, Floats

CELL_WALL_SPECIFIC_GRAVITY = 1.54
"""Specific gravity of the cell wall, as printed in Wood Handbook eq. 4-3 [4]_. [-]

The 267 % and 44 % printed beside that equation follow from 1.50 instead; with 1.54 they are 268 %
and 46 %. The equation is followed here.
"""

MC_RANGE_PCT = _check.MC_RANGE_PCT
"""Moisture contents accepted throughout. [%]"""

LARGEST_MASS = 1e9
"""Largest mass accepted: far above any pack in grams, so that messages can name a range."""

HOURS_RANGE = (0.0, 10_000.0)
"""Times between weighings accepted, excluding the lower limit. [h]"""


def moisture_content(mass: ArrayLike, oven_dry_mass: ArrayLike) -> FloatOrArray:
    """Return the MC of a piece from its mass and its oven-dry mass.

    Parameters
    ----------
    mass : float or array_like
        Mass as weighed, at least the oven-dry mass. [any unit]
    oven_dry_mass : float or array_like
        Oven-dry mass, above 0. [same unit]

    Returns
    -------
    float or ndarray
        MC on the oven-dry basis. [%] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If a mass is not above zero, or is below the oven-dry mass.

    Notes
    -----
    ``MC = 100 (m - m0)/m0`` [1]_: 240 g wet and 200 g oven-dry is 20 %.
    """
    mass = _mass("mass", mass)
    dry = _mass("oven_dry_mass", oven_dry_mass)
    refuse(mass < dry, "mass must not be below oven_dry_mass", mass=mass, oven_dry_mass=dry)
    return plain(100.0 * (mass - dry) / dry)


def oven_dry_mass(mass: ArrayLike, mc_pct: ArrayLike) -> FloatOrArray:
    """Return the oven-dry mass of a piece from its mass and MC.

    Parameters
    ----------
    mass : float or array_like
        Mass of the piece, above 0. [any unit]
    mc_pct : float or array_like
        Its MC when weighed, 0 to 500. [%] For a sample board, the mean of its sections.

    Returns
    -------
    float or ndarray
        Oven-dry mass. [unit of `mass`] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``m0 = 100 m/(100 + MC)`` [2]_.
    """
    mass = _mass("mass", mass)
    return plain(100.0 * mass / (100.0 + _check.moisture_content("mc_pct", mc_pct)))


def mass_at(oven_dry_mass: ArrayLike, mc_pct: ArrayLike) -> FloatOrArray:
    """Return the mass of a piece at an MC.

    Parameters
    ----------
    oven_dry_mass : float or array_like
        Oven-dry mass, above 0. [any unit]
    mc_pct : float or array_like
        MC, 0 to 500. [%]

    Returns
    -------
    float or ndarray
        Mass. [unit of `oven_dry_mass`] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``m = m0 (1 + MC/100)``, the definition of MC solved for mass.
    """
    dry = _mass("oven_dry_mass", oven_dry_mass)
    return plain(dry * (1.0 + _check.moisture_content("mc_pct", mc_pct) / 100.0))


def wet_basis(mc_pct: ArrayLike) -> FloatOrArray:
    """Return the wet-basis moisture content, water over total mass, for an MC.

    Parameters
    ----------
    mc_pct : float or array_like
        MC on the oven-dry basis, 0 to 500. [%]

    Returns
    -------
    float or ndarray
        Share of water in the total mass. [%] NaN where the input is NaN.

    Raises
    ------
    ValueError
        If an MC lies outside its range.

    Notes
    -----
    ``w = 100 MC/(100 + MC)``. The paper and fuel trades use the wet basis; the timber trade does
    not.
    """
    mc = _check.moisture_content("mc_pct", mc_pct)
    return plain(100.0 * mc / (100.0 + mc))


def dry_basis(wet_basis_pct: ArrayLike) -> FloatOrArray:
    """Return the MC for a wet-basis moisture content: the inverse of `wet_basis`.

    Parameters
    ----------
    wet_basis_pct : float or array_like
        Share of water in the total mass, 0 to 83.3 (MC 500 %). [%]

    Returns
    -------
    float or ndarray
        MC on the oven-dry basis. [%] NaN where the input is NaN.

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    ``MC = 100 w/(100 - w)``.
    """
    wettest = wet_basis(_check.MC_RANGE_PCT[1])
    wet = in_range("wet_basis_pct", wet_basis_pct, 0, wettest, "%")
    return plain(100.0 * wet / (100.0 - wet))


def moisture_content_uncertainty(
    mass: ArrayLike, mass_error: ArrayLike, oven_dry_mass: ArrayLike, oven_dry_error: ArrayLike
) -> FloatOrArray:
    """Return the uncertainty of an MC from the uncertainties of its two masses.

    Parameters
    ----------
    mass : float or array_like
        Mass as weighed, at least the oven-dry mass. [any unit]
    mass_error : float or array_like
        Its uncertainty, 0 or more. [same unit]
    oven_dry_mass : float or array_like
        Oven-dry mass, above 0. [same unit]
    oven_dry_error : float or array_like
        Its uncertainty, 0 or more, of the same kind (standard or expanded) as `mass_error`; for a
        sample board, `oven_dry_uncertainty`. [same unit]

    Returns
    -------
    float or ndarray
        Uncertainty of the MC, of the kind given, never negative. [%] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If a mass is not above zero or below the oven-dry mass, or an uncertainty is negative.

    Notes
    -----
    The law of propagation for independent inputs [3]_ applied to ``MC = 100 (m/m0 - 1)``::

        u² = (100 u_m/m0)² + (100 m u_m0/m0²)²

    If the scale is off by the same grams at both weighings, the errors are not independent and
    partly cancel; this figure is then too large, which is the safe side.
    """
    mass = _mass("mass", mass)
    dry = _mass("oven_dry_mass", oven_dry_mass)
    refuse(mass < dry, "mass must not be below oven_dry_mass", mass=mass, oven_dry_mass=dry)
    by_mass = 100.0 * _error("mass_error", mass_error) / dry
    by_dry = 100.0 * mass * _error("oven_dry_error", oven_dry_error) / dry**2
    return plain(np.hypot(by_mass, by_dry))


def section_mean_uncertainty(
    section_mcs: ArrayLike, section_errors: ArrayLike | None = None
) -> FloatOrArray:
    """Return the standard uncertainty of the mean MC of a board's moisture sections.

    Parameters
    ----------
    section_mcs : array_like
        MCs of the sections along the last axis, each 0 to 500: two or more, or one with its
        error. [%]
    section_errors : float or array_like, optional
        Standard uncertainty of each by its own weighings, 0 or more. [%]

    Returns
    -------
    float or ndarray
        Standard uncertainty of their mean, never negative. [%] NaN where a section is NaN.

    Raises
    ------
    ValueError
        If there are too few sections, an MC lies outside its range, or an uncertainty is negative.

    Notes
    -----
    Two parts, added in quadrature [3]_: the standard deviation of the sections divided by the
    square root of their number, and the uncertainty of their mean from weighing. If the spread is
    wide the second hardly matters; it is included so that two sections that happen to agree, or a
    single one, do not count as exact. Two sections say little about their own spread.
    """
    mcs = _series("section_mcs", section_mcs, at_least=2 if section_errors is None else 1)
    count = mcs.shape[-1]
    given = 0.0 if section_errors is None else section_errors
    errors = np.broadcast_to(_error("section_errors", given), mcs.shape)
    spread = np.std(mcs, axis=-1, ddof=1) / np.sqrt(count) if count > 1 else 0.0
    return plain(np.hypot(spread, np.sqrt(np.sum(errors**2, axis=-1)) / count))


def oven_dry_uncertainty(
    mass: ArrayLike, mass_error: ArrayLike, mc_pct: ArrayLike, mc_error_pct: ArrayLike
) -> FloatOrArray:
    """Return the uncertainty of a board's calculated oven-dry mass.

    Parameters
    ----------
    mass : float or array_like
        Mass of the board when its sections were cut, above 0. [any unit]
    mass_error : float or array_like
        Its uncertainty, 0 or more. [same unit]
    mc_pct : float or array_like
        MC assigned to the board, the mean of its sections, 0 to 500. [%]
    mc_error_pct : float or array_like
        Its uncertainty, 0 or more; `section_mean_uncertainty` gives it. [%]

    Returns
    -------
    float or ndarray
        Uncertainty of the oven-dry mass, never negative. [unit of `mass`] NaN where an input is
        NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    The law of propagation for independent inputs [3]_ applied to ``m0 = 100 m/(100 + MC)``::

        u² = (100 u_m/(100 + MC))² + (100 m u_MC/(100 + MC)²)²

    At a later weighing, an error of 1 point in the sections at 75.6 % changes the board's MC near
    8 % by 0.6 point.
    """
    dry = oven_dry_mass(mass, mc_pct)
    per_dry = 1.0 + _check.moisture_content("mc_pct", mc_pct) / 100.0
    by_mass = _error("mass_error", mass_error) / per_dry
    by_mc = dry * _error("mc_error_pct", mc_error_pct) / (100.0 * per_dry)
    return plain(np.hypot(by_mass, by_mc))


def controlling_boards(mcs: ArrayLike) -> NDArray[np.intp]:
    """Return the sample boards that control the charge: the wettest half.

    Parameters
    ----------
    mcs : array_like
        MC of each board at one weighing, along the last axis, each 0 to 500. [%]

    Returns
    -------
    ndarray of int
        Indices of the controlling boards along the last axis, wettest first; of equal boards, the
        one given first.

    Raises
    ------
    ValueError
        If there is no board, an MC lies outside its range, or one is NaN: a board without a
        reading cannot be ranked, so the caller must leave it out.

    Notes
    -----
    With an odd number of boards the larger half counts: three of five. This is common practice in
    North America; elsewhere the wettest board alone may control.
    """
    mcs = _series("mcs", mcs)
    refuse(np.isnan(mcs), "mcs must hold a reading for every board", mcs=mcs)
    return np.argsort(-mcs, axis=-1, kind="stable")[..., : _half(mcs)]


def controlling_moisture_content(mcs: ArrayLike) -> FloatOrArray:
    """Return the controlling MC of a charge: the mean MC of the wettest half of its sample boards.

    Parameters
    ----------
    mcs : array_like
        MC of each board at one weighing, along the last axis, each 0 to 500. [%] An array of
        weighings by boards gives one value for each weighing.

    Returns
    -------
    float or ndarray
        Controlling MC, never below the mean of all boards. [%] NaN where any board is NaN.

    Raises
    ------
    ValueError
        If there is no board or an MC lies outside its range.

    Notes
    -----
    Boards are ranked again at every weighing; with an odd number the larger half counts, as in
    `controlling_boards`.
    """
    mcs = _series("mcs", mcs)
    wettest = np.sort(mcs, axis=-1)[..., mcs.shape[-1] - _half(mcs) :]
    # numpy sorts NaN last, so a missing board always falls into this half.
    return plain(np.mean(wettest, axis=-1))


def drying_rate(mc_from_pct: ArrayLike, mc_to_pct: ArrayLike, hours: ArrayLike) -> FloatOrArray:
    """Return the drying rate between two weighings, per day of 24 hours.

    Parameters
    ----------
    mc_from_pct, mc_to_pct : float or array_like
        MC at the earlier and the later weighing, 0 to 500. [%]
    hours : float or array_like
        Time between them, above 0, at most 10 000. [h]

    Returns
    -------
    float or ndarray
        Points of MC lost per day; negative if the wood gained. [%/d] NaN where an input is NaN.

    Raises
    ------
    ValueError
        If an argument lies outside its range.

    Notes
    -----
    ``24 (MC1 - MC2)/hours``. This is a mean over the interval: a stop within it hides faster
    drying before or after.
    """
    lost = _check.moisture_content("mc_from_pct", mc_from_pct) - _check.moisture_content(
        "mc_to_pct", mc_to_pct
    )
    return plain(24.0 * lost / in_range("hours", hours, *HOURS_RANGE, "h", above_low=True))


def maximum_moisture_content(basic_specific_gravity: ArrayLike) -> FloatOrArray:
    """Return the MC of wood whose cell walls and cavities are full of water.

    Parameters
    ----------
    basic_specific_gravity : float or array_like
        Oven-dry mass over green volume, relative to water, 0.08 to 1.3. [-]

    Returns
    -------
    float or ndarray
        Highest possible MC. [%] NaN where the input is NaN.

    Raises
    ------
    ValueError
        If a specific gravity lies outside its range.

    Notes
    -----
    ``100 (1.54 - Gb)/(1.54 Gb)`` [4]_; see `CELL_WALL_SPECIFIC_GRAVITY` for a misprint in its
    example. A higher MC in a record indicates a wrong oven-dry mass.
    """
    gravity = in_range("basic_specific_gravity", basic_specific_gravity, 0.08, 1.3, "")
    wall = CELL_WALL_SPECIFIC_GRAVITY
    return plain(100.0 * (wall - gravity) / (wall * gravity))


def _mass(name: str, value: ArrayLike) -> Floats:
    return in_range(name, value, 0, LARGEST_MASS, "", above_low=True)


def _error(name: str, value: ArrayLike) -> Floats:
    return in_range(name, value, 0, LARGEST_MASS, "")


def _series(name: str, values: ArrayLike, at_least: int = 1) -> Floats:
    array = _check.moisture_content(name, np.atleast_1d(values))
    if array.shape[-1] < at_least:
        raise ValueError(f"{name} must hold at least {at_least}; received {array.shape[-1]}")
    return array


def _half(mcs: Floats) -> int:
    boards: int = mcs.shape[-1]
    return (boards + 1) // 2
