"""Proposes what each column of a logger's export could be, by name, unit, range and physics.

Nothing here decides. It says what each column could hold and why; what only a person can know (the
order of day and month, whether the clock follows daylight saving) stays open.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from kilnfolio.physics.air import relative_humidity
from kilnfolio.records.clock import formats_that_fit
from kilnfolio.records.export import export_bytes
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.quantities import celsius_from_fahrenheit
from kilnfolio.records.sheet_words import plain
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    pass

#: Most heading rows a profile can have, and the number of rows examined in full.
_HEADING_ROWS, _SAMPLE = 5, 5000
_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)?")
_CLOCKED = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d{1,2}:\d{2}")
_UNIT = re.compile(
    r"°\s?([CF])|[\[(]\s?(?:deg\s?)?([CF%K])\s?[\])]|\b(?:deg|grad)[ _]?([CF])\b|"
    r"_([cf])$|(%)",
    re.IGNORECASE,
)
#: Units of other quantities, such as the logger's battery.
_OTHER_UNIT = re.compile(
    r"(?:^|[\s_\[(])(?:m?V|m?A|k?W|kWh|Hz|m?bar|[hk]?Pa|psi|rpm|ppm|dBm|lux)"
    r"\s?[\])]?$"
)
#: Patterns of headings by channel; the first match counts. ``core`` comes before the bulbs, since a
#: core has a temperature too.
_NAMES: tuple[tuple[str, str], ...] = (
    ("emc", r"\be\.?m\.?c\.?\b|\bugl\b|gleichgewicht|jamvikt|equilib"),
    ("pin", r"\bpins?\b|\bm\.?c\.? ?\d|moisture ?\d|fuktkvot|holzfeuchte"),
    ("core", r"core|wood|probe|karn|kern|coeur"),
    ("depression", r"depr|\bwbd\b|wb ?diff|psychrometrische|psykrometer|psychrometrique"),
    (
        "wet-bulb",
        r"\bw\.?b\.?\b|wet|wick|feuchtkugel|feucht(temp|thermo)|\bvat|vattemp|"
        r"humide|natte ?bol|vatkule|markalampo|humedo|umido",
    ),
    (
        "relative-humidity",
        r"\br\.?h\.?\b|\br\.?f\.?\b|humid|luftfeucht|luftfukt|fuktighet|"
        r"hygro|vochtigheid|kosteus",
    ),
    ("dry-bulb-entering", r"enter|\binlet|eintritt|\bzuluft|tilluft|entree"),
    ("dry-bulb-leaving", r"leav|\boutlet|austritt|abluft|franluft|sortie"),
    (
        "dry-bulb",
        r"\bd\.?b\.?\b|dry|trockenkugel|trocken|\btorr|\bseche?\b|droge ?bol|torrkule|"
        r"kuivalampo|\bseco|\bsecco",
    ),
    ("vent", r"vent|damper|klappe|spjall|volet|spjeld|pelti"),
    ("spray", r"spray|mist|spruh|bedyskn|basning|pulveris|dyse"),
    ("fan", r"\bfans?\b|lufter|geblase|flakt|ventilator|ventilateur|vifte|puhallin"),
)
#: Units of each channel that is not a temperature.
_UNITS = {
    "depression": ("K", "°F"),
    "relative-humidity": ("%", "fraction"),
    "vent": ("%", "fraction", "on/off"),
    "spray": ("on/off", "%", "fraction"),
    "fan": ("on/off", "%", "fraction"),
    "emc": ("%",),
    **{f"pin-{n}": ("%",) for n in range(1, 10)},
}
#: Ranges of readings in a kiln, by unit (common practice, no source).
_PLAUSIBLE = {
    "°C": (-30.0, 140.0),
    "°F": (-20.0, 285.0),
    "K": (-2.0, 60.0),
    "%": (0.0, 105.0),
    "fraction": (0.0, 1.05),
    "on/off": (0.0, 1.0),
}
#: How far a wet bulb may exceed the dry bulb in saturated air [either unit], on few rows.
_ABOVE, _SHARE = 1.0, 0.02


@dataclass(frozen=True)
class Guess:
    """What a column could be, and why."""

    channel: str
    unit: str
    why: str


@dataclass
class FoundColumn:
    """A column of the export, with its statistics."""

    heading: str
    values: np.ndarray
    marks: list[str]
    guesses: list[Guess] = field(default_factory=list)
    against: list[str] = field(default_factory=list)

    @property
    def sure(self) -> Guess | None:
        """The only thing it can be, if nothing contradicts it."""
        return self.guesses[0] if len(self.guesses) == 1 and not self.against else None

    @property
    def range_words(self) -> str:
        """Its range, or how many cells hold no number."""
        known = self.values[np.isfinite(self.values)]
        if not len(known):
            return "no numbers"
        return f"{known.min():g} to {known.max():g}, median {np.median(known):g}"


@dataclass(frozen=True)
class Sample:
    """A logger's export, with what was found in it."""

    encoding: str
    delimiter: str
    decimal: str
    heading_rows: int
    names_row: int
    time_heading: str
    clock_heading: str | None
    time_formats: tuple[str, ...]
    interval_minutes: float
    columns: tuple[FoundColumn, ...]
    first_time: str
    clock: str | None
    remarks: tuple[str, ...]


