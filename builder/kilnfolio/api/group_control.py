"""Control charts of a group's mills, as each mill's own site draws them, from lines alone.

Lines hold what three of the charts need: the final mean less the target, the spread and the energy.
Each mill's kilns and timbers are judged by its own charges, and the limits are widened for the
charts of all mills together, so that a group of many mills sees no more false signals than one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from zoneinfo import ZoneInfo

from markupsafe import Markup

from kilnfolio.api.lines import ChargeLine, Lines
from kilnfolio.charts.trends import Trend, shift_levels, trend_chart
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.pages.trends import DECIMALS, Line, signals_of, thickness_words
from kilnfolio.trends.control import MEASURES, Measure, Series, Verdict, judge, series_of
from kilnfolio.trends.past import PastCharge

HELD = ("target", "spread", "energy")
"""The measures that lines hold the figures for."""


@dataclass(frozen=True)
class Stream:
    """The charts of a kiln or a timber of a mill.

    Attributes
    ----------
    anchor : str
        Unique in the page of the mill.
    name : str
        The kiln's id, or the thickness and the wood.
    chart : Markup
        "" with fewer than two charges.
    lines : tuple of Line
        Its quantities; a signal leads to the register of the charge's year.
    values : tuple
        Of each charge, newest first: number, day of start, and its value of each quantity.
    """

    anchor: str
    name: str
    chart: Markup
    lines: tuple[Line, ...]
    values: tuple[tuple[str, str, tuple[float | None, ...]], ...]


@dataclass(frozen=True)
class MillControl:
    """The charts of a mill: of each kiln, and of each timber with enough charges."""

    mill: str
    streams: tuple[Stream, ...]

    @property
    def found(self) -> list[tuple[Stream, Line]]:
        """What stands out."""
        return [(one, line) for one in self.streams for line in one.lines if line.signals]


def group_control(group: Sequence[Lines]) -> tuple[list[MillControl], int]:
    """Return the charts of each mill, and how many charts are judged in all."""
    every = [list(_series(mill)) for mill in group]
    looks = sum(one.enough for mill in every for _, _, found in mill for one in found)
    return [
        MillControl(
            lines.mill.name,
            tuple(
                _stream(lines, f"{kind}-{place}", name, found, looks)
                for place, (kind, name, found) in enumerate(mill, 1)
            ),
        )
        for lines, mill in zip(group, every, strict=True)
    ], looks


def past_of(one: ChargeLine) -> PastCharge:
    """Return a charge in the form that charts read; what lines do not hold is not known."""
    dried = one.energy_kwh is not None and one.water_kg
    return PastCharge(
        number=one.charge,
        origin="record",
        kiln=one.kiln,
        species=one.species,
        thickness_mm=one.thickness_mm,
        thickness=f"{one.thickness_mm:g} mm",
        mixed=False,
        schedule=one.schedule,
        revision=one.schedule_revision,
        suppliers=(),
        started=one.started,
        ended=one.ended,
        hours=one.days * 24.0,
        hours_forecast=None,
        start_mc_pct=None,
        target_pct=one.target_mc_pct,
        final_mean_pct=one.final_mean_mc_pct,
        final_sd_pct=one.final_sd_mc_pct,
        readings=one.readings or 0,
        energy_kwh_kg=one.energy_kwh / one.water_kg if dried else None,  # type: ignore[operator]
        wick_k_per_day=None,
        side_difference_k=None,
        hot_hours=None,
        fast_hours=None,
        stress_index_pct=None,
        stops=None,
        stopped_hours=None,
        defects=(),
        placed=(),
        fast_steps=None,
        stop_steps=None,
        placed_defects=(),
        outcome="",
    )


def _series(mill: Lines) -> Iterator[tuple[str, str, list[Series]]]:
    """Yield the kind, name and series of each kiln, and of each timber with enough charges."""
    past = sorted(map(past_of, mill.charges), key=lambda one: (one.started, one.number))
    measures = [MEASURES[name] for name in HELD]
    for kiln in sorted({one.kiln for one in past}):
        yield "kiln", kiln, _of(measures, "kiln", [one for one in past if one.kiln == kiln])
    for stock in dict.fromkeys(one.stock for one in past):
        own = [one for one in past if one.stock == stock]
        found = _of(measures, "stock", own)
        if any(one.enough for one in found):
            wood = mill.species.get(own[0].species, own[0].species)
            yield "timber", f"{thickness_words(own[0].thickness_mm)} {wood}", found


def _of(measures: Sequence[Measure], kind: str, past: Sequence[PastCharge]) -> list[Series]:
    return [series_of(one, past) for one in measures if kind in one.of]


def _stream(lines: Lines, anchor: str, name: str, found: Sequence[Series], looks: int) -> Stream:
    zone = ZoneInfo(lines.mill.time_zone)
    starts = {
        number: at for one in found for number, at in zip(one.numbers, one.started, strict=True)
    }
    order = sorted(starts, key=lambda number: (starts[number], number))
    pages = {one.charge: f"charges/{one.ended.year}.html" for one in lines.charges}
    quantities = tuple(_line(judge(one, looks), order, pages) for one in found)
    return Stream(
        anchor,
        name,
        trend_chart(
            f"{name}, charge by charge",
            [(number, starts[number]) for number in order],
            [line.trend for line in quantities],
            zone,
            identity=f"chart-{anchor}",
        ),
        quantities,
        tuple(
            (
                number,
                starts[number].astimezone(zone).date().isoformat(),
                tuple(line.trend.values[place] for line in quantities),
            )
            for place, number in reversed(list(enumerate(order)))
        ),
    )


def _line(verdict: Verdict, order: Sequence[str], pages: Mapping[str, str]) -> Line:
    """Return a quantity with a value for every charge of a chart, and what stands out."""
    series, measure, found = verdict.series, MEASURES[verdict.series.measure], verdict.judged
    values = dict(zip(series.numbers, series.values, strict=True))
    means = shift_levels(found, len(values)) if found else ()
    levels = dict(zip(series.numbers, means, strict=True)) if means else {}
    trend = Trend(
        measure.name,
        measure.unit,
        [values.get(number) for number in order],
        DECIMALS.get(measure.unit, 2),
        found.limits if found else None,
        levels=[levels.get(number) for number in order] if levels else (),
    )
    signals = list(signals_of(verdict, pages.__getitem__))
    return Line(measure.name, trend, signals, 0, series.left_out, series.enough, trend.decimals)
