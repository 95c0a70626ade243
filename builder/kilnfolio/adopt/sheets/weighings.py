"""Reads rounds of masses or MC from a sheet: one value per row, or a column per board or day."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from kilnfolio.adopt.cells import Cell
from kilnfolio.adopt.record_text import scalar
from kilnfolio.adopt.sheets.headings import given_roles
from kilnfolio.adopt.sheets.table import Table
from kilnfolio.adopt.sheets.values import (
    is_day,
    quantity_text,
    row_time,
    time_text,
    unit_of,
    without_unit,
)
from kilnfolio.records.quantities import Mass, Percent, Quantity
from kilnfolio.records.yaml_source import Document
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class _Rounds:
    """What a round holds for each board, and where a record keeps it."""

    key: str
    inner: str
    role: str
    of: type[Quantity]
    done: str
    #: What may follow the tag in a board's heading.
    suffix: str = ""

    def takes(self, heading: Cell) -> bool:
        """Return whether the heading's unit, if it has one, fits these values."""
        unit = unit_of(heading)
        return unit is None or (unit == "%") == (self.of is Percent)


_MASSES = _Rounds("weighings", "masses", "mass", Mass, "weighed")
_MC = _Rounds(
    "mc_rounds", "mc", "mc", Percent, "read", r"[\s_]*(?:mc|m\.c\.|moisture(?: content)?)$"
)


def board_tags(charge: Document) -> list[str]:
    """Return the tags of a charge's sample boards."""
    boards = charge.value.get("boards") if isinstance(charge.value, dict) else None
    return [str(board["id"]) for board in boards or [] if isinstance(board, dict) and "id" in board]


def weighings_text(table: Table, charge: Document) -> str:
    """Return the weighings of a table as the YAML of a record."""
    return _rounds_text(_MASSES, table, board_tags(charge))


def mc_text(table: Table, charge: Document) -> str:
    """Return the rounds of MC of a table as the YAML of a record."""
    return _rounds_text(_MC, table, board_tags(charge))


def holds_weighings(table: Table, known: list[str]) -> bool:
    """Return whether a table holds weighings."""
    return _holds(_MASSES, table, known)


def holds_mc(table: Table, known: list[str]) -> bool:
    """Return whether a table holds rounds of MC."""
    return _holds(_MC, table, known)


def _holds(rounds: _Rounds, table: Table, known: list[str]) -> bool:
    timed = bool({"at", "hours"} & table.roles.keys())
    if timed and {"board", rounds.role} <= table.roles.keys():
        return True
    return bool(_board_columns(rounds, table, known) if timed else _day_columns(rounds, table))


def _rounds_text(rounds: _Rounds, table: Table, known: list[str]) -> str:
    found: dict[str, dict[str, str]] = {}
    who: dict[str, str] = {}
    boards = _board_columns(rounds, table, known)
    for place, row in enumerate(table.rows):
        for at, tag, cell, heading in _values(rounds, table, row, known, boards):
            table.used_rows.add(place)
            value = quantity_text(table, cell, heading, rounds.of)
            if value and at:
                if tag in found.setdefault(at, {}):
                    table.refuse(
                        cell,
                        f"'{cell.text}'",
                        f"board {tag} was {rounds.done} already at {at}",
                        "Keep the right one",
                    )
                found[at][tag] = value
                who[at] = table.cell(row, "by").text or table.options.by or ""
    lines = [f"{rounds.key}:"]
    for at in sorted(found):
        lines.append(f"  - at: {at}")
        if who[at]:
            lines.append(f"    by: {scalar(who[at])}")
        if rounds.key == "mc_rounds" and table.options.method:
            lines.append(f"    method: {table.options.method}")
        lines.append(
            f"    {rounds.inner}: {{"
            + ", ".join(f"{scalar(tag)}: {value}" for tag, value in found[at].items())
            + "}"
        )
    return "\n".join(lines) + "\n"


def _values(
    rounds: _Rounds, table: Table, row: list[Cell], known: list[str], boards: Mapping[int, str]
) -> Iterator[tuple[str | None, str, Cell, Cell]]:
    """Yield time, board, cell and heading of each value."""
    if {"board", rounds.role} <= table.roles.keys() and not (boards and rounds.suffix):
        cell = table.cell(row, rounds.role)
        if cell.text and (board := _known_board(table, row, known)):
            yield row_time(table, row), board, cell, table.heading[table.roles[rounds.role]]
        return
    if days := _day_columns(rounds, table):
        filled = [index for index in days if index < len(row) and row[index].text]
        table.used.update(days)
        board = _known_board(table, row, known) if filled else ""
        for index in filled if board else ():
            if index not in table.moments:
                table.moments[index] = time_text(table, days[index])
            yield table.moments[index], board, row[index], days[index]
        return
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


def _day_columns(rounds: _Rounds, table: Table) -> dict[int, Cell]:
    """Return the headings that are dates, if each row is about one board."""
    if "board" not in table.roles or rounds.role in table.roles:
        return {}
    return {index: cell for index, cell in enumerate(table.heading) if is_day(cell.text)}


def _board_columns(rounds: _Rounds, table: Table, known: list[str]) -> dict[int, str]:
    """Return the columns whose heading is a board's tag."""
    taken = {
        table.roles[role] for role in ("at", "time", "hours", "by", "charge") if role in table.roles
    }
    return {
        index: tag
        for index, head in enumerate(table.heading)
        if index not in taken
        and head.text
        and (tag := _board_of_column(rounds, table, head, known))
    }


def _board_of_column(rounds: _Rounds, table: Table, heading: Cell, known: list[str]) -> str | None:
    """Return the board of a column, by ``--column`` or by its heading."""
    said = given_roles(table.options).get(heading.text)
    if said is None:
        return _board_of_heading(rounds, heading, known) if rounds.takes(heading) else None
    return said.removeprefix("board:") if said.startswith("board:") else None


def _board_of_heading(rounds: _Rounds, heading: Cell, known: list[str]) -> str | None:
    """Return the board of a column; None if it is another kind of column."""
    text = without_unit(heading.text).strip()
    if rounds.suffix:
        text = re.sub(rounds.suffix, "", text, flags=re.IGNORECASE)
    short = re.sub(r"^(board|sample)[\s_]+", "", text, flags=re.IGNORECASE)
    if known:
        return next((tag for tag in known if tag in (text, short)), None)
    return short if re.fullmatch(r"[A-Za-z]{0,3}[-. ]?\d{1,3}[A-Za-z]?", short) else None
