"""A logger profile: proposed from an export, decided by a person, tested on the export."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from kilnfolio.adopt.log_columns import FoundColumn, Guess, Sample
from kilnfolio.adopt.record_file import ChargeFile, decoded, lock, replace_file, replace_files
from kilnfolio.adopt.record_text import RecordText, scalar
from kilnfolio.adopt.starter import schema_comment
from kilnfolio.adopt.writing import write_new
from kilnfolio.records.export import export_bytes, house_unit
from kilnfolio.records.log import Log, as_datetime, read_log
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import Located
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml, read_yaml
from kilnfolio.runtime.files import read_file

#: The kinds of clock, in the words of the question.
CLOCKS = {
    "local": "the mill's local time, changed in spring and autumn",
    "standard": "winter time all year",
    "utc": "UTC",
}


@dataclass
class Decided:
    """What a person has decided about an export."""

    identity: str
    columns: dict[str, Guess] = field(default_factory=dict)
    ignored: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    time_format: str | None = None
    clock: str | None = None
    repeated_hour: str | None = None
    """How to tell apart the hour repeated in autumn; "by row order" or None."""
    skipped_rows: list[str] = field(default_factory=list)
    """Beginnings of cells that mark a row without readings, as in EVENT."""


def parse_column(words: str, sample: Sample) -> tuple[str, Guess]:
    """Return the heading and meaning of ``HEADING=channel:unit``.

    Raises
    ------
    RecordProblems
        It is not written like that, or the file has no such heading.
    """
    heading, _, meaning = words.rpartition("=")
    channel, _, unit = meaning.partition(":")
    if not (heading and channel and unit) or channel == "…":
        raise _refused(
            f"--column '{words}'",
            "a column is given as HEADING=channel:unit",
            "Write it as in 'T1=dry-bulb:°C'",
        )
    known_heading(heading, sample)
    return heading, Guess(channel, unit, "said")


def known_heading(heading: str, sample: Sample) -> str:
    """Return the file's heading of this name.

    Raises
    ------
    RecordProblems
        The file has none.
    """
    headings = [column.heading for column in sample.columns]
    if heading not in headings:
        raise _refused(
            f"heading '{heading}'",
            "the file has no such column",
            "It has " + ", ".join(headings),
        )
    return heading


def undecided(sample: Sample, decided: Decided) -> list[str]:
    """Return the options that are still missing."""
    lacking = [
        f"--column '{column.heading}=…' or --ignore '{column.heading}'"
        for column in sample.columns
        if column.heading not in decided.columns and column.heading not in decided.ignored
    ]
    if decided.time_format is None:
        lacking.insert(0, "--time-format")
    if decided.clock is None:
        lacking.insert(0, "--clock")
    return lacking


def proposal(sample: Sample, decided: Decided) -> list[str]:
    """Return the lines that describe the export, for a person to judge."""
    lines = [
        f"encoding {sample.encoding}, '{sample.delimiter}' between columns, "
        f"'{sample.decimal}' before decimals, {sample.heading_rows} heading row"
        + ("s" if sample.heading_rows > 1 else "")
        + f", a row every {sample.interval_minutes:g} min"
    ]
    heading = sample.time_heading + (f" and {sample.clock_heading}" if sample.clock_heading else "")
    formats = [decided.time_format] if decided.time_format else sample.time_formats
    lines.append(
        f"time: '{heading}', first '{sample.first_time}', read by "
        + " or ".join(f"'{form}'" for form in formats)
        + ("" if len(formats) == 1 else ": only you can tell which one")
    )
    for column in sample.columns:
        lines += _column_lines(column, decided)
    return [*lines, *sample.remarks]


def _column_lines(column: FoundColumn, decided: Decided) -> list[str]:
    marks = ", ".join(f"'{mark}'" for mark in column.marks)
    lines = [f"'{column.heading}': {column.range_words}" + (f"; marks {marks}" if marks else "")]
    if guess := decided.columns.get(column.heading):
        return [*lines, f"    {guess.channel} in {guess.unit}, as you say"]
    if column.heading in decided.ignored:
        return [*lines, "    ignored, as you say"]
    lines += [
        f"    could be {guess.channel} in {guess.unit}: {guess.why}" for guess in column.guesses
    ] or ["    not a quantity that records hold"]
    return [*lines, *(f"    but {said}" for said in column.against)]


def command(sample: Sample, decided: Decided, words: Sequence[str]) -> str:
    """Return the command that confirms the proposal, with ``…`` where a person must choose."""
    parts = [
        *words,
        "--clock",
        decided.clock or sample.clock or "…",
        "--time-format",
        decided.time_format or (sample.time_formats[0] if len(sample.time_formats) == 1 else "…"),
    ]
    if decided.repeated_hour:
        parts += ["--repeated-hour", "by-row-order"]
    for mark in decided.skipped_rows:
        parts += ["--skip-rows", mark]
    for column in sample.columns:
        guess = decided.columns.get(column.heading) or column.sure
        if column.heading in decided.ignored or not (guess or column.guesses):
            parts += ["--ignore", column.heading]
        else:
            parts += [
                "--column",
                f"{column.heading}=" + (f"{guess.channel}:{guess.unit}" if guess else "…"),
            ]
        for mark in column.marks:
            if f"--missing={mark}" not in parts:
                parts.append(f"--missing={mark}")
    return " ".join([*map(shlex.quote, parts), "--yes"])


def ask_columns(
    sample: Sample, decided: Decided, ask: Callable[[str], str], say: Callable[[str], None]
) -> None:
    """Ask a person for what the options left open."""
    for column in sample.columns:
        if column.heading in decided.columns or column.heading in decided.ignored:
            continue
        for line in _column_lines(column, decided):
            say(line)
        default = f"{column.sure.channel}:{column.sure.unit}" if column.sure else ""
        while True:
            answer = (
                ask(
                    f"'{column.heading}' is, as channel:unit, or - to ignore it"
                    f"{f' [{default}]' if default else ''}: "
                ).strip()
                or default
            )
            if answer == "-":
                decided.ignored.append(column.heading)
                break
            channel, _, unit = answer.partition(":")
            if channel and unit:
                decided.columns[column.heading] = Guess(channel, unit, "said")
                break
        decided.missing += [
            mark
            for mark in column.marks
            if mark not in decided.missing
            and ask(f"'{mark}' marks a missing value? [y/n]: ").strip().lower() == "y"
        ]
    decided.time_format = decided.time_format or _one_of(
        "Times are written", dict.fromkeys(sample.time_formats, ""), ask
    )
    decided.clock = (
        decided.clock or sample.clock or _one_of("The logger's clock shows", CLOCKS, ask)
    )


def _one_of(words: str, choices: Mapping[str, str], ask: Callable[[str], str]) -> str:
    if len(choices) == 1:
        return next(iter(choices))
    told = "; ".join(
        f"{name} ({meaning})" if meaning else name for name, meaning in choices.items()
    )
    while (answer := ask(f"{words}: {told}: ").strip()) not in choices:
        pass
    return answer


def profile_text(sample: Sample, decided: Decided, source: str) -> str:
    """Return the profile as commented YAML."""
    lines = [
        schema_comment("logger", 2).rstrip("\n"),
        f"# How exports such as {source} are read. Decided by a person, tried on that file.",
        "format: 1",
        f"id: {decided.identity}",
        f"title: {scalar(f'Exports such as {source}')}",
        f"encoding: {sample.encoding}",
        f'delimiter: "{sample.delimiter}"',
        f'decimal: "{sample.decimal}"',
        f"heading_rows: {sample.heading_rows}",
        f"names_row: {sample.names_row}",
        "time:",
        f"  heading: {scalar(sample.time_heading)}",
    ]
    if sample.clock_heading:
        lines.append(f"  time_heading: {scalar(sample.clock_heading)}")
    lines += [
        f'  format: "{decided.time_format}"',
        "  # local follows daylight saving, standard keeps winter time all year",
        f"  clock: {decided.clock}",
        *([f"  repeated_hour: {decided.repeated_hour}"] if decided.repeated_hour else []),
        f"interval_minutes: {sample.interval_minutes:g}",
        "columns:",
    ]
    lines += [
        f"  - {{heading: {scalar(heading)}, channel: {guess.channel}, unit: {scalar(guess.unit)}}}"
        for heading, guess in decided.columns.items()
    ]
    for key, values in (
        ("ignored", decided.ignored),
        ("missing", decided.missing),
        ("ignored_rows", decided.skipped_rows),
    ):
        if values:
            lines.append(f"{key}: [{', '.join(_in_quotes(value) for value in values)}]")
    return "\n".join(lines) + "\n"


def _in_quotes(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def write_profile(root: Path, file: Path, sample: Sample, decided: Decided) -> tuple[str, Log]:
    """Read the file with the profile, then write the profile; return its path and the log.

    Raises
    ------
    RecordProblems
        The profile is inconsistent, or the file does not match it; nothing is written.
    """
    name = f"content/loggers/{decided.identity}.yaml"
    text = profile_text(sample, decided, file.name)
    profile = validate(parse_yaml(text.encode(), name), LoggerProfile)
    log = read_log(file, file.name, profile.record, zone_of(root))
    if not ((root / name).exists() and read_file(root / name) == text.encode()):
        write_new(root, {name: text})  # an identical file was left by a command that was killed
    return name, log


def profile_that_reads(
    root: Path, files: Sequence[Path], decided: Decided
) -> tuple[str, Log] | None:
    """Return an existing profile and the log of the first file; None if there is none.

    Marks of missing values, rows to leave out and the repeated hour are added to the profile where
    they were said now: an export has its first event, or its first autumn, when it has grown.

    Raises
    ------
    RecordProblems
        The profile does not read a file, or has another clock or format of time than was
        said now; nothing is written.
    """
    name = f"content/loggers/{decided.identity}.yaml"
    if not (root / name).exists():
        return None
    before = read_file(root / name)
    old = decoded(before, name)
    text = RecordText(old.replace("\r\n", "\n"), name, list(LoggerProfile.model_fields))
    there = validate(parse_yaml(before, name), LoggerProfile).record
    for key, said, stands in (
        ("--clock", decided.clock, there.time.clock),
        ("--time-format", decided.time_format, there.time.format),
    ):
        if said is not None and said != stands:
            raise _refused(
                f"{key} {said}",
                f"the profile {name} says {stands}, and charges are read by it",
                f"Leave {key} out, or begin another profile with --id",
            )
    for list_key, marks in (("missing", decided.missing), ("ignored_rows", decided.skipped_rows)):
        known = getattr(there, list_key)
        for number, mark in enumerate(mark for mark in marks if mark not in known):
            text.insert((list_key,), len(known) + number, mark)
    if decided.repeated_hour and decided.repeated_hour != there.time.repeated_hour:
        text.put(("time", "repeated_hour"), decided.repeated_hour)
    after = text.text.replace("\n", "\r\n" if "\r\n" in old else "\n").encode()
    profile, zone = validate(parse_yaml(after, name), LoggerProfile).record, zone_of(root)
    log = read_log(files[0], files[0].name, profile, zone)
    if text.text != old.replace("\r\n", "\n"):
        for file in files[1:]:
            read_log(file, file.name, profile, zone)
        replace_files(root, {name: after}, {name: before}, f"options for {decided.identity}")
    return name, log


def zone_of(root: Path) -> ZoneInfo:
    """Return the mill's time zone."""
    mill: Located[Mill] = validate(read_yaml(root / "content/mill.yaml", "content/mill.yaml"), Mill)
    return mill.record.zone


