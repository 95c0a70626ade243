"""``import weighings``, ``boards`` and ``survey``: a mill's own sheets to parts of a charge record.

A sheet is read by its headings. What a sheet leaves open (the unit of a bare number, whether
3/4/2026 is in March or April, the time of day, which of several sheets) is asked for by naming the
option; it is never guessed. Every cell that cannot be read is named, and then nothing is written.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import groupby
from pathlib import Path
from zoneinfo import ZoneInfo

from pydantic_core import PydanticCustomError

from kilnfolio.adopt.cells import Cell, Sheet
from kilnfolio.adopt.logs import zone_of
from kilnfolio.adopt.merging import merge
from kilnfolio.adopt.record_file import ChargeFile
from kilnfolio.adopt.record_text import scalar
from kilnfolio.adopt.sheet_columns import Proposal, propose
from kilnfolio.adopt.tables import read_sheets
from kilnfolio.records.charge import Charge
from kilnfolio.records.model import TO_FILL, validate
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.quantities import Mass, Percent, Quantity
from kilnfolio.records.sheet_words import is_total, role_of, roles
from kilnfolio.records.yaml_source import Document, parse_yaml

_UNIT = re.compile(r"[\[(]\s*([^\])]+?)\s*[\])]|[,\s_]\s*(kgs?|g|lbs?|oz|%)\.?$", re.IGNORECASE)
#: Of a heading, no more is looked at: a pattern searched in a page of text takes minutes.
_LONGEST_HEADING = 200
#: A time of day as people write it, behind a date.
_CLOCK = r"(\d{1,2}:\d{2}(?::\d{2})?(?:\s*[AaPp]\.?[Mm]\.?)?)"
_ISO = re.compile(rf"(\d{{4}}-\d{{2}}-\d{{2}})(?:[T ]\s*{_CLOCK})?")
_SLASHED = re.compile(rf"(\d{{1,2}})[./-](\d{{1,2}})[./-](\d{{2}}|\d{{4}})(?:[, ]+{_CLOCK})?")


#: A day as spreadsheets number them, from 2009 to 2064.
_SERIAL_DAY = re.compile(r"[45]\d{4}(?:\.\d+)?")


@dataclass
class Options:
    """What the person said beside the sheet."""

    sheet: str | None = None
    column: list[str] | None = None
    """What a column is, as HEADING=ROLE, where its heading does not say or says otherwise."""
    unit: str | None = None
    decimal: str | None = None
    dates: str | None = None
    time: str | None = None
    by: str | None = None
    at: str | None = None
    method: str | None = None
    instrument: str | None = None
    corrected_for: list[str] | None = None
    wood_temperature: str | None = None
    calibration_temperature: str | None = None
    chosen: str | None = None


@dataclass
class Table:
    """A sheet whose columns are known."""

    sheet: Sheet
    heading: list[Cell]
    rows: list[list[Cell]]
    roles: dict[str, int]
    options: Options
    problems: list[Problem] = field(default_factory=list)
    moments: dict[int, str | None] = field(default_factory=dict)
    """Of columns headed by a day."""
    used: set[int] = field(default_factory=set)
    """Columns that were read."""
    used_rows: set[int] = field(default_factory=set)
    """Rows that were read, by their place in `rows`."""
    left_out: list[str] = field(default_factory=list)
    """What of the sheet is not used, a sentence each."""
    notes: list[str] = field(default_factory=list)
    """What a person must know of what was read, a sentence each."""
    proposed: list[Proposal] = field(default_factory=list)
    """Columns read by what they hold, for a person to confirm."""

    def read_as(self) -> list[str]:
        """Return how each column is read, a sentence each."""
        by_index = {index: role for role, index in self.roles.items()}
        why = {one.column: one.why for one in self.proposed}
        return [
            f"column {re.sub(r'[0-9]', '', cell.where)} '{cell.text}' is read as "
            f"{roles()[by_index[index]].means}" + (f": {why[index]}" if index in why else "")
            for index, cell in enumerate(self.heading)
            if index in by_index and index in self.used
        ]

    def cell(self, row: list[Cell], role: str) -> Cell:
        """Return the cell of a role in a row; an empty one where the sheet has none."""
        index = self.roles.get(role)
        if index is None or index >= len(row):
            return Cell("", row[0].where)
        self.used.add(index)
        return row[index]

    def leave_out_totals(self) -> None:
        """Take out the rows that sum up others; a sum without a label is asked about."""
        kept = []
        for row in self.rows:
            label = next((cell for cell in row if is_total(cell.text)), None)
            if label is None:
                kept.append(row)
            else:
                self.left_out.append(
                    f"row {_row_number(label)} ('{label.text}') sums up others and is left out"
                )
        self.rows = kept

    def _unused_rows(self) -> Iterator[str]:
        """Yield a sentence for each run of rows that gave nothing."""
        idle = [place for place in range(len(self.rows)) if place not in self.used_rows]
        for _, run in groupby(enumerate(idle), key=lambda one: one[1] - one[0]):
            rows = [self.rows[place] for _, place in run]
            first, last = (_row_number(row[0]) for row in (rows[0], rows[-1]))
            named = next(cell.text for cell in rows[0] if cell.text)
            yield (
                f"row {first} ('{named}') gives nothing that is read"
                if len(rows) == 1
                else f"rows {first} to {last} ('{named}', …) give nothing that is read"
            )

    def unused(self) -> list[str]:
        """Return what of the sheet was not used, a sentence each."""
        found = [*self.left_out, *self._unused_rows(), *self.notes]
        for index, head in enumerate(self.heading):
            filled = sum(1 for row in self.rows if index < len(row) and row[index].text)
            if index not in self.used and (head.text or filled):
                letters = re.sub(r"\d", "", head.where)
                named = f"'{head.text}'" if head.text else "(no heading)"
                found.append(
                    f"column {letters} {named} is not used ({filled} "
                    f"cell{'s' if filled != 1 else ''})"
                )
        return found

    def refuse(self, cell: Cell, what: str, why: str, instead: str) -> None:
        """Keep a problem with a cell."""
        self.problems.append(self.sheet.problem(cell, what, why, instead))


@dataclass(frozen=True)
class Kind:
    """Something a sheet can hold."""

    key: str
    words: str
    needs: tuple[tuple[str, ...], ...]
    make: Callable[[Table, Document], str]
    #: Whether the columns of a table with these headings hold it, for the boards of a charge.
    fits: Callable[[Table, list[str]], bool] = lambda table, boards: True  # noqa: ARG005
    #: What the headings must name, where they may do so in several ways.
    told: str = ""
    #: Roles that a column may be given by what it holds.
    proposes: tuple[str, ...] = ()
    #: Those of them that are looked for where the headings name what is needed.
    completes: tuple[str, ...] = ()


def _row_number(cell: Cell) -> str:
    return re.sub(r"\D", "", cell.where)


# --- finding the table ----------------------------------------------------------------------------


def _tables(path: Path, kind: Kind, options: Options, known: list[str]) -> list[Table]:
    found = []
    for sheet in read_sheets(path):
        if options.sheet is not None and sheet.name != options.sheet:
            continue
        for number, row in enumerate(sheet.rows[:30]):
            found_roles = _roles(row, options)
            if any(set(needed) <= found_roles.keys() for needed in kind.needs):
                body = [cells for cells in sheet.rows[number + 1 :] if any(c.text for c in cells)]
                wanted = [role for role in kind.completes if role not in found_roles]
                told = found_roles | _ignored(row, options)
                extra = propose(row, body, told, wanted, {}, options.unit) if wanted else []
                found_roles |= {one.role: one.column for one in extra}
                table = Table(sheet, row, body, found_roles, options, proposed=extra)
                if kind.fits(table, known):
                    found.append(table)
                    break
    return found


def _said(options: Options) -> dict[str, str]:
    """Return the role of each column that was named with ``--column``, by its heading.

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
            raise _refused(
                "--column",
                f"'{words}'",
                "a column is told as HEADING=ROLE",
                f"ROLE is one of {', '.join(names)}, or board:TAG for the masses of a board",
            )
        found[heading.strip()] = names.get(name, name)
    return found


