"""Reads the air of a charge from a sheet, as older records have it.

A logger's export goes in by ``import log`` and stays as it is. A table of means, for one charge or
many, by dates or by hours since heating began, is not a logger's file: the rows of the charge are
written to a log beside its record, with times in UTC and every number as the sheet has it.
"""

from __future__ import annotations

import datetime as dt
import itertools
import statistics
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from kilnfolio.adopt.log_columns import Guess, found_columns
from kilnfolio.adopt.logs import attach, zone_of
from kilnfolio.adopt.record_file import ChargeFile
from kilnfolio.adopt.sheets.headings import find_table
from kilnfolio.adopt.sheets.importing import began, first_of_each
from kilnfolio.adopt.sheets.table import Kind, Options, Table, refusal
from kilnfolio.adopt.sheets.values import number_in, row_time
from kilnfolio.adopt.starter import schema_comment
from kilnfolio.adopt.writing import write_new
from kilnfolio.records.logger import LONGEST_INTERVAL, LoggerProfile
from kilnfolio.records.model import Moment
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass

_KIND = Kind(
    "log",
    "air",
    (("at",), ("time",), ("hours",)),
    lambda table, charge: "",  # noqa: ARG005  the air goes into a file, not into the record
    told="a date, or hours since heating began, and the bulbs",
    proposes=("at", "time"),
)
_FILE = "air.csv"
_HUMIDITY = ("wet-bulb", "depression", "relative-humidity", "emc")


@dataclass(frozen=True)
class AirImport:
    """What a sheet of air adds to a charge; for the attributes see `importing.SheetImport`."""

    root: Path
    name: str
    charge: str
    profile: str
    profile_text: str
    log: str
    part: str
    unused: tuple[str, ...]
    read_as: tuple[str, ...]
    headings: tuple[str, ...]
    same: int = 0
    proposed: tuple[str, ...] = ()

    def save(self) -> None:
        """Write the profile and the log, and name the log in the charge's record."""
        name = f"content/loggers/{self.profile}.yaml"
        if not (self.root / name).exists():
            write_new(self.root, {name: self.profile_text})
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / _FILE
            path.write_text(self.log, "utf-8")
            attach(self.root, path, self.profile, self.charge)


def import_air(root: Path, path: Path, charge: str, options: Options) -> AirImport:
    """Read the air of a charge from a sheet, without writing anything.

    Parameters
    ----------
    root, path : Path
        The mill folder and the sheet.
    charge : str
        The charge's number.
    options : Options
        What the sheet does not say; a column may be given as ``HEADING=channel:unit``.

    Raises
    ------
    RecordProblems
        A cell cannot be read, or the sheet has no dry bulb or nothing that gives the humidity.
    """
    record = ChargeFile.open(root, charge)
    told = _told(options)
    table = find_table(path, _KIND, _without(options, told), [], {})
    table.leave_out_totals()
    table.leave_out_others(charge)
    table.started = began(root, record.record.document)
    columns = _channels(table, told)
    zone = table.started.tzinfo if table.started else zone_of(root)
    rows = _rows(table, [index for index, _ in columns], zone)
    if table.problems:
        raise RecordProblems(first_of_each(table.problems))
    apart = _minutes_apart(path, [at for at, _ in rows])
    channels = [guess for _, guess in columns]
    profile, text = _profile(channels, apart)
    validate(parse_yaml(text.encode(), f"content/loggers/{profile}.yaml"), LoggerProfile)
    lines = ["Time (UTC)," + ",".join(_heading(guess) for guess in channels)]
    lines += [f"{at:%Y-%m-%d %H:%M},{','.join(cells)}" for at, cells in rows]
    log = "\n".join(lines) + "\n"
    beside = (root / record.name).parent / _FILE
    same = beside.exists() and read_file(beside) == log.encode()
    part = "" if same else "\n".join([*lines[:3], f"… {len(rows)} rows, {apart} min apart", ""])
    return AirImport(
        root,
        record.name,
        charge,
        profile,
        text,
        log,
        part,
        tuple(table.unused()),
        (
            *table.read_as(),
            *(
                f"column '{table.heading[index].text}' is read as {guess.channel} in {guess.unit}"
                for index, guess in columns
            ),
        ),
        tuple(cell.text for cell in table.heading),
    )


def _told(options: Options) -> dict[str, Guess]:
    """Return the columns given as ``HEADING=channel:unit``, by heading."""
    found = {}
    for words in options.column or ():
        heading, _, meaning = words.rpartition("=")
        channel, colon, unit = meaning.partition(":")
        if colon and channel != "board":
            found[heading.strip()] = Guess(channel, unit, "said")
    return found


def _without(options: Options, told: dict[str, Guess]) -> Options:
    """Return the options without the columns that are channels."""
    rest = [one for one in options.column or () if one.rpartition("=")[0].strip() not in told]
    return replace(options, column=rest)


