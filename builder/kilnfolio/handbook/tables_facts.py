"""Tables made from facts: as in their file, or with computed figures added."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from kilnfolio.handbook.facts import FactTable, read_facts
from kilnfolio.handbook.tables import (
    Cell,
    Column,
    Options,
    Table,
    cell_words,
    table_kind,
    worked,
)
from kilnfolio.handbook.tables_species import (
    SpeciesOptions,
    chosen_species,
    mean_green,
    name_cell,
)
from kilnfolio.physics import sorption, strength, water
from kilnfolio.records.model import Slug
from kilnfolio.records.quantities import Mass, Percent, Temperature, Volume
from kilnfolio.records.yaml_source import Document
from kilnfolio.review import figures
from kilnfolio.review.dossier import Working
from kilnfolio.review.figures import NBSP, NOTHING, number
from kilnfolio.review.working import Stress

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder


class FactOptions(Options):
    """Options of a table of facts as in its file."""

    name: Slug
    """The file: content/handbook/facts/NAME.yaml."""


def _facts(builder: Builder, name: str) -> FactTable:
    return read_facts(builder.setting.folder.root, name)


def _plain(value: object) -> str:
    """Return a number with the digits it was written in."""
    return number(float(str(value)), len(str(value).partition(".")[2]))


@table_kind("facts", FactOptions)
def _as_they_stand(builder: Builder, options: FactOptions, document: Document) -> Table:
    facts, place = _facts(builder, options.name), document.place("name")

    def cell(value: object) -> Cell:
        if value is None:
            return NOTHING
        return builder.line(value, place) if isinstance(value, str) else _plain(value)

    rows = [
        (
            *(cell(row.cell(column.key)) for column in facts.columns),
            builder.cite_row(*facts.origin(row)),
        )
        for row in facts.rows
    ]
    quantity_columns = (
        Column(column.words, column.unit or "", text=column.unit is None)
        for column in facts.columns
    )
    return Table(
        (*quantity_columns, Column("Source", text=True)),
        tuple(rows),
        "Figures as published; nothing here was computed.",
    )


# --- strength -------------------------------------------------------------------------------------

Property = Literal["bending", "stiffness", "crushing"]
_UNITS: dict[str, tuple[str, int]] = {
    "bending": ("MPa", 0),
    "stiffness": ("GPa", 1),
    "crushing": ("MPa", 0),
}


class StrengthOptions(Options):
    """Options of a table of one property of every wood, by MC."""

    property: Property
    """The property."""
    mc: Annotated[list[Percent], Field(min_length=1)]
    """Columns."""


@table_kind("strength", StrengthOptions)
def _strength(builder: Builder, options: StrengthOptions, _document: Document) -> Table:
    facts = _facts(builder, "strength")
    unit, decimals = _UNITS[options.property]
    keys = (f"{options.property}_dry", f"{options.property}_green", "intersection")
    rows = []
    for row in facts.rows:
        values = row.numbers(*keys)
        cells = (
            strength.strength_at(values[0], values[1], mc.value, values[2]) for mc in options.mc
        )
        rows.append(
            (
                str(row.cell("wood")),
                *(number(float(cell), decimals) for cell in cells),
                builder.cite_row(*facts.origin(row)),
            )
        )
    first = facts.rows[0].numbers(*keys)
    return Table(
        (
            Column("Wood", text=True),
            *(Column(figures.as_entered(mc), unit) for mc in options.mc),
            Column("Data", text=True),
        ),
        tuple(rows),
        "Computed from the values green and at 12 % MC: Wood Handbook 2010, eq. 5-3, from memory. "
        "Small clear pieces; not for design.",
        over="At a moisture content of",
        worked=(
            worked(
                "strength_at",
                f"{facts.rows[0].cell('wood')}, {cell_words(options.mc[-1])}",
                at_12=Stress.parse(f"{first[0]:g} {unit}"),
                green=Stress.parse(f"{first[1]:g} {unit}"),
                mc=options.mc[-1],
                intersection=first[2],
            ),
        ),
    )


# --- moisture content by use ----------------------------------------------------------------------


class UseOptions(Options):
    """Options of a table of MC by use, with the humidity that maintains it."""

    temperature: Temperature
    """Room temperature."""


@table_kind("mc-by-use", UseOptions)
def _by_use(builder: Builder, options: UseOptions, _document: Document) -> Table:
    facts, room = _facts(builder, "mc-by-use"), options.temperature

    def humidity(mc: float | None) -> str:
        if mc is None:
            return NOTHING
        return number(float(sorption.relative_humidity_for_emc(room.value, mc)), 0)

    rows = []
    for row in facts.rows:
        low, mean, high = (row.number(key) for key in ("low", "mean", "high"))
        shown = (NOTHING if value is None else number(value, 0) for value in (low, mean, high))
        rows.append(
            (
                str(row.cell("region")),
                builder.setting.regional.localized(str(row.cell("use"))),
                *shown,
                humidity(low),
                humidity(high),
                builder.cite_row(*facts.origin(row)),
            )
        )
    first = next(row.number("low") for row in facts.rows if row.number("low") is not None)
    where = builder.setting.regional.side_by_side(room)
    return Table(
        (
            Column("Region", text=True),
            Column("Use", text=True),
            Column("From", "% MC"),
            Column("Mean", "% MC"),
            Column("To", "% MC"),
            Column("Air, from", "% RH"),
            Column("to", "% RH"),
            Column("Source", text=True),
        ),
        tuple(rows),
        f"MC as published; the air is computed: the RH at {where} whose EMC it is, Wood Handbook "
        "eq. 4-5.",
        worked=(
            worked(
                "relative_humidity_for_emc",
                f"RH that holds {number(first, 0)} %",
                temperature=room,
                emc=first,
            ),
        ),
    )


# --- what timber weighs ---------------------------------------------------------------------------


class MassOptions(SpeciesOptions):
    """Options of a table of the mass of a cubic metre by MC, and the volume of a payload."""

    mc: Annotated[list[Percent], Field(min_length=1)]
    """Columns, after the green MC."""
    payload: Mass
    """Payload of the truck."""


@table_kind("timber-mass", MassOptions)
def _mass(builder: Builder, options: MassOptions, document: Document) -> Table:
    regional = builder.setting.regional
    rows: list[tuple[Cell, ...]] = []
    first: list[Working] = []
    for species in chosen_species(builder, options, document):
        green, density = mean_green(species), species.basic_density_kg_m3
        if green is None or density is None:
            continue
        masses = [
            float(water.timber_mass(1.0, density, mc))
            for mc in (green, *(mc.value for mc in options.mc))
        ]
        payload = options.payload.value / 1000.0
        first = first or [
            worked(
                "timber_mass",
                f"{species.trade_name}, green",
                volume=Volume(1.0, "1 m³"),
                basic_density=density,
                mc=green,
            )
        ]
        rows.append(
            (
                name_cell(builder, species),
                number(green, 0),
                *(number(mass, 0) for mass in masses),
                *(number(payload / mass, 1) for mass in (masses[0], masses[-1])),
            )
        )
    dry = figures.as_entered(options.mc[-1])
    payload_words = regional.side_by_side(options.payload).replace(NBSP, " ")
    return Table(
        (
            Column("Species", text=True),
            Column("Green MC", "%"),
            Column("Green", "kg/m³"),
            *(Column(figures.as_entered(mc), "kg/m³") for mc in options.mc),
            *(Column(words, "m³") for words in ("Load green", f"Load at {dry}")),
        ),
        tuple(rows),
        f"Computed for a cubic metre of green volume (424 board feet), basic density and green MC "
        f"from each species page; a load is a payload of {payload_words}.",
        worked=tuple(first),
    )
