"""The data of the page's script: constants, formulas, units and forms, as plain values."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import asdict
from typing import Any

from kilnfolio.calculators.accepted import ALL_FORMULAS, RANGES
from kilnfolio.calculators.catalogue import calculators
from kilnfolio.calculators.form import Calculator, Field, Range, Timber
from kilnfolio.calculators.worked import METRIC_WITHIN
from kilnfolio.physics import air, drying_core, meters, shrinkage, sorption, survey, water
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.quantities import Mass, Percent, Quantity
from kilnfolio.records.sourced import Known, publication_of
from kilnfolio.records.species import Species
from kilnfolio.rendering.regional import regional_format
from kilnfolio.rendering.templating import STATUS_WORDS
from kilnfolio.review import figures
from kilnfolio.review.working import Formula, evaluate


def constants() -> dict[str, Any]:
    """Return the constants of `physics` that the script's functions need."""
    return {
        "zero_celsius_k": air.ZERO_CELSIUS_K,
        "triple_point_c": air.TRIPLE_POINT_C,
        "saturation_over_ice": air.SATURATION_OVER_ICE,
        "saturation_over_water": air.SATURATION_OVER_WATER,
        "lowest_dew_point_c": air.SATURATION_RANGE_C[0],
        "wet_bulb_floor_c": air.WET_BULB_FLOOR_C,
        "vapour_rounding_pa": air.VAPOUR_ROUNDING_PA,
        "psychrometer_coefficient": air.VENTILATED_COEFFICIENT,
        "standard_pressure_pa": air.STANDARD_PRESSURE_PA,
        "standard_atmosphere": air.STANDARD_ATMOSPHERE,
        "water_heat": air.WATER_HEAT,
        "ice_heat": air.ICE_HEAT,
        "vapour_specific_heat": air.VAPOUR_SPECIFIC_HEAT,
        "hydrate_coefficients": sorption.HYDRATE_COEFFICIENTS,
        "hydrate_scale": sorption.HYDRATE_SCALE,
        "fibre_saturation_pct": shrinkage.FIBRE_SATURATION_PCT,
        "dry_wood_heat_capacity": water.DRY_WOOD_HEAT_CAPACITY,
        "heat_of_fusion": water.HEAT_OF_FUSION,
        "sorption_share": water.SORPTION_SHARE,
        "kj_per_kwh": water.KJ_PER_KWH,
        "conductivity": drying_core.CONDUCTIVITY,
        "btu_in": drying_core.BTU_IN,
        "water_heat_capacity": drying_core.WATER_HEAT_CAPACITY,
        "green_mc_pct": drying_core.GREEN_MC_PCT,
        "slab_terms": drying_core.SERIES_TERMS,
        "least_fourier": drying_core.LEAST_FOURIER,
        "longest_heating_min": drying_core.LONGEST_MIN,
        "points_per_kelvin": meters.POINTS_PER_KELVIN,
        "most_readings": survey.MOST_READINGS,
        "share_rounding": survey.SHARE_ROUNDING,
    }


def script_data(folder: MillFolder) -> dict[str, Any]:
    """Return the data of the page's script, as plain values."""
    made = calculators(folder.mill.record)
    used = {step.formula for calculator in made for step in calculator.steps}
    results = {ALL_FORMULAS[name].of for name in used}
    dimensions = (
        {asked.of for calculator in made for asked in calculator.fields}
        | {of for of in results if of}
        | set(figures.METRIC)
    )
    return {
        "constants": constants(),
        "formulas": {name: formula_data(ALL_FORMULAS[name]) for name in sorted(used)},
        "dimensions": {
            of.__name__: dimension_data(of) for of in sorted(dimensions, key=lambda of: of.__name__)
        },
        "mass_decimals": mass_decimals(),
        "customary_first": regional_format(folder.mill.record).customary_first,
        "metric_within": [of.__name__ for of in METRIC_WITHIN],
        "calculators": [_calculator(folder, one) for one in made],
    }


def formula_data(formula: Formula) -> dict[str, Any]:
    """Return what the script needs to know of a formula."""
    return {
        "symbols": formula.symbols,
        "source": formula.source,
        "decimals": formula.decimals,
        "put_in": formula.put_in if isinstance(formula.put_in, str) else None,
        "unit": formula.unit,
        "of": formula.of.__name__ if formula.of else None,
        "arguments": [argument.name for argument in formula.arguments],
        "defaults": {
            argument.name: argument.default for argument in formula.arguments if argument.default
        },
        "ranges": {name: asdict(limits) for name, limits in RANGES.get(formula.name, {}).items()},
    }


def dimension_data(of: type[Quantity]) -> dict[str, Any]:
    """Return the units of a dimension, with their conversions as data."""
    return {
        "unit": of.unit,
        "example": of.example,
        "units": {name: to_house(convert) for name, convert in of.units.items()},
        "metric": [from_house(scale) for scale in figures.METRIC.get(of, ())],
        "customary": [from_house(scale) for scale in figures.CUSTOMARY.get(of, ())],
    }