def _channels(table: Table, told: dict[str, Guess]) -> list[tuple[int, Guess]]:
    """Return the columns that hold air, by their headings or as given."""
    headings = [cell.text for cell in table.heading]
    if unknown := [name for name in told if name not in headings]:
        raise refusal(
            "--column",
            f"'{unknown[0]}'",
            "the sheet has no column of this heading",
            f"It has {', '.join(filter(None, headings))}",
        )
    of_rows = {table.roles[one] for one in ("at", "time", "hours", "charge") if one in table.roles}
    free = [i for i, text in enumerate(headings) if text and i not in of_rows]
    texts = [[row[i].text if i < len(row) else "" for row in table.rows] for i in free]
    decimal = table.options.decimal or _decimal(texts)
    columns, _ = found_columns(
        [headings[i] for i in free], texts, [headings[i] for i in free], decimal
    )
    found, doubts = [], []
    for index, column in zip(free, columns, strict=True):
        if guess := told.get(column.heading):
            found.append((index, guess))
        elif column.sure and column.sure.why.startswith("the heading says"):
            found.append((index, column.sure))
        else:
            doubts += column.against or [
                f"'{column.heading}' could be {guess.channel} in {guess.unit}"
                for guess in column.guesses
                if guess.why.startswith("the heading says")
            ]
    channels = {guess.channel for _, guess in found}
    if not channels.intersection(_HUMIDITY) or "dry-bulb" not in channels:
        lacks = "a dry bulb" if "dry-bulb" not in channels else "the humidity"
        raise refusal(
            table.sheet.file,
            f"the headings do not name {lacks}",
            "; ".join(doubts) or "a dry bulb is needed, and a wet bulb, a depression, RH or EMC",
            "Say what a column is, as in --column 'T1=dry-bulb:°C' --column 'T2=wet-bulb:°C'; the "
            f"channels are dry-bulb, {', '.join(_HUMIDITY)}",
        )
    table.used.update(index for index, _ in found)
    return found


def _decimal(texts: Sequence[Sequence[str]]) -> str:
    cells = [text for column in texts for text in column]
    return "," if any("," in text and number_in(text) is not None for text in cells) else "."


def _rows(
    table: Table, columns: Sequence[int], zone: dt.tzinfo | None
) -> list[tuple[dt.datetime, list[str]]]:
    """Return the time in UTC and the cells of each row, oldest first; record what is unreadable."""
    moments, found = TypeAdapter(Moment), {}
    for place, row in enumerate(table.rows):
        cells = [row[index] for index in columns if index < len(row)]
        if not any(cell.text for cell in cells):
            continue
        table.used_rows.add(place)
        for cell in cells:
            if cell.text and number_in(cell.text) is None:
                table.refuse(
                    cell,
                    f"'{cell.text}'",
                    "it is not a number",
                    "Leave the cell empty where nothing was measured",
                )
        words = row_time(table, row)
        at = table.cell(row, "at" if "at" in table.roles else "hours")
        try:
            moment = words and moments.validate_python(words, context={"zone": zone})
        except ValidationError as error:
            context = error.errors()[0].get("ctx", {})
            table.refuse(at, f"'{at.text}'", context["why"], context["instead"])
            continue
        if not moment:
            continue
        moment = moment.astimezone(dt.UTC)
        if moment in found:
            table.refuse(at, f"'{at.text}'", "an earlier row has this time too", "Keep one of them")
        found[moment] = [cell.text.replace(",", ".") for cell in cells]
    return sorted(found.items())


def _minutes_apart(path: Path, times: Sequence[dt.datetime]) -> int:
    """Return the minutes between rows that are most common.

    Raises
    ------
    RecordProblems
        There are fewer than two rows, or they are too far apart to show what a kiln does.
    """
    minutes = [
        (after - before).total_seconds() / 60.0 for before, after in itertools.pairwise(times)
    ]
    apart = round(statistics.median(minutes)) if minutes else 0
    if not 1 <= apart <= LONGEST_INTERVAL:
        raise refusal(
            path.name,
            f"the rows are {apart} min apart" if minutes else "fewer than two rows hold air",
            f"1 to {LONGEST_INTERVAL} min show what the air in a kiln does",
            "Bring the air at least every four hours",
        )
    return apart


def _profile(channels: Sequence[Guess], apart: int) -> tuple[str, str]:
    """Return the id and text of the profile that reads the log."""
    names = "-".join(
        one.channel + ("-f" if one.unit == "°F" else "-share" if one.unit == "fraction" else "")
        for one in channels
    )
    identity = f"sheet-{names}-{apart}-min"
    columns = [
        f'  - {{heading: "{_heading(one)}", channel: {one.channel}, unit: "{one.unit}"}}'
        for one in channels
    ]
    return identity, "\n".join(
        [
            schema_comment("logger", 2).rstrip("\n"),
            "# How 'kilnfolio import air' writes the air of a sheet.",
            "format: 1",
            f"id: {identity}",
            f"title: Air from a sheet, every {apart} min",
            'delimiter: ","',
            'decimal: "."',
            'time: {heading: "Time (UTC)", format: "%Y-%m-%d %H:%M", clock: utc}',
            f"interval_minutes: {apart}",
            "columns:",
            *columns,
            "",
        ]
    )


def _heading(guess: Guess) -> str:
    words = {"emc": "EMC", "relative-humidity": "RH"}
    name = words.get(guess.channel, guess.channel.replace("-", " ").capitalize())
    return f"{name} ({guess.unit})"
