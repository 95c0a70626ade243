"""The rounds on the sheet of an open charge: its state, what is expected, columns to fill in."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence

from kilnfolio.forecast.mill import NotForecast, of_charge
from kilnfolio.forecast.result import CAUTION, Due, Forecast
from kilnfolio.forecast.words import record
from kilnfolio.records.charge import Charge, Weighing
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.figures import measure
from kilnfolio.review.kiln_state import KilnState, kiln_state
from kilnfolio.review.round_check import mass_words
from kilnfolio.runtime.values import dataclass

#: Columns of rounds on a page, and number of past rounds printed.
COLUMNS, PAST = 12, 12
#: Height that the bands of a page share, of the head of a band with the space below it, and of a
#: row at least and at most; Letter is the shorter paper [mm].
_PAGE_MM, _HEAD_MM, _LEAST_ROW_MM, _MOST_ROW_MM = 234.0, 19.0, 8.0, 13.0
#: Number of free columns without a forecast, and the most with one.
_FREE, _MOST = 14, 72


@dataclass(frozen=True)
class RoundColumn:
    """A round: its heading in three lines, and a mass for each board; empty to be filled in."""

    head: tuple[str, str, str]
    masses: tuple[str, ...]


@dataclass(frozen=True)
class Rounds:
    """What the sheet of an open charge prints besides its set-points.

    Attributes
    ----------
    standing : str
        The state of the charge, in words.
    expected : str
        When the next steps and the end are expected; empty without a forecast.
    boards : tuple of (str, str)
        Tag and unit of each board.
    pages : tuple of tuple of tuple of RoundColumn
        The columns, by page and by band: as many bands, one below the other, as a page has room
        for.
    row_mm : float
        Height of a row, so that the bands fill the page [mm].
    """

    standing: str
    expected: str
    boards: tuple[tuple[str, str], ...]
    pages: tuple[tuple[tuple[RoundColumn, ...], ...], ...]
    row_mm: float


def rounds_of(folder: MillFolder, charge: Charge) -> Rounds | None:
    """Return the rounds of an open charge; None before the first, unless sensors show MC.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    charge : Charge
        The charge, as far as it is recorded.
    """
    state = kiln_state(folder, charge)
    if not (charge.weighings or state.sensors):
        return None
    forecast = _forecast(folder, charge)
    units = [(board.tag, board.unit) for board in state.boards]
    columns = [_column(weighing, units) for weighing in charge.weighings[-PAST:]]
    columns += [RoundColumn(("", "", ""), ("",) * len(units))] * _free(state, forecast)
    bands = max(1, int(_PAGE_MM // (_HEAD_MM + _LEAST_ROW_MM * len(units))))
    row = min(_MOST_ROW_MM, (_PAGE_MM / bands - _HEAD_MM) / max(1, len(units)))
    # the last page is filled with columns to write in
    columns += [RoundColumn(("", "", ""), ("",) * len(units))] * (-len(columns) % (bands * COLUMNS))
    table = [tuple(columns[start : start + COLUMNS]) for start in range(0, len(columns), COLUMNS)]
    pages = tuple(tuple(table[start : start + bands]) for start in range(0, len(table), bands))
    return Rounds(
        _standing(state),
        _expected(forecast),
        tuple(units),
        pages,
        max(_LEAST_ROW_MM, round(row, 1)),
    )


def _forecast(folder: MillFolder, charge: Charge) -> Forecast | None:
    try:
        return of_charge(folder, charge.id)
    except NotForecast:
        return None


def _column(weighing: Weighing, units: Sequence[tuple[str, str]]) -> RoundColumn:
    return RoundColumn(
        (f"{weighing.at:%d %b}", f"{weighing.at:%H:%M}", _initials(weighing.by or "")),
        tuple(
            mass_words(weighing.masses[tag].value, unit) if tag in weighing.masses else ""
            for tag, unit in units
        ),
    )


def _initials(name: str) -> str:
    return "".join(word[0] for word in name.split("(")[0].split() if word[:1].isalpha())[:3]


def _free(state: KilnState, forecast: Forecast | None) -> int:
    """Return the number of columns needed until the charge will probably be out."""
    end = forecast and (forecast.unload or forecast.end)
    if not end or not state.last_round:
        return _FREE
    hours = (end.high80 - dt.datetime.fromisoformat(state.last_round)).total_seconds() / 3600.0
    return min(_MOST, max(2, math.ceil(hours / state.every_hours)))


def _standing(state: KilnState) -> str:
    sensors = f"Sensors: {'; '.join(one.words for one in state.sensors)}." if state.sensors else ""
    if state.controlling_pct is None or not state.last_round:
        return sensors
    at = dt.datetime.fromisoformat(state.last_round)
    step = f"step {state.step} of {len(state.steps)}" if state.stage == "drying" else state.stage
    due = state.next_due
    return (
        f"At the round of {at:%d %b %H:%M}: {step}, controlling MC "
        f"{measure(state.controlling_pct, '%', 1)}"
        + (f"; next, {due.label} at {measure(due.mc_pct, '%', 0)}." if due else ".")
        + (f" {sensors}" if sensors else "")
    )


def _expected(forecast: Forecast | None) -> str:
    if forecast is None:
        return ""
    said = [f"step {step.step} {_day(step.due)}" for step in forecast.steps[:3] if step.due]
    said += [f"{name} {_day(due)}" for name, due in _ends(forecast)]
    return f"Expected: {'; '.join(said)}. {CAUTION} {record(forecast)}" if said else ""


def _ends(forecast: Forecast) -> Iterator[tuple[str, Due]]:
    for name in ("equalizing", "unload"):
        if due := getattr(forecast, name):
            yield name, due


def _day(due: Due) -> str:
    low, high = due.low80, due.high80
    return (
        f"{due.median:%d %b}"
        if low.date() == high.date()
        else f"{due.median:%d %b} ({low:%d %b} to {high:%d %b})"
    )
