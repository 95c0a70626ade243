"""Computed tables of the handbook: numbers from physics and records, never typed.

The kinds of table register themselves from the modules ``tables_…`` beside this one.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from markupsafe import Markup
from pydantic import Field

from kilnfolio.physics import air
from kilnfolio.records.model import Name, Record, Text
from kilnfolio.records.problems import Problem
from kilnfolio.records.quantities import (
    Length,
    Quantity,
    fahrenheit_from_celsius,
)
from kilnfolio.records.sourced import Titled, in_words
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import Document
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review import figures
from kilnfolio.review.dossier import Working
from kilnfolio.review.figures import measure, number
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.working import board_line, evaluate

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder

Cell = str | Markup
_NONE = Markup("")
#: Characters of a row that stand side by side on an upright A4 page, and rows from which a wider
#: table is worth pages of its own, on their side.
_UPRIGHT, _MANY = 140, 20
_SECOND = re.compile(r'<span class="unit">.*?</span>')


@dataclass(frozen=True)
class Column:
    """A column's head."""

    words: Cell
    unit: str = ""
    text: bool = False
    """It holds words, not figures."""


@dataclass(frozen=True)
class Table:
    """A computed table."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    source: Cell
    """How it was computed, or where it comes from."""
    caption: str = ""
    over: Cell = ""
    """What the columns after the first share."""
    worked: tuple[Working, ...] = ()
    """One computed cell of each kind, worked; empty where every cell stands on record."""


class Options(Record):
    """What every table takes."""

    kind: Name
    """Which table."""
    caption: Text
    """What it shows."""
    customary: dict[str, Any] = Field(default_factory=dict)
    """Options that replace those above in a region with US customary units, so that a table built
    on °F stands in round °F."""


def html(
    table: Table,
    number_: str,
    anchor: str,
    caption: Markup,
    publications: Mapping[str, Titled] | None = None,
) -> Markup:
    """Return a table as HTML, in a box that scrolls sideways on a narrow screen.

    Parameters
    ----------
    table : Table
        What it shows.
    number_ : str
        Its number in the book.
    anchor : str
        Its address.
    caption : Markup
        Its caption.
    publications : mapping, optional
        Where given, a cell is worked out under it, folded away, its sources named by these.
    """
    over = Markup("")
    if table.over:
        over = Markup('<tr><td></td><th scope="colgroup" colspan="{}">{}</th></tr>').format(
            len(table.columns) - 1, table.over
        )
    said = Markup("<caption><b>Table {}.</b> {}</caption>").format(number_, caption)
    wide = " wide" if len(table.columns) > 9 else ""
    if len(table.rows) > _MANY and sum(_widths(table)) > _UPRIGHT:
        wide = " turned"
    return Markup(
        '<div class="table-block{}" id="{}"><div class="scroll-x" tabindex="0" role="region" '
        'aria-label="Table {}">{}</div><p class="source">{}</p>{}</div>'
    ).format(
        wide if table.worked else wide + " given",
        anchor,
        number_,
        plain(table.columns, table.rows, said, over),
        table.source,
        folded(table.worked, publications) if publications and table.worked else "",
    )


def folded(workings: Sequence[Working], publications: Mapping[str, Titled]) -> Markup:
    """Return the working of one cell of each kind, folded away."""
    boards = (
        Markup(
            '<div class="working"><p class="meta">{}</p><p>{}</p><p>{} = <b>{}</b></p>'
            '<p class="meta">{}</p></div>'
        ).format(
            one.name,
            one.formula,
            board_line(one.substituted),
            one.result,
            in_words(one.source, publications),
        )
        for one in workings
    )
    return Markup(
        '<details class="workings"><summary>Show the working</summary>'
        '<p class="meta">One figure worked; the others in the same way.</p>{}</details>'
    ).format(Markup("").join(boards))


def _widths(table: Table) -> Iterator[int]:
    """Yield the characters each column takes where no cell is broken into lines."""
    for place, column in enumerate(table.columns):
        words = str(column.words).split()
        # a second unit system stands below the first
        cells = [_SECOND.sub("", str(row[place])) for row in table.rows]
        widths = [len(Markup(cell).striptags()) for cell in (*words, *cells)]
        yield max(widths, default=0) + 2


def plain(
    columns: Sequence[Column],
    rows: Iterable[Sequence[Cell]],
    caption: Markup = _NONE,
    over: Markup = _NONE,
) -> Markup:
    """Return the table element alone."""

    def head(column: Column) -> Markup:
        unit = Markup(' <span class="unit">{}</span>').format(column.unit) if column.unit else ""
        css = Markup(' class="words"') if column.text else ""
        return Markup('<th scope="col"{}>{}{}</th>').format(css, column.words, unit)

    def body(row: Sequence[Cell]) -> Markup:
        cells = [Markup('<th scope="row">{}</th>').format(row[0])]
        for column, cell in zip(columns[1:], row[1:], strict=True):
            css = Markup(' class="words"') if column.text else ""
            cells.append(Markup("<td{}>{}</td>").format(css, cell))
        return Markup("<tr>{}</tr>").format(Markup("").join(cells))

    return Markup(
        '<table class="figures">{}<thead>{}<tr>{}</tr></thead><tbody>{}</tbody></table>'
    ).format(caption, over, Markup("").join(map(head, columns)), Markup("\n").join(map(body, rows)))


Maker = Callable[["Builder", Any, Document], Table]
_KINDS: dict[str, tuple[type[Options], Maker]] = {}


def table_kind(name: str, options: type[Options] = Options) -> Callable[[Maker], Maker]:
    """Register a kind of table: its options, and the function that makes it."""

    def keep(maker: Maker) -> Maker:
        _KINDS[name] = (options, maker)
        return maker

    return keep


def kinds() -> tuple[str, ...]:
    """Return the kinds of table there are."""
    return tuple(_KINDS)


def make(builder: Builder, document: Document) -> Table | None:
    """Return the table a directive asks for, or None after noting why there is none."""
    asked = document.value.get("kind") if isinstance(document.value, dict) else None
    if asked not in _KINDS:
        near = difflib.get_close_matches(str(asked), list(_KINDS), n=1)
        builder.problem(
            Problem(
                document.place("kind"),
                f"kind '{asked}'",
                "there is no table of this kind",
                f"Did you mean '{near[0]}'?" if near else "Known ones: " + ", ".join(_KINDS),
            )
        )
        return None
    model, maker = _KINDS[asked]
    options = validate(document, model).record
    if options.customary and builder.setting.regional.customary_first:
        native = replace(document, value=document.value | options.customary)
        options = validate(native, model).record
    try:
        table = maker(builder, options, document)
    except ValueError as error:
        builder.problem(
            Problem(
                document.place(),
                f"the table '{asked}' cannot be computed",
                str(error),
                "Check its options",
            )
        )
        return None
    return replace(table, caption=options.caption)


def worked(formula: str, label: str, /, **values: Any) -> Working:
    """Return one cell of a table as worked by the registry of formulas."""
    return evaluate(FORMULAS[formula], label, values).working


def cell_words(*parts: Quantity) -> str:
    """Return what a worked cell is called, by its row and its column."""
    return ", ".join(figures.side_by_side(part) for part in parts)


# --- words ----------------------------------------------------------------------------------------


def two_systems(first: Cell, second: Cell) -> Markup:
    """Two unit systems in one cell, one above the other."""
    return Markup('{} <span class="unit">{}</span>').format(first, second)


def quantity_cell(regional: RegionalFormat, quantity: Quantity) -> Markup:
    """Return a quantity in both unit systems."""
    return two_systems(*regional.both(quantity))


def heads(regional: RegionalFormat, quantities: Iterable[Quantity]) -> Iterator[Column]:
    """Return a column for each quantity, in both unit systems."""
    for quantity in quantities:
        yield Column(*regional.both(quantity))


def twice(
    regional: RegionalFormat, words: str, metric: str, customary: str
) -> tuple[Column, Column]:
    """Return the heads of two columns that give the same in both unit systems."""
    first, second = regional.ordered(metric, customary)
    return Column(words, first), Column(words, second)


def _pressure_words(regional: RegionalFormat, altitude: Length) -> str:
    pressure = air.pressure_at_altitude(altitude.value / 1000.0) / 1000.0
    where = (
        "sea level" if altitude.value == 0 else f"{regional.side_by_side(altitude)} above the sea"
    )
    return f"{measure(pressure, 'kPa', 2)}, {where}"


def air_source(regional: RegionalFormat, altitude: Length) -> str:
    """Return how the air of a table was computed."""
    return (
        f"Computed: ventilated wet bulb, coefficient {air.VENTILATED_COEFFICIENT:.6f} per °C, at "
        f"{_pressure_words(regional, altitude)}; saturation pressure by ASHRAE Fundamentals, "
        "ch. 1, eqs. 5 and 6."
    )


#: The equation behind every EMC of the tables.
EMC_SOURCE = "EMC by Wood Handbook eq. 4-5; its tenths carry no physical meaning."
#: The altitude taken where a table names none.
SEA_LEVEL = Length(0.0, "0 m")


def tried(compute: Callable[..., float], *values: float) -> float | None:
    """Return a value, or None for air that cannot be."""
    try:
        return float(compute(*values))
    except ValueError:
        return None


def fahrenheit(celsius: float, decimals: int = 0) -> str:
    """Return a temperature held in °C as a bare number of °F."""
    return number(fahrenheit_from_celsius(celsius), decimals)
