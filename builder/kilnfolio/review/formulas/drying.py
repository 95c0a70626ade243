"""How long drying takes: the red-oak formula, and the warming of a core."""

from __future__ import annotations

from collections.abc import Mapping

from kilnfolio.physics import drying_core, drying_formula
from kilnfolio.records.quantities import Duration, Length, Percent, Temperature
from kilnfolio.review.figures import number
from kilnfolio.review.working import Argument, Bare, Formula, Given, bare, term


def _red_oak(
    thickness: float, temperature: float, mc_from: float, mc_to: float, emc: float
) -> float:
    days = drying_formula.red_oak_days(thickness, temperature, mc_from, mc_to, emc)
    return 24.0 * float(days)


def _red_oak_put_in(given: Mapping[str, Given]) -> str:
    values = {name: float(bare(value)) for name, value in given.items()}
    tau = float(drying_formula.red_oak_tau(values["thickness"], values["temperature"]))
    return (
        f"−{number(tau, 2)} days × ln[({term(given['mc_to'])} − {term(given['emc'])}) ÷ "
        f"({term(given['mc_from'])} − {term(given['emc'])})], "
        f"{term(given['thickness'])} at {term(given['temperature'])}"
    )


def _core(
    thickness: float, width: float, gravity: float, wet_bulb: float, start: float, target: float
) -> float:
    wood = drying_core.Timber(gravity, initial_c=start)
    minutes = drying_core.core_time(
        (thickness, width), wood, drying_core.HeatingAir(wet_bulb), target
    )
    return minutes / 60.0


#: In the order the guide lists them.
DRYING = (
    Formula(
        "red_oak_time",
        _red_oak,
        (
            Argument("thickness", Length),
            Argument("temperature", Temperature),
            Argument("mc_from", Percent),
            Argument("mc_to", Percent),
            Argument("emc", Percent),
        ),
        "t = −k ln[(MC₂ − EMC) ÷ (MC₁ − EMC)], k = L^1.52 ÷ (0.0575 + 0.00142 p) days",
        _red_oak_put_in,
        "forest-products-journal, vol. 30 no. 1 (Simpson and Tschernitz 1980); constants from "
        "memory",
        Duration,
        1,
        "d",
    ),
    Formula(
        "core_time",
        _core,
        (
            Argument("thickness", Length),
            Argument("width", Length),
            Argument("gravity", Bare),
            Argument("wet_bulb", Temperature),
            Argument("start", Temperature, default="15 °C"),
            Argument("target", Temperature, default="56 °C"),
        ),
        "(T − T_wb) ÷ (T₀ − T_wb) = S(αt/l²) S(αt/w²), S the series of a slab in its middle",
        "{thickness} by {width}, specific gravity {gravity}, from {start} to {target}, faces at "
        "the wet bulb of {wet_bulb}",
        "wood-handbook-2010, ch. 4 for heat capacity; MacLean 1941 for conductivity, from memory",
        Duration,
        0,
        "min",
    ),
)
