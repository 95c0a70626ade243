"""Converts the times of a logger's rows to UTC.

A local clock skips an hour in spring and repeats one in autumn. Nothing is guessed: a skipped hour
cannot be on a local clock at all, and the repeated one is resolved by the order of the rows only if
the profile says so and the rows themselves show the clock going back.
"""

from __future__ import annotations

import datetime as dt
import re
from functools import cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from kilnfolio.records.export import Export
from kilnfolio.records.logger import SERIAL
from kilnfolio.records.problems import Problem

if TYPE_CHECKING:
    import pandas as pd

_NEVER = np.datetime64("NaT", "s")
_SECONDS = {"days": 86_400.0, "seconds": 1.0}
#: Possible years of a record; a clock that lost its battery starts long before.
_YEARS = (np.datetime64("1980-01-01", "s"), np.datetime64("2200-01-01", "s"))
#: The least jump at midnight that swapped day and month cause.
_LEAP = np.timedelta64(20, "D")


def utc_times(
    export: Export, zone: ZoneInfo, problems: list[Problem]
) -> tuple[np.ndarray, np.ndarray]:
    """Return the time of each row in UTC, and which rows have one.

    Parameters
    ----------
    export : Export
        The rows.
    zone : ZoneInfo
        The zone of a local clock.
    problems : list of Problem
        Receives what does not match the profile.

    Returns
    -------
    times : ndarray of datetime64[s]
        UTC; NaT for a row without a time.
    timed : ndarray of bool
        Whether each row has one.
    """
    local = _quick_times(export)
    if local is None:
        local = _within_years(_parsed(_written(export), export.profile.time.format))
    timed = ~np.isnat(local)
    if not timed.all() and len(bad := np.flatnonzero(_written(export).notna() & ~timed)):
        problems.append(_format_problem(export, _written(export), bad))
        return local, timed
    if swapped := _swapped_problem(export, local, timed):
        problems.append(swapped)
        return local, timed
    rows = np.flatnonzero(timed)
    utc = np.full(len(local), _NEVER)
    utc[rows] = _to_utc(local[rows], rows, export, zone, problems)
    return utc, timed


def _written(export: Export) -> pd.Series:
    """Return the times as written in the file."""
    time = export.profile.time
    written = export.texts(time.heading)
    return written + " " + export.texts(time.time_heading) if time.time_heading else written


def _parsed(written: pd.Series, form: str) -> np.ndarray:
    """Return naive times; NaT for cells that do not match `form`."""
    import pandas as pd

    if serial := SERIAL.fullmatch(form):
        numbers = pd.to_numeric(written.str.replace(",", ".", regex=False), errors="coerce")
        seconds = numbers.to_numpy(float) * _SECONDS[serial[1]]
        seconds[~(np.abs(seconds) < 1e11)] = np.nan
        found = np.full(len(seconds), _NEVER)
        known = np.isfinite(seconds)
        found[known] = np.datetime64(serial[2], "s") + np.round(seconds[known]).astype(
            "timedelta64[s]"
        )
        return found
    # pandas reads these two words, in any format, as the current time
    words = written.str.lower().isin(("now", "today"))
    moments = pd.to_datetime(
        written.mask(words, "?") if words.any() else written,
        format=form,
        errors="coerce",
        utc="%z" in form,
    )
    naive: np.ndarray = moments.dt.tz_localize(None).to_numpy().astype("datetime64[s]")
    return naive


#: Digits of the parts of a time with a fixed number of digits.
_DIGITS = {"%Y": 4, "%m": 2, "%d": 2, "%H": 2, "%M": 2, "%S": 2}


def _quick_times(export: Export) -> np.ndarray | None:
    """Return the naive times of a file in which all are written with the same number of digits.

    None if any differs; then each time is parsed by itself.
    """
    time = export.profile.time
    forms = [time.format]
    if time.time_heading:
        forms = time.format.split(" ")
        if len(forms) != 2:
            return None
    columns = []
    for heading, form in zip([time.heading, time.time_heading], forms, strict=False):
        characters = export.characters(str(heading), _width(form))
        if characters is None:
            return None
        columns.append(characters)
    local = times_of("".join(forms), np.hstack(columns))
    return None if local is None or np.isnat(_within_years(local)).any() else local


def _width(form: str) -> int:
    return sum(_DIGITS.get(part, 1) for part in _parts(form))


def _parts(form: str) -> list[str]:
    return re.findall(r"%.|[^%]", form)


def times_of(form: str, characters: np.ndarray) -> np.ndarray | None:
    """Return times parsed from a table of characters; None if a character does not match the form.

    Parameters
    ----------
    form : str
        The format, in the codes of strftime.
    characters : ndarray of uint8
        The characters, one time per row.
    """
    parts = _parts(form)
    if not set(_DIGITS) >= {part for part in parts if part[0] == "%"} or characters.shape[
        1
    ] != _width(form):
        return None
    values = {"%H": np.zeros(len(characters), np.int64)}
    values["%M"] = values["%S"] = values["%H"]
    start = 0
    for part in parts:
        column = characters[:, start : start + _DIGITS.get(part, 1)]
        start += column.shape[1]
        if part in _DIGITS:
            digits = column - np.uint8(ord("0"))  # characters below "0" wrap round to above 9
            if (digits > 9).any():
                return None
            values[part] = digits.astype(np.int64) @ 10 ** np.arange(column.shape[1] - 1, -1, -1)
        elif (column != ord(part)).any():
            return None
    return _assembled(values)


