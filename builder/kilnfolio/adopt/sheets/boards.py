"""Sample boards and their sections from a sheet."""

from __future__ import annotations

from kilnfolio.adopt.cells import Cell
from kilnfolio.adopt.record_text import scalar
from kilnfolio.adopt.sheets.table import Table
from kilnfolio.adopt.sheets.values import quantity_text, row_time
from kilnfolio.records.model import TO_FILL
from kilnfolio.records.quantities import Mass
from kilnfolio.records.yaml_source import Document


def boards_text(table: Table, charge: Document) -> str:
    """Return the sample boards of a table as the YAML of a record."""
    del charge
    boards: dict[str, list[str]] = {}
    heads: dict[str, list[str]] = {}
    cut: set[tuple[str, str]] = set()
    for place, row in enumerate(table.rows):
        tag = table.cell(row, "board").text
        if not tag:
            continue
        table.used_rows.add(place)
        section = table.cell(row, "section").text
        if (tag, section) in cut:
            _refuse_again(table, row, tag)
        cut.add((tag, section))
        masses = {
            role: quantity_text(
                table, table.cell(row, role), table.heading[table.roles[role]], Mass
            )
            if role == "green" or table.cell(row, role).text
            else TO_FILL
            for role in ("green", "oven_dry")
        }
        if masses["oven_dry"] == TO_FILL:
            table.notes.append(
                f"section {section} of board {tag} has no oven-dry mass yet and is taken to be in the oven. Import the sheet again when it is out"
            )
        boards.setdefault(tag, []).append(
            f"      - {{id: {scalar(section)}, green: {masses['green']}, "
            f"oven_dry: {masses['oven_dry']}}}"
        )
        mass = table.cell(row, "board_mass")
        if mass.text and tag not in heads:
            told = quantity_text(table, mass, table.heading[table.roles["board_mass"]], Mass)
            by = table.cell(row, "by").text or table.options.by
            if not by:
                table.refuse(
                    table.cell(row, "board"),
                    f"board '{tag}'",
                    "the sheet does not say who cut and weighed it",
                    "Add a column 'By', or give it with --by NAME",
                )
            heads[tag] = [
                f"    green_mass: {told}",
                f"    weighed_at: {row_time(table, row)}",
                f"    by: {scalar(by or '')}",
            ]
    for tag in boards.keys() - heads.keys():
        table.refuse(
            table.rows[0][0],
            f"board '{tag}'",
            "no row gives the mass of the board itself",
            "Write it in the column of the board's mass, once",
        )
    lines = ["boards:"]
    for tag, sections in boards.items():
        lines += [f"  - id: {scalar(tag)}", "    sections:", *sections, *heads.get(tag, [])]
    return "\n".join(lines) + "\n"


def _refuse_again(table: Table, row: list[Cell], tag: str) -> None:
    """Refuse a second section of a board with the tag of an earlier one."""
    section = table.cell(row, "section")
    table.refuse(
        section,
        f"section '{section.text}'",
        f"board {tag} has a section of this name in an earlier row",
        "Give every section of a board its own tag, or take one of the rows out",
    )