def _roles(row: list[Cell], options: Options) -> dict[str, int]:
    said = _said(options)
    found = {
        said[cell.text]: index for index, cell in enumerate(row) if said.get(cell.text) in roles()
    }
    for index, cell in enumerate(row):
        if cell.text in said:
            continue
        if role := role_of(_UNIT.sub("", cell.text[:_LONGEST_HEADING]), set(found)):
            found[role] = index
    return found


def _lacks(path: Path, kind: Kind, options: Options) -> str:
    """Return what the headings that come nearest lack; empty where no row has any."""
    best: tuple[int, str] = (0, "")
    for sheet in read_sheets(path):
        if options.sheet is not None and sheet.name != options.sheet:
            continue
        for number, row in enumerate(sheet.rows[:30], 1):
            told = _roles(row, options)
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
    """Yield sheets whose columns fit by what they hold, where their headings do not say."""
    for sheet in read_sheets(path):
        if options.sheet is not None and sheet.name != options.sheet:
            continue
        for number, row in enumerate(sheet.rows[:30]):
            body = [cells for cells in sheet.rows[number + 1 :] if any(c.text for c in cells)]
            if len(body) < 2 or not _is_heading(row):
                continue
            known = _roles(row, options)
            fixed = known | _ignored(row, options)
            proposals = propose(row, body, fixed, kind.proposes, boards, options.unit)
            told = known | {one.role: one.column for one in proposals}
            table = Table(sheet, row, body, told, options, proposed=proposals)
            if any(set(needed) <= told.keys() for needed in kind.needs) and kind.fits(
                table, list(boards)
            ):
                yield table
                break