def log_lines(log: Log, profile: LoggerProfile, zone: ZoneInfo) -> list[str]:
    """Return the lines that describe a log that was read with a profile."""
    units: dict[str, str] = {column.channel: house_unit(column) for column in profile.columns}
    first, last = (as_datetime(log.times[index], zone) for index in (0, -1))
    lines = [
        f"{len(log.times)} of {log.rows} rows, {first:%Y-%m-%d %H:%M} to "
        f"{last:%Y-%m-%d %H:%M} {last.tzname()}"
    ]
    for channel, values in log.channels.items():
        known = values[np.isfinite(values)]
        if len(known):
            unit = units[channel].replace("on/off", "")
            lines.append(
                f"  {channel}: {known.min():.1f} to {known.max():.1f} {unit}".rstrip()
                + f", median {np.median(known):.1f}"
            )
    for reason, count in log.left_out.items():
        lines.append(f"  left out: {count} {reason if count != 1 else _of_one(reason)}")
    return lines


def _of_one(reason: str) -> str:
    """Return why one row or cell was left out, from the words for several."""
    return re.sub(r"^(row|cell)s\b", r"\1", reason)


def attach(root: Path, file: Path, identity: str, charge: str) -> str:
    """Copy an export into a charge's folder and list it in the record; return a sentence on it.

    An export that has grown replaces its shorter copy. One that continues where an earlier one of
    the same name ends is kept beside it under another name.

    Raises
    ------
    RecordProblems
        There is no such charge, the record could not be read afterwards, or the export contradicts
        the existing file of this name; nothing is written.
    """
    with lock(root):  # another import must not list a file that this one removes again
        return _attach(root, file, identity, charge)


