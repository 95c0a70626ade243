"""Drying boards: one-dimensional diffusion to a surface in kiln air, many boards at once.

Each board is a half sheet of `CELLS` layers from face to mid-plane. Between layers moisture moves
by Fick's law with a diffusivity that rises with temperature (Arrhenius) and falls as the wood dries
below the fibre saturation point [1]_. At the face it leaves through a surface resistance, driven by
the surface MC up to the FSP, because free water on the surface does not evaporate faster than from
saturated wood. While the surface is wet the board therefore loses about the same each day, and the
loss decreases once the surface has dried [2]_.

Diffusivities and surface conductances are not published values. They were fitted so that boards in
the mill's own schedules stay a little below the safe daily loss and charges take as many weeks as
such charges do (common practice, no source).

References
----------
.. [1] J. F. Siau, Transport Processes in Wood, 1984, ch. 6, from memory.
.. [2] Wood Handbook, FPL-GTR-282, 2021, ch. 13.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

#: Layers from face to mid-plane.
CELLS = 6
#: Rough-sawn green thickness over nominal thickness: shrinkage and planing allowance.
ROUGH_OVER_NOMINAL = 1.10
#: Activation energy of diffusion, and of transfer at the surface [J/mol].
DIFFUSION_ENERGY, SKIN_ENERGY = 36_000.0, 40_000.0
GAS_CONSTANT = 8.314462618
#: Temperature of the kinetics below [°C].
REFERENCE_C = 45.0
#: Decrease of the diffusivity per point of MC below the FSP [1/% MC].
BOUND_WATER_SLOPE = 0.027
#: Share of the surface conductance that remains in still air.
STILL_AIR_SHARE = 0.12


@dataclass(frozen=True)
class Kinetics:
    """Drying kinetics of a wood at `REFERENCE_C`: diffusivity [m²/s], surface conductance [m/s]."""

    diffusivity: float
    skin: float


KINETICS = {
    "quercus-rubra": Kinetics(2.2e-10, 5.4e-8),
    "quercus-alba": Kinetics(1.4e-10, 3.5e-8),
    "acer-saccharum": Kinetics(3.0e-10, 7.0e-8),
    "betula-alleghaniensis": Kinetics(2.8e-10, 5.0e-8),
    "prunus-serotina": Kinetics(3.0e-10, 4.2e-8),
    "fraxinus-americana": Kinetics(3.2e-10, 6.5e-8),
    "juglans-nigra": Kinetics(3.2e-10, 7.5e-8),
    "tilia-americana": Kinetics(5.2e-10, 7.0e-8),
    "pinus-strobus": Kinetics(2.2e-9, 1.9e-7),
    "picea-mariana": Kinetics(1.9e-9, 2.0e-7),
}


@dataclass
class Boards:
    """Many individual boards of one species.

    Attributes
    ----------
    moisture : ndarray, shape (boards, CELLS)
        MC of each layer, face first. [%]
    half_thickness : ndarray
        [m]
    oven_dry_g : ndarray
        True oven-dry mass of the board. [g]
    across : ndarray
        Position along the air's path through the load, from 0 on one side to 1 on the other.
    warmer_k : ndarray
        Temperature of the air at its position relative to the kiln's mean. [K]
    """

    moisture: np.ndarray
    half_thickness: np.ndarray
    oven_dry_g: np.ndarray
    across: np.ndarray
    warmer_k: np.ndarray
    diffusivity: np.ndarray
    skin: np.ndarray
    fsp: float

    @property
    def mean_mc(self) -> np.ndarray:
        """Mean MC of each board [%]."""
        return self.moisture.mean(axis=1)

    @property
    def mass_g(self) -> np.ndarray:
        """Mass of each board [g]."""
        return self.oven_dry_g * (1.0 + self.mean_mc / 100.0)

    def shell_and_core(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the MC of the outer and the inner third of each board [%]."""
        third = CELLS // 3
        return self.moisture[:, :third].mean(axis=1), self.moisture[:, -third:].mean(axis=1)

    def dry(
        self, wood_temp_c: np.ndarray, emc_pct: np.ndarray, seconds: float, conductance: float = 1.0
    ) -> None:
        """Let the boards exchange water with the air for some time.

        Parameters
        ----------
        wood_temp_c, emc_pct : ndarray
            Temperature of each board and EMC of the air at it. [°C, %]
        seconds : float
            Duration. [s]
        conductance : float
            Surface conductance relative to that at full air speed.
        """
        warm = 1.0 / (REFERENCE_C + 273.15) - 1.0 / (wood_temp_c + 273.15)
        quick = self.diffusivity * np.exp(DIFFUSION_ENERGY / GAS_CONSTANT * warm)
        skin = self.skin * np.exp(SKIN_ENERGY / GAS_CONSTANT * warm) * conductance
        layer = self.half_thickness / CELLS
        # explicit steps are stable while D dt / dx² is below one half
        pieces = int(np.ceil(np.max(quick * seconds / layer**2) / 0.4))
        for _ in range(max(1, pieces)):
            self._exchange(quick, skin, layer, emc_pct, seconds / max(1, pieces))

    def _exchange(
        self,
        quick: np.ndarray,
        skin: np.ndarray,
        layer: np.ndarray,
        emc: np.ndarray,
        seconds: float,
    ) -> None:
        bound = np.minimum(self.moisture, self.fsp)
        local = quick[:, None] * np.exp(BOUND_WATER_SLOPE * (bound - self.fsp))
        inward = 0.5 * (local[:, 1:] + local[:, :-1]) * np.diff(self.moisture) / layer[:, None]
        out = (bound[:, 0] - emc) / (1.0 / skin + 0.5 * layer / local[:, 0])
        change = np.empty_like(self.moisture)
        change[:, 0] = inward[:, 0] - out
        change[:, 1:-1] = np.diff(inward)
        change[:, -1] = -inward[:, -1]
        self.moisture += change * (seconds / layer)[:, None]


