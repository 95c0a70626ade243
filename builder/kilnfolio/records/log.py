"""Logger exports to arrays, with every row accounted for.

A profile says how the export is written; nothing is guessed. A heading, time or number that does
not fit the profile is a problem with its line and column. Rows whose clock repeats or runs back
are kept out of the arrays and counted, never dropped in silence; nothing is interpolated.
"""

from __future__ import annotations

import csv
import datetime as dt
import difflib
import io
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from kilnfolio.records.logger import Column, LoggerProfile
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.quantities import celsius_from_fahrenheit

_DELIMITERS = {"tab": "\t"}
#: Problems of one kind shown for one file before the rest are only counted.
_SHOWN = 5

#: Channels that hold a difference of temperatures, not a temperature.
_DIFFERENCES = {"depression"}


@dataclass(frozen=True)
class Log:
    """A logger's readings.

    Attributes
    ----------
    file : str
        The file, relative to the mill folder; several files of one charge are joined by ', '.
    times : ndarray of datetime64[s]
        UTC, strictly rising.
    channels : dict of str to ndarray
        Readings by channel [°C, K for depression, % for humidity, 0 or 1 for on/off]; NaN where
        the export marks a missing value.
    lines : ndarray of int
        Line of each reading in its file.
    files : ndarray of int
        Index into `names` of the file each reading came from.
    names : tuple of str
        The files.
    rows : int
        Rows of data in the files.
    left_out : Counter
        Rows and cells not used, by reason.
    interval_minutes : float
        Minutes between rows, by the profile.
    """

    times: np.ndarray
    channels: dict[str, np.ndarray]
    lines: np.ndarray
    files: np.ndarray
    names: tuple[str, ...]
    rows: int
    left_out: Counter[str]
    interval_minutes: float

    def place(self, index: int) -> Place:
        """Return the place of a reading."""
        return Place(self.names[int(self.files[index])], int(self.lines[index]))

    def moment(self, index: int, zone: ZoneInfo) -> dt.datetime:
        """Return the time of a reading in a zone."""
        return as_moment(self.times[index], zone)


def as_moment(time: np.datetime64, zone: ZoneInfo) -> dt.datetime:
    """Return a UTC datetime64 as a moment in a zone."""
    return dt.datetime.fromtimestamp(int(time.astype("datetime64[s]").astype(np.int64)), zone)


def read_log(path: Path, shown_as: str, profile: LoggerProfile, zone: ZoneInfo) -> Log:
    """Read one export.

    Parameters
    ----------
    path : Path
        The file.
    shown_as : str
        Its name in messages.
    profile : LoggerProfile
        How it is written.
    zone : ZoneInfo
        The zone of a local clock.

    Raises
    ------
    RecordProblems
        The file does not fit the profile.
    """
    text = _text(path, shown_as, profile)
    headings = _headings(text, shown_as, profile)
    frame = _frame(text, shown_as, profile, headings)
    times, timed = _times(frame, shown_as, profile, zone)
    channels = {column.channel: _numbers(frame, column, shown_as, profile)
                for column in profile.columns}
    left_out: Counter[str] = Counter()
    if blank := int((~timed).sum()):
        left_out["rows without a time"] = blank
    rising = _rising(times, timed)
    if repeats := int((timed & ~rising).sum()):
        left_out["rows whose clock repeats or runs back"] = repeats
    for channel, numbers in channels.items():
        if missing := int(np.isnan(numbers[rising]).sum()):
            left_out[f"cells of {channel} marked missing"] = missing
    lines = np.arange(len(frame)) + profile.heading_rows + 1
    return Log(times[rising], {name: numbers[rising] for name, numbers in channels.items()},
               lines[rising], np.zeros(int(rising.sum()), int), (shown_as,), len(frame), left_out,
               profile.interval_minutes)


def join_logs(logs: list[Log]) -> Log:
    """Return several files of one charge as one log, oldest first.

    Overlapping readings of a later file are left out and counted.
    """
    if len(logs) == 1:
        return logs[0]
    logs = sorted(logs, key=lambda log: log.times[0] if len(log.times) else np.datetime64("NaT"))
    names = [name for log in logs for name in log.names]
    times = np.concatenate([log.times for log in logs])
    kept = _rising(times, np.ones(len(times), bool))
    channel_names = dict.fromkeys(name for log in logs for name in log.channels)
    blank = {name: [log.channels.get(name, np.full(len(log.times), np.nan)) for log in logs]
             for name in channel_names}
    left_out = sum((log.left_out for log in logs), Counter())
    if overlap := int((~kept).sum()):
        left_out["rows that another file already covers"] += overlap
    return Log(times[kept], {name: np.concatenate(parts)[kept] for name, parts in blank.items()},
               np.concatenate([log.lines for log in logs])[kept],
               np.concatenate([np.full(len(log.times), index)
                               for index, log in enumerate(logs)])[kept],
               tuple(names), sum(log.rows for log in logs), left_out,
               max(log.interval_minutes for log in logs))


