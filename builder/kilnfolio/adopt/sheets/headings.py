"""Finds the table in a sheet by its headings, by ``--column`` or by the content of its columns."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path

from kilnfolio.adopt.cells import Cell
from kilnfolio.adopt.sheets.columns import propose
from kilnfolio.adopt.sheets.table import Kind, Options, Table, refusal
from kilnfolio.adopt.sheets.values import is_day, number_in, without_unit
from kilnfolio.adopt.tables import read_sheets
from kilnfolio.records.sheet_words import role_of, roles


def _tables(path: Path, kind: Kind, options: Options, known: list[str]) -> list[Table]:
    found = []
    for sheet in read_sheets(path):
        if options.sheet is not None and sheet.name != options.sheet:
            continue
        for number, row in enumerate(sheet.rows[:30]):
            found_roles = _heading_roles(row, options)
            if any(set(needed) <= found_roles.keys() for needed in kind.needs):
                body = [cells for cells in sheet.rows[number + 1 :] if any(c.text for c in cells)]
                wanted = [role for role in kind.completes if role not in found_roles]
                told = found_roles | _ignored(row, options)
                extra = propose(row, body, told, wanted, {}, options.unit) if wanted else []
                found_roles |= {one.role: one.column for one in extra}
                found_roles = _with_hours(found_roles, body)
                table = Table(sheet, row, body, found_roles, options, proposed=extra)
                if kind.fits(table, known):
                    found.append(table)
                    break
    return found


def given_roles(options: Options) -> dict[str, str]:
    """Return the roles given with ``--column``, by heading.

    Raises
    ------
    RecordProblems
        One is not written as HEADING=ROLE, or there is no such role.
    """
    names = {role.name: key for key, role in roles().items()} | {"ignore": "ignore"}
    found: dict[str, str] = {}
    for words in options.column or ():
        heading, equals, name = words.rpartition("=")
        if not equals or not (name in names or name.startswith("board:")):
            raise refusal(
                "--column",
                f"'{words}'",
                "a column is given as HEADING=ROLE",
                f"ROLE is one of {', '.join(names)}, or board:TAG for the masses of a board",
            )
        found[heading.strip()] = names.get(name, name)
    return found


def _heading_roles(row: list[Cell], options: Options) -> dict[str, int]:
    said = given_roles(options)
    found = {
        said[cell.text]: index for index, cell in enumerate(row) if said.get(cell.text) in roles()
    }
    for index, cell in enumerate(row):
        if cell.text in said:
            continue
        if role := role_of(without_unit(cell.text), set(found)):
            found[role] = index
    return found


def _with_hours(found: dict[str, int], rows: list[list[Cell]]) -> dict[str, int]:
    """Return the roles; if no column is a date, times that are plain numbers are hours."""
    if "time" not in found or found.keys() & {"at", "hours"}:
        return found
    texts = [row[found["time"]].text for row in rows if found["time"] < len(row)]
    if 2 * sum(number_in(text) is not None for text in texts) < len(texts):
        return found
    return {"hours" if role == "time" else role: column for role, column in found.items()}


def _missing_headings(path: Path, kind: Kind, options: Options) -> str:
    """Return what the best matching headings lack; empty if no row has any known heading."""
    best: tuple[int, str] = (0, "")
    for sheet in read_sheets(path):
        if options.sheet is not None and sheet.name != options.sheet:
            continue
        for number, row in enumerate(sheet.rows[:30], 1):
            told = _heading_roles(row, options)
            for needed in kind.needs:
                has = [roles()[role].means for role in needed if role in told]
                lacks = [roles()[role].means for role in needed if role not in told]
                if lacks and len(has) > max(best[0], 1):
                    name = f"'{sheet.name}', " if sheet.name else ""
                    best = (
                        len(has),
                        f"; {name}row {number} names {', '.join(has)}, "
                        f"and lacks {', '.join(lacks)}",
                    )
    return best[1]


def _proposed_tables(
    path: Path, kind: Kind, options: Options, boards: Mapping[str, tuple[float, float]]
) -> Iterator[Table]:
    """Yield sheets whose columns fit by content where their headings are not known."""
    for sheet in read_sheets(path):
        if options.sheet is not None and sheet.name != options.sheet:
            continue
        for number, row in enumerate(sheet.rows[:30]):
            body = [cells for cells in sheet.rows[number + 1 :] if any(c.text for c in cells)]
            if len(body) < 2 or not _is_heading(row):
                continue
            known = _heading_roles(row, options)
            fixed = known | _ignored(row, options)
            proposals = propose(row, body, fixed, kind.proposes, boards, options.unit)
            told = _with_hours(known | {one.role: one.column for one in proposals}, body)
            table = Table(sheet, row, body, told, options, proposed=proposals)
            if any(set(needed) <= told.keys() for needed in kind.needs) and kind.fits(
                table, list(boards)
            ):
                yield table
                break


def _ignored(row: list[Cell], options: Options) -> dict[str, int]:
    """Return the columns to ignore, each under a unique name."""
    said = given_roles(options)
    return {
        f"ignored {index}": index
        for index, cell in enumerate(row)
        if said.get(cell.text) == "ignore"
    }


def _is_heading(row: list[Cell]) -> bool:
    """Return whether a row without a known heading may be a row of headings: text, no readings."""
    texts = [cell.text for cell in row if cell.text]
    return len(texts) > 1 and not any(
        re.fullmatch(r"[-+]?[\d.,:/]+", text) or is_day(text) for text in texts
    )


def find_table(
    path: Path,
    kind: Kind,
    options: Options,
    known: list[str],
    boards: Mapping[str, tuple[float, float]],
) -> Table:
    """Return the only table in a file that holds a kind of data.

    Raises
    ------
    RecordProblems
        No sheet holds it, or several might.
    """
    tables = _tables(path, kind, options, known) or list(
        _proposed_tables(path, kind, options, boards)
    )
    if len(tables) == 1:
        return tables[0]
    if tables:
        names = ", ".join(f"'{table.sheet.name}'" for table in tables)
        raise refusal(
            path.name,
            f"{len(tables)} sheets could hold {kind.words}: {names}",
            "only you can tell which one is meant",
            "Give it with --sheet NAME",
        )
    *most, last = (roles()[role].means for role in kind.needs[0])
    needed = kind.told or " and ".join(filter(None, (", ".join(most), last)))
    raise refusal(
        path.name,
        f"no sheet holds {kind.words}" + (f" (of '{options.sheet}')" if options.sheet else ""),
        f"one row of headings must name {needed}{_missing_headings(path, kind, options)}",
        "Write these headings in the sheet, or say what its columns hold with --column "
        f"'HEADING=ROLE' (--help lists the roles){kind.otherwise}",
    )
