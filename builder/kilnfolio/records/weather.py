"""Weather supplied by a mill: a year of hours, a typical year, or twelve monthly means.

``content/weather.csv`` is one of these, recognized by its headings:

* ``temp_c,relative_humidity_pct``: 8760 hours (8784 of a leap year) from the first of January;
* ``month,temp_c,relative_humidity_pct``: the means of twelve months;
* a typical year as weather services publish it, with the headings ``Dry-bulb (C)`` and ``RHum (%)``
  in its second line (the open TMY3 layout).

Lines before the headings that begin with ``#`` say where it comes from.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator

from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass

WEATHER = "content/weather.csv"
"""Where a mill keeps it."""

HOURS = (8760, 8784)
_MOST_BYTES, _MOST_PROBLEMS = 4_000_000, 20
_OURS, _TYPICAL = ("temp_c", "relative_humidity_pct"), ("Dry-bulb (C)", "RHum (%)")
_TEMP_RANGE, _HUMIDITY_RANGE = (-60.0, 60.0), (1.0, 100.0)
_INSTEAD = (
    "Name the columns temp_c and relative_humidity_pct, with month before them for twelve means"
)


@dataclass(frozen=True)
class WeatherTable:
    """A year of weather.

    Attributes
    ----------
    temp_c, relative_humidity_pct : tuple of float
        By hour from the first of January (8760), or by month (12). [°C] [%]
    place : str
        Where it comes from, according to the file; empty if the file does not say.
    """

    temp_c: tuple[float, ...]
    relative_humidity_pct: tuple[float, ...]
    place: str

    @property
    def hourly(self) -> bool:
        """Whether it is hourly, not monthly."""
        return len(self.temp_c) > 12


def read_weather(raw: bytes, name: str = WEATHER) -> WeatherTable:
    """Return the weather in a file.

    Parameters
    ----------
    raw : bytes
        The file, UTF-8, 4 MB at most.
    name : str
        Its name, for messages.

    Raises
    ------
    RecordProblems
        It is not a year of weather; up to twenty wrong lines are reported.
    """
    if len(raw) > _MOST_BYTES:
        raise _refusal(name, 1, f"{len(raw)} bytes", "a year of hours is under 4 MB", _INSTEAD)
    try:
        lines = raw.decode("utf-8-sig").splitlines()
        return _read(lines, name)
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise _refusal(
            name, line, "a byte that is no text", "the file must be UTF-8", "Save it as UTF-8"
        ) from None
    except csv.Error as error:
        raise _refusal(name, 1, "the file", f"it is no table ({error})", _INSTEAD) from None


def _read(lines: list[str], name: str) -> WeatherTable:
    said = [line.lstrip("# ").strip() for line in lines if line.startswith("#")]
    head = next((i for i, line in enumerate(lines) if not line.startswith("#")), 0)
    for at in (head, head + 1):
        names = [cell.strip() for cell in next(csv.reader(lines[at : at + 1]), [])]
        for wanted in (_OURS, _TYPICAL):
            if set(wanted) <= set(names):
                places = (names.index(wanted[0]), names.index(wanted[1]))
                rows = list(_rows(lines, at + 1, places, name))
                monthly = "month" in names
                return _year(rows, name, monthly=monthly, place=" ".join(said))
    found = lines[head] if lines else ""
    raise _refusal(
        name, head + 1, f"headings '{found[:60]}'", "no temperature and humidity", _INSTEAD
    )


def _rows(
    lines: list[str], first: int, places: tuple[int, int], name: str
) -> Iterator[tuple[float, float]]:
    problems = []
    for number, cells in enumerate(csv.reader(lines[first:]), start=first + 1):
        if not cells:
            continue
        try:
            temp, humidity = (float(cells[place]) for place in places)
        except (ValueError, IndexError):
            temp = humidity = math.nan
        fits = _TEMP_RANGE[0] <= temp <= _TEMP_RANGE[1]
        if fits and _HUMIDITY_RANGE[0] <= humidity <= _HUMIDITY_RANGE[1]:
            yield temp, humidity
            continue
        problems.append(
            Problem(
                Place(name, number),
                f"'{','.join(cells)[:60]}'",
                "a temperature from -60 to 60 °C and an RH from 1 to 100 % are needed",
                "Fill gaps from the hours beside them",
            )
        )
        if len(problems) == _MOST_PROBLEMS:
            break
    if problems:
        raise RecordProblems(problems)


def _year(rows: list[tuple[float, float]], name: str, *, monthly: bool, place: str) -> WeatherTable:
    wanted = (12,) if monthly else HOURS
    if len(rows) not in wanted:
        raise _refusal(
            name,
            1,
            f"{len(rows)} rows",
            "a year has 12 months" if monthly else "a year has 8760 hours, a leap year 8784",
            "Give a whole year, from January",
        )
    temps, humidities = zip(*rows[: 12 if monthly else HOURS[0]], strict=True)
    return WeatherTable(temps, humidities, place)


def _refusal(name: str, line: int, what: str, why: str, instead: str) -> RecordProblems:
    return RecordProblems([Problem(Place(name, line), what, why, instead)])


@derived("weather", code="review")
def weather(graph: Graph, _: str) -> WeatherTable | None:
    """Return the mill's weather; None if it supplies none."""
    try:
        return read_weather(read_file(graph.file(WEATHER)))
    except FileNotFoundError:
        return None
