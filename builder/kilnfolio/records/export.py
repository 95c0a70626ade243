"""Splits a logger's own file into rows and cells by its profile, and reports every anomaly.

Uniform rows of plain numbers are read as a grid; pandas reads the others. What pandas would
silently accept (a row with an extra cell, a truncated cell, a mark read as a temperature) is
detected here; the slow code that locates it runs only if there is something to report.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from kilnfolio.physics.heat import CORE_RANGE_C
from kilnfolio.records.grid import Grid, grid_of
from kilnfolio.records.logger import Column, LoggerProfile
from kilnfolio.records.problems import Place, Problem, RecordProblems, cannot_read
from kilnfolio.records.quantities import Temperature, TemperatureDifference
from kilnfolio.runtime.files import TooLargeError, read_whole
from kilnfolio.runtime.nearest import nearest
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    import pandas as pd

#: The largest export read [bytes]: about two years at a row a minute.
MAX_BYTES = 64 * 1024 * 1024
#: Problems of one kind shown per column; the rest are counted.
SHOWN = 5

_DELIMITERS = {"tab": "\t"}
#: Byte-order marks of UTF-16.
_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
#: Channels that hold a difference of temperatures, not a temperature.
_DIFFERENCES = {"depression"}
#: Possible readings, by house unit [°C, K, %, 0 or 1]. A humidity sensor may read a few points too
#: high in saturated air (common practice, no source).
_RANGES = {"°C": CORE_RANGE_C, "K": (-40.0, 140.0), "%": (0.0, 105.0), "on/off": (0.0, 1.0)}
_FAHRENHEIT = Temperature.units["°F"]
_FAHRENHEIT_DIFFERENCE = TemperatureDifference.units["°F"]
#: A unit written in a heading: T1 [°F], DB (C), or °C alone.
_UNIT_IN_HEADING = re.compile(r"°\s?([CF])\b|[\[(]\s?(?:deg\s?)?([CF])\s?[\])]|^([CF])$")


@dataclass(frozen=True)
class Export:
    """A logger's file, split into rows.

    Attributes
    ----------
    file : str
        Its name in messages.
    profile : LoggerProfile
        The profile that describes the file.
    headings : list of str
        The names of the columns.
    text : list of str
        Every line of the file.
    body : bytes
        The rows with a reading, in UTF-8.
    cells : DataFrame or mapping of str to ndarray
        The cells of the columns used, by heading; as numbers if all of a column are numbers.
    grid : Grid or None
        The same rows as a grid, if they are uniform.
    lines : ndarray of int
        Line number of each row in the file.
    rows : int
        Number of rows below the headings, whatever they hold.
    left_out : Counter
        Number of rows that are not in `cells`, by reason.
    """

    file: str
    profile: LoggerProfile
    headings: list[str]
    text: list[str]
    body: bytes
    cells: pd.DataFrame | Mapping[str, np.ndarray]
    grid: Grid | None
    lines: np.ndarray
    rows: int
    left_out: Counter[str]

    def texts(self, heading: str) -> pd.Series:
        """Return a column as text, with missing values as the profile defines them."""
        return read_cells(self.body, [heading], self.headings, self.file, self.profile, kind=str)[
            heading
        ]

    def characters(self, heading: str, width: int) -> np.ndarray | None:
        """Return a column as a table of characters; None unless all cells have this width."""
        return self.grid.of_width(self.headings.index(heading), width) if self.grid else None

    def place(self, row: int, heading: str) -> Place:
        """Return the place of a cell."""
        line = int(self.lines[row])
        starts = cell_starts(self.text[line - 1], delimiter_of(self.profile))
        index = self.headings.index(heading)
        return Place(self.file, line, starts[index] + 1 if index < len(starts) else 1)

    def written(self, row: int, heading: str) -> str:
        """Return a cell as written in the file."""
        cells = _split(self.text[int(self.lines[row]) - 1], self.profile)
        index = self.headings.index(heading)
        return cells[index] if index < len(cells) else ""


def delimiter_of(profile: LoggerProfile) -> str:
    """Return the delimiter."""
    return _DELIMITERS.get(profile.delimiter, profile.delimiter)


def read_export(path: Path, shown_as: str, profile: LoggerProfile) -> Export:
    """Read an export according to its profile.

    Raises
    ------
    RecordProblems
        It cannot be read, or its headings or rows do not match the profile.
    """
    text = _lines(path, shown_as, profile)
    headings = _headings(text, shown_as, profile)
    problems = [
        *_heading_problems(text, headings, shown_as, profile),
        *_unit_problems(text, headings, shown_as, profile),
    ]
    if problems:
        raise RecordProblems(problems)
    rows = len(text) - profile.heading_rows
    delimiter, left_out = delimiter_of(profile), Counter[str]()
    body = "\n".join(text[profile.heading_rows :]).encode()
    grid = (
        None
        if profile.ignored_rows or profile.time.heading.encode() in body
        else grid_of(body, delimiter, len(headings))
    )
    if rows and grid:
        lines = np.arange(profile.heading_rows + 1, len(text) + 1)
    else:
        kept, left_out = _kept_rows(text, headings, shown_as, profile)
        if not kept:
            raise RecordProblems([no_readings(shown_as, profile, rows)])
        lines = np.array(kept)
        body = "\n".join([text[line - 1] for line in kept]).encode()
        grid = grid_of(body, delimiter, len(headings))
    wanted = [column.heading for column in profile.columns]
    cells = _plain_numbers(grid, wanted, headings, profile)
    if cells is None:
        cells = read_cells(
            body, wanted, headings, shown_as, profile, padded=grid is None or grid.padded
        )
    return Export(shown_as, profile, headings, text, body, cells, grid, lines, rows, left_out)


def _plain_numbers(
    grid: Grid | None, wanted: list[str], headings: list[str], profile: LoggerProfile
) -> dict[str, np.ndarray] | None:
    """Return columns of plain numbers; None if any cell is something else."""
    if grid is None:
        return None
    found = {}
    for name in wanted:
        column = grid.numbers(headings.index(name), profile.decimal, profile.missing)
        if column is None:
            return None
        found[name] = column
    return found


def no_readings(shown_as: str, profile: LoggerProfile, rows: int) -> Problem:
    """Return the problem of a file in which no row holds a reading."""
    return Problem(
        Place(shown_as, profile.heading_rows),
        "no readings below the headings",
        f"the file has {rows} rows there, and none holds a time and its readings",
        "Export the file again, or check heading_rows in the profile",
    )


# --- text and headings ----------------------------------------------------------------------------


def export_bytes(path: Path, shown_as: str) -> bytes:
    """Return the bytes of an export.

    Raises
    ------
    RecordProblems
        It cannot be read, or is too large.
    """
    try:
        return read_whole(path, MAX_BYTES)
    except TooLargeError as error:
        why = Problem(
            Place(shown_as),
            f"the file has {error.size:,} bytes",
            f"an export may have at most {MAX_BYTES:,}",
            "Export each charge to a file of its own",
        )
    except OSError as error:
        why = cannot_read(shown_as, error)
    raise RecordProblems([why])


def _lines(path: Path, shown_as: str, profile: LoggerProfile) -> list[str]:
    raw = export_bytes(path, shown_as)
    if raw.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise RecordProblems(
            [
                Problem(
                    Place(shown_as),
                    "this is a spreadsheet file, whatever its name ends in",
                    "a log is read from the text file that the logger exports",
                    "Put the logger's own file here, or save the sheet as .csv",
                )
            ]
        )
    if profile.encoding == "utf-16" and not raw.startswith(_UTF_16):
        raise RecordProblems(
            [
                Problem(
                    Place(shown_as),
                    "the file does not begin as UTF-16 does",
                    f"the profile '{profile.id}' says {profile.encoding}",
                    "Write the export's encoding in the profile, as in 'encoding: utf-8'",
                )
            ]
        )
    encoding = "utf-8-sig" if profile.encoding == "utf-8" else profile.encoding
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise RecordProblems(
            [
                Problem(
                    Place(shown_as, line, error.start - raw.rfind(b"\n", 0, error.start)),
                    f"byte 0x{raw[error.start]:02x}"
                    if error.start < len(raw)
                    else "the end of the file",
                    f"the profile '{profile.id}' says {profile.encoding}, and this is not",
                    f"Write the export's encoding in the profile, as in 'encoding: {_other(raw, profile)}'",
                )
            ]
        ) from None
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if (nul := text.find("\0")) >= 0:
        raise RecordProblems(
            [
                Problem(
                    Place(shown_as, text.count("\n", 0, nul) + 1, nul - text.rfind("\n", 0, nul)),
                    "a NUL character",
                    "text holds none: the file is damaged, or is encoded otherwise",
                    "Copy the file from the logger again; if it is the same, try 'encoding: utf-16' in the "
                    "profile",
                )
            ]
        )
    lines = text.split("\n")
    while lines and not lines[-1].strip():
        lines.pop()
    return lines


def _other(raw: bytes, profile: LoggerProfile) -> str:
    if raw.startswith(_UTF_16):
        return "utf-16"
    return "windows-1252" if profile.encoding == "utf-8" else "utf-8"


def _split(line: str, profile: LoggerProfile) -> list[str]:
    try:
        reader = csv.reader([line], delimiter=delimiter_of(profile), skipinitialspace=True)
        return [cell.strip() for cell in next(reader, [])]
    except csv.Error:  # a cell exceeds the csv module's limit
        return [cell.strip() for cell in line.split(delimiter_of(profile))]


def cell_starts(line: str, delimiter: str) -> list[int]:
    """Return the start of each cell in a line; delimiters inside quotes do not count."""
    starts, quoted = [0], False
    for index, character in enumerate(line):
        quoted ^= character == '"'
        if character == delimiter and not quoted:
            starts.append(index + 1)
    return starts


def _headings(text: list[str], shown_as: str, profile: LoggerProfile) -> list[str]:
    if len(text) < profile.heading_rows:
        raise RecordProblems(
            [
                Problem(
                    Place(shown_as),
                    "the file ends within its headings" if text else "the file is empty",
                    f"the profile '{profile.id}' says it has {profile.heading_rows} heading rows",
                    "Export the file again, or mend heading_rows in the profile",
                )
            ]
        )
    return _split(text[profile.names_row - 1], profile)


def _heading_problems(
    text: list[str], headings: list[str], shown_as: str, profile: LoggerProfile
) -> Iterator[Problem]:
    place = Place(shown_as, profile.names_row)
    if elsewhere := _read_otherwise(text, headings, profile):
        yield Problem(
            place,
            f"the line '{text[profile.names_row - 1][:60]}'",
            f"the profile '{profile.id}' says that the headings "
            + ", ".join(f"'{heading}'" for heading in profile.headings[:3])
            + " stand here",
            elsewhere,
        )
        return
    claimed = set()
    for heading in profile.headings:
        if (count := headings.count(heading)) == 1:
            continue
        if count:
            yield Problem(
                place,
                f"heading '{heading}'",
                f"it stands {count} times in the file",
                "Rename one in the logger",
            )
            continue
        near = nearest(
            heading, [h for h in headings if h and h not in profile.headings], cutoff=0.5
        )
        claimed.update(near)
        yield Problem(
            place,
            f"heading '{heading}'",
            f"the profile '{profile.id}' names it, and the file does not have it",
            f"The file has '{near[0]}'; if that is the same column, write it in the profile"
            if near
            else f"The file has: {', '.join(filter(None, headings)) or 'an empty line'}",
        )
    known = {*profile.headings, *profile.ignored, *claimed}
    starts = cell_starts(text[profile.names_row - 1], delimiter_of(profile))
    for start, heading in zip(starts, headings, strict=False):
        if heading and heading not in known:
            yield Problem(
                Place(shown_as, profile.names_row, start + 1),
                f"heading '{heading}'",
                f"the profile '{profile.id}' says nothing of this column",
                "Add it to columns with its channel and unit, or as a line "
                f"\"- '{heading}'\" to ignored",
            )


def _read_otherwise(text: list[str], headings: list[str], profile: LoggerProfile) -> str:
    """Return what to write if the headings are on another line or the delimiter differs."""
    wanted = set(profile.headings)
    if wanted & set(headings):
        return ""
    for number, line in enumerate(text[:5], 1):
        if wanted <= set(_split(line, profile)):
            return (
                f"They stand on line {number}: write 'names_row: {number}' and "
                f"'heading_rows: {max(number, profile.heading_rows)}' in the profile"
            )
    for name in (",", ";", "tab", "|"):
        if len(headings) == 1 and _DELIMITERS.get(name, name) in headings[0]:
            return (
                f"If '{name}' stands between columns, write 'delimiter: \"{name}\"' in the profile"
            )
    return ""


def _unit_problems(
    text: list[str], headings: list[str], shown_as: str, profile: LoggerProfile
) -> Iterator[Problem]:
    """Yield a problem if a heading in the file names a different unit from the profile."""
    rows = [_split(line, profile) for line in text[: profile.heading_rows]]
    for column in profile.columns:
        if column.unit not in ("°C", "°F", "K") or column.heading not in headings:
            continue
        index = headings.index(column.heading)
        for number, cells in enumerate(rows, 1):
            cell = cells[index] if index < len(cells) else ""
            found = _UNIT_IN_HEADING.search(cell)
            said = "°" + next(filter(None, found.groups())) if found else column.unit
            if said != column.unit and "°F" in (said, column.unit):
                yield Problem(
                    Place(
                        shown_as,
                        number,
                        cell_starts(text[number - 1], delimiter_of(profile))[index] + 1,
                    ),
                    f"heading '{cell}'",
                    f"the profile '{profile.id}' says that '{column.heading}' is in {column.unit}",
                    f"If the file is right, write 'unit: {said}' in the profile; if the profile "
                    f"is, rename the heading in the logger",
                )


# --- rows -----------------------------------------------------------------------------------------


def _kept_rows(
    text: list[str], headings: list[str], shown_as: str, profile: LoggerProfile
) -> tuple[list[int], Counter[str]]:
    """Return the lines with a reading, and why the others are left out."""
    rows = text[profile.heading_rows :]
    delimiter, wanted = delimiter_of(profile), len(headings) - 1
    ignored, heading = _ignored_rows(profile), profile.time.heading
    left_out: Counter[str] = Counter()
    kept, problems = [], []
    for line, row in enumerate(rows, profile.heading_rows + 1):
        ignore = ignored is not None and ignored.search(row) is not None
        if (
            heading in row
            and heading in (cells := _split(row, profile))
            and not (ignore and cells == headings)
        ):
            problems.append(_headings_again(cells, headings, Place(shown_as, line), profile))
        elif ignore:
            left_out["rows the profile ignores"] += 1
        else:
            plain = row.count(delimiter) == wanted and '"' not in row
            odd = None if plain else _odd_row(row, headings, Place(shown_as, line), profile)
            if odd is None:
                kept.append(line)
            elif isinstance(odd, str):
                left_out[odd] += 1
            else:
                problems.append(odd)
    if problems:
        raise RecordProblems(_first_few(problems))
    return kept, left_out


def _ignored_rows(profile: LoggerProfile) -> re.Pattern[str] | None:
    if not profile.ignored_rows:
        return None
    beginnings = "|".join(map(re.escape, profile.ignored_rows))
    return re.compile(rf'(?:^|{re.escape(delimiter_of(profile))})\s*"?(?:{beginnings})')


def _headings_again(
    cells: list[str], headings: list[str], place: Place, profile: LoggerProfile
) -> Problem:
    """Return the problem of a second heading row: repeated, or with other columns from there on."""
    if cells == headings:
        marks = _yaml_list(profile.ignored_rows, profile.time.heading)
        return Problem(
            place,
            "the headings stand again here",
            "a row of headings is no reading",
            f'If the logger was restarted, write "ignored_rows: {marks}" in the '
            f"profile '{profile.id}'",
        )
    changed = next(
        (
            f"'{new}' stands where '{old}' stood"
            for old, new in zip(headings, cells, strict=False)
            if old != new
        ),
        f"there are {len(cells)} columns instead of {len(headings)}",
    )
    return Problem(
        place,
        "the headings change here",
        changed,
        "Copy the rows from here on to a second file, keep the original beside it, and "
        "name the second file under log with a profile of its own",
    )


def _odd_row(
    row: str, headings: list[str], place: Place, profile: LoggerProfile
) -> Problem | str | None:
    """Return what is unusual about a row: a problem, a reason to leave it out, or None."""
    if row.count('"') % 2:
        return Problem(
            place,
            "a quote opens and does not close on this line",
            "a row is one line",
            "Export the file without line breaks in its cells",
        )
    cells = _split(row, profile)
    if not any(cells):
        return "blank rows"
    extra = [index for index, cell in enumerate(cells) if index >= len(headings) and cell]
    if not extra:
        needed = max(headings.index(heading) for heading in profile.headings)
        return None if len(cells) > needed else "rows with too few cells"
    start = cell_starts(row, delimiter_of(profile))[extra[0]] + 1
    instead = "Export the new columns from the start, or to a file of their own"
    if profile.delimiter == ",":
        instead += "; if numbers have a decimal comma, put another character between columns"
    return Problem(
        Place(place.file, place.line, start),
        f"cell '{cells[extra[0]]}'",
        f"the row has {len(cells)} cells, and there are {len(headings)} headings",
        instead,
    )


def _first_few(problems: list[Problem]) -> list[Problem]:
    if len(problems) <= SHOWN:
        return problems
    last = problems[SHOWN - 1]
    return [
        *problems[: SHOWN - 1],
        Problem(
            last.place,
            f"{last.what} (and {len(problems) - SHOWN} more such rows)",
            last.why,
            last.instead,
        ),
    ]


def read_cells(
    body: bytes,
    wanted: list[str],
    headings: list[str],
    shown_as: str,
    profile: LoggerProfile,
    *,
    kind: type | None = None,
    padded: bool = True,
) -> pd.DataFrame:
    """Return some columns of the rows, by heading.

    Parameters
    ----------
    body : bytes
        The rows in UTF-8, separated by line feeds.
    wanted, headings : list of str
        The columns to read, and all columns.
    shown_as : str
        The file's name in messages.
    profile : LoggerProfile
        The profile that describes the file.
    kind : type, optional
        str for text; by default a column becomes numbers if all its cells are.
    padded : bool, default True
        Whether cells may begin with spaces; allowing for them takes half as long again.

    Raises
    ------
    RecordProblems
        The rows cannot be split at all.
    """
    import pandas as pd

    try:
        frame = pd.read_csv(
            io.BytesIO(body),
            sep=delimiter_of(profile),
            decimal=profile.decimal,
            header=None,
            names=range(len(headings)),
            usecols=[headings.index(name) for name in wanted],
            skip_blank_lines=False,
            na_values=["", *profile.missing],
            keep_default_na=False,
            skipinitialspace=padded,
            dtype=kind,
            low_memory=False,
        )
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise RecordProblems(
            [
                Problem(
                    Place(shown_as),
                    "the rows do not fit the headings",
                    str(error).strip().lower(),
                    "Check the delimiter in the profile",
                )
            ]
        ) from None
    return frame.rename(columns=dict(enumerate(headings)))


# --- numbers --------------------------------------------------------------------------------------


def numbers(export: Export, column: Column, problems: list[Problem]) -> np.ndarray:
    """Return a column in its house unit, with NaN for missing values; add to `problems`."""
    cells = export.cells[column.heading]
    found = len(problems)
    if cells.dtype.kind in "fiub":
        raw = np.asarray(cells, float)
    else:
        raw = _from_text(export, column, cells, problems)
    values = in_house_unit(raw, column)
    if len(problems) == found:
        problems.extend(_range_problems(export, column, values))
    return values


def in_house_unit(raw: np.ndarray, column: Column) -> np.ndarray:
    """Return a column in °C, K, % or 0/1."""
    if column.unit == "°F":
        fahrenheit = _FAHRENHEIT_DIFFERENCE if column.channel in _DIFFERENCES else _FAHRENHEIT
        return np.asarray(fahrenheit(raw))  # type: ignore[arg-type]  # arithmetic of arrays too
    return raw * 100.0 if column.unit == "fraction" else raw


def _from_text(
    export: Export, column: Column, cells: pd.Series, problems: list[Problem]
) -> np.ndarray:
    import pandas as pd

    profile = export.profile
    texts = cells.astype(object).where(cells.notna(), "").map(lambda cell: str(cell).strip())
    texts = texts.where(~texts.isin(profile.missing), "")
    plain = (
        texts.str.replace(".", "?", regex=False).str.replace(",", ".", regex=False)
        if profile.decimal == ","
        else texts
    )
    if column.unit == "on/off":
        plain = plain.str.casefold().replace({"on": "1", "off": "0"})
    parsed = pd.to_numeric(plain.where(plain != "", None), errors="coerce")
    bad = texts[parsed.isna() & (texts != "")]
    swapped = bad[bad.str.fullmatch(_with_decimal("," if profile.decimal == "." else "."))]
    for row, cell in swapped.head(1).items():  # an error in the profile, repeated in every row
        problems.append(_cell_problem(export, column, int(str(row)), cell, len(swapped)))
    bad = bad.drop(swapped.index)
    counts = bad.value_counts(sort=False)
    for row, cell in bad.drop_duplicates().head(SHOWN).items():
        problems.append(_cell_problem(export, column, int(str(row)), cell, int(counts[cell])))
    values: np.ndarray = parsed.to_numpy(float)
    return values


def _cell_problem(export: Export, column: Column, row: int, cell: str, count: int) -> Problem:
    profile = export.profile
    why = f"it is not a number as the profile '{profile.id}' says they are written"
    other = "," if profile.decimal == "." else "."
    if re.fullmatch(_with_decimal(other), cell):
        instead = (
            f"If '{other}' stands before decimals, write 'decimal: \"{other}\"' in the profile"
        )
    elif re.fullmatch(r"[-+]?\d{1,3}([., ]\d{3})+([.,]\d+)?", cell):
        why = "it has a mark between thousands"
        instead = "Export it without; no reading of a kiln needs one"
    else:
        instead = (
            f"If it marks a missing value, write {_missing_line(profile, cell)} in the "
            "profile; if the row records an event, write the word its cell begins with "
            "under ignored_rows"
        )
    return Problem(
        export.place(row, column.heading),
        f"{column.heading} '{cell}'{_count_words(count)}",
        why,
        instead,
    )


def _with_decimal(mark: str) -> str:
    """Return the pattern of a number with this decimal separator."""
    return r"[-+]?\d+" + re.escape(mark) + r"\d+"


def _count_words(count: int) -> str:
    return f" ({count} such cells)" if count > 1 else ""


def _yaml_list(known: list[str], more: str) -> str:
    return "[" + ", ".join(f"'{mark}'" for mark in [*known, more]) + "]"


def _missing_line(profile: LoggerProfile, cell: str) -> str:
    return f'"missing: {_yaml_list(profile.missing, cell)}"'


def house_unit(column: Column) -> str:
    """Return the unit in which the readings of a column are kept."""
    if column.unit == "on/off":
        return "on/off"
    if column.unit in ("%", "fraction"):
        return "%"
    return "K" if column.channel in _DIFFERENCES else "°C"


def _range_problems(export: Export, column: Column, values: np.ndarray) -> Iterator[Problem]:
    unit = house_unit(column)
    low, high = _RANGES[unit]
    wild = np.flatnonzero(
        (values < low) | (values > high)
        if unit != "on/off"
        else (values != low) & (values != high) & np.isfinite(values)
    )
    seen: dict[str, tuple[int, int]] = {}
    for row in wild.tolist():
        cell = export.written(row, column.heading)
        first, count = seen.get(cell, (row, 0))
        seen[cell] = (first, count + 1)
    for cell, (row, count) in list(seen.items())[:SHOWN]:
        rest = (
            f" (and {len(wild) - count} other cells)" if len(seen) > SHOWN else _count_words(count)
        )
        yield Problem(
            export.place(row, column.heading),
            f"{column.heading} '{cell}'{rest}",
            f"{column.channel} lies outside {low:g} to {high:g} {unit}".strip()
            if unit != "on/off"
            else f"{column.channel} is 0 or 1",
            _what_it_could_be(export.profile, column, cell, values[row]),
        )
    known = values[np.isfinite(values)]
    if (
        column.channel == "relative-humidity"
        and column.unit == "%"
        and len(known)
        and known.max() <= 1.0
        and not len(wild)
    ):
        row = int(np.flatnonzero(np.isfinite(values))[0])
        yield Problem(
            export.place(row, column.heading),
            f"{column.heading} '{export.written(row, column.heading)}'",
            "no reading in this column is above 1 %",
            "If 1 stands for saturated air, write 'unit: fraction' in the profile",
        )


def _what_it_could_be(profile: LoggerProfile, column: Column, cell: str, value: float) -> str:
    could = [f"If it marks a missing value, write {_missing_line(profile, cell)} in the profile"]
    low, high = CORE_RANGE_C
    if column.unit == "on/off" and 0.0 < value < 1.0:
        could.append(
            "if readings were averaged for the export, export them as they were measured; "
            "if it is a share, 'unit: fraction'"
        )
    if column.unit == "°C" and low <= _FAHRENHEIT(value) <= high:
        could.append("if the column is in Fahrenheit, 'unit: °F'")
    if column.unit == "fraction" and 1.0 < value / 100.0 <= 100.0:
        could.append("if the column is in percent, 'unit: \"%\"'")
    could.append(f"if it is not {column.channel}, another channel")
    return "; ".join(could)
