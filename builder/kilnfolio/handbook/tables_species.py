"""Tables with a row for each species."""

from __future__ import annotations

from collections.abc import Callable
from string import ascii_lowercase
from typing import TYPE_CHECKING, Annotated, Literal

from markupsafe import Markup
from pydantic import Field

from kilnfolio.handbook.setting import COMMON_PRACTICE, status_words, unknown
from kilnfolio.handbook.tables import (
    Cell,
    Column,
    Options,
    Table,
    paired_columns,
    table_kind,
    worked,
)
from kilnfolio.physics import shrinkage, sums, water
from kilnfolio.records.model import Slug
from kilnfolio.records.quantities import (
    GRAMS_PER_POUND,
    Density,
    Length,
    Percent,
    Volume,
)
from kilnfolio.records.sourced import publication_of
from kilnfolio.records.species import Species
from kilnfolio.records.yaml_source import Document
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review import figures
from kilnfolio.review.dossier import Working
from kilnfolio.review.figures import NBSP, NOTHING, number

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder


class SpeciesOptions(Options):
    """Options of a table with a row for each species."""

    species: list[Slug] = Field(default_factory=list)
    """Species ids; by default all."""


def chosen_species(builder: Builder, options: SpeciesOptions, document: Document) -> list[Species]:
    """Return the species of a table: hardwoods first, then by name."""
    known = builder.setting.folder.species
    for place, identity in enumerate(options.species):
        if identity not in known:
            builder.problem(unknown(document.place("species", place), "species", identity, known))
    wanted = (
        located.record
        for identity, located in known.items()
        if identity in options.species or not options.species
    )
    return sorted(wanted, key=lambda species: (species.kind, species.trade_name.casefold()))


def name_cell(builder: Builder, species: Species) -> Markup:
    """Return a species' trade name, linked to its page."""
    address = builder.setting.record("species", species.id, builder.chapter.slug)
    return builder.setting.link(species.trade_name, address)


def _percent(quantity: Percent | None, decimals: int = 1) -> str:
    return NOTHING if quantity is None else number(quantity.value, decimals)


def _letter(place: int) -> str:
    """Return a letter for each of the first 26 sources and two for later ones: z, aa, ab."""
    tens, ones = divmod(place, len(ascii_lowercase))
    return (ascii_lowercase[tens - 1] if tens else "") + ascii_lowercase[ones]


class Sources:
    """The sources of a table's rows: a letter in each row, explained below the table."""

    def __init__(self, builder: Builder):
        self._builder = builder
        self._letters: dict[str, str] = {}

    def cell(self, citation: str, status: str, species: Species) -> Markup:
        """Return a row's letter, the source's name for the species if it differs, and its status.

        A citation names a publication, a place in it and, after another comma, a row.
        """
        if COMMON_PRACTICE in (publication_of(citation), status):
            return status_words(COMMON_PRACTICE)
        identity, place, row = ([part.strip() for part in citation.split(",", 2)] + ["", ""])[:3]
        where = ", ".join(filter(None, (identity, place)))
        if row.casefold() == species.trade_name.casefold():
            row = ""
        letter = self._letters.setdefault(where, _letter(len(self._letters)))
        known = Markup(" {}").format(status_words(status)) if status != "read" else ""
        return Markup("{}{}{}").format(letter, f", {row}" if row else "", known)

    @property
    def key(self) -> Markup:
        """The letters with their sources."""
        each = (
            Markup("{}: {}").format(letter, self._builder.cite_row(where, "read"))
            for where, letter in self._letters.items()
        )
        return Markup("Sources, by the letter in the last column: {}.").format(
            Markup("; ").join(each)
        )


@table_kind("safe-rates", SpeciesOptions)
def _safe_rates(builder: Builder, options: SpeciesOptions, document: Document) -> Table:
    sources = Sources(builder)
    rows = [
        (
            name_cell(builder, species),
            builder.setting.regional.side_by_side(loss.thickness),
            number(loss.rate.value),
            sources.cell(loss.source, loss.status, species),
        )
        for species in chosen_species(builder, options, document)
        for loss in species.safe_daily_loss
    ]
    return Table(
        (
            Column("Species", text=True),
            Column("Thickness", text=True),
            Column("Safe loss", "points/day"),
            Column("Source", text=True),
        ),
        tuple(rows),
        Markup("{} For wet wood only; slower is always allowed.").format(sources.key),
    )