def look(
    path: Path, shown_as: str, skipped_rows: Sequence[str] = (), time_format: str | None = None
) -> Sample:
    """Examine an export.

    Parameters
    ----------
    path : Path
        The file.
    shown_as : str
        Its name in messages.
    skipped_rows : sequence of str
        Beginnings of cells that mark a row without readings, as in ``EVENT``.
    time_format : str, optional
        The format of times, if a person gave one.

    Raises
    ------
    RecordProblems
        It cannot be read, or has no rows of times and numbers.
    """
    text, encoding = _decoded(path, shown_as)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n").split("\n")
    delimiter, rows = _split_cells(lines, shown_as)
    rows = [row for row in rows if not any(cell.startswith(tuple(skipped_rows)) for cell in row)]
    first = _first_data_row(rows, shown_as)
    names_row = max(range(first), key=lambda row: (len(set(filter(None, rows[row]))), -row))
    headings, data = rows[names_row], rows[first:]
    decimal = (
        "," if any(re.fullmatch(r"[-+]?\d+,\d+", cell) for row in data for cell in row) else "."
    )
    time, clock_column, formats = _time(headings, data, Place(shown_as, names_row + 1), time_format)
    written = _column(data, time)
    if clock_column is not None:
        written = [f"{a} {b}" for a, b in zip(written, _column(data, clock_column), strict=True)]
    others = [
        index
        for index, heading in enumerate(headings)
        if heading and index not in (time, clock_column)
    ]
    columns, physics = found_columns(
        [headings[index] for index in others],
        [_column(data, index) for index in others],
        [" ".join(row[index] for row in rows[:first] if index < len(row)) for index in others],
        decimal,
    )
    remarks = [*_event_rows(data, time), *physics]
    return Sample(
        encoding,
        delimiter,
        decimal,
        first,
        names_row + 1,
        headings[time],
        headings[clock_column] if clock_column is not None else None,
        tuple(formats),
        _interval(written, formats),
        tuple(columns),
        written[0],
        _clock_of(formats),
        tuple(remarks),
    )


def found_columns(
    headings: Sequence[str], texts: Sequence[list[str]], words: Sequence[str], decimal: str
) -> tuple[list[FoundColumn], list[str]]:
    """Return columns with what each could be, and remarks on all of them.

    Parameters
    ----------
    headings : sequence of str
        One for each column.
    texts : sequence of list of str
        The cells of each column.
    words : sequence of str
        The text of all heading rows of each column; its unit may be there.
    decimal : {".", ","}
        The decimal separator.
    """
    columns = [
        _found_column(heading, cells, decimal)
        for heading, cells in zip(headings, texts, strict=True)
    ]
    for column, said in zip(columns, words, strict=True):
        column.guesses = _guesses(column, said)
    return columns, _by_physics(columns)


def _event_rows(data: list[list[str]], time: int) -> list[str]:
    """Return a remark on rows of text among the readings, which loggers write for events."""
    marks = Counter(
        cell.split()[0]
        for row in data
        if not any(_NUMBER.fullmatch(cell) for cell in row)
        for cell in [
            next(
                (
                    one
                    for index, one in enumerate(row)
                    if one and index != time and not _CLOCKED.match(one)
                ),
                "",
            )
        ]
        if cell
    )
    return [
        f"rows without readings ({count}), as '{mark}': leave them out with --skip-rows '{mark}'"
        for mark, count in marks.most_common(3)
    ]


# --- text, rows, times ----------------------------------------------------------------------------


