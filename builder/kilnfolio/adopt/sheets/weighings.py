"""Reads weighings from a sheet with one mass per row, or a column for each board or day."""

from __future__ import annotations

import re
from collections.abc import Iterator

from kilnfolio.adopt.cells import Cell
from kilnfolio.adopt.record_text import scalar
from kilnfolio.adopt.sheets.headings import given_roles
from kilnfolio.adopt.sheets.table import Table
from kilnfolio.adopt.sheets.values import is_day, quantity_text, row_time, time_text, without_unit
from kilnfolio.records.quantities import Mass
from kilnfolio.records.yaml_source import Document


def board_tags(charge: Document) -> list[str]:
    """Return the tags of a charge's sample boards."""
    boards = charge.value.get("boards") if isinstance(charge.value, dict) else None
    return [str(board["id"]) for board in boards or [] if isinstance(board, dict) and "id" in board]


def weighings_text(table: Table, charge: Document) -> str:
    """Return the weighings of a table as the YAML of a record."""
    known = board_tags(charge)
    rounds: dict[str, dict[str, str]] = {}
    who: dict[str, str] = {}
    for place, row in enumerate(table.rows):
        for at, tag, cell, heading in _masses(table, row, known):
            table.used_rows.add(place)
            mass = quantity_text(table, cell, heading, Mass)
            if mass and at:
                if tag in rounds.setdefault(at, {}):
                    table.refuse(
                        cell,
                        f"'{cell.text}'",
                        f"board {tag} was weighed already at {at}",
                        "Keep the right one",
                    )
                rounds[at][tag] = mass
                who[at] = table.cell(row, "by").text or table.options.by or ""
    lines = ["weighings:"]
    for at in sorted(rounds):
        lines.append(f"  - at: {at}")
        if who[at]:
            lines.append(f"    by: {scalar(who[at])}")
        lines.append(
            "    masses: {"
            + ", ".join(f"{scalar(tag)}: {mass}" for tag, mass in rounds[at].items())
            + "}"
        )
    return "\n".join(lines) + "\n"


def _masses(
    table: Table, row: list[Cell], known: list[str]
) -> Iterator[tuple[str | None, str, Cell, Cell]]:
    """Yield time, board, cell and heading of each mass."""
    if {"board", "mass"} <= table.roles.keys():
        cell = table.cell(row, "mass")
        if cell.text and (board := _known_board(table, row, known)):
            yield row_time(table, row), board, cell, table.heading[table.roles["mass"]]
        return
    if days := day_columns(table):
        filled = [index for index in days if index < len(row) and row[index].text]
        table.used.update(days)
        board = _known_board(table, row, known) if filled else ""
        for index in filled if board else ():
            if index not in table.moments:
                table.moments[index] = time_text(table, days[index])
            yield table.moments[index], board, row[index], days[index]
        return
    boards = board_columns(table, known)
    table.used.update(boards)
    filled = [index for index in boards if index < len(row) and row[index].text]
    at = row_time(table, row) if filled else None
    for index in filled:
        yield at, boards[index], row[index], table.heading[index]


def _known_board(table: Table, row: list[Cell], known: list[str]) -> str:
    """Return the board of a row; if the charge has none of that tag, record a problem."""
    tag = table.cell(row, "board")
    if known and tag.text not in known:
        table.refuse(
            tag,
            f"board '{tag.text}'",
            "the charge has no board of this tag",
            f"It has {', '.join(known)}",
        )
        return ""
    return tag.text


def day_columns(table: Table) -> dict[int, Cell]:
    """Return the headings that are dates, if each row is about one board."""
    if "board" not in table.roles or "mass" in table.roles:
        return {}
    return {index: cell for index, cell in enumerate(table.heading) if is_day(cell.text)}


def board_columns(table: Table, known: list[str]) -> dict[int, str]:
    """Return the columns whose heading is a board's tag."""
    taken = {table.roles[role] for role in ("at", "time", "by") if role in table.roles}
    return {
        index: tag
        for index, head in enumerate(table.heading)
        if index not in taken and head.text and (tag := _board_of_column(table, head, known))
    }


def _board_of_column(table: Table, heading: Cell, known: list[str]) -> str | None:
    """Return the board of a column, by ``--column`` or by its heading."""
    said = given_roles(table.options).get(heading.text)
    if said is None:
        return _board_of_heading(heading, known)
    return said.removeprefix("board:") if said.startswith("board:") else None


def _board_of_heading(heading: Cell, known: list[str]) -> str | None:
    """Return the board of a column; None if it is another kind of column."""
    text = without_unit(heading.text).strip()
    short = re.sub(r"^(board|sample)\s+", "", text, flags=re.IGNORECASE)
    if known:
        return next((tag for tag in known if tag in (text, short)), None)
    return short if re.fullmatch(r"[A-Za-z]{0,3}[-. ]?\d{1,3}[A-Za-z]?", short) else None
