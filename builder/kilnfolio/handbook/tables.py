"""Computed tables of the handbook: numbers from physics and records, never typed.

The kinds of table are registered by the modules ``tables_…`` in this package.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape
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
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder

Cell = str | Markup
_NONE = Markup("")
#: Characters that fit in a row on a portrait A4 page, and number of rows from which a wider table
#: gets landscape pages of its own.
_UPRIGHT, _MANY = 140, 20
_SECOND = re.compile(r'<span class="unit">.*?</span>')
#: The status of a value, and the number of rows from which one that all share is printed once.
_STATUS = re.compile(r'\s*(<span class="status-[^"]*"[^>]*>[^<]*</span>)')
_ONCE = 3


@dataclass(frozen=True)
class Column:
    """The heading of a column."""

    words: Cell
    unit: str = ""
    text: bool = False
    """True for a column of words, not figures."""


@dataclass(frozen=True)
class Table:
    """A computed table."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    source: Cell
    """How it was computed, or its source."""
    caption: str = ""
    over: Cell = ""
    """A heading above all columns except the first."""
    worked: tuple[Working, ...] = ()
    """The working of one computed cell of each kind; empty if no cell is computed."""


class Options(Record):
    """Options of every table."""

    kind: Name
    """The kind of table."""
    caption: Text
    """The caption."""
    customary: dict[str, Any] = Field(default_factory=dict)
    """Options that replace the others in a region with US customary units, so that its tables have
    round values in °F."""


def html(
    table: Table,
    number_: str,
    anchor: str,
    caption: Markup,
    publications: Mapping[str, Titled] | None = None,
    say: Callable[[str], str] = str,
) -> Markup:
    """Return a table as HTML, in a box that scrolls horizontally on a narrow screen.

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
        If given, the working of a cell follows in a collapsed block that cites these titles.
    say : callable
        Puts the units of the region first in the name and the result of that cell.
    """
    table = with_status_once(table)
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
        collapsed_workings(table.worked, publications, say)
        if publications and table.worked
        else "",
    )


def with_status_once(table: Table) -> Table:
    """Return a table whose rows all have the same status with that status below it, once."""
    found = [{mark for cell in row for mark in _STATUS.findall(str(cell))} for row in table.rows]
    if len(found) < _ONCE or len(found[0]) != 1 or any(marks != found[0] for marks in found):
        return table
    (mark,) = found[0]
    rows = tuple(
        tuple(Markup(_STATUS.sub("", cell)) if isinstance(cell, Markup) else cell for cell in row)
        for row in table.rows
    )
    said = [table.source, Markup("All values in this table: {}.").format(Markup(mark))]
    if "status-memory" in mark:
        said.append(
            Markup(
                "To confirm one, compare it with the source and write that in its file: "
                "<code>signed_off:</code> for a species, <code>status: read</code> for a fact."
            )
        )
    return replace(table, rows=rows, source=Markup(" ").join(said))


def collapsed_workings(
    workings: Sequence[Working], publications: Mapping[str, Titled], say: Callable[[str], str]
) -> Markup:
    """Return the working of one cell of each kind, in a collapsed block."""
    boards = (
        Markup(
            '<div class="working"><p class="meta">{}</p><p>{}</p><p>{} = <b>{}</b></p>'
            '<p class="meta">{}</p></div>'
        ).format(
            say(one.name),
            one.formula,
            board_line(one.substituted),
            say(one.result),
            in_words(one.source, publications),
        )
        for one in workings
    )
    return Markup(
        '<details class="workings"><summary>Show the working</summary>'
        '<p class="meta">One figure worked; the others in the same way.</p>{}</details>'
    ).format(Markup("").join(boards))


def _widths(table: Table) -> Iterator[int]:
    """Yield the width of each column in characters, without wrapping cells."""
    for place, column in enumerate(table.columns):
        words = str(column.words).split()
        # the second unit system is printed below the first
        cells = [_SECOND.sub("", str(row[place])) for row in table.rows]
        widths = [len(Markup(cell).striptags()) for cell in (*words, *cells)]
        yield max(widths, default=0) + 2


