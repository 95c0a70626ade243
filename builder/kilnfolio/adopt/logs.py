"""A logger profile: proposed from an export, decided by a person, tried on the export."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from kilnfolio.adopt.log_columns import Guess, Sample, Seen
from kilnfolio.adopt.merging import Merge
from kilnfolio.adopt.starter import schema_comment
from kilnfolio.adopt.writing import rewrite, scalar, write_new
from kilnfolio.records.log import Log, as_moment, read_log
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import Located, validate
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.yaml_source import parse_yaml, read_yaml

#: What a local, a winter-time and a UTC clock are, as a person is asked.
CLOCKS = {"local": "the mill's local time, changed in spring and autumn",
          "standard": "winter time all year", "utc": "UTC"}


@dataclass
class Decided:
    """What a person has said of an export."""

    identity: str
    columns: dict[str, Guess] = field(default_factory=dict)
    ignored: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    time_format: str | None = None
    clock: str | None = None


def parse_column(words: str, sample: Sample) -> tuple[str, Guess]:
    """Return the heading and meaning of ``HEADING=channel:unit``.

    Raises
    ------
    RecordProblems
        It is not written so, or the file has no such heading.
    """
    heading, _, meaning = words.rpartition("=")
    channel, _, unit = meaning.partition(":")
    if not (heading and channel and unit) or channel == "…":
        raise _refused(f"--column '{words}'", "a column is told as HEADING=channel:unit",
                       "Write it as in 'T1=dry-bulb:°C'")
    known_heading(heading, sample)
    return heading, Guess(channel, unit, "said")


def known_heading(heading: str, sample: Sample) -> str:
    """Return a heading of the file.

    Raises
    ------
    RecordProblems
        The file has none of this name.
    """
    headings = [column.heading for column in sample.columns]
    if heading not in headings:
        raise _refused(f"heading '{heading}'", "the file has no such column to tell",
                       "It has " + ", ".join(headings))
    return heading


def undecided(sample: Sample, decided: Decided) -> list[str]:
    """Return the options that still have to be given."""
    lacking = [f"--column '{column.heading}=…' or --ignore '{column.heading}'"
               for column in sample.columns
               if column.heading not in decided.columns and column.heading not in decided.ignored]
    if decided.time_format is None:
        lacking.insert(0, "--time-format")
    if decided.clock is None:
        lacking.insert(0, "--clock")
    return lacking


def proposal(sample: Sample, decided: Decided) -> list[str]:
    """Return what was seen, a line each, for a person to judge."""
    lines = [f"encoding {sample.encoding}, '{sample.delimiter}' between columns, "
             f"'{sample.decimal}' before decimals, {sample.heading_rows} heading row"
             + ("s" if sample.heading_rows > 1 else "")
             + f", a row every {sample.interval_minutes:g} min"]
    heading = sample.time_heading + (f" and {sample.clock_heading}" if sample.clock_heading else "")
    formats = [decided.time_format] if decided.time_format else sample.time_formats
    lines.append(f"time: '{heading}', first '{sample.first_time}', read by "
                 + " or ".join(f"'{form}'" for form in formats)
                 + ("" if len(formats) == 1 else ": which one, only you can tell"))
    for column in sample.columns:
        lines += _column_lines(column, decided)
    return [*lines, *sample.remarks]


def _column_lines(column: Seen, decided: Decided) -> list[str]:
    marks = ", ".join(f"'{mark}'" for mark in column.marks)
    lines = [f"'{column.heading}': {column.range_words}" + (f"; marks {marks}" if marks else "")]
    if guess := decided.columns.get(column.heading):
        return [*lines, f"    {guess.channel} in {guess.unit}, as you say"]
    if column.heading in decided.ignored:
        return [*lines, "    left aside, as you say"]
    lines += [f"    could be {guess.channel} in {guess.unit}: {guess.why}"
              for guess in column.guesses] or ["    nothing a record knows"]
    return [*lines, *(f"    but {said}" for said in column.against)]


def command(sample: Sample, decided: Decided, words: Sequence[str]) -> str:
    """Return the command that confirms the proposal; ``…`` where a person must choose."""
    parts = [*words, "--clock", decided.clock or sample.clock or "…", "--time-format",
             decided.time_format or (sample.time_formats[0] if len(sample.time_formats) == 1
                                     else "…")]
    for column in sample.columns:
        guess = decided.columns.get(column.heading) or column.sure
        if column.heading in decided.ignored or not (guess or column.guesses):
            parts += ["--ignore", column.heading]
        else:
            parts += ["--column", f"{column.heading}="
                      + (f"{guess.channel}:{guess.unit}" if guess else "…")]
        for mark in column.marks:
            if f"--missing={mark}" not in parts:
                parts.append(f"--missing={mark}")
    return " ".join([*map(shlex.quote, parts), "--yes"])


def ask_columns(sample: Sample, decided: Decided, ask: Callable[[str], str],
                say: Callable[[str], None]) -> None:
    """Have a person decide what the options did not."""
    for column in sample.columns:
        if column.heading in decided.columns or column.heading in decided.ignored:
            continue
        for line in _column_lines(column, decided):
            say(line)
        default = f"{column.sure.channel}:{column.sure.unit}" if column.sure else ""
        while True:
            answer = ask(f"'{column.heading}' is, as channel:unit, or - to leave it aside"
                         f"{f' [{default}]' if default else ''}: ").strip() or default
            if answer == "-":
                decided.ignored.append(column.heading)
                break
            channel, _, unit = answer.partition(":")
            if channel and unit:
                decided.columns[column.heading] = Guess(channel, unit, "said")
                break
        decided.missing += [mark for mark in column.marks if mark not in decided.missing and
                            ask(f"'{mark}' marks a missing value? [y/n]: ").strip().lower() == "y"]
    decided.time_format = decided.time_format or _one_of(
        "Times are written", dict.fromkeys(sample.time_formats, ""), ask)
    decided.clock = decided.clock or sample.clock or _one_of(
        "The logger's clock keeps", CLOCKS, ask)


def _one_of(words: str, choices: Mapping[str, str], ask: Callable[[str], str]) -> str:
    if len(choices) == 1:
        return next(iter(choices))
    told = "; ".join(f"{name} ({meaning})" if meaning else name
                     for name, meaning in choices.items())
    while (answer := ask(f"{words}: {told}: ").strip()) not in choices:
        pass
    return answer


def profile_text(sample: Sample, decided: Decided, source: str) -> str:
    """Return the profile as commented YAML."""
    lines = [schema_comment("logger", 2).rstrip("\n"),
             f"# How exports such as {source} are read. Decided by a person, tried on that file.",
             "format: 1", f"id: {decided.identity}",
             f"title: {scalar(f'Exports such as {source}')}",
             f"encoding: {sample.encoding}", f'delimiter: "{sample.delimiter}"',
             f'decimal: "{sample.decimal}"', f"heading_rows: {sample.heading_rows}",
             f"names_row: {sample.names_row}", "time:", f"  heading: {scalar(sample.time_heading)}"]
    if sample.clock_heading:
        lines.append(f"  time_heading: {scalar(sample.clock_heading)}")
    lines += [f'  format: "{decided.time_format}"',
              "  # local follows daylight saving, standard keeps winter time all year",
              f"  clock: {decided.clock}", f"interval_minutes: {sample.interval_minutes:g}",
              "columns:"]
    lines += [f"  - {{heading: {scalar(heading)}, channel: {guess.channel}, "
              f"unit: {scalar(guess.unit)}}}" for heading, guess in decided.columns.items()]
    for key, values in (("ignored", decided.ignored), ("missing", decided.missing)):
        if values:
            lines.append(f"{key}: [{', '.join(_in_quotes(value) for value in values)}]")
    return "\n".join(lines) + "\n"


def _in_quotes(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def write_profile(root: Path, file: Path, sample: Sample, decided: Decided) -> tuple[str, Log]:
    """Write the profile, once the file has been read by it; return its path and the log.

    Raises
    ------
    RecordProblems
        The profile does not hang together, or the file does not follow it; nothing is written.
    """
    name = f"content/loggers/{decided.identity}.yaml"
    text = profile_text(sample, decided, file.name)
    profile = validate(parse_yaml(text.encode(), name), LoggerProfile)
    log = read_log(file, file.name, profile.record, zone_of(root))
    write_new(root, {name: text})
    return name, log


def profile_that_reads(root: Path, file: Path, identity: str) -> tuple[str, Log] | None:
    """Return a profile that is there already and the log it reads; None where there is none.

    Raises
    ------
    RecordProblems
        It is there, and does not read the file.
    """
    name = f"content/loggers/{identity}.yaml"
    if not (root / name).exists():
        return None
    profile = validate(read_yaml(root / name, name), LoggerProfile)
    return name, read_log(file, file.name, profile.record, zone_of(root))


def zone_of(root: Path) -> ZoneInfo:
    """Return the mill's time zone."""
    mill: Located[Mill] = validate(read_yaml(root / "content/mill.yaml", "content/mill.yaml"), Mill)
    return mill.record.zone