@dataclass(frozen=True)
class Stand:
    """The timber from which boards are drawn."""

    species: str
    basic_density: float
    fsp: float
    nominal_mm: float
    mean_mc: float
    mc_sd: float
    air_dried: bool


def draw_boards(
    stand: Stand, count: int, chance: np.random.Generator, *, length_mm: float = 760.0
) -> Boards:
    """Return boards drawn from a stand, spread evenly across the air's path.

    Air-dried boards start with a dry face and a wet core; green ones are uniform.
    """
    kinetics = KINETICS[stand.species]
    rough = stand.nominal_mm * ROUGH_OVER_NOMINAL
    thickness = chance.normal(rough, 0.012 * rough, count)
    density = stand.basic_density * np.clip(chance.normal(1.0, 0.05, count), 0.87, 1.13)
    width = chance.uniform(130.0, 215.0, count)
    green = np.clip(
        chance.normal(stand.mean_mc, stand.mc_sd, count),
        stand.mean_mc - 2.2 * stand.mc_sd,
        stand.mean_mc + 2.2 * stand.mc_sd,
    )
    if stand.air_dried:
        depth = (np.arange(CELLS) + 0.5) / CELLS
        shape = 1.5 * (1.0 - (1.0 - depth) ** 2)
        moisture = 14.0 + np.maximum(green - 14.0, 1.0)[:, None] * shape / shape.mean()
    else:
        moisture = np.repeat(green[:, None], CELLS, axis=1)
    # denser boards dry more slowly: moisture has more cell wall to pass through
    slow = (stand.basic_density / density) ** 1.5
    return Boards(
        moisture=moisture,
        half_thickness=thickness / 2000.0,
        oven_dry_g=density * thickness * width * length_mm * 1e-6,
        across=chance.uniform(0.0, 1.0, count),
        warmer_k=np.zeros(count),
        diffusivity=kinetics.diffusivity * slow * np.exp(chance.normal(0.0, 0.09, count)),
        skin=kinetics.skin * np.exp(chance.normal(0.0, 0.04, count)),
        fsp=stand.fsp,
    )


def choose(boards: Boards, picked: np.ndarray) -> Boards:
    """Return some of the boards, as copies."""
    return Boards(
        **{
            name: (value[picked].copy() if isinstance(value, np.ndarray) else value)
            for name, value in vars(boards).items()
        }
    )


def together(first: Boards, second: Boards) -> Boards:
    """Return two sets of boards joined, so that one step dries both."""
    return Boards(
        **{
            name: (
                np.concatenate([value, getattr(second, name)])
                if isinstance(value, np.ndarray)
                else value
            )
            for name, value in vars(first).items()
        }
    )
