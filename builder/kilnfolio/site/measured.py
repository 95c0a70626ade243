"""What each charge tells of a mill's scales and meters: pairs with the oven, and last digits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

import numpy as np

from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import mill_of
from kilnfolio.records.kiln import Kiln
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class Pair:
    """A piece by meter and by oven: species, day, and both MC [%]."""

    species: str
    day: dt.date
    meter_pct: float
    oven_pct: float


@dataclass(frozen=True)
class MeasuringLine:
    """What a charge tells of the instruments it was measured with.

    Attributes
    ----------
    kiln : str
        Id of the kiln.
    meter : str
        Id of the meter of the final survey; "" if it has none.
    pairs : tuple of Pair
        Pieces of the survey measured both ways.
    meter_digits : tuple of int
        Survey readings by last digit, from 0.
    scale : str
        Id of the scale; "" if the kiln has none.
    scale_digits : tuple of int
        Weighings of boards by last digit, from 0; empty if the resolution is not on record.
    """

    kiln: str
    meter: str
    pairs: tuple[Pair, ...]
    meter_digits: tuple[int, ...]
    scale: str
    scale_digits: tuple[int, ...]


@derived("measuring line", keys=reading.charges, batch=1000, edition="mill")
def measuring_line(graph: Graph, number: str) -> MeasuringLine:
    """Return what a charge tells of the instruments it was measured with."""
    mill = mill_of(graph)
    record = mill.charges[number].record
    return line_of(record, mill.kilns[record.kiln].record)


def line_of(charge: Charge, kiln: Kiln) -> MeasuringLine:
    """Return what a charge tells of the instruments it was measured with."""
    survey = charge.survey
    by_meter = survey if survey and survey.method == "resistance meter" else None
    day = by_meter.at.date() if by_meter else charge.ended.date()
    wood = charge.stock[0].species
    scale = next((one.id for one in kiln.instruments if one.kind == "scale"), "")
    return MeasuringLine(
        charge.kiln,
        (by_meter.instrument or "") if by_meter else "",
        tuple(
            Pair(wood, day, pair.meter.value, pair.oven.value)
            for pair in (by_meter.oven_pairs if by_meter else ())
        ),
        _counted(_last_digit(one.mc.entered) for one in (by_meter.readings if by_meter else ())),
        scale,
        _weighed(charge),
    )


def _weighed(charge: Charge) -> tuple[int, ...]:
    if charge.scale_resolution is None:
        return ()
    step = charge.scale_resolution.value
    masses = [mass.value for one in charge.weighings for mass in one.masses.values()]
    return _counted(round(mass / step) % 10 for mass in masses)


def _last_digit(entered: str) -> int | None:
    """Return the last digit of a reading as entered, as in ``8.3 %``; None without a decimal."""
    figure = entered.replace(",", ".").split()[0].rstrip("%")
    return int(figure[-1]) if "." in figure and figure[-1].isdigit() else None


def _counted(digits: Iterable[int | None]) -> tuple[int, ...]:
    known = [digit for digit in digits if digit is not None]
    return tuple(int(one) for one in np.bincount(known, minlength=10)) if known else ()
