"""A logger profile: how one kind of export is read, so that nothing is guessed."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from kilnfolio.records.kiln import Channel
from kilnfolio.records.model import Name, Record, Slug, Text


class TimeColumn(Record):
    """How the export writes the time."""

    heading: Name
    """Heading of the column; the date column where date and time stand apart."""
    time_heading: Name | None = None
    """Heading of the time column, where date and time stand apart."""
    format: Name
    """As in '%d/%m/%Y %H:%M' (the codes of strftime)."""
    clock: Literal["local", "standard", "utc"]
    """local: follows daylight saving; standard: the zone's winter time all year; utc."""
    repeated_hour: Literal["by row order"] | None = None
    """How the hour that autumn repeats is told apart, for a local clock."""


class Column(Record):
    """One column of the export."""

    heading: Name
    """The heading, exactly as the file has it."""
    channel: Channel
    """What it measures."""
    unit: Literal["°C", "°F", "K", "%", "fraction", "on/off"]
    """Unit of the numbers. A depression in Fahrenheit degrees is '°F'."""


class LoggerProfile(Record):
    """``content/loggers/ID.yaml``."""

    format: Literal[1]
    """The record format."""
    id: Slug
    """Name charges use."""
    title: Text
    """What writes this export."""
    encoding: Literal["utf-8", "latin-1", "windows-1252", "utf-16"] = "utf-8"
    """Text encoding."""
    delimiter: Literal[",", ";", "tab", "|"]
    """What stands between columns."""
    decimal: Literal[".", ","]
    """What stands before decimals."""
    heading_rows: Annotated[int, Field(ge=1, le=5)] = 1
    """Rows before the data."""
    names_row: Annotated[int, Field(ge=1, le=5)] = 1
    """Which of the heading rows holds the names below."""
    time: TimeColumn
    """The time column."""
    interval_minutes: Annotated[float, Field(gt=0, le=240)]
    """Minutes between rows."""
    columns: list[Column]
    """The columns that are used."""
    ignored: list[Name] = []
    """Headings that are known and not used; any other heading is refused."""
    missing: list[Name] = []
    """Marks for a missing value, as in '-999' or '----'."""
