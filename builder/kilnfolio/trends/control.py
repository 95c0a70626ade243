"""Control charts across charges, which show whether a kiln or a timber has changed.

Each value is compared with the usual for its own timber in its own kiln, so that a kiln that dries
more oak this year does not seem slower. Limits are widened for the number of charts and rules that
a mill looks at, so that one false signal among all of them is as rare as `CHANCE`.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np

from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.physics.control_chart import LEAST, Judged, judged
from kilnfolio.records import reading
from kilnfolio.runtime.values import dataclass
from kilnfolio.trends.past import PastCharge, past_charges

CHANCE = 0.05
"""Chance of any false signal on all charts of a mill in which nothing has changed. [-]"""
NEWEST = 120
"""Number of newest charges a chart looks at."""
ALIKE = 3
"""Fewest charges of a timber in a kiln that say what is usual for it."""


@dataclass(frozen=True)
class Measure:
    """A quantity that is charted.

    Attributes
    ----------
    id, name, unit : str
        The unit is that of a difference from the usual.
    value : callable
        The figure of a charge, on the scale on which its scatter is even; None if not recorded.
    times : float
        Makes differences on that scale into differences in `unit`.
    of : tuple of str
        The kinds of page it is charted on: ``kiln``, ``stock``.
    by_timber : bool
        Whether the usual is that of the timber; else that of the kiln.
    """

    id: str
    name: str
    unit: str
    value: Callable[[PastCharge], float | None]
    times: float
    of: tuple[str, ...]
    by_timber: bool = True


def _log(value: float | None) -> float | None:
    return math.log(value) if value is not None and value > 0.0 else None


def _hours(line: PastCharge) -> float | None:
    return _log(line.hours / line.hours_forecast) if line.hours_forecast else None


def _degrade(line: PastCharge) -> float | None:
    """Return the share of pieces with a defect, by its arcsine, which evens out its scatter."""
    if not line.defects:
        return None
    share = min(1.0, sum(one.pieces / one.of for one in line.defects))
    return math.asin(math.sqrt(share))


MEASURES: Mapping[str, Measure] = {
    one.id: one
    for one in (
        Measure(
            "target", "Final mean less target", "points", lambda line: line.over_target_pct, 1.0,
            ("kiln", "stock"),
        ),
        Measure(
            "spread", "Spread of the final survey", "%", lambda line: _log(line.final_sd_pct),
            100.0, ("kiln", "stock"),
        ),
        Measure("hours", "Hours against the forecast", "%", _hours, 100.0, ("kiln", "stock")),
        Measure(
            "energy", "Energy for each kilogram of water", "%",
            lambda line: _log(line.energy_kwh_kg), 100.0, ("kiln",),
        ),
        Measure(
            "wick", "Wick, slope of the depression", "K/day", lambda line: line.wick_k_per_day, 1.0,
            ("kiln",), by_timber=False,
        ),
        Measure(
            "sides", "Entering and leaving air, difference", "K",
            lambda line: line.side_difference_k, 1.0, ("kiln",), by_timber=False,
        ),
        Measure("degrade", "Pieces with a defect", "arcsine", _degrade, 100.0, ("stock",)),
    )
}  # fmt: skip


@dataclass(frozen=True)
class Series:
    """A measure from charge to charge, as differences from the usual.

    Attributes
    ----------
    measure : str
        Id of the measure.
    numbers : tuple of str
        The charges, oldest first.
    started : tuple of datetime
        When each began.
    values : tuple of float
        Difference from the usual for the charge's timber and kiln.
    kilns, stocks : tuple of str
        Kiln and timber of each charge.
    listed : int
        Number of them from the mill's own list.
    left_out : int
        Charges with a value whose timber has too few like it.
    """

    measure: str
    numbers: tuple[str, ...]
    started: tuple[dt.datetime, ...]
    values: tuple[float, ...]
    kilns: tuple[str, ...]
    stocks: tuple[str, ...]
    listed: int
    left_out: int

    @property
    def enough(self) -> bool:
        """Whether there are enough charges to tell."""
        return len(self.values) >= LEAST


@dataclass(frozen=True)
class Verdict:
    """What a series shows.

    Attributes
    ----------
    series : Series
    judged : Judged or None
        None with too few charges, or if all are the same.
    """

    series: Series
    judged: Judged | None = None

    @property
    def signal(self) -> bool:
        """Whether anything stands out."""
        return self.judged is not None and bool(
            self.judged.beyond or self.judged.shifted is not None
        )


def series_of(measure: Measure, lines: Sequence[PastCharge]) -> Series:
    """Return a measure's differences from the usual, newest `NEWEST` charges, oldest first."""
    known = [(line, value) for line in lines if (value := measure.value(line)) is not None]
    groups: dict[tuple[str, ...], list[float]] = {}
    for line, value in known:
        groups.setdefault(_like(measure, line), []).append(value)
    usual = {
        like: (float(np.mean(alike)), math.sqrt(len(alike) / (len(alike) - 1)))
        for like, alike in groups.items()
        if len(alike) >= ALIKE
    }
    kept = []
    for line, value in known:
        if (found := usual.get(_like(measure, line))) is not None:
            mean, own = found  # a mean that the value is part of lies too close by this factor
            kept.append((line, round((value - mean) * own * measure.times, 4)))
    shown = kept[-NEWEST:]
    return Series(
        measure.id,
        tuple(line.number for line, _ in shown),
        tuple(line.started for line, _ in shown),
        tuple(value for _, value in shown),
        tuple(line.kiln for line, _ in shown),
        tuple(line.stock for line, _ in shown),
        sum(line.listed for line, _ in shown),
        len(known) - len(kept),
    )