def _attach(root: Path, file: Path, identity: str, charge: str) -> str:
    record = ChargeFile.open(root, charge)
    beside = (root / record.name).parent
    data, profile = export_bytes(file, file.name), profile_of(root, identity)
    target, words = (
        beside / file.name,
        f"{file.name} was copied into the folder of charge {charge} and is listed in its record",
    )
    if target.exists() and read_file(target) != data:
        target, words = _where_it_belongs(root, file, target, profile)
        if words.startswith("nothing"):
            return words
    there = read_file(target) if target.exists() else None
    named = record.record.at(("log",)) or []
    entry = {"file": target.name, "profile": identity}
    if entry not in named:
        record.record.insert(("log",), len(named), entry)
    if there != data:
        replace_file(target, data)
    try:
        record.save(f"import of {file.name}")
    except BaseException:
        if there != data:
            replace_file(target, there)
        raise
    return words


def profile_of(root: Path, identity: str) -> LoggerProfile:
    """Return a profile by its id."""
    name = f"content/loggers/{identity}.yaml"
    return validate(read_yaml(root / name, name), LoggerProfile).record


def _where_it_belongs(
    root: Path, file: Path, there: Path, profile: LoggerProfile
) -> tuple[Path, str]:
    """Return where to put an export whose name is taken by other content, and a sentence."""
    zone = zone_of(root)
    new = read_log(file, file.name, profile, zone)
    for one in _of_this_name(there):
        if read_file(one) == read_file(file):
            return one, f"nothing was written: {one.name} beside the charge is the same"
        old = read_log(one, one.name, profile, zone)
        both = _agreeing_times(new, old, file.name, one.name, zone)
        if both == len(new.times):
            return one, f"nothing was written: {one.name} beside the charge has all its rows"
        if both == len(old.times):
            more = len(new.times) - both
            return one, (
                f"{file.name} has grown by {more} row{'s' if more != 1 else ''} and replaces the shorter {one.name} beside the charge"
            )
    free = there.with_name(f"{there.stem}-{len(_of_this_name(there)) + 1}{there.suffix}")
    return free, f"{file.name} holds other rows than {there.name} and is kept as {free.name}"


