"""How a board dries: moisture profile, gradient index, drying time and core heating.

Collects the public names of five modules:

* `drying_board`: `dry`, a board that dries by diffusion in changing air;
* `drying_single`: `SingleBoard`, the same for one board, many times faster;
* `drying_gradient`: `gradient_index`, how much shrinkage of the shell the core prevents;
* `drying_formula`: the published red-oak drying-time formula and its effect of temperature;
* `drying_core`: `core_time`, how long the core takes to warm through.

All of these are estimates, never evidence: sample boards and core probes decide.
"""

from kilnfolio.physics.drying_board import Air, Board, Drying, advance, dry
from kilnfolio.physics.drying_core import HeatingAir, Timber, core_time, thermal_diffusivity
from kilnfolio.physics.drying_formula import red_oak_days, temperature_factor
from kilnfolio.physics.drying_gradient import gradient_index
from kilnfolio.physics.drying_single import SingleBoard

__all__ = [
    "Air",
    "Board",
    "Drying",
    "HeatingAir",
    "SingleBoard",
    "Timber",
    "advance",
    "core_time",
    "dry",
    "gradient_index",
    "red_oak_days",
    "temperature_factor",
    "thermal_diffusivity",
]