def _ignored(row: list[Cell], options: Options) -> dict[str, int]:
    """Return the columns that are said to be ignored, each under a name of its own."""
    said = _said(options)
    return {
        f"ignored {index}": index
        for index, cell in enumerate(row)
        if said.get(cell.text) == "ignore"
    }


def _is_heading(row: list[Cell]) -> bool:
    """Return whether a row without a known heading may be one: words, no readings."""
    texts = [cell.text for cell in row if cell.text]
    return len(texts) > 1 and not any(
        re.fullmatch(r"[-+]?[\d.,:/]+", text) or is_day(text) for text in texts
    )


def _the_table(
    path: Path,
    kind: Kind,
    options: Options,
    known: list[str],
    boards: Mapping[str, tuple[float, float]],
) -> Table:
    tables = _tables(path, kind, options, known) or list(
        _proposed_tables(path, kind, options, boards)
    )
    if len(tables) == 1:
        return tables[0]
    if tables:
        names = ", ".join(f"'{table.sheet.name}'" for table in tables)
        raise _refused(
            path.name,
            f"{len(tables)} sheets could hold {kind.words}: {names}",
            "which one is meant, only you can tell",
            "Say it with --sheet NAME",
        )
    needed = kind.told or " and ".join(roles()[role].means for role in kind.needs[0])
    raise _refused(
        path.name,
        f"no sheet holds {kind.words}" + (f" (of '{options.sheet}')" if options.sheet else ""),
        f"one row of headings must name {needed}{_lacks(path, kind, options)}",
        "Write these headings in the sheet",
    )


def _refused(where: str, what: str, why: str, instead: str) -> RecordProblems:
    return RecordProblems([Problem(Place(where), what, why, instead)])


# --- cells ----------------------------------------------------------------------------------------


def _unit_of(cell: Cell) -> str | None:
    found = _UNIT.search(cell.text[:_LONGEST_HEADING])
    unit = next(filter(None, found.groups())) if found else None
    return unit and _PLURAL.get(unit.rstrip(".").lower(), unit)


#: Units as headings have them and records do not.
_PLURAL = {"lbs": "lb", "kgs": "kg", "grams": "g", "pounds": "lb", "ounces": "oz"}


def _quantity(table: Table, cell: Cell, heading: Cell, kind: type[Quantity]) -> str | None:
    """Return a quantity as a record writes it; keep a problem where it is none."""
    text = cell.text
    if table.options.decimal:
        text = text.replace(",", "." if table.options.decimal == "," else "")
    if re.fullmatch(r"[-+]?\d+([.,]\d+)?", text):
        unit = _unit_of(heading) or table.options.unit or kind.bare_unit
        if unit is None:
            table.refuse(
                cell,
                f"'{text}'",
                "it has no unit, and neither has its heading",
                "Say it with --unit g, or write the unit into the heading",
            )
            return None
        text = f"{text} {unit}"
    try:
        return kind.parse(text).entered
    except PydanticCustomError as error:
        context = error.context or {}
        why, instead = context.get("why", "cannot be read"), context.get("instead", "")
        if "comma" in why:
            instead += ", or say for the whole sheet --decimal , or --decimal ."
        table.refuse(cell, f"'{cell.text}'", why, instead)
        return None