def _of_this_name(there: Path) -> list[Path]:
    """Return a file and its numbered siblings: log.csv, log-2.csv."""
    found = [there]
    while (more := there.with_name(f"{there.stem}-{len(found) + 1}{there.suffix}")).exists():
        found.append(more)
    return found


def _agreeing_times(new: Log, old: Log, name: str, other_name: str, zone: ZoneInfo) -> int:
    """Return how many times two exports share; refuse them if they differ at one."""
    both, in_new, in_old = np.intersect1d(new.times, old.times, return_indices=True)
    for channel in sorted(new.channels.keys() & old.channels.keys()):
        one, other = new.channels[channel][in_new], old.channels[channel][in_old]
        differ = np.flatnonzero(~np.isclose(one, other, rtol=0.0, atol=1e-6, equal_nan=True))
        if len(differ):
            first = differ[0]
            raise _refused(
                f"file '{name}'",
                f"{other_name} is already beside the charge, and at "
                f"{as_datetime(both[first], zone):%Y-%m-%d %H:%M} it says {channel} "
                f"{other[first]:.1f}; this file says {one[first]:.1f}",
                "Find out which is right; to keep both, rename this one",
            )
    return len(both)


def _refused(what: str, why: str, instead: str) -> RecordProblems:
    return RecordProblems([Problem(Place("import log"), what, why, instead)])