def _like(measure: Measure, line: PastCharge) -> tuple[str, ...]:
    """Return the key of the charges that a charge is compared with.

    Hours of the mill's list are against what was expected then, those of records against the
    formula, so each is compared with its own.
    """
    timber = (line.stock,) if measure.by_timber else ()
    basis = (line.origin,) if measure.id == "hours" else ()
    return line.kiln, *timber, *basis


def judge(series: Series, looks: int) -> Verdict:
    """Return what a series shows.

    Parameters
    ----------
    series : Series
        The series.
    looks : int
        Number of charts that the mill looks at.
    """
    values = np.array(series.values)
    if not series.enough or not values.std() > 0.0:
        return Verdict(series)
    return Verdict(series, judged(values, CHANCE / max(looks, 1)))


# --- a mill's charts ------------------------------------------------------------------------------


def stream_key(kind: str, named: str) -> str:
    """Return the key of the charts of a kiln or a stock, as in ``kiln:k1``."""
    return f"{kind}:{named}"


@derived("trend streams")
def streams(graph: Graph, _: str) -> tuple[str, ...]:
    """Return the keys of all kilns and stocks with charges, stocks by their first charge."""
    lines = past_charges(graph)
    return (
        *(stream_key("kiln", name) for name in sorted({line.kiln for line in lines})),
        *dict.fromkeys(stream_key("stock", line.stock) for line in lines),
    )


@derived("trend series", keys=streams, batch=200)
def series(graph: Graph, key: str) -> tuple[Series, ...]:
    """Return every measure of a kiln or a stock."""
    kind, _, named = key.partition(":")
    if kind == "kiln":
        lines: Iterable[PastCharge] = past_charges(graph, reading.of_kiln(named))
    else:
        lines = past_charges(graph, reading.of_species(named.partition("/")[0]))
        lines = [line for line in lines if line.stock == named]
    ordered = list(lines)
    return tuple(series_of(one, ordered) for one in MEASURES.values() if kind in one.of)


@derived("trend looks")
def looks(graph: Graph, _: str) -> int:
    """Return the number of charts with enough charges in the whole mill."""
    return sum(one.enough for key in streams(graph) for one in series(graph, key))


@derived("trend verdicts", keys=streams, batch=100)
def verdicts(graph: Graph, key: str) -> tuple[Verdict, ...]:
    """Return what each measure of a kiln or a stock shows."""
    number = looks(graph)
    return tuple(judge(one, number) for one in series(graph, key))