def _assembled(values: dict[str, np.ndarray]) -> np.ndarray | None:
    """Return times from their parts; None if a part is out of range."""
    bounds = {"%m": (1, 12), "%d": (1, 31), "%H": (0, 23), "%M": (0, 59), "%S": (0, 59)}
    if not values.keys() >= {"%Y", "%m", "%d"} or any(
        ((values[part] < low) | (values[part] > high)).any() for part, (low, high) in bounds.items()
    ):
        return None
    months = (12 * (values["%Y"] - 1970) + values["%m"] - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + (values["%d"] - 1)
    if (days.astype("datetime64[M]") != months).any():
        return None
    seconds = 3600 * values["%H"] + 60 * values["%M"] + values["%S"]
    moments: np.ndarray = days.astype("datetime64[s]") + seconds.astype("timedelta64[s]")
    return moments


def _format_problem(export: Export, written: pd.Series, bad: np.ndarray) -> Problem:
    time, profile, row = export.profile.time, export.profile, int(bad[0])
    more = f" ({len(bad)} such cells)" if len(bad) > 1 else ""
    fits = formats_that_fit(written)
    if fits:
        offers = [
            f"\"format: '{form}'\" if that is {read.day} {read:%B %Y, %H:%M}" for form, read in fits
        ]
        instead = f"Write {' or '.join(offers)}, under time in the profile"
    else:
        instead = (
            "Mend the format in the profile (%d day, %m month, %Y year, %H hour, %M minute, "
            "%S second, %I and %p for a 12-hour clock); if the row records an event, write "
            "the word its cell begins with under ignored_rows"
        )
    return Problem(
        export.place(row, time.heading),
        f"{time.heading} '{written.iloc[row]}'{more}",
        f"the profile '{profile.id}' says times are written {time.format}",
        instead,
    )


#: Formats that exports commonly use for a date and a time of day.
_DAYS = (
    "%Y-%m-%d",
    "%Y/%m/%d",
    "%d/%m/%Y",
    "%m/%d/%Y",
    "%d.%m.%Y",
    "%d-%m-%Y",
    "%m-%d-%Y",
    "%d.%m.%y",
    "%d/%m/%y",
    "%m/%d/%y",
)
_TIMES = ("%H:%M", "%H:%M:%S", "%I:%M %p", "%I:%M:%S %p")
_COMMON = (
    *(f"{day}{between}{time}" for day in _DAYS for between in " T" for time in _TIMES),
    "days since 1899-12-30",
)


#: Patterns of the parts of a time; any other part is one or two digits.
_PARTS = {"Y": r"\d{4}", "p": r"[A-Za-z.]+"}


@cache
def _shape(form: str) -> re.Pattern[str]:
    """Return a pattern that every time of a format matches; parsing a cell costs far more."""
    parts = re.sub("%(.)", lambda part: _PARTS.get(part[1], r"\d{1,2}"), re.escape(form))
    return re.compile(r"\s*" + parts.replace(r"\ ", r"\s+") + r"\s*")


def formats_that_fit(written: pd.Series) -> list[tuple[str, dt.datetime]]:
    """Return the common formats that match every time of a file, and the first time in each."""
    known = written.dropna()
    first = known.iloc[:1]
    fits = []
    for form in _COMMON:
        if not SERIAL.fullmatch(form) and not _shape(form).fullmatch(str(first.iloc[0])):
            continue
        read = _within_years(_parsed(first, form))
        if not np.isnat(read).any() and not np.isnat(_within_years(_parsed(known, form))).any():
            fits.append((form, read[0].astype(dt.datetime)))
    return fits


def _within_years(local: np.ndarray) -> np.ndarray:
    """Return times, with those outside the possible years set to NaT."""
    return np.where((local >= _YEARS[0]) & (local < _YEARS[1]), local, _NEVER)


def _swapped_problem(export: Export, local: np.ndarray, timed: np.ndarray) -> Problem | None:
    """Return a problem if the clock jumps by weeks, but not with day and month swapped."""
    form = export.profile.time.format
    other = form.translate(str.maketrans("dm", "md"))
    leaps = _leaps(local[timed])
    if not len(leaps) or not {"%d", "%m"} <= {form[i : i + 2] for i in range(len(form))}:
        return None
    written = _written(export)
    swapped = _parsed(written, other)[timed]
    if np.isnat(swapped).any() or len(_leaps(swapped)):
        return None
    row = int(np.flatnonzero(timed)[leaps[0] + 1])
    return Problem(
        export.place(row, export.profile.time.heading),
        f"{export.profile.time.heading} '{written.iloc[row]}'",
        "read as the profile says, the clock leaps by weeks here, and with day and "
        "month swapped it does not",
        "Check which stands first; if it is the other, "
        f"write \"format: '{other}'\" under time in the profile",
    )


def _leaps(local: np.ndarray) -> np.ndarray:
    return np.flatnonzero(np.abs(np.diff(local)) > _LEAP)


# --- local clocks ---------------------------------------------------------------------------------


def _to_utc(
    local: np.ndarray, rows: np.ndarray, export: Export, zone: ZoneInfo, problems: list[Problem]
) -> np.ndarray:
    clock = export.profile.time.clock
    if clock in ("utc", "offset") or not len(local):
        return local
    if clock == "standard":
        winter: np.ndarray = local - _winter_offset(local[0], zone)
        return winter
    first, second = _offsets(local, zone)

    def problem(row: int, why: str, instead: str) -> Problem:
        heading = export.profile.time.heading
        return Problem(
            export.place(int(rows[row]), heading),
            f"{heading} '{str(local[row]).replace('T', ' ')}'",
            why,
            instead,
        )

    skipped = np.flatnonzero(first < second)
    if len(skipped):
        problems.append(
            problem(
                skipped[0],
                f"clocks in {zone.key} skipped that hour, so a local clock never showed it",
                "If the logger keeps winter time all year, write 'clock: standard' under time in the "
                "profile",
            )
        )
    repeated = first > second
    as_first: np.ndarray = local - first
    if not repeated.any():
        return as_first
    if export.profile.time.repeated_hour is None:
        problems.append(
            problem(
                np.flatnonzero(repeated)[0],
                f"clocks in {zone.key} showed that hour twice",
                "If the logger's clock went back with them and its rows are in the order they were "
                "written, import it with --repeated-hour by-row-order, or write 'repeated_hour: by row "
                "order' under time in the profile; if it keeps winter time all year, 'clock: standard'",
            )
        )
        return as_first
    later, unclear = _second_pass(local, first - second, export.profile.interval_minutes)
    problems.extend(
        problem(
            row,
            f"clocks in {zone.key} showed that hour twice, and the rows do not show the clock "
            "going back",
            "If the logger keeps winter time all year, write 'clock: standard' under "
            "time in the profile; otherwise export that night again with times in UTC",
        )
        for row in unclear
    )
    return np.where(later, local - second, as_first)


def _winter_offset(local: np.datetime64, zone: ZoneInfo) -> np.timedelta64:
    """Return the zone's winter offset in a year: the smaller one, as summer time is ahead."""
    year = int(local.astype("datetime64[Y]").astype(int)) + 1970
    return min(_offset(dt.datetime(year, month, 1), zone) for month in (1, 7))  # noqa: DTZ001


def _offset(local: dt.datetime, zone: ZoneInfo, fold: int = 0) -> np.timedelta64:
    offset = zone.utcoffset(local.replace(fold=fold))
    assert offset is not None
    return np.timedelta64(int(offset.total_seconds()), "s")


def _offsets(local: np.ndarray, zone: ZoneInfo) -> tuple[np.ndarray, np.ndarray]:
    """Return local time minus UTC for each time, for both passes of a repeated hour.

    The zone is queried only once for each day without a change.
    """
    days = local.astype("datetime64[D]")
    firsts = np.flatnonzero(np.concatenate([[True], days[1:] != days[:-1]]))
    both = [
        (_offset(day, zone), _offset(day + dt.timedelta(days=1), zone))
        for day in days[firsts].astype("datetime64[s]").tolist()
    ]
    lengths = np.diff(firsts, append=len(local))
    first = np.repeat(np.array([start for start, _ in both]), lengths)
    second = first.copy()
    for row in np.flatnonzero(np.repeat([start != end for start, end in both], lengths)).tolist():
        moment = local[row].astype(dt.datetime)
        first[row], second[row] = _offset(moment, zone), _offset(moment, zone, 1)
    return first, second


def _second_pass(
    local: np.ndarray, shifts: np.ndarray, interval_minutes: float
) -> tuple[np.ndarray, list[int]]:
    """Return which rows come after the clock went back, and the blocks in which no row shows it.

    Of the steps between rows through the repeated hour, one is longer than it reads by the amount
    the clock went back. It is the step that, so corrected, fits the interval best, and it must fit
    better than uncorrected. The steps before the first row of a file and after its last are
    unknown, and fit either way.
    """
    interval = np.timedelta64(int(interval_minutes * 60), "s")
    later = np.zeros(len(local), bool)
    unclear = []
    repeated = np.concatenate([[False], shifts > np.timedelta64(0), [False]])
    edges = np.flatnonzero(np.diff(repeated.astype(int)))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        steps = np.diff(local[max(start - 1, 0) : end + 1])
        worse = (np.abs(steps + shifts[start] - interval) - np.abs(steps - interval)).astype(float)
        if start == 0:
            worse = np.concatenate([[0.0], worse])
        if end == len(local):
            worse = np.concatenate([worse, [0.0]])
        best = int(np.argmin(worse))
        if worse[best] > 0 or (worse[best] == 0 and np.count_nonzero(worse == 0) > 1):
            unclear.append(int(start))
        else:
            later[start + best : end] = True
    return later, unclear
