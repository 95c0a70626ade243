"""Published values as a page prints them: in both unit systems, with source and status."""

from __future__ import annotations

from collections.abc import Iterator

from kilnfolio.records.model import Signature
from kilnfolio.records.quantities import Density, Quantity
from kilnfolio.records.sourced import Known, Status
from kilnfolio.records.species import Species
from kilnfolio.review import figures
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import Citation, SiteContext


@dataclass(frozen=True)
class Fact:
    """One value with its source."""

    label: str
    value: str
    """In the units printed first."""
    other: str
    """In the other unit system; empty if both use the same unit."""
    cite: Citation
    status: Status
    signed_off: Signature | None


def fact(context: SiteContext, label: str, value: Quantity | str, known: Known) -> Fact:
    """Return a value as a page prints it, with the source of the group it belongs to."""
    first, second = context.regional.both(value) if isinstance(value, Quantity) else (value, "")
    return Fact(label, first, second, context.cite(known.source), known.status, known.signed_off)


def wood_facts(context: SiteContext, species: Species) -> Iterator[tuple[str, list[Fact]]]:
    """Yield a species' values by heading: density, green MC, shrinkage and movement, drying."""
    yield "Density", [*_gravities(context, species)]
    yield "Moisture content when green", [*_green(context, species)]
    yield "Shrinkage and movement", [*_shrinkage(context, species)]
    yield (
        "Durability",
        [fact(context, "Natural durability", known.words, known) for known in species.durability],
    )


def not_on_record(species: Species) -> list[str]:
    """Return the values a drying supervisor would look for on a species' page that are missing."""
    held = {
        "density": species.basic_density_kg_m3,
        "green moisture content": species.green_mc,
        "shrinkage to oven-dry": species.shrinkage,
        "movement in use": species.movement,
        "safe daily loss": species.safe_daily_loss,
        "ceiling while wet": species.ceiling_while_wet,
        "natural durability": species.durability,
    }
    return [words for words, value in held.items() if not value]


def _gravities(context: SiteContext, species: Species) -> Iterator[Fact]:
    for known in species.specific_gravity:
        if known.basic is not None:
            yield fact(
                context, "Specific gravity, green volume", figures.number(known.basic, 2), known
            )
        if known.at_12 is not None:
            yield fact(
                context,
                "Specific gravity, volume at 12 % MC",
                figures.number(known.at_12, 2),
                known,
            )
    density, gravity = species.basic_density, species.basic_specific_gravity
    if density:
        yield fact(context, "Basic density", density.value, density)
    elif gravity is not None:
        known = next(one for one in species.specific_gravity if one.basic is not None)
        derived = Density(1000.0 * gravity, f"{1000.0 * gravity:.0f} kg/m³")
        label = f"Basic density: 1000 kg/m³ × {figures.number(gravity, 2)}"
        yield fact(context, label, derived, known)
    for other in species.densities:
        label = "Basic density, another source" if other.basis == "basic" else "Density at 12 % MC"
        if other.high is None:
            yield fact(context, label, other.low, other)
        else:
            yield fact(context, f"{label}, from", other.low, other)
            yield fact(context, f"{label}, to", other.high, other)


def _green(context: SiteContext, species: Species) -> Iterator[Fact]:
    for known in species.green_mc:
        for label, value in (
            ("Heartwood", known.heartwood),
            ("Sapwood", known.sapwood),
            ("Whole stem", known.whole_stem),
        ):
            if value is not None:
                yield fact(context, label, value, known)
    if species.fsp:
        yield fact(context, "Fibre saturation point", species.fsp.value, species.fsp)


def _shrinkage(context: SiteContext, species: Species) -> Iterator[Fact]:
    for known in (species.shrinkage, *species.shrinkage_elsewhere):
        if known is None:
            continue
        for label, value in (
            ("Radial", known.radial),
            ("Tangential", known.tangential),
            ("Volumetric", known.volumetric),
        ):
            if value is not None:
                yield fact(context, f"{label} shrinkage, green to oven-dry", value, known)
    for part in species.shrinkage_to_12:
        for label, value in (("Radial", part.radial), ("Tangential", part.tangential)):
            if value is not None:
                yield fact(context, f"{label} shrinkage, {part.start} to 12 % MC", value, part)
    move = species.movement
    if move:
        for label, coefficient in (("Radial", move.radial), ("Tangential", move.tangential)):
            if coefficient is not None:
                yield fact(
                    context,
                    f"{label} movement in use",
                    figures.measure(coefficient * 100.0, "% per point of MC", 3),
                    move,
                )


def drying_facts(context: SiteContext, species: Species) -> list[Fact]:
    """Return facts on drying a wood: safe daily loss, ceilings, codes, notes, meter correction."""
    found = [
        fact(
            context,
            f"Safe daily loss, {context.regional.side_by_side(known.thickness)}",
            known.rate,
            known,
        )
        for known in species.safe_daily_loss
    ]
    for ceiling in species.ceilings:
        label = f"Hottest dry bulb while above {figures.as_entered(ceiling.while_above)} MC"
        size = context.regional.side_by_side(ceiling.thickness) if ceiling.thickness else ""
        of = ", ".join(part for part in (label, size, ceiling.sort or "") if part)
        found.append(fact(context, of, ceiling.dry_bulb, ceiling))
    found += [
        fact(context, f"Schedule code printed for {known.thickness}", known.code, known)
        for known in species.kiln_codes
    ]
    found += [
        fact(context, "What a source says", context.regional.localized(known.note), known)
        for known in species.drying_notes
    ]
    meter = species.meter_correction
    if meter:
        sign = figures.MINUS if meter.offset < 0 else "+"
        found.append(
            fact(
                context,
                f"Resistance meter set to {meter.base_species}",
                f"{figures.number(meter.slope, 2)} × reading {sign} "
                f"{figures.number(abs(meter.offset), 1)} points",
                meter,
            )
        )
    return found
