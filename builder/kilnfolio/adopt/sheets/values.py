"""Reads masses, percentages and times in the cells of a table."""

from __future__ import annotations

import datetime as dt
import re

from pydantic_core import PydanticCustomError

from kilnfolio.adopt.cells import Cell
from kilnfolio.adopt.sheets.table import Table
from kilnfolio.records.quantities import Quantity

_UNIT = re.compile(
    r"[\[(]\s*([^\])]+?)\s*[\])]|[,\s_]\s*(kgs?|g|lbs?|oz|%|pct|percent)\.?$", re.IGNORECASE
)
#: Spellings of units in headings that records do not use.
_PLURAL = {
    "lbs": "lb",
    "kgs": "kg",
    "grams": "g",
    "pounds": "lb",
    "ounces": "oz",
    "pct": "%",
    "percent": "%",
}
#: Most characters of a heading that are searched: patterns on a page of text take minutes.
_LONGEST_HEADING = 200
#: A time of day after a date, as people write it.
_CLOCK = r"(\d{1,2}:\d{2}(?::\d{2})?(?:\s*[AaPp]\.?[Mm]\.?)?)"
_ISO = re.compile(rf"(\d{{4}}-\d{{2}}-\d{{2}})(?:[T ]\s*{_CLOCK})?")
_SLASHED = re.compile(rf"(\d{{1,2}})[./-](\d{{1,2}})[./-](\d{{2}}|\d{{4}})(?:[, ]+{_CLOCK})?")
#: Dates as spreadsheets number them, from 2009 to 2064.
_SERIAL_DAY = re.compile(r"[45]\d{4}(?:\.\d+)?")

#: Hours since heating began that a record can mean: boards are weighed before, thick oak takes a year.
_HOURS = (-1000, 20_000)


def without_unit(heading: str) -> str:
    """Return a heading without its unit."""
    return _UNIT.sub("", heading[:_LONGEST_HEADING])


def unit_of(cell: Cell) -> str | None:
    """Return the unit a heading names."""
    found = _UNIT.search(cell.text[:_LONGEST_HEADING])
    unit = next(filter(None, found.groups())) if found else None
    return unit and _PLURAL.get(unit.rstrip(".").lower(), unit)


def quantity_text(table: Table, cell: Cell, heading: Cell, kind: type[Quantity]) -> str | None:
    """Return a quantity as a record writes it; record a problem if it is not one."""
    text = cell.text
    if table.options.decimal:
        text = text.replace(",", "." if table.options.decimal == "," else "")
    if re.fullmatch(r"[-+]?\d+([.,]\d+)?", text):
        unit = unit_of(heading) or table.options.unit or kind.bare_unit
        if unit is None:
            table.refuse(
                cell,
                f"'{text}'",
                "it has no unit, and neither has its heading",
                "Give it with --unit g, or write the unit into the heading",
            )
            return None
        text = f"{text} {unit}"
    try:
        return kind.parse(text).entered
    except PydanticCustomError as error:
        context = error.context or {}
        why, instead = context.get("why", "cannot be read"), context.get("instead", "")
        if "comma" in why:
            instead += ", or give --decimal , or --decimal . for the whole sheet"
        table.refuse(cell, f"'{cell.text}'", why, instead)
        return None


def row_time(table: Table, row: list[Cell]) -> str | None:
    """Return the time of a row as a record writes it, from its date or its hours."""
    if "hours" in table.roles and "at" not in table.roles:
        return _hours_text(table, table.cell(row, "hours"))
    return time_text(table, table.cell(row, "at"), table.cell(row, "time").text)


def _hours_text(table: Table, cell: Cell) -> str | None:
    """Return the local time some hours after heating began."""
    hours = number_in(cell.text)
    if hours is None or not _HOURS[0] <= hours <= _HOURS[1]:
        table.refuse(
            cell,
            f"'{cell.text}'",
            f"it is not a number of hours since heating began, {_HOURS[0]} to {_HOURS[1]}",
            "Write it as in 24 or 37.5; a column of dates is named with --column 'HEADING=date'",
        )
        return None
    if table.started is None:
        table.refuse(
            cell,
            f"'{cell.text}' hours since heating began",
            "the charge does not say when that was",
            "Write 'started' in its record first, as in 2026-03-02T08:00",
        )
        return None
    moment = moment_after(table.started, hours)
    repeated = moment.utcoffset() != moment.replace(fold=1 - moment.fold).utcoffset()
    return (moment if repeated else moment.replace(tzinfo=None)).isoformat("T", "minutes")


def moment_after(started: dt.datetime, hours: float) -> dt.datetime:
    """Return the moment some hours after another, to the minute, in the same zone."""
    later = started.astimezone(dt.UTC) + dt.timedelta(minutes=round(60.0 * hours))
    return later.astimezone(started.tzinfo)


def number_in(text: str) -> float | None:
    """Return the number in a cell; None if it is anything else."""
    found = re.fullmatch(r"[-+]?\d{1,9}(?:[.,]\d{1,9})?", text)
    return float(text.replace(",", ".")) if found else None


def time_text(table: Table, cell: Cell, clock: str = "") -> str | None:
    """Return the time in a cell, with the time of day from another cell if it has none."""
    clock = clock or table.options.time or ""
    day: str | None = None
    if iso := _ISO.fullmatch(cell.text):
        day, clock = iso[1], iso[2] or clock
    elif slashed := _SLASHED.fullmatch(cell.text):
        day, clock = _slashed_day(table, cell, slashed), slashed[4] or clock
        if day is None:
            return None
    elif re.fullmatch(r"\d{5}(\.\d+)?", cell.text):
        number = dt.datetime(1899, 12, 30) + dt.timedelta(  # noqa: DTZ001  a local date
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
            "Add a column 'Time', or give it for all rows with --time 07:10",
        )
        return None
    moment = f"{day}T{clock.partition(':')[0].zfill(2)}:{clock.split(':')[1]}"
    try:
        dt.datetime.fromisoformat(moment)
    except ValueError:
        table.refuse(
            cell,
            f"'{cell.text}'" + (f" and '{clock}'" if clock not in cell.text else ""),
            "there is no such date or time",
            "Check day, month and time of day",
        )
        return None
    return moment


def _slashed_day(table: Table, cell: Cell, found: re.Match[str]) -> str | None:
    first, second = int(found[1]), int(found[2])
    year = int(found[3]) + (2000 if len(found[3]) == 2 else 0)
    if "." in cell.text.split()[0] and table.options.dates is None:
        day, month = first, second  # with full stops, the day always comes first
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
            "Give it with --dates day-first or --dates month-first",
        )
        return None
    try:
        return dt.date(year, month, day).isoformat()
    except ValueError:
        table.refuse(
            cell,
            f"'{cell.text}'",
            "there is no such day",
            "Check it, and --dates if it was given",
        )
        return None


def is_day(heading: str) -> bool:
    """Return whether a heading is a date, as 2026-03-02, 2/3/2026 or a spreadsheet's 46083."""
    return any(shape.fullmatch(heading) for shape in (_ISO, _SLASHED, _SERIAL_DAY))