@table_kind("shrinkage-summary", SpeciesOptions)
def _shrinkage(builder: Builder, options: SpeciesOptions, document: Document) -> Table:
    sources = Sources(builder)
    rows, compared = [], []
    for species in chosen_species(builder, options, document):
        known = species.shrinkage
        if known is None:
            continue
        ratio = NOTHING
        if known.radial and known.tangential:
            compared.append((species, known))
            ratio = number(sums.ratio(known.tangential.value, known.radial.value))
        rows.append(
            (
                name_cell(builder, species),
                _percent(known.radial),
                _percent(known.tangential),
                _percent(known.volumetric),
                ratio,
                sources.cell(known.source, known.status, species),
            )
        )
    return Table(
        (
            Column("Species", text=True),
            Column("Radial", "%"),
            Column("Tangential", "%"),
            Column("Volume", "%"),
            Column("T ÷ R"),
            Column("Source", text=True),
        ),
        tuple(rows),
        Markup("Green to oven-dry, of the green size. {}").format(sources.key),
        worked=tuple(
            worked("ratio", f"T ÷ R, {species.trade_name}", a=known.tangential, b=known.radial)
            for species, known in compared[:1]
        ),
    )


@table_kind("green-mc", SpeciesOptions)
def _green(builder: Builder, options: SpeciesOptions, document: Document) -> Table:
    sources = Sources(builder)
    rows = [
        (
            name_cell(builder, species),
            _percent(known.heartwood, 0),
            _percent(known.sapwood, 0),
            _percent(known.whole_stem, 0),
            sources.cell(known.source, known.status, species),
        )
        for species in chosen_species(builder, options, document)
        for known in species.green_mc
    ]
    return Table(
        (
            Column("Species", text=True),
            Column("Heartwood", "% MC"),
            Column("Sapwood", "% MC"),
            Column("Whole stem", "% MC"),
            Column("Source", text=True),
        ),
        tuple(rows),
        sources.key,
    )


class MovementOptions(SpeciesOptions):
    """Options of a table of the change in width between two MCs."""

    from_mc: Percent
    """MC as dried."""
    to_mc: Percent
    """MC in use."""
    width: Length
    """Width at the first MC."""


@table_kind("movement", MovementOptions)
def _movement(builder: Builder, options: MovementOptions, document: Document) -> Table:
    regional, sources = builder.setting.regional, Sources(builder)
    rows: list[tuple[Cell, ...]] = []
    first: list[Working] = []
    for species in chosen_species(builder, options, document):
        known = species.movement
        if known is None or not (known.radial or known.tangential):
            continue
        cells: list[Cell] = []
        for coefficient in (known.radial, known.tangential):
            if coefficient is None:
                cells += [NOTHING, NOTHING]
                continue
            given = {
                "size": options.width,
                "coefficient": coefficient,
                "mc_from": options.from_mc,
                "mc_to": options.to_mc,
            }
            first = first or [worked("dimension_change", species.trade_name, **given)]
            change = shrinkage.dimension_change(
                options.width.value, coefficient, options.from_mc.value, options.to_mc.value
            )
            cells += regional.ordered(
                number(change, 2), number(figures.CUSTOMARY[Length][0].of(change), 3)
            )
        source = sources.cell(known.source, known.status, species)
        rows.append((name_cell(builder, species), *cells, source))
    said = (
        f"A width of {regional.side_by_side(options.width)} taken from "
        f"{figures.as_entered(options.from_mc)} to {figures.as_entered(options.to_mc)} MC. "
        "Computed: Wood Handbook 2010, eq. 13-2, with the coefficients of the source named."
    )
    return Table(
        (
            Column("Species", text=True),
            *paired_columns(regional, "Quarter-sawn", "mm", "in"),
            *paired_columns(regional, regional.term("Flat-sawn"), "mm", "in"),
            Column("Source", text=True),
        ),
        tuple(rows),
        Markup("{} {}").format(said, sources.key),
        worked=tuple(first),
    )


