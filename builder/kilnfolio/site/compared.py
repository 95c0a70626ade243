"""Two charges or two schedules beside each other, as plain rows."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from kilnfolio.forecast.effects import NoComparison
from kilnfolio.forecast.question import compared
from kilnfolio.forecast.what_if import HOW
from kilnfolio.records.folder import MillFolder
from kilnfolio.review import figures
from kilnfolio.review.reviews import charge_dossier
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import mill_context
from kilnfolio.site.overlays import Overlay, overlay_of
from kilnfolio.site.pages.schedule_changes import side_by_side

#: Days from the start, and values.
_Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Row:
    """A figure of both charges; None where one has none."""

    name: str
    unit: str
    first: float | None
    second: float | None
    decimals: int

    @property
    def words(self) -> tuple[str, str, str]:
        """Both figures, and the second less the first, in words."""
        both = (self.first, self.second)
        said = [figures.measure(value, self.unit, self.decimals) for value in both]
        if self.first is None or self.second is None:
            return said[0], said[1], figures.NOTHING
        # of the figures as shown, so that the reader's own subtraction agrees
        change = round(self.second, self.decimals) - round(self.first, self.decimals)
        sign = "+" if change > 0 else ""
        return said[0], said[1], sign + figures.number(change, self.decimals)


def two_charges(mill: MillFolder, first: str, second: str) -> tuple[list[Row], list[Row]]:
    """Return two charges beside each other.

    Returns
    -------
    results : list of Row
        What came of them.
    course : list of Row
        The controlling MC at each whole day from the start, then the energy metered and the least
        heat computed up to it; between weighings or readings in a straight line.
    """
    a, b = (_overlay(mill, number) for number in (first, second))
    return list(_results(a, b)), list(_course(a, b))


def _overlay(mill: MillFolder, number: str) -> Overlay:
    record = mill.charges[number].record
    title = mill.schedules[record.schedule].record.title
    return overlay_of(record, charge_dossier(mill.graph, number), title)


def energy_words(mill: MillFolder, number: str) -> str:
    """Return how the energy of a charge was metered; "" if the meter was read during the charge."""
    one = _overlay(mill, number)
    if one.metered:
        return ""
    if one.kwh is None:
        return f"{number}: no energy on record"
    return f"{number}: only the total energy is on record, no readings of the meter by day"


def _results(a: Overlay, b: Overlay) -> Iterator[Row]:
    yield Row("days", "days", a.days, b.days, 1)
    first, second = (one.mc[0][1] if one.mc else None for one in (a, b))
    yield Row("controlling MC at the start", "%", first, second, 0)
    yield Row("final MC", "%", a.mean_pct, b.mean_pct, 1)
    yield Row("target", "%", a.target_pct, b.target_pct, 0)
    yield Row("spread (SD)", "points", a.sd_pct, b.sd_pct, 2)
    yield Row("readings of the survey", "", a.readings, b.readings, 0)
    yield Row("total energy", "kWh", a.kwh, b.kwh, 0)
    yield Row("energy", "kWh/m³", a.kwh_per_m3, b.kwh_per_m3, 0)
    yield Row("energy by water removed", "kWh/kg", a.kwh_per_kg, b.kwh_per_kg, 2)
    yield Row("stops and gaps", "h", a.stops, b.stops, 1)


def _course(a: Overlay, b: Overlay) -> Iterator[Row]:
    mc = _by_day(a.mc, b.mc)
    used = _by_day(_by_volume(a, a.metered), _by_volume(b, b.metered))
    least = _by_day(_by_volume(a, a.least), _by_volume(b, b.least))
    yield from (Row(f"MC on day {day}", "%", *both, 1) for day, both in mc)
    yield from (Row(f"energy to day {day}", "kWh/m³", *both, 0) for day, both in used)
    yield from (Row(f"computed least heat to day {day}", "kWh/m³", *both, 0) for day, both in least)


def _by_day(
    first: _Points, second: _Points
) -> Iterator[tuple[int, tuple[float | None, float | None]]]:
    """Yield both values at each whole day at which there is one."""
    last = max((points[-1][0] for points in (first, second) if points), default=-1.0)
    for day in range(math.ceil(last) + 1):
        one, other = (_at(points, float(day)) for points in (first, second))
        if one is not None or other is not None:
            yield day, (one, other)


def _by_volume(one: Overlay, points: _Points) -> _Points:
    return tuple((day, kwh / one.volume_m3) for day, kwh in points) if one.volume_m3 else ()


def _at(points: _Points, day: float) -> float | None:
    """Return the value at a day, on a straight line between two points; None outside them."""
    for (x1, y1), (x2, y2) in pairwise(points):
        if x1 <= day <= x2:
            return y1 if x1 == x2 else y1 + (y2 - y1) * (day - x1) / (x2 - x1)
    return None


@dataclass(frozen=True)
class TwoSchedules:
    """Two schedules beside each other.

    Attributes
    ----------
    steps : tuple of (str, str)
        Steps that differ, and how.
    others : tuple of str
        What else differs, by name.
    effect : dict
        Ratios of days, heat and peak gradient index; empty if none could be computed.
    lines : tuple of str
        The effect in words, or why there is none.
    """

    steps: tuple[tuple[str, str], ...]
    others: tuple[str, ...]
    effect: dict[str, object]
    lines: tuple[str, ...]


def two_schedules(mill: MillFolder, first: str, second: str) -> TwoSchedules:
    """Return two schedules beside each other: the second against the first."""
    before, after = (mill.schedules[name].record for name in (first, second))
    steps, texts = side_by_side(mill_context(mill.graph), before, after)
    effect: dict[str, object] = {}
    try:
        answer = compared(mill, first, second)
        effect, lines = answer.as_data(), (*answer.as_lines(), HOW)
    except NoComparison as reason:
        lines = (f"no effect could be computed: {reason}",)
    return TwoSchedules(
        tuple((step.name, step.words) for step in steps if step.words),
        tuple(name for name, _ in texts),
        effect,
        lines,
    )