#: A point far from zero, to find the slope of a conversion without cancellation.
_FAR = 1000.0


def to_house(convert: Callable[[float], float]) -> dict[str, float]:
    """Return a unit's conversion to the house unit as data: ``(x - zero) * times / per``."""
    nothing = convert(0.0)
    if nothing == 0.0:
        return {"zero": 0.0, "times": convert(1.0), "per": 1.0}
    per = round(_FAR / (convert(_FAR) - nothing), 12)
    return {"zero": round(-nothing * per, 12), "times": 1.0, "per": per}


def from_house(scale: figures.Scale) -> dict[str, Any]:
    """Return a scale's conversion from the house unit as data: ``x * times / per + plus``."""
    plus = scale.of(0.0)
    slope = round((scale.of(_FAR) - plus) / _FAR, 12) if plus else 1.0
    return {
        "unit": scale.unit,
        "from": scale.from_value,
        "plus": plus,
        "times": slope,
        "per": 1.0 if plus else _size_of(scale),
    }


def _size_of(scale: figures.Scale) -> float:
    """Return the house units in one of a unit, exact to the last bit: `scale.of` gives 1 for it."""
    near = 1.0 / scale.of(1.0)
    sizes = (near, math.nextafter(near, 0.0), math.nextafter(near, math.inf))
    return next((size for size in sizes if scale.of(size) == 1.0), near)


def mass_decimals() -> dict[str, int]:
    """Return the decimals of a mass in each unit, as printed by the formulas."""
    found = {}
    for unit in ("g", "kg", "lb", "oz"):
        values = {"oven_dry_mass": Mass.parse(f"1 {unit}"), "mc": Percent.parse("0 %")}
        printed = evaluate(ALL_FORMULAS["mass_at"], "", values).quantity.entered.split()[0]
        found[unit] = len(printed.partition(".")[2])
    return found


def _calculator(folder: MillFolder, calculator: Calculator) -> dict[str, Any]:
    return {
        "slug": calculator.slug,
        "choices": [choice.name for choice in calculator.all_choices],
        "fields": [
            {
                "name": asked.name,
                "label": asked.label,
                "of": asked.of.__name__,
                "many": asked.many,
                "optional": asked.optional,
                "when": asked.when,
                "us": asked.us,
                "unit": asked.units[0] if asked.units else "",
                "own": asdict(asked.range) if asked.range else None,
                "range": _plain_range(_range(calculator, asked)),
            }
            for asked in calculator.fields
        ],
        "steps": [asdict(step) for step in calculator.steps],
        "trusted": [asdict(trusted) for trusted in calculator.trusted],
        "timber": calculator.timber
        and {
            "fills": calculator.timber.fills,
            "by": calculator.timber.direction.name if calculator.timber.direction else "",
            "species": {one.id: found for one, found in timbers_of(folder, calculator.timber)},
        },
    }


def _plain_range(limits: Range | None) -> dict[str, Any] | None:
    return asdict(limits) if limits else None


def _range(calculator: Calculator, asked: Field) -> Range | None:
    """Return the range of a field that all formulas using it accept."""
    limits = asked.range
    for step in calculator.steps:
        for argument, source in step.arguments.items():
            more = RANGES.get(step.formula, {}).get(argument)
            if more and asked.name in (source if isinstance(source, tuple) else (source,)):
                limits = limits.and_(more) if limits else more
    return limits


def timbers_of(folder: MillFolder, timber: Timber) -> Iterator[tuple[Species, dict[str, Any]]]:
    """Yield the species with a figure on record, by name, with their figures by direction."""
    directions = [value for value, _ in timber.direction.options] if timber.direction else [""]
    records = (located.record for located in folder.species.values())
    for species in sorted(records, key=lambda one: (one.trade_name.casefold(), one.id)):
        found = {direction: timber.figure(species, direction) for direction in directions}
        if any(found.values()):
            yield (
                species,
                {
                    direction: _figure(folder, *figure)
                    for direction, figure in found.items()
                    if figure
                },
            )


def _figure(folder: MillFolder, words: str, known: Known) -> dict[str, str]:
    short, rest = source_words(folder, known.source)
    return {
        "words": words,
        "source": ", ".join(filter(None, (short, rest))),
        "status": "" if known.status == "read" else STATUS_WORDS[known.status],
    }


def source_words(folder: MillFolder, citation: str) -> tuple[str, str]:
    """Return a source's short title, or the citation's own words, and the place in it."""
    identity, _, rest = citation.partition(",")
    publication = folder.sources.record.publications.get(publication_of(citation))
    return (publication.short, rest.strip()) if publication else (identity.strip(), rest.strip())