def _moment(table: Table, row: list[Cell]) -> str | None:
    """Return the time of a row as a record writes it."""
    return _moment_of(table, table.cell(row, "at"), table.cell(row, "time").text)


def _moment_of(table: Table, cell: Cell, clock: str = "") -> str | None:
    """Return the time in a cell, the time of day from beside it where it has none."""
    clock = clock or table.options.time or ""
    day: str | None = None
    if iso := _ISO.fullmatch(cell.text):
        day, clock = iso[1], iso[2] or clock
    elif slashed := _SLASHED.fullmatch(cell.text):
        day, clock = _slashed_day(table, cell, slashed), slashed[4] or clock
        if day is None:
            return None
    elif re.fullmatch(r"\d{5}(\.\d+)?", cell.text):
        number = dt.datetime(1899, 12, 30) + dt.timedelta(  # noqa: DTZ001  a local day
            minutes=round(float(cell.text) * 1440)
        )
        day = f"{number:%Y-%m-%d}"
        clock = f"{number:%H:%M}" if "." in cell.text else clock
    if day is None and not cell.text:
        table.refuse(
            cell,
            "",
            "this row has no date",
            "Write it into the sheet, or name the column of dates with --column 'HEADING=date'",
        )
        return None
    if day is None:
        table.refuse(
            cell,
            f"'{cell.text}'",
            "it is not a date",
            "Write it as in 2026-03-02, or 2/3/2026 with --dates day-first",
        )
        return None
    twelve = re.fullmatch(r"(\d{1,2}):(\d{2})(?::\d{2})?\s*([AaPp])\.?[Mm]\.?", clock)
    if twelve:
        clock = f"{int(twelve[1]) % 12 + 12 * (twelve[3].lower() == 'p'):02}:{twelve[2]}"
    if not re.fullmatch(r"\d{1,2}:\d{2}(:\d{2})?", clock):
        table.refuse(
            cell,
            f"'{cell.text}'",
            "it has no time of day" if not clock else f"'{clock}' is not a time of day",
            "Add a column 'Time', or say it for all rows with --time 07:10",
        )
        return None
    moment = f"{day}T{clock.partition(':')[0].zfill(2)}:{clock.split(':')[1]}"
    try:
        dt.datetime.fromisoformat(moment)
    except ValueError:
        table.refuse(
            cell,
            f"'{cell.text}'" + (f" and '{clock}'" if clock not in cell.text else ""),
            "no calendar and no clock show that time",
            "Check day, month and time of day",
        )
        return None
    return moment


def _slashed_day(table: Table, cell: Cell, found: re.Match[str]) -> str | None:
    first, second = int(found[1]), int(found[2])
    year = int(found[3]) + (2000 if len(found[3]) == 2 else 0)
    if "." in cell.text.split()[0] and table.options.dates is None:
        day, month = first, second  # with points, the day always stands first
    elif table.options.dates == "day-first":
        day, month = first, second
    elif table.options.dates == "month-first":
        day, month = second, first
    elif first > 12 or second > 12 or first == second:
        day, month = (first, second) if first > 12 else (second, first)
    else:
        table.refuse(
            cell,
            f"'{cell.text}'",
            f"it may be {year}-{second:02}-{first:02} or {year}-{first:02}-{second:02}",
            "Say it with --dates day-first or --dates month-first",
        )
        return None
    try:
        return dt.date(year, month, day).isoformat()
    except ValueError:
        table.refuse(
            cell,
            f"'{cell.text}'",
            "no calendar has that day",
            "Check it, and --dates if it was given",
        )
        return None


# --- what a sheet can hold ------------------------------------------------------------------------


def _boards_of(charge: Document) -> list[str]:
    boards = charge.value.get("boards") if isinstance(charge.value, dict) else None
    return [str(board["id"]) for board in boards or [] if isinstance(board, dict) and "id" in board]