@table_kind("water-in-load", SpeciesOptions)
def _water(builder: Builder, options: SpeciesOptions, document: Document) -> Table:
    """Return the water removed from green to 8 %, by species with known density and green MC."""
    regional, target, start, kiln = builder.setting.regional, Percent(8.0, "8 %"), 20.0, 60.0
    rows: list[tuple[Cell, ...]] = []
    first: list[Working] = []
    for species in chosen_species(builder, options, document):
        green = mean_green(species)
        density = species.basic_density_kg_m3
        if green is None or density is None:
            continue
        load = {
            "volume": Volume(1.0, "1 m³"),
            "basic_density": density,
            "mc_from": green,
            "mc_to": target,
        }
        first = first or [
            worked("water_removed", f"{species.trade_name}: water", **load),
            worked("least_heat", f"{species.trade_name}: least heat", **load),
        ]
        mass = water.water_removed(1.0, density, green, target.value)
        heat = water.least_heat(1.0, density, green, target.value, start, kiln, species.fsp_pct)
        rows.append(
            (
                name_cell(builder, species),
                *regional.ordered(
                    number(density, 0), figures.customary(density, Density).split(NBSP)[0]
                ),
                number(green, 0),
                *regional.ordered(
                    number(mass, 0), number(mass * 1000.0 / GRAMS_PER_POUND * _MBF_M3, 0)
                ),
                number(heat, 0),
            )
        )
    return Table(
        (
            Column("Species", text=True),
            *paired_columns(regional, "Basic density", "kg/m³", "lb/ft³"),
            Column("Green MC", "%"),
            *paired_columns(regional, "Water to 8 %", "kg/m³", "lb per 1000 board feet"),
            Column("Least heat", "kWh/m³"),
        ),
        tuple(rows),
        f"Computed for green {regional.term('timber')}, 1000 board feet being 2.36 m³, from "
        "the mean of heartwood and sapwood where a source tells them apart, to 8 % MC. Least heat: "
        f"from {regional.temperature(start, 0)} to {regional.temperature(kiln, 0)}, Wood Handbook "
        "2010, eqs. 4-16 and 4-17; "
        "heat of sorption from memory. Values and sources on each species page.",
        worked=tuple(first),
    )


def mean_green(species: Species) -> float | None:
    """Return the mean green MC of the whole stem [% MC], or None if no source gives it."""
    for known in species.green_mc:
        parts = [part.value for part in (known.heartwood, known.sapwood) if part is not None]
        if len(parts) == 2:
            return float(sums.mean(parts))
        if known.whole_stem is not None:
            return known.whole_stem.value
    return None


#: A thousand board feet. [m³]
_MBF_M3 = Volume.units["mbf"](1.0)
#: Columns of the species summary: heading, whether it holds words, and the cell.
_SPECIES_COLUMNS: dict[str, tuple[Column, Callable[[RegionalFormat, Species], Cell]]] = {
    "scientific_name": (
        Column("Scientific name", text=True),
        lambda _, s: Markup("<i>{}</i>").format(s.scientific_name),
    ),
    "kind": (Column("Kind", text=True), lambda _, s: s.kind),
    "region": (Column("Region", text=True), lambda _, s: s.region),
    "specific_gravity": (
        Column("Basic specific gravity"),
        lambda _, s: number(s.basic_specific_gravity, 2),
    ),
    "basic_density": (
        Column("Basic density", "kg/m³"),
        lambda _, s: number(s.basic_density_kg_m3, 0),
    ),
    "refractory": (
        Column("Refractory", text=True),
        lambda _, s: "yes" if s.refractory else NOTHING,
    ),
    "fsp": (Column("FSP", "%"), lambda _, s: number(s.fsp_pct, 0)),
    "ceiling_while_wet": (
        Column("Ceiling while wet", text=True),
        lambda regional, s: (
            regional.side_by_side(s.ceiling_while_wet.dry_bulb) if s.ceiling_while_wet else NOTHING
        ),
    ),
    "prone_to": (
        Column("Prone to", text=True),
        lambda regional, s: ", ".join(regional.defect(p.defect) for p in s.prone_to) or NOTHING,
    ),
}


class SummaryOptions(SpeciesOptions):
    """Options of the species summary."""

    columns: Annotated[
        list[
            Literal[
                "trade_name",
                "scientific_name",
                "kind",
                "region",
                "specific_gravity",
                "basic_density",
                "refractory",
                "fsp",
                "ceiling_while_wet",
                "prone_to",
            ]
        ],
        Field(min_length=1),
    ]
    """Columns in order; the trade name always comes first."""


@table_kind("species-summary", SummaryOptions)
def _summary(builder: Builder, options: SummaryOptions, document: Document) -> Table:
    regional = builder.setting.regional
    names = [name for name in options.columns if name in _SPECIES_COLUMNS]
    rows = [
        (
            name_cell(builder, species),
            *(_SPECIES_COLUMNS[name][1](regional, species) for name in names),
        )
        for species in chosen_species(builder, options, document)
    ]
    said = "The source of every value stands on the species page."
    if "refractory" in names:
        said += " A dash under refractory means only that the sheet does not call the wood so."
    return Table(
        (Column("Species", text=True), *(_SPECIES_COLUMNS[name][0] for name in names)),
        tuple(rows),
        said,
    )
