"""Calculators of shrinkage and movement."""

from __future__ import annotations

from kilnfolio.calculators.fields import EMC_HOLDS, percent, size, temperature
from kilnfolio.calculators.form import Calculator, Choice, Field, Range, Step, Timber, Trusted
from kilnfolio.physics import shrinkage
from kilnfolio.records.sourced import Known
from kilnfolio.records.species import Species
from kilnfolio.review.working import Bare

_DIRECTION = Choice(
    "direction",
    "Direction",
    (
        ("tangential", "tangential: across a {flat-sawn} board"),
        ("radial", "radial: across a quarter-sawn board"),
    ),
)


def _coefficient(species: Species, direction: str) -> tuple[str, Known] | None:
    known = species.movement
    value = known and getattr(known, direction)
    return (f"{value:g}", known) if known and value else None


def _total_shrinkage(species: Species, direction: str) -> tuple[str, Known] | None:
    known = species.shrinkage
    total = known and getattr(known, direction)
    return (f"{total.value:g} %", known) if known and total else None


_LINE = Range(*shrinkage.COEFFICIENT_MC_RANGE_PCT)


def sizes() -> tuple[Calculator, ...]:
    """Return the calculators of sizes that change with MC."""
    return (
        _shrinkage(),
        _movement(),
    )


def _shrinkage() -> Calculator:
    return Calculator(
        "shrinkage",
        "Shrinkage from green",
        "How much narrower or thinner a green size becomes at an MC.",
        (
            size("size", "Green size", "106 mm"),
            percent("total", "Shrinkage, green to oven-dry", "8 %"),
            percent("mc", "MC it is dried to", "8 %"),
            percent("fsp", "Fibre saturation point", f"{shrinkage.FIBRE_SATURATION_PCT:g} %"),
        ),
        (
            Step(
                "shrunk",
                "Shrinkage so far",
                "shrinkage_at",
                {"total": "total", "mc": "mc", "fsp": "fsp"},
            ),
            Step("left", "Size then", "shrunk_size", {"size": "size", "shrinkage": "shrunk"}),
        ),
        "A straight line below the fibre saturation point. Thick {timber} starts to shrink before "
        "its mean MC is that low, and wood that collapses shrinks more.",
        (
            ("Table of shrinkage by species", "species", "shrinkage"),
            ("Shrinkage, and why it is never even", "wood-and-water", "shrinkage"),
        ),
        timber=Timber("total", _total_shrinkage, _DIRECTION),
    )


def _movement() -> Calculator:
    return Calculator(
        "movement",
        "Movement between two climates",
        "How a dry board grows or shrinks when it is moved from one room to another and stays.",
        (
            size("size", "Size now", "300 mm"),
            Field("coefficient", "Change per point of MC", Bare, "0.003"),
            temperature("temperature_now", "Temperature now", "20 °C"),
            percent("humidity_now", "RH now", "45 %"),
            temperature("temperature_then", "Temperature later", "20 °C"),
            percent("humidity_then", "RH later", "65 %"),
        ),
        (
            Step(
                "emc_now",
                "EMC now",
                "equilibrium_moisture_content",
                {"temperature": "temperature_now", "relative_humidity": "humidity_now"},
            ),
            Step(
                "emc_then",
                "EMC later",
                "equilibrium_moisture_content",
                {"temperature": "temperature_then", "relative_humidity": "humidity_then"},
            ),
            Step(
                "change",
                "Change of size (minus: it shrinks)",
                "dimension_change",
                {
                    "size": "size",
                    "coefficient": "coefficient",
                    "mc_from": "emc_now",
                    "mc_to": "emc_then",
                },
            ),
        ),
        f"Coefficients hold from {_LINE.low:g} to {_LINE.high:g} % MC. The board is taken to be at "
        "rest with the first climate now, and needs weeks or months to come to rest with the "
        "second. "
        f"{EMC_HOLDS}",
        (
            ("Table of movement by species", "wood-and-water", "movement"),
            ("EMC of rooms and sheds", "storage-and-shipping", ""),
        ),
        timber=Timber("coefficient", _coefficient, _DIRECTION),
        trusted=tuple(
            Trusted(
                name,
                _LINE,
                "It lies beyond the MC the coefficients are offered for: take "
                "the change of size as a rough guide.",
            )
            for name in ("emc_now", "emc_then")
        ),
    )
