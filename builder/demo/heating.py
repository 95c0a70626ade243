"""Core temperatures at probes, each in the middle of a thick piece.

A core follows its surface with the lag of a plane sheet's slowest mode, tau = 4 L² / (pi² alpha)
(Crank 1975, ch. 4, with heat for matter). While the surface is wet it stays near the wet bulb; as
it dries it rises towards the dry bulb. A probe near a leak is in air mixed with outside air.
"""

from __future__ import annotations

import numpy as np

#: Thermal diffusivity of moist softwood across the grain [m²/s].
THERMAL_DIFFUSIVITY = 1.5e-7
#: Factor on the lag of a core, because heat must also pass through the air film at the face.
FILM_FACTOR = 1.6


def time_constant_minutes(thickness_mm: float) -> float:
    """Return the time constant of a core behind its surface [min]."""
    half = thickness_mm / 2000.0
    return FILM_FACTOR * 4.0 * half**2 / (np.pi**2 * THERMAL_DIFFUSIVITY) / 60.0


def core_temperatures(
    dry_c: np.ndarray,
    wet_c: np.ndarray,
    wood_c: np.ndarray,
    mean_mc: np.ndarray,
    outside_c: np.ndarray,
    thickness_mm: float,
    leak_share: float,
    minutes: float,
) -> np.ndarray:
    """Return the core temperature at each row.

    Parameters
    ----------
    dry_c, wet_c, wood_c, outside_c : ndarray
        Kiln bulbs, mean wood and outside temperature at each row. [°C]
    mean_mc : ndarray
        Mean MC of the load. [%]
    thickness_mm : float
        Thickness of the piece.
    leak_share : float
        Share of outside air at the piece.
    minutes : float
        Time between rows.
    """
    warm = np.clip((30.0 - mean_mc) / 30.0, 0.0, 1.0) * 0.7 + 0.05
    surface = wet_c + warm * (dry_c - wet_c)
    # a load that is still cold keeps its own air cool
    surface = np.minimum(surface, 0.5 * (surface + wood_c) + 3.0)
    driven = surface - leak_share * (surface - outside_c)
    share = 1.0 - np.exp(-minutes / time_constant_minutes(thickness_mm))
    core = np.empty(len(driven))
    core[0] = wood_c[0]
    for row in range(1, len(driven)):
        core[row] = core[row - 1] + share * (driven[row] - core[row - 1])
    return core
