"""Tables of air-drying: days to an MC by month of stacking."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import numpy as np
from pydantic import Field

from kilnfolio.forecast.effects import NoComparison, stock_of
from kilnfolio.forecast.outdoors import MONTHS, SOURCES, Weather, monthly, of_table
from kilnfolio.forecast.yard import LABEL, Yard, estimate
from kilnfolio.handbook.facts import read_facts
from kilnfolio.handbook.setting import unknown
from kilnfolio.handbook.tables import Cell, Column, Options, Table, table_kind
from kilnfolio.handbook.tables_species import name_cell
from kilnfolio.records.model import Name, Record, Slug
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.quantities import Length, Percent
from kilnfolio.records.weather import weather
from kilnfolio.records.yaml_source import Document
from kilnfolio.review.figures import NOTHING, number

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder


class YardWood(Record):
    """A column of the table."""

    species: Slug
    """The wood."""
    published: Name | None = None
    """The wood of drying-times.yaml whose published days are given below."""


class YardOptions(Options):
    """Options of a table of days in the yard to an MC, by month of stacking."""

    woods: Annotated[list[YardWood], Field(min_length=1)]
    """Columns."""
    thickness: Length
    """Thickness of the boards."""
    mc_to: Percent
    """The MC to reach."""
    weather: Slug
    """The facts with a year by month and its hourly EMC, used if the mill has no weather."""


@table_kind("yard-days", YardOptions)
def _yard(builder: Builder, options: YardOptions, document: Document) -> Table:
    folder = builder.setting.folder
    place, year = _weather(builder, options.weather)
    quantity_columns: list[Column] = [
        Column("Piled at the start of", text=True),
        Column("EMC", "%"),
    ]
    columns: list[Yard] = []
    for i, wood in enumerate(options.woods):
        if wood.species not in folder.species:
            at = document.place("woods", i)
            raise RecordProblems([unknown(at, "species", wood.species, folder.species)])
        species = folder.species[wood.species].record
        try:
            board = stock_of(species, options.thickness.value).board
        except NoComparison as reason:
            raise RecordProblems(
                [Problem(document.place("woods", i), wood.species, str(reason))]
            ) from None
        quantity_columns.append(Column(name_cell(builder, species), "days"))
        columns.append(estimate(board, year, options.mc_to.value))
    emc = year.monthly_emc()
    rows: list[tuple[Cell, ...]] = [
        (
            month,
            number(float(emc[i]), 1),
            *(
                number(float(one.days[i]), 0) if np.isfinite(one.days[i]) else NOTHING
                for one in columns
            ),
        )
        for i, month in enumerate(MONTHS)
    ]
    rows.append(("Published, best to worst", NOTHING, *_published(builder, options)))
    return Table(
        tuple(quantity_columns),
        tuple(rows),
        f"Computed from the weather of {place} ({SOURCES[year.source]}), for green boards "
        f"{options.thickness.entered} thick in a roofed pile. {LABEL} A dash: not within three "
        "years. Published days: the table of published times.",
    )


def _weather(builder: Builder, name: str) -> tuple[str, Weather]:
    """Return the source of the weather and its year: the mill's own, or that of the facts."""
    own = weather(builder.setting.folder.graph)
    if own is not None:
        return own.place or "this mill", of_table(own)
    facts = read_facts(builder.setting.folder.root, name)
    temps, emcs = zip(*(row.numbers("temp", "emc") for row in facts.rows), strict=True)
    return facts.title.removeprefix("Weather of "), monthly(temps, emcs, "hours by month")


def _published(builder: Builder, options: YardOptions) -> list[str]:
    facts = read_facts(builder.setting.folder.root, "drying-times")
    ranges = {
        str(row.cell("wood")): f"{low:g} to {high:g}"
        for row in facts.rows
        if (low := row.number("air_low")) is not None
        and (high := row.number("air_high")) is not None
    }
    return [ranges.get(wood.published or "", NOTHING) for wood in options.woods]