# --- text and headings ----------------------------------------------------------------------------

def _text(path: Path, shown_as: str, profile: LoggerProfile) -> str:
    raw = path.read_bytes()
    encoding = "utf-8-sig" if profile.encoding == "utf-8" else profile.encoding
    try:
        return raw.decode(encoding)
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise RecordProblems([Problem(
            Place(shown_as, line, error.start - raw.rfind(b"\n", 0, error.start)),
            f"byte 0x{raw[error.start]:02x}",
            f"the profile '{profile.id}' says {profile.encoding}, and this is not",
            "Write the export's encoding in the profile, as in 'encoding: windows-1252'")],
        ) from None


def _delimiter(profile: LoggerProfile) -> str:
    return _DELIMITERS.get(profile.delimiter, profile.delimiter)


def _headings(text: str, shown_as: str, profile: LoggerProfile) -> list[str]:
    rows = list(csv.reader(io.StringIO("\n".join(text.splitlines()[: profile.heading_rows])),
                           delimiter=_delimiter(profile)))
    if len(rows) < profile.heading_rows:
        raise RecordProblems([Problem(
            Place(shown_as), "the file ends within its headings",
            f"the profile '{profile.id}' says it has {profile.heading_rows} heading rows",
            "Export the file again, or mend heading_rows in the profile")])
    headings = [cell.strip() for cell in rows[profile.names_row - 1]]
    problems = list(_heading_problems(headings, shown_as, profile))
    if problems:
        raise RecordProblems(problems)
    return headings


def _heading_problems(headings: list[str], shown_as: str, profile: LoggerProfile
                      ) -> Iterator[Problem]:
    wanted = [profile.time.heading, *filter(None, [profile.time.time_heading]),
              *(column.heading for column in profile.columns)]
    row = profile.names_row
    for heading in wanted:
        if headings.count(heading) == 1:
            continue
        near = difflib.get_close_matches(heading, headings, n=1, cutoff=0.5)
        yield Problem(
            Place(shown_as, row), f"heading '{heading}'",
            f"the profile '{profile.id}' names it, and it stands "
            f"{headings.count(heading) or 'no'} time{'s' if headings.count(heading) != 1 else ''}"
            " in the file",
            f"Did you mean '{near[0]}'? If so, write it in the profile" if near else
            f"The file has: {', '.join(headings)}")
    known = {*wanted, *profile.ignored}
    for column, heading in enumerate(headings):
        if heading and heading not in known:
            yield Problem(Place(shown_as, row, column + 1), f"heading '{heading}'",
                          f"the profile '{profile.id}' says nothing of this column",
                          f"Add it to columns with its channel and unit, or to ignored: "
                          f"- '{heading}'")


def _frame(text: str, shown_as: str, profile: LoggerProfile, headings: list[str]) -> pd.DataFrame:
    times = [profile.time.heading, *filter(None, [profile.time.time_heading])]
    used = [*times, *(column.heading for column in profile.columns)]
    try:
        return pd.read_csv(
            io.StringIO(text), sep=_delimiter(profile), decimal=profile.decimal, header=None,
            names=range(len(headings)), skiprows=profile.heading_rows, skip_blank_lines=False,
            usecols=[headings.index(name) for name in used],
            na_values=["", *profile.missing], keep_default_na=False, skipinitialspace=True,
            dtype={headings.index(name): str for name in times},
        ).rename(columns=dict(enumerate(headings)))
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise RecordProblems([Problem(
            Place(shown_as), "the rows do not fit the headings", str(error).strip().lower(),
            "Check the delimiter in the profile")]) from None


# --- cells ----------------------------------------------------------------------------------------

def _numbers(frame: pd.DataFrame, column: Column, shown_as: str, profile: LoggerProfile
             ) -> np.ndarray:
    cells = frame[column.heading]
    if cells.dtype == object or isinstance(cells.dtype, pd.StringDtype):
        bad = cells[pd.to_numeric(cells, errors="coerce").isna() & cells.notna()]
        raise RecordProblems(_cell_problems(bad, column, shown_as, profile))
    return in_house_unit(cells.to_numpy(float), column)


def in_house_unit(numbers: np.ndarray, column: Column) -> np.ndarray:
    """Return a column in °C, K, % or 0/1."""
    if column.unit == "°F":
        if column.channel in _DIFFERENCES:
            return numbers / 1.8
        return celsius_from_fahrenheit(numbers)
    return numbers * 100.0 if column.unit == "fraction" else numbers