def plain(
    columns: Sequence[Column],
    rows: Iterable[Sequence[Cell]],
    caption: Markup = _NONE,
    over: Markup = _NONE,
) -> Markup:
    """Return only the table element."""

    def head(column: Column) -> Markup:
        unit = Markup(' <span class="unit">{}</span>').format(column.unit) if column.unit else ""
        css = Markup(' class="words"') if column.text else ""
        return Markup('<th scope="col"{}>{}{}</th>').format(css, column.words, unit)

    def body(row: Sequence[Cell]) -> str:
        cells = [f'<th scope="row">{escape(row[0])}</th>']
        for column, cell in zip(columns[1:], row[1:], strict=True):
            css = ' class="words"' if column.text else ""
            cells.append(f"<td{css}>{escape(cell)}</td>")
        return f"<tr>{''.join(cells)}</tr>"

    return Markup(
        '<table class="figures">{}<thead>{}<tr>{}</tr></thead><tbody>{}</tbody></table>'
    ).format(caption, over, Markup("").join(map(head, columns)), Markup("\n".join(map(body, rows))))


Maker = Callable[["Builder", Any, Document], Table]
_KINDS: dict[str, tuple[type[Options], Maker]] = {}


def table_kind(name: str, options: type[Options] = Options) -> Callable[[Maker], Maker]:
    """Register a kind of table with its options and the function that makes it."""

    def keep(maker: Maker) -> Maker:
        _KINDS[name] = (options, maker)
        return maker

    return keep


def kinds() -> tuple[str, ...]:
    """Return the names of all kinds of table."""
    return tuple(_KINDS)


def make(builder: Builder, document: Document) -> Table | None:
    """Return the table of a directive, or None after reporting why there is none."""
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
    """Return the working of a cell of a table, by the registry of formulas."""
    return evaluate(FORMULAS[formula], label, values).working


def cell_words(*parts: Quantity) -> str:
    """Return the name of a worked cell, from its row and column."""
    return ", ".join(figures.side_by_side(part) for part in parts)


# --- words ----------------------------------------------------------------------------------------


def two_systems(first: Cell, second: Cell) -> Markup:
    """Return a cell with two unit systems, one above the other."""
    return Markup('{} <span class="unit">{}</span>').format(first, second)


def quantity_cell(regional: RegionalFormat, quantity: Quantity) -> Markup:
    """Return a quantity in both unit systems."""
    return two_systems(*regional.both(quantity))


def quantity_columns(regional: RegionalFormat, quantities: Iterable[Quantity]) -> Iterator[Column]:
    """Yield a column for each quantity, headed in both unit systems."""
    for quantity in quantities:
        yield Column(*regional.both(quantity))


def paired_columns(
    regional: RegionalFormat, words: str, metric: str, customary: str
) -> tuple[Column, Column]:
    """Return two columns that give the same values in both unit systems."""
    first, second = regional.ordered(metric, customary)
    return Column(words, first), Column(words, second)


def _pressure_words(regional: RegionalFormat, altitude: Length) -> str:
    pressure = air.pressure_at_altitude(altitude.value / 1000.0) / 1000.0
    where = (
        "sea level" if altitude.value == 0 else f"{regional.side_by_side(altitude)} above the sea"
    )
    return f"{measure(pressure, 'kPa', 2)}, {where}"


def air_source(regional: RegionalFormat, altitude: Length) -> str:
    """Return a sentence on how the air of a table was computed."""
    return (
        f"Computed: ventilated wet bulb, coefficient {air.VENTILATED_COEFFICIENT:.6f} per °C, at "
        f"{_pressure_words(regional, altitude)}; saturation pressure by ASHRAE Fundamentals, "
        "ch. 1, eqs. 5 and 6."
    )


#: The equation behind every EMC of the tables.
EMC_SOURCE = "EMC by Wood Handbook eq. 4-5; its tenths carry no physical meaning."
#: The altitude of tables that do not state one.
SEA_LEVEL = Length(0.0, "0 m")


def or_none(compute: Callable[..., float], *values: float) -> float | None:
    """Return a computed value, or None for impossible air."""
    try:
        return float(compute(*values))
    except ValueError:
        return None


def fahrenheit(celsius: float, decimals: int = 0) -> str:
    """Return a temperature held in °C as a bare number of °F."""
    return number(fahrenheit_from_celsius(celsius), decimals)