def _decoded(path: Path, shown_as: str) -> tuple[str, str]:
    raw = export_bytes(path, shown_as)
    if raw.startswith(b"PK"):
        raise RecordProblems(
            [
                Problem(
                    Place(shown_as),
                    "this is a spreadsheet file",
                    "a log is read from the text file that the logger exports",
                    "Save the sheet as .csv, and keep that file",
                )
            ]
        )
    encodings = (
        ["utf-16"]
        if raw.startswith((b"\xff\xfe", b"\xfe\xff"))
        else ["utf-8", "windows-1252", "latin-1"]
    )
    for encoding in encodings:
        try:
            return raw.decode("utf-8-sig" if encoding == "utf-8" else encoding), encoding
        except UnicodeDecodeError:
            continue
    raise RecordProblems(
        [
            Problem(
                Place(shown_as),
                "the file is not text",
                "it ends in the middle of a character",
                "Copy it again",
            )
        ]
    )


def _split_cells(lines: list[str], shown_as: str) -> tuple[str, list[list[str]]]:
    """Return the delimiter that yields the most cells, and the cells."""
    best: tuple[float, str, list[list[str]]] = (0.0, "", [])
    for name, delimiter in ((",", ","), (";", ";"), ("tab", "\t"), ("|", "|")):
        rows = [
            [cell.strip() for cell in row]
            for row in csv.reader(lines[:_SAMPLE], delimiter=delimiter, skipinitialspace=True)
        ]
        body = rows[min(len(rows) // 2, _HEADING_ROWS) :]
        told = [sum(map(_is_reading, row)) for row in body if len(row) > 1]
        whole = Counter(len(row) for row in body if len(row) > 1).most_common(1)
        if told and whole and whole[0][1] >= 0.6 * len(body):
            best = max(best, (sum(told) / len(body), name, rows), key=lambda found: found[0])
    if not best[1]:
        raise RecordProblems(
            [
                Problem(
                    Place(shown_as),
                    "no columns",
                    "neither ',' nor ';', tab or '|' divides the rows into times and numbers",
                    "Check that this is the logger's export",
                )
            ]
        )
    return best[1], best[2]


def _is_reading(cell: str) -> bool:
    return bool(_NUMBER.fullmatch(cell) or _CLOCKED.match(cell))


def _first_data_row(rows: list[list[str]], shown_as: str) -> int:
    for number, row in enumerate(rows[: _HEADING_ROWS + 2]):
        if sum(map(_is_reading, row)) >= 2:
            if 0 < number <= _HEADING_ROWS:
                return number
            break
    raise RecordProblems(
        [
            Problem(
                Place(shown_as),
                "no headings",
                f"1 to {_HEADING_ROWS} rows of headings are needed above "
                "the first row of times and numbers",
                "Export with headings, or add a line of them",
            )
        ]
    )


def _column(data: list[list[str]], index: int) -> list[str]:
    return [row[index] if index < len(row) else "" for row in data]


def _time(
    headings: list[str], data: list[list[str]], place: Place, time_format: str | None
) -> tuple[int, int | None, list[str]]:
    """Return the column of the time, that of a separate time of day, and the formats."""
    texts = [_column(data, index) for index in range(len(headings))]
    for index, heading in enumerate(headings):
        serial = re.search(r"date|time|zeit|heure|datum", heading, re.IGNORECASE)
        if formats := _formats(texts[index], time_format):
            if formats == ["days since 1899-12-30"] and not serial:
                continue
            return index, None, formats
    for first in range(len(headings) - 1):
        for second in (first + 1, first - 1):
            if second >= 0 and (
                formats := _formats(
                    [f"{a} {b}" for a, b in zip(texts[first], texts[second], strict=True)],
                    time_format,
                )
            ):
                return first, second, formats
    raise RecordProblems(
        [
            Problem(
                place,
                "no column of times" + (f" written {time_format}" if time_format else ""),
                "there is no column whose cells are all dates and times of one form",
                "Say how they are written with --time-format, as in '%d.%m.%y %H:%M' (%d day, "
                "%m month, %y or %Y year, %H hour, %M minute, %I and %p for a 12-hour clock), or "
                "mend the rows that differ; a table by hours since heating began goes in by "
                "'kilnfolio import air'",
            )
        ]
    )


def _formats(texts: Sequence[str], time_format: str | None = None) -> list[str]:
    import pandas as pd

    if time_format and not time_format.startswith("days"):
        # Rows of events may hold no time: it is the column if at least half the cells can be read.
        read = pd.to_datetime(pd.Series(texts), format=time_format, errors="coerce", utc=True)
        return [time_format] if read.notna().mean() >= 0.5 else []
    written = [text for text in texts if _CLOCKED.match(text) or _NUMBER.fullmatch(text)]
    if len(written) < 0.5 * len(texts) or not written:
        return []
    if all(text.endswith("Z") for text in written):
        return [
            f"{form}Z" for form, _ in formats_that_fit(pd.Series([text[:-1] for text in written]))
        ]
    if re.search(r"[+-]\d{2}:?\d{2}$", written[0]) and ":" in written[0]:
        return [
            f"{form}%z"
            for form, _ in formats_that_fit(
                pd.Series([re.sub(r"[+-]\d{2}:?\d{2}$", "", text) for text in written])
            )
        ]
    return [form for form, _ in formats_that_fit(pd.Series(written))]


def _clock_of(formats: list[str]) -> str | None:
    """Return the kind of clock, if the times themselves tell it."""
    ends = {form[-1:] if form.endswith("Z") else form[-2:] for form in formats}
    return "utc" if ends == {"Z"} else "offset" if ends == {"%z"} else None


def _interval(written: list[str], formats: list[str]) -> float:
    """Return the most common interval between rows [min]."""
    import pandas as pd

    if formats[0].startswith("days"):
        days = pd.to_numeric(pd.Series(written).str.replace(",", ".", regex=False), errors="coerce")
        minutes = (days.diff() * 1440.0).round(1)
    else:
        times = pd.to_datetime(pd.Series(written), format=formats[0], errors="coerce", utc=True)
        minutes = (times.diff().dt.total_seconds() / 60.0).round(1)
    common = minutes[minutes > 0].mode()
    return float(common.iloc[0]) if len(common) else 60.0


# --- columns --------------------------------------------------------------------------------------


def _found_column(heading: str, texts: list[str], decimal: str) -> FoundColumn:
    """Return a column with its numbers, and the texts in it that are not numbers."""
    import pandas as pd

    plain = pd.Series([text.replace(",", ".") if decimal == "," else text for text in texts])
    switched = plain.str.casefold().replace({"on": "1", "off": "0"})
    values = pd.to_numeric(switched, errors="coerce").to_numpy(float).copy()
    marks = [
        text
        for text, _ in Counter(
            text for text, value in zip(texts, values, strict=True) if text and np.isnan(value)
        ).most_common(3)
    ]
    for text, count in Counter(texts).items():
        if re.fullmatch(
            r"-9{3,4}(?:\.0+)?|-127(?:\.0+)?|850(?:\.0+)?|3276[78](?:\.0+)?", text
        ) and count < len(texts):
            marks.append(text)
            values[np.array(texts) == text] = np.nan
    return FoundColumn(heading, values, marks)


def _guesses(column: FoundColumn, words: str) -> list[Guess]:
    known = column.values[np.isfinite(column.values)]
    if not len(known) or len(known) < 0.2 * len(column.values):
        return []
    spaced = plain(re.sub(r"[_\-]+", " ", words))
    named = [channel for channel, pattern in _NAMES if re.search(pattern, spaced, re.IGNORECASE)]
    found = _UNIT.search(words)
    told = next(filter(None, found.groups())).upper() if found else ""
    told = {"C": "°C", "F": "°F"}.get(told, told)
    channel = named[0] if named else None
    if channel in ("core", "pin"):
        number = re.search(r"[1-9]", spaced)
        channel = f"{channel}-{number[0] if number else 1}"
    if channel:
        return _of_channel(channel, told, known, f"the heading says {channel}")
    if _OTHER_UNIT.search(words):
        return []
    found_guesses = [
        guess
        for likely in ("dry-bulb", "wet-bulb", "relative-humidity", "fan")
        for guess in _of_channel(likely, told, known, "by its range")
    ]
    if told:
        return [guess for guess in found_guesses if guess.unit == told]
    return found_guesses


def _of_channel(channel: str, told: str, known: np.ndarray, why: str) -> list[Guess]:
    """Return a guess for each unit that the numbers of a channel may have."""
    units = _UNITS.get(channel, ("°C", "°F"))
    if channel == "depression" and told == "°C":
        told = "K"
    if told in units:
        return [Guess(channel, told, f"{why}, unit {told}")]
    fitting = []
    for unit in units:
        low, high = _PLAUSIBLE[unit]
        inside = known.min() >= low and known.max() <= high
        if unit == "on/off":
            inside = set(np.unique(known)) <= {0.0, 1.0}
        elif unit in ("%", "fraction") and set(np.unique(known)) <= {0.0, 1.0}:
            inside = False  # a switch, not a percentage
        if unit == "°F" and np.percentile(known, 90) < 60.0:
            inside = False  # no kiln dries below 15 °C
        if unit == "%" and known.max() <= 1.0:
            inside = False
        if inside:
            fitting.append(
                Guess(channel, unit, f"{why}, {known.min():g} to {known.max():g} can be {unit}")
            )
    return fitting


def _by_physics(columns: list[FoundColumn]) -> list[str]:
    """Rule out guesses that physics excludes, saying why; return remarks on the whole file."""
    remarks = [
        remark
        for wet in columns
        for dry in columns
        if wet is not dry and _may_be(wet, "wet-bulb") and _may_be(dry, "dry-bulb")
        for remark in _never_above(wet, dry)
    ]
    for channel in sorted({guess.channel for column in columns for guess in column.guesses}):
        twice = [column for column in columns if column.sure and column.sure.channel == channel]
        if len(twice) > 1:
            said = (
                " and ".join(f"'{column.heading}'" for column in twice)
                + f" could each be {channel}"
            )
            for column in twice:
                column.against.append(said)
    return [*remarks, *_humidity_agrees(columns)]


def _may_be(column: FoundColumn, channel: str) -> bool:
    return any(guess.channel.startswith(channel) for guess in column.guesses)


def _never_above(wet: FoundColumn, dry: FoundColumn) -> list[str]:
    """Compare a possible wet bulb with a possible dry bulb, which it may never exceed."""
    both = np.isfinite(wet.values) & np.isfinite(dry.values)
    if not both.any():
        return []
    share = float((wet.values[both] > dry.values[both] + _ABOVE).mean())
    named = all(guess.channel == "wet-bulb" for guess in wet.guesses)
    if (
        share > _SHARE
        and named
        and not all(guess.channel.startswith("dry-bulb") for guess in dry.guesses)
    ):
        dry.guesses = [guess for guess in dry.guesses if not guess.channel.startswith("dry-bulb")]
    elif share > _SHARE and named:
        said = (
            f"'{wet.heading}' is above '{dry.heading}' in {share:.0%} of the rows, and a wet "
            "bulb is never above the dry bulb: the two may be swapped"
        )
        for column in (wet, dry):
            if said not in column.against:
                column.against.append(said)
    elif share > _SHARE:
        wet.guesses = [guess for guess in wet.guesses if guess.channel != "wet-bulb"]
    elif not named and float(np.median((dry.values - wet.values)[both])) > _ABOVE:
        wet.guesses.sort(key=lambda guess: guess.channel != "wet-bulb")
        return [f"'{wet.heading}' is never above '{dry.heading}': it can be its wet bulb"]
    return []


def _humidity_agrees(columns: list[FoundColumn]) -> list[str]:
    """Return the difference between the file's humidity and that computed from its bulbs [%]."""
    by_channel = {c.sure.channel: c for c in columns if c.sure}
    if not {"dry-bulb", "wet-bulb", "relative-humidity"} <= by_channel.keys():
        return []
    dry, wet, rh = (by_channel[name] for name in ("dry-bulb", "wet-bulb", "relative-humidity"))
    values = []
    for column in (dry, wet):
        assert column.sure
        values.append(
            celsius_from_fahrenheit(column.values)  # type: ignore[arg-type]
            if column.sure.unit == "°F"
            else column.values
        )
    known = (
        np.isfinite(values[0])
        & np.isfinite(values[1])
        & np.isfinite(rh.values)
        & (values[0] > 5.0)
        & (values[0] < 100.0)
        & (np.asarray(values[1]) <= values[0])
        & (np.asarray(values[1]) > 2.0)
    )
    if not known.any() or rh.sure is None:
        return []
    told = rh.values[known] * (100.0 if rh.sure.unit == "fraction" else 1.0)
    try:
        computed = relative_humidity(np.asarray(values[0])[known], np.asarray(values[1])[known])
    except ValueError:
        return []
    off = float(np.median(np.abs(np.asarray(computed) - told)))
    return [
        f"'{rh.heading}' differs from the humidity computed from the bulbs by {off:.1f} points "
        "(median)" + ("" if off < 5.0 else ": check which column is which, and the units")
    ]
