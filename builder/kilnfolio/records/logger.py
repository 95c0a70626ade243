"""A logger profile: describes one kind of export, so that nothing is guessed."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from kilnfolio.records.kiln import Channel
from kilnfolio.records.model import Name, Record, Slug, Text, record_error

#: A time as a plain number, as in spreadsheets (days since 1899-12-30) and computers (seconds since
#: 1970-01-01).
SERIAL = re.compile(r"(days|seconds) since (\d{4}-\d{2}-\d{2})")

#: The longest interval at which rows still show what a kiln does [min].
LONGEST_INTERVAL = 240

#: An afternoon, on a day that cannot be a month, which a format must write and read unchanged.
_PROBE = dt.datetime.fromisoformat("2031-11-28T17:46:00+03:00")


def _time_format(text: str) -> str:
    if SERIAL.fullmatch(text):
        return text
    try:
        read = dt.datetime.strptime(_PROBE.strftime(text), text).replace(tzinfo=_PROBE.tzinfo)
    except (ValueError, re.error):
        read = None
    if read != _PROBE:
        raise record_error(
            text,
            f"it does not tell the moment of a row: {_PROBE:%Y-%m-%d %H:%M} comes back as "
            + (f"{read:%Y-%m-%d %H:%M}" if read else "no time at all"),
            "Write it as in '%d/%m/%Y %H:%M', or '%m/%d/%Y %I:%M %p' for a 12-hour clock, or 'days "
            "since 1899-12-30' for a spreadsheet's day number",
        )
    return text


class TimeColumn(Record):
    """How the export writes the time."""

    heading: Name
    """Heading of the column; of the date column if date and time are in two columns."""
    time_heading: Name | None = None
    """Heading of the time column, if date and time are in two columns."""
    format: Annotated[Name, AfterValidator(_time_format)]
    """As in '%d/%m/%Y %H:%M' (the codes of strftime; date, a space and time if they are in two
    columns), or 'days since 1899-12-30' for the day number of a spreadsheet."""
    clock: Literal["local", "standard", "utc", "offset"]
    """local: follows daylight saving; standard: the zone's winter time all year; utc; offset: every
    time carries its own (%z)."""
    repeated_hour: Literal["by row order"] | None = None
    """How to tell apart the hour repeated in autumn, for a local clock."""

    @model_validator(mode="after")
    def _offset_where_written(self) -> Self:
        if ("%z" in self.format) != (self.clock == "offset"):
            raise record_error(
                self.clock,
                "'clock: offset' and '%z' in the format go together",
                "Write both where every time carries its offset, else neither",
                at=("clock",),
            )
        return self


#: Units that a column may have, by channel; all other channels are temperatures.
_TEMPERATURE = ("°C", "°F")
_UNITS = {
    "depression": ("K", *_TEMPERATURE),
    "relative-humidity": ("%", "fraction"),
    "vent": ("%", "fraction", "on/off"),
    "spray": ("on/off", "%", "fraction"),
    "fan": ("on/off", "%", "fraction"),
    "emc": ("%",),
    **{f"pin-{n}": ("%",) for n in range(1, 10)},
}


class Column(Record):
    """One column of the export."""

    heading: Name
    """The heading, exactly as in the file."""
    channel: Channel
    """What the column measures."""
    unit: Literal["°C", "°F", "K", "%", "fraction", "on/off"]
    """Unit of the numbers. A depression in Fahrenheit degrees is '°F'."""

    @model_validator(mode="after")
    def _unit_of_channel(self) -> Self:
        units = _UNITS.get(self.channel, _TEMPERATURE)
        if self.unit not in units:
            raise record_error(
                self.unit,
                f"{self.channel} is not measured in {self.unit}",
                f"Write one of {', '.join(units)}, or another channel",
                at=("unit",),
            )
        return self


class LoggerProfile(Record):
    """``content/loggers/ID.yaml``."""

    format: Literal[1]
    """The record format."""
    id: Slug
    """The name charges use for it."""
    title: Text
    """What writes this export."""
    encoding: Literal["utf-8", "latin-1", "windows-1252", "utf-16"] = "utf-8"
    """Text encoding."""
    delimiter: Literal[",", ";", "tab", "|"]
    """The character between columns."""
    decimal: Literal[".", ","]
    """The decimal separator."""
    heading_rows: Annotated[int, Field(ge=1, le=5)] = 1
    """Rows before the data."""
    names_row: Annotated[int, Field(ge=1, le=5)] = 1
    """Which of the heading rows holds the names below."""
    time: TimeColumn
    """The column or columns of the time."""
    interval_minutes: Annotated[float, Field(gt=0, le=LONGEST_INTERVAL)]
    """Minutes between two rows."""
    columns: Annotated[list[Column], Field(min_length=1)]
    """The columns that are used."""
    ignored: list[Name] = []
    """Headings of columns that are not used; any other heading is refused."""
    missing: list[Name] = []
    """Marks for a missing value, as in '-999' or '----'."""
    ignored_rows: list[Name] = []
    """Beginnings of cells that mark rows without readings, as in 'EVENT'; they are counted."""

    @property
    def headings(self) -> list[str]:
        """The headings that are read: those of the time, then of the columns."""
        return [
            self.time.heading,
            *filter(None, [self.time.time_heading]),
            *(column.heading for column in self.columns),
        ]

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        if self.names_row > self.heading_rows:
            raise record_error(
                self.names_row,
                f"the export has {self.heading_rows} heading rows",
                "Write the row that holds the names, counted from the first line",
                at=("names_row",),
            )
        channels: list[str] = [column.channel for column in self.columns]
        for what, names in (("channel", channels), ("heading", [*self.headings, *self.ignored])):
            twice = next((name for name in names if names.count(name) > 1), None)
            if twice:
                raise record_error(
                    twice,
                    f"the {what} stands twice in this profile",
                    "Keep one of them",
                    at=("columns",),
                )
        return self