def _cell_problems(bad: pd.Series, column: Column, shown_as: str, profile: LoggerProfile
                   ) -> Iterator[Problem]:
    for row, cell in bad.head(_SHOWN).items():
        other = "," if profile.decimal == "." else "."
        if other in str(cell) and str(cell).replace(other, "", 1).lstrip("+-").isdigit():
            instead = (f"If '{other}' stands before decimals, write 'decimal: \"{other}\"' in the "
                       f"profile '{profile.id}'")
        else:
            instead = (f"If it marks a missing value, add it to the profile: "
                       f"missing: ['{cell}']")
        more = f" ({len(bad)} such cells)" if len(bad) > 1 else ""
        yield Problem(Place(shown_as, int(row) + profile.heading_rows + 1),
                      f"{column.heading} '{cell}'{more}",
                      f"it is not a number as the profile '{profile.id}' writes them", instead)


# --- time ------------------------------------------------------------------------------------------

def _times(frame: pd.DataFrame, shown_as: str, profile: LoggerProfile, zone: ZoneInfo
           ) -> tuple[np.ndarray, np.ndarray]:
    """Return UTC times, and which rows have one."""
    cells = frame[profile.time.heading]
    if profile.time.time_heading:
        cells = cells + " " + frame[profile.time.time_heading]
    naive = pd.to_datetime(cells, format=profile.time.format, errors="coerce")
    bad = cells[naive.isna() & cells.notna()]
    if len(bad):
        raise RecordProblems([
            Problem(Place(shown_as, int(row) + profile.heading_rows + 1),
                    f"time '{cell}'" + (f" ({len(bad)} such cells)" if len(bad) > 1 else ""),
                    f"the profile '{profile.id}' says times are written {profile.time.format}",
                    "Mend the format in the profile (%d day, %m month, %Y year, %H hour, %M minute,"
                    " %S second, %I and %p for a 12-hour clock)")
            for row, cell in bad.head(_SHOWN).items()])
    timed = naive.notna().to_numpy()
    local = naive.to_numpy().astype("datetime64[s]")
    utc = np.full(len(local), np.datetime64("NaT"), "datetime64[s]")
    utc[timed] = _to_utc(local[timed], np.flatnonzero(timed), shown_as, profile, zone)
    return utc, timed


def _to_utc(local: np.ndarray, rows: np.ndarray, shown_as: str, profile: LoggerProfile,
            zone: ZoneInfo) -> np.ndarray:
    if profile.time.clock == "utc" or not len(local):
        return local
    if profile.time.clock == "standard":
        return local - _offsets(local[:1].astype("datetime64[Y]"), zone, fold=0)
    first, second = _offsets(local, zone, 0), _offsets(local, zone, 1)
    repeated = first > second
    skipped = first < second
    if skipped.any():
        row = int(np.flatnonzero(skipped)[0])
        raise RecordProblems([Problem(
            Place(shown_as, int(rows[row]) + profile.heading_rows + 1),
            f"time '{local[row]}'".replace("T", " "),
            f"clocks in {zone.key} skipped that hour, so a local clock never showed it",
            "If the logger keeps winter time, write 'clock: standard' in the profile")])
    if not repeated.any():
        return local - first
    if profile.time.repeated_hour is None:
        row = int(np.flatnonzero(repeated)[0])
        raise RecordProblems([Problem(
            Place(shown_as, int(rows[row]) + profile.heading_rows + 1),
            f"time '{local[row]}'".replace("T", " "),
            f"clocks in {zone.key} showed that hour twice",
            "If the rows are in the order they were written, write 'repeated_hour: by row order' "
            "under time in the profile")])
    later = _second_pass(local, repeated)
    return local - np.where(later, second, first)


def _offsets(local: np.ndarray, zone: ZoneInfo, fold: int) -> np.ndarray:
    """Return local minus UTC for each time; computed once an hour, as clocks change on the hour."""
    hours, inverse = np.unique(local.astype("datetime64[h]"), return_inverse=True)
    seconds = [zone.utcoffset(hour.astype(dt.datetime).replace(fold=fold)).total_seconds()
               for hour in hours]
    return np.array(seconds, "timedelta64[s]")[inverse]


def _second_pass(local: np.ndarray, repeated: np.ndarray) -> np.ndarray:
    """Return which rows of the repeated hour come after the clock went back."""
    went_back = np.concatenate([[False], local[1:] < local[:-1]])
    later = np.zeros(len(local), bool)
    for start in np.flatnonzero(repeated & ~np.concatenate([[False], repeated[:-1]])):
        end = start + int(np.argmin(np.concatenate([repeated[start:], [False]])))
        back = np.flatnonzero(went_back[start:end])
        if len(back):
            later[start + back[0]: end] = True
        elif end < len(local) and start > 0:
            # one pass only is on file: the gap to its neighbours says which
            later[start:end] = local[start] - local[start - 1] > np.timedelta64(1, "h")
    return later


def _rising(times: np.ndarray, timed: np.ndarray) -> np.ndarray:
    """Return the rows whose time is after every time before them."""
    seconds = times.astype(np.int64)
    seconds[~timed] = np.iinfo(np.int64).min
    highest = np.maximum.accumulate(seconds)
    before = np.concatenate([[np.iinfo(np.int64).min], highest[:-1]])
    return timed & (seconds > before)
