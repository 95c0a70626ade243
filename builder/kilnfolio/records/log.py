"""Logger exports to arrays, with every row accounted for.

A profile describes the export; nothing is guessed. A heading, time or number that does not match
the profile is a problem with its line and column. Rows whose clock repeats or goes back are left
out of the arrays and counted, never silently dropped; nothing is interpolated.
"""

from __future__ import annotations

import bisect
import datetime as dt
from collections import Counter
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from kilnfolio.records.clock import utc_times
from kilnfolio.records.export import no_readings, numbers, read_export
from kilnfolio.records.logger import LONGEST_INTERVAL, LoggerProfile
from kilnfolio.records.middle import median
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.runtime.values import dataclass

#: Fewest rows that show a logger's interval.
ROWS_THAT_TELL = 12


@dataclass(frozen=True)
class Log:
    """A logger's readings.

    Attributes
    ----------
    times : ndarray of datetime64[s]
        UTC, strictly increasing.
    channels : dict of str to ndarray
        Readings by channel [°C, K for depression, % for humidity, 0 or 1 for on/off]; NaN where
        the export marks a missing value.
    lines : ndarray of int
        Line number of each reading in its file.
    files : ndarray of int
        Index into `names` of the file of each reading.
    names : tuple of str
        The files, relative to the mill folder.
    rows : int
        Number of data rows in the files.
    left_out : Counter
        Number of rows and cells not used, by reason.
    interval_minutes : float
        Interval between rows in the profile [min].
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
        return as_datetime(self.times[index], zone)


def as_datetime(time: np.datetime64, zone: ZoneInfo) -> dt.datetime:
    """Return a UTC datetime64 as a datetime in a zone."""
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
        The profile that describes the export.
    zone : ZoneInfo
        The zone of a local clock.

    Raises
    ------
    RecordProblems
        The file does not match the profile.
    """
    export = read_export(path, shown_as, profile)
    problems: list[Problem] = []
    times, timed = utc_times(export, zone, problems)
    channels = {column.channel: numbers(export, column, problems) for column in profile.columns}
    if not problems and not timed.any():
        problems.append(no_readings(shown_as, profile, export.rows))
    if problems:
        raise RecordProblems(problems)
    left_out = export.left_out
    if blank := int((~timed).sum()):
        left_out["rows without a time"] = blank
    rising = _rising(times, timed)
    if apart := _interval_problem(times[rising], export.lines[rising], shown_as, profile):
        raise RecordProblems([apart])
    if repeats := int((timed & ~rising).sum()):
        left_out["rows whose clock repeats or runs back"] = repeats
    for channel, values in channels.items():
        if missing := int(np.isnan(values[rising]).sum()):
            left_out[f"cells of {channel} marked missing"] = missing
    return Log(
        times[rising],
        {name: values[rising] for name, values in channels.items()},
        export.lines[rising],
        np.zeros(int(rising.sum()), int),
        (shown_as,),
        export.rows,
        left_out,
        profile.interval_minutes,
    )


def _interval_problem(
    times: np.ndarray, lines: np.ndarray, shown_as: str, profile: LoggerProfile
) -> Problem | None:
    """Return the problem of rows that are mostly further apart, or closer, than the profile says.

    The interval decides what counts as a gap and for how long a core was hot.
    """
    if len(times) <= ROWS_THAT_TELL:
        return None
    apart = median(np.diff(times).astype(np.int64)) / 60.0
    said = profile.interval_minutes
    if said / 2 < apart < said * 2:
        return None
    if apart > LONGEST_INTERVAL:
        instead = "Export every row, as it was measured"
    else:
        instead = f"If the logger wrote so, write 'interval_minutes: {apart:g}' in the profile"
        if apart > said:
            instead += (
                "; if rows were left out or averaged for the export, export all of them, "
                "as they were measured"
            )
    return Problem(
        Place(shown_as, int(lines[1])),
        f"the rows stand {apart:g} min apart",
        f"the profile '{profile.id}' says {said:g} min",
        instead,
    )


def join_logs(logs: list[Log]) -> Log:
    """Return several files of one charge as one log, oldest first.

    Overlapping readings of a later file are left out and counted.
    """
    if len(logs) == 1:
        return logs[0]
    logs = sorted((log for log in logs if len(log.times)), key=lambda log: log.times[0]) or logs[:1]
    times = np.concatenate([log.times for log in logs])
    kept = _rising(times, np.ones(len(times), bool))
    left_out = sum((log.left_out for log in logs), Counter())
    if overlap := int((~kept).sum()):
        left_out["rows that another file already covers"] += overlap
    names = dict.fromkeys(name for log in logs for name in log.channels)
    channels = {}
    for name in names:
        without = sum(len(log.times) for log in logs if name not in log.channels)
        if without:
            left_out[f"cells of {name} in a file without it"] += without
        channels[name] = np.concatenate(
            [log.channels.get(name, np.full(len(log.times), np.nan)) for log in logs]
        )[kept]
    return Log(
        times[kept],
        channels,
        np.concatenate([log.lines for log in logs])[kept],
        np.repeat(np.arange(len(logs)), [len(log.times) for log in logs])[kept],
        tuple(name for log in logs for name in log.names),
        sum(log.rows for log in logs),
        left_out,
        max(log.interval_minutes for log in logs),
    )


def _rising(times: np.ndarray, timed: np.ndarray) -> np.ndarray:
    """Return the largest set of rows whose times strictly increase; of equal times, the first."""
    seconds = times.astype(np.int64)
    if timed.all() and (np.diff(seconds) > 0).all():
        return timed.copy()
    tails: list[int] = []  # the earliest last row of an increasing run of each length
    ends: list[int] = []  # ... and its time
    before = np.full(len(seconds), -1)
    for row in np.flatnonzero(timed).tolist():
        second = int(seconds[row])
        place = bisect.bisect_left(ends, second)
        if place < len(ends) and ends[place] == second:
            continue
        before[row] = tails[place - 1] if place else -1
        tails[place : place + 1], ends[place : place + 1] = [row], [second]
    kept = np.zeros(len(seconds), bool)
    row = tails[-1] if tails else -1
    while row >= 0:
        kept[row] = True
        row = int(before[row])
    return kept