def _weighings(table: Table, charge: Document) -> str:
    known = _boards_of(charge)
    rounds: dict[str, dict[str, str]] = {}
    who: dict[str, str] = {}
    for place, row in enumerate(table.rows):
        for at, tag, cell, heading in _masses(table, row, known):
            table.used_rows.add(place)
            mass = _quantity(table, cell, heading, Mass)
            if mass and at:
                if tag in rounds.setdefault(at, {}):
                    table.refuse(
                        cell,
                        f"'{cell.text}'",
                        f"board {tag} was weighed already at {at}",
                        "Keep the one that stands",
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
    """Yield time, board, cell and heading of each mass: one a row, a board or a day a column."""
    if {"board", "mass"} <= table.roles.keys():
        cell = table.cell(row, "mass")
        if cell.text and (board := _known_board(table, row, known)):
            yield _moment(table, row), board, cell, table.heading[table.roles["mass"]]
        return
    if days := _days(table):
        filled = [index for index in days if index < len(row) and row[index].text]
        table.used.update(days)
        board = _known_board(table, row, known) if filled else ""
        for index in filled if board else ():
            if index not in table.moments:
                table.moments[index] = _moment_of(table, days[index])
            yield table.moments[index], board, row[index], days[index]
        return
    boards = _board_columns(table, known)
    table.used.update(boards)
    filled = [index for index in boards if index < len(row) and row[index].text]
    at = _moment(table, row) if filled else None
    for index in filled:
        yield at, boards[index], row[index], table.heading[index]


def _known_board(table: Table, row: list[Cell], known: list[str]) -> str:
    """Return the board of a row; empty where the charge has no such board, which is then said."""
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


def _days(table: Table) -> dict[int, Cell]:
    """Return the headings that are days, where each row is of a board."""
    if "board" not in table.roles or "mass" in table.roles:
        return {}
    return {index: cell for index, cell in enumerate(table.heading) if is_day(cell.text)}


def is_day(heading: str) -> bool:
    """Return whether a heading is a day, as 2026-03-02, 2/3/2026 or a spreadsheet's 46083."""
    return any(shape.fullmatch(heading) for shape in (_ISO, _SLASHED, _SERIAL_DAY))


def _board_columns(table: Table, known: list[str]) -> dict[int, str]:
    """Return the columns headed by a board's tag."""
    taken = {table.roles[role] for role in ("at", "time", "by") if role in table.roles}
    return {
        index: tag
        for index, head in enumerate(table.heading)
        if index not in taken and head.text and (tag := _told_tag(table, head, known))
    }


def _told_tag(table: Table, heading: Cell, known: list[str]) -> str | None:
    """Return the board a column is of, by ``--column`` or by its heading."""
    said = _said(table.options).get(heading.text)
    if said is None:
        return _tag(heading, known)
    return said.removeprefix("board:") if said.startswith("board:") else None


def _tag(heading: Cell, known: list[str]) -> str | None:
    """Return the board a column is of; None where it is another column."""
    text = _UNIT.sub("", heading.text[:_LONGEST_HEADING]).strip()
    short = re.sub(r"^(board|sample)\s+", "", text, flags=re.IGNORECASE)
    if known:
        return next((tag for tag in known if tag in (text, short)), None)
    return short if re.fullmatch(r"[A-Za-z]{0,3}[-. ]?\d{1,3}[A-Za-z]?", short) else None


def _boards(table: Table, charge: Document) -> str:
    del charge
    boards: dict[str, list[str]] = {}
    heads: dict[str, list[str]] = {}
    for place, row in enumerate(table.rows):
        tag = table.cell(row, "board").text
        if not tag:
            continue
        table.used_rows.add(place)
        section = table.cell(row, "section").text
        masses = {
            role: _quantity(table, table.cell(row, role), table.heading[table.roles[role]], Mass)
            if role == "green" or table.cell(row, role).text
            else TO_FILL
            for role in ("green", "oven_dry")
        }
        if masses["oven_dry"] == TO_FILL:
            table.notes.append(
                f"section {section} of board {tag} has no oven-dry mass yet: it is taken for in "
                "the oven. Bring the sheet again when it is out"
            )
        boards.setdefault(tag, []).append(
            f"      - {{id: {scalar(section)}, green: {masses['green']}, "
            f"oven_dry: {masses['oven_dry']}}}"
        )
        mass = table.cell(row, "board_mass")
        if mass.text and tag not in heads:
            told = _quantity(table, mass, table.heading[table.roles["board_mass"]], Mass)
            by = table.cell(row, "by").text or table.options.by
            if not by:
                table.refuse(
                    table.cell(row, "board"),
                    f"board '{tag}'",
                    "nobody is named who cut and weighed it",
                    "Add a column 'By', or say it with --by NAME",
                )
            heads[tag] = [
                f"    green_mass: {told}",
                f"    weighed_at: {_moment(table, row)}",
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


def _survey(table: Table, charge: Document) -> str:
    del charge
    options, heading = table.options, table.heading[table.roles["mc"]]
    lacking = [f"--{name}" for name in ("at", "by", "method") if not getattr(options, name)]
    if lacking:
        raise _refused(
            table.sheet.file,
            "the sheet does not say when, by whom and how",
            "a survey without them shows nothing",
            f"Say it with {', '.join(lacking)}, "
            "as in --at 2026-03-30T10:00 --by 'A. N. Other' --method 'resistance meter'",
        )
    lines = [
        "survey:",
        f"  at: {options.at}",
        f"  by: {scalar(options.by or '')}",
        f"  method: {options.method}",
    ]
    lines += [
        f"  {name}: {value}"
        for name in ("instrument", "wood_temperature", "calibration_temperature", "chosen")
        if (value := getattr(options, name))
    ]
    if options.corrected_for:
        lines.append(f"  corrected_for: [{', '.join(options.corrected_for)}]")
    lines.append("  readings:")
    _ask_about_sum(table)
    for place, row in enumerate(table.rows):
        cell = table.cell(row, "mc")
        if not cell.text:
            continue
        table.used_rows.add(place)
        parts = [f"mc: {_quantity(table, cell, heading, Percent)}"]
        parts += [
            f"{role}: {scalar(table.cell(row, role).text)}"
            for role in ("pack", "position")
            if table.cell(row, role).text
        ]
        lines.append(f"    - {{{', '.join(parts)}}}")
    return "\n".join(lines) + "\n"


def _ask_about_sum(table: Table) -> None:
    """Refuse a last row that may be the mean of the others: it alone names no pack or position."""
    named = [role for role in ("pack", "position") if role in table.roles]
    rows = [row for row in table.rows if table.cell(row, "mc").text]
    if (
        not named
        or len(rows) < 3
        or any(table.cell(rows[-1], role).text for role in named)
        or not all(any(table.cell(row, role).text for role in named) for row in rows[:-1])
    ):
        return
    cell = table.cell(rows[-1], "mc")
    values = [_number(table.cell(row, "mc").text) for row in rows]
    if None in values:
        return
    *others, last = (value for value in values if value is not None)
    if abs(last - sum(others) / len(others)) <= 0.06:
        table.refuse(
            cell,
            f"'{cell.text}'",
            f"it is the mean of the rows above and names no {named[0]}",
            "Is it their average? Then delete the row or label it "
            f"'Average'; if it is a piece, name its {named[0]}",
        )


def _number(text: str) -> float | None:
    found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*%?\s*", text)
    return float(found[1].replace(",", ".")) if found else None


#: By the word after ``import``.
SHEETS: Mapping[str, Kind] = {
    "weighings": Kind(
        "weighings",
        "weighings",
        (("at", "board", "mass"), ("at",), ("board",)),
        _weighings,
        lambda table, known: (
            {"at", "board", "mass"} <= table.roles.keys()
            or bool(_board_columns(table, known) if "at" in table.roles else _days(table))
        ),
        "a date, a board and a mass; or a date and the tag of each board; or a board and each date",
        ("at", "time", "board", "mass"),
    ),
    "boards": Kind(
        "boards",
        "sample boards with their sections",
        (("board", "section", "green", "oven_dry", "board_mass"),),
        _boards,
        proposes=("at", "time", "section", "green", "oven_dry", "board_mass"),
        completes=("at", "time"),
    ),
    "survey": Kind("survey", "a survey", (("mc",),), _survey, proposes=("mc",)),
}


# --- into the charge ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Brought:
    """What a sheet brings to a charge.

    Attributes
    ----------
    file : ChargeFile
        The charge's record, edited and not yet written.
    part : str
        What is new in it, as the record holds it; empty where the charge has all of it.
    same : int
        Values of the sheet that the charge has already.
    sheet : str
        The sheet's name.
    unused : tuple of str
        What of the sheet is not used: columns and rows, a sentence each.
    read_as : tuple of str
        How each column is read, a sentence each.
    proposed : tuple of str
        HEADING=ROLE of each column that was read by what it holds, for a person to confirm.
    headings : tuple of str
        The headings, by which a sheet of this kind is known again.
    """

    file: ChargeFile
    part: str
    same: int
    sheet: str
    unused: tuple[str, ...]
    read_as: tuple[str, ...]
    proposed: tuple[str, ...]
    headings: tuple[str, ...]

    @property
    def name(self) -> str:
        """The charge's file."""
        return self.file.name


def bring(root: Path, path: Path, kind: Kind, charge: str, options: Options) -> Brought:
    """Read a sheet and put what is new in it into a charge's text; nothing is written.

    Parameters
    ----------
    root : Path
        The mill folder.
    path : Path
        The sheet.
    kind : Kind
        One of `SHEETS`.
    charge : str
        The charge's number.
    options : Options
        What the sheet leaves open.

    Raises
    ------
    RecordProblems
        A cell cannot be read, the charge says otherwise, or it would not be read with the part.
    """
    file = ChargeFile.open(root, charge)
    name, document, text = file.name, file.record.document, file.record.text
    table = _the_table(path, kind, options, _boards_of(document), _board_masses(file))
    table.leave_out_totals()
    part = kind.make(table, document)
    if table.problems:
        raise RecordProblems(_first_of_each(table.problems))
    if "\n" not in part.rstrip("\n"):
        raise _refused(
            path.name,
            f"the sheet holds no {kind.words}",
            "below its headings no row could be told",
            "For weighings, head each column with a board's tag",
        )
    alone = _without(document, text, kind.key).rstrip("\n") + "\n" + part
    _fits(root, name, alone, text)
    brought = parse_yaml(part.encode(), path.name)
    added, same = part, 0
    if isinstance(document.value, dict) and document.value.get(kind.key):
        merged = merge(file, kind.key, brought, zone_of(root))
        added = f"{kind.key}:\n" + "\n".join(merged.added) + "\n" if merged.new else ""
        same = merged.same
    else:
        file.record.put((kind.key,), brought.value[kind.key])
    file.check()
    return Brought(
        file,
        added,
        same,
        path.name,
        tuple(table.unused()),
        tuple(table.read_as()),
        tuple(
            f"{table.heading[one.column].text}={roles()[one.role].name}" for one in table.proposed
        ),
        tuple(cell.text for cell in table.heading),
    )


def _board_masses(file: ChargeFile) -> dict[str, tuple[float, float]]:
    """Return oven-dry and green mass of each board of a charge, by tag [g]."""
    found = {}
    for board in file.record.at(("boards",)) or []:
        try:
            sections = [
                (Mass.parse(one["green"]).value, Mass.parse(one["oven_dry"]).value)
                for one in board["sections"]
            ]
            green = Mass.parse(board["green_mass"]).value
            found[str(board["id"])] = (
                green * sum(dry for _, dry in sections) / sum(wet for wet, _ in sections),
                green,
            )
        except (KeyError, TypeError, ZeroDivisionError, PydanticCustomError):
            continue  # a board that is still being written
    return found


def _first_of_each(problems: list[Problem]) -> Iterator[Problem]:
    """Yield what is wrong in the same way in many cells of a column once, with how often."""
    alike: dict[tuple[int, str, str], list[Problem]] = {}
    for one in problems:
        alike.setdefault((one.place.column, one.why, one.instead), []).append(one)
    for first, *others in alike.values():
        yield (
            replace(first, what=f"{first.what} (and {len(others)} more such cells)")
            if others
            else first
        )


def _without(document: Document, text: str, key: str) -> str:
    """Return a record's text without one of its keys and all that stands below it."""
    if not isinstance(document.value, dict) or key not in document.value:
        return text
    lines = text.split("\n")
    first = document.key_place(key).line - 1
    after = [document.key_place(other).line - 1 for other in document.value]
    end = min((line for line in after if line > first), default=len(lines))
    return "\n".join(lines[:first] + lines[end:])


def _fits(root: Path, name: str, text: str, before: str) -> None:
    """Raise what is wrong now and was not before; what was wrong before stays for `check`."""
    zone = zone_of(root)
    known = {(one.what, one.why) for one in _wrong(name, before, zone)}
    if wrong := [one for one in _wrong(name, text, zone) if (one.what, one.why) not in known]:
        raise RecordProblems(wrong)


def _wrong(name: str, text: str, zone: ZoneInfo) -> tuple[Problem, ...]:
    try:
        validate(parse_yaml(text.encode(), name), Charge, zone=zone)
    except RecordProblems as error:
        return tuple(one for one in error.problems if not one.absent)
    return ()


def write_brought(brought: Brought) -> None:
    """Write a charge's new text."""
    brought.file.save(f"import of {brought.sheet}")
