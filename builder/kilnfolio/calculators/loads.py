"""Calculators of drying rates, water, heat, and the warming of a core."""

from __future__ import annotations

from kilnfolio.calculators.fields import percent, size, temperature
from kilnfolio.calculators.form import Calculator, Field, Step, Timber
from kilnfolio.records.quantities import Density, Duration, Volume
from kilnfolio.records.sourced import Known
from kilnfolio.records.species import Species, SpecificGravity
from kilnfolio.review.working import Bare


def _basic_density(species: Species, _direction: str) -> tuple[str, Known] | None:
    density = species.basic_density
    if density:
        return f"{density.value.value:g} kg/m³", density
    known = _basic_gravity(species)
    return (f"{species.basic_density_kg_m3:g} kg/m³", known) if known else None


def _gravity(species: Species, _direction: str) -> tuple[str, Known] | None:
    known = _basic_gravity(species)
    return (f"{known.basic:g}", known) if known else None


def _basic_gravity(species: Species) -> SpecificGravity | None:
    return next((gravity for gravity in species.specific_gravity if gravity.basic), None)


_LOAD = ("volume", "basic_density", "mc_from", "mc_to")


def rates_and_loads() -> tuple[Calculator, ...]:
    """Return the calculators of rates and loads."""
    return (
        _drying_rate(),
        _water_in_load(),
        _core_time(),
    )


def _drying_rate() -> Calculator:
    return Calculator(
        "drying-rate",
        "Drying rate per day",
        "Points of MC lost between two weighings, brought to a day of 24 hours.",
        (
            percent("mc_from", "MC at the earlier weighing", "52.6 %"),
            percent("mc_to", "MC at the later weighing", "49.9 %"),
            Field("time", "Time between them", Duration, "21.5 h", ("h", "d")),
        ),
        (
            Step(
                "rate",
                "Drying rate",
                "drying_rate",
                {"mc_from": "mc_from", "mc_to": "mc_to", "time": "time"},
            ),
        ),
        "A mean over the interval: a stop within it hides a faster hour. A minus sign says that "
        "the board has taken up water.",
        (
            ("Table of safe rates", "species", "safe-rates"),
            ("Drying rate", "calculations", "drying-rate"),
        ),
    )


def _water_in_load() -> Calculator:
    return Calculator(
        "water-in-load",
        "Water in a load, and the least heat",
        "How much water a load gives up, and the heat without which it cannot.",
        (
            Field("volume", "Volume of {timber}", Volume, "42.5 m³", ("m³", "bf", "mbf"), "bf"),
            Field(
                "basic_density",
                "Basic density",
                Density,
                "500 kg/m³",
                ("kg/m³", "lb/ft³"),
                "lb/ft³",
            ),
            percent("mc_from", "MC at the start", "70 %"),
            percent("mc_to", "MC at the end", "8 %"),
            temperature("start_temperature", "{Timber} when loaded", "10 °C"),
            temperature("temperature", "Kiln", "60 °C"),
        ),
        (
            Step("water", "Water removed", "water_removed", {name: name for name in _LOAD}),
            Step(
                "heat",
                "Least heat",
                "least_heat",
                {name: name for name in (*_LOAD, "start_temperature", "temperature")},
            ),
        ),
        "Volume and density are those of green {timber}. The heat is a floor: leaks, walls, vented "
        "air, the kiln itself and the fans come on top.",
        (
            ("Table of the water in a load", "kiln-and-air", "balance"),
            ("Water and heat", "calculations", "water"),
        ),
        timber=Timber("basic_density", _basic_density),
    )


def _core_time() -> Calculator:
    return Calculator(
        "core-time",
        "Time to warm a core",
        "How long the middle of green {timber} takes to reach a temperature in hot air, for planning "
        "a heat treatment.",
        (
            size("thickness", "Thickness", "102 mm"),
            size("width", "Width", "102 mm"),
            Field("gravity", "Basic specific gravity", Bare, "0.56"),
            temperature("wet_bulb", "Wet bulb", "70 °C"),
            temperature("start", "Core at the start", "15 °C"),
            temperature("target", "Core temperature wanted", "56 °C"),
        ),
        (
            Step(
                "time",
                "Time to warm the core",
                "core_time",
                {
                    name: name
                    for name in ("thickness", "width", "gravity", "wet_bulb", "start", "target")
                },
            ),
        ),
        "A planning figure, never evidence: only probes in the cores show that they were hot, and the "
        "plant-health authority decides. Count from when the wet bulb stands there; add the time the "
        "kiln takes to come up. Slow air, solid piles and frozen {timber} take longer.",
        (
            ("Table of times by size and wet bulb", "how-long-will-it-take", "core-time"),
            ("Probes", "heat-treatment", "probes"),
        ),
        timber=Timber("gravity", _gravity),
    )