def log_lines(log: Log, zone: ZoneInfo) -> list[str]:
    """Return what a log holds, a line each."""
    first, last = (as_moment(log.times[index], zone) for index in (0, -1))
    lines = [f"{len(log.times)} of {log.rows} rows, {first:%Y-%m-%d %H:%M} to "
             f"{last:%Y-%m-%d %H:%M} {last.tzname()}"]
    for channel, values in log.channels.items():
        known = values[np.isfinite(values)]
        if len(known):
            lines.append(f"  {channel}: {known.min():.1f} to {known.max():.1f}, median "
                         f"{np.median(known):.1f}")
    return [*lines, *(f"  left out: {count} {reason}" for reason, count in log.left_out.items())]


def attach(root: Path, file: Path, identity: str, charge: str) -> str:
    """Copy the export beside a charge's record and name it there; return where it went.

    Raises
    ------
    RecordProblems
        There is no such charge, its list of files is written in one line, or another file of
        this name lies there; nothing is written.
    """
    home = next(iter(sorted((root / "content/charges").glob(f"*/{charge}/charge.yaml"))), None)
    if home is None:
        raise _refused(f"charge '{charge}'", "there is no charge of this number",
                       f"Begin it with 'kilnfolio new charge {charge}'")
    shown = home.relative_to(root).as_posix()
    document = read_yaml(home, shown)
    text = home.read_text("utf-8-sig")
    entry = f"{{file: {scalar(file.name)}, profile: {identity}}}"
    named = document.value.get("log") if isinstance(document.value, dict) else None
    if {"file": file.name, "profile": identity} in (named or []):
        new = text
    elif named:
        merging = Merge(document, text.split("\n"), file.name)
        merging.add_items(("log",), len(named), [[f"- {entry}"]])
        new = merging.text
    else:
        new = re.sub(r"(?m)^log:\s*(\[\])?\s*(#.*)?\n", "", text).rstrip("\n") \
            + f"\nlog:\n  - {entry}\n"
    target = home.with_name(file.name)
    if target.exists() and target.read_bytes() != file.read_bytes():
        raise _refused(f"file '{file.name}'", "another file of this name lies beside the charge",
                       "Rename the export")
    if not target.exists():
        shutil.copyfile(file, target)
    if new != text:
        rewrite(home, new)
    return target.relative_to(root).as_posix()


def _refused(what: str, why: str, instead: str) -> RecordProblems:
    return RecordProblems([Problem(Place("import log"), what, why, instead)])

