"""Two charges or two schedules beside each other, as plain rows."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from kilnfolio.forecast.effects import NoComparison
from kilnfolio.forecast.question import compared
from kilnfolio.forecast.what_if import HOW
from kilnfolio.records.folder import MillFolder
from kilnfolio.review import figures
from kilnfolio.review.reviews import charge_dossier
from kilnfolio.site.context import mill_context
from kilnfolio.site.overlays import Overlay, overlay_of
from kilnfolio.site.pages.schedule_changes import side_by_side


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
        change = self.second - self.first
        sign = "+" if change > 0 else ""
        return said[0], said[1], sign + figures.number(change, self.decimals)


def two_charges(mill: MillFolder, first: str, second: str) -> tuple[list[Row], list[Row]]:
    """Return two charges beside each other.

    Returns
    -------
    results : list of Row
        What came of them.
    course : list of Row
        The controlling MC at each whole day from the start, between weighings in a straight line.
    """
    a, b = (_overlay(mill, number) for number in (first, second))
    return list(_results(a, b)), list(_course(a, b))


def _overlay(mill: MillFolder, number: str) -> Overlay:
    record = mill.charges[number].record
    title = mill.schedules[record.schedule].record.title
    return overlay_of(record, charge_dossier(mill.graph, number), title)


def _results(a: Overlay, b: Overlay) -> Iterator[Row]:
    yield Row("days", "days", a.days, b.days, 1)
    first, second = (one.mc[0][1] if one.mc else None for one in (a, b))
    yield Row("controlling MC at the start", "%", first, second, 0)
    yield Row("final MC", "%", a.mean_pct, b.mean_pct, 1)
    yield Row("target", "%", a.target_pct, b.target_pct, 0)
    yield Row("spread (SD)", "points", a.sd_pct, b.sd_pct, 2)
    yield Row("readings of the survey", "", a.readings, b.readings, 0)
    yield Row("energy", "kWh/m³", a.kwh_per_m3, b.kwh_per_m3, 0)
    yield Row("energy by water removed", "kWh/kg", a.kwh_per_kg, b.kwh_per_kg, 2)
    yield Row("stops and gaps", "h", a.stops, b.stops, 1)


def _course(a: Overlay, b: Overlay) -> Iterator[Row]:
    for day in range(math.ceil(max(a.days, b.days)) + 1):
        first, second = (_mc_at(one, float(day)) for one in (a, b))
        if first is not None or second is not None:
            yield Row(f"MC on day {day}", "%", first, second, 1)


def _mc_at(one: Overlay, day: float) -> float | None:
    """Return the controlling MC at a day [%]; None outside the weighings."""
    for (x1, y1), (x2, y2) in zip(one.mc, one.mc[1:], strict=False):
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
