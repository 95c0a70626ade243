"""Tables of drying and heating times."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from kilnfolio.forecast.effects import NoComparison
from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.forecast.recorded import all_recorded_days
from kilnfolio.forecast.schedules import schedule_effects
from kilnfolio.forecast.what_if import run_board, typical_board
from kilnfolio.handbook.setting import unknown
from kilnfolio.handbook.tables import (
    Cell,
    Column,
    Options,
    Table,
    cell_words,
    table_kind,
    worked,
)
from kilnfolio.handbook.tables_species import name_cell
from kilnfolio.physics import drying
from kilnfolio.records import reading
from kilnfolio.records.model import Slug
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.quantities import Length, Percent, Temperature
from kilnfolio.records.yaml_source import Document
from kilnfolio.review import figures
from kilnfolio.review.figures import NOTHING, number
from kilnfolio.review.working import Bare

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder

_OAK_GRAVITY, _WET_PCT = 0.56, 30.0


class RedOakOptions(Options):
    """Options of a table of drying times of red oak in constant air."""

    thickness: Annotated[list[Length], Field(min_length=1)]
    """Columns."""
    temperature: Annotated[list[Temperature], Field(min_length=1)]
    """Rows."""
    mc_from: Percent
    """MC at the start."""
    mc_to: Percent
    """MC at the end."""
    emc: Percent
    """EMC of the air."""


@table_kind("red-oak-time", RedOakOptions)
def _red_oak(builder: Builder, options: RedOakOptions, _document: Document) -> Table:
    start, end, emc = options.mc_from.value, options.mc_to.value, options.emc.value
    rows = [
        (
            builder.setting.regional.side_by_side(temperature),
            *(
                number(
                    float(drying.red_oak_days(size.value, temperature.value, start, end, emc)), 1
                )
                for size in options.thickness
            ),
        )
        for temperature in options.temperature
    ]
    return Table(
        (Column("Dry bulb"), *(Column(size.entered) for size in options.thickness)),
        tuple(rows),
        "Computed from the red-oak formula (Simpson and Tschernitz 1980), its constants from "
        "memory. For other woods no more than a hint.",
        over="Days by thickness",
        worked=(
            worked(
                "red_oak_time",
                f"{options.thickness[0].entered}, {options.temperature[0].entered}",
                thickness=options.thickness[0],
                temperature=options.temperature[0],
                mc_from=options.mc_from,
                mc_to=options.mc_to,
                emc=options.emc,
            ),
        ),
    )


class CoreTimeOptions(Options):
    """Options of a table of minutes to heat a core."""

    size: Annotated[list[str], Field(min_length=1)]
    """Rows: thickness and width, as in '25 mm x 150 mm'."""
    wet_bulb: Annotated[list[Temperature], Field(min_length=1)]
    """Columns."""
    gravity: Bare
    """Basic specific gravity."""
    start: Temperature
    """Temperature of the wood at the start."""
    target: Temperature
    """Core temperature to reach."""


@table_kind("core-time", CoreTimeOptions)
def _core(_builder: Builder, options: CoreTimeOptions, _document: Document) -> Table:
    sizes = [tuple(Length.parse(part.strip()) for part in size.split("x")) for size in options.size]
    wood = drying.Timber(options.gravity.value, initial_c=options.start.value)
    times: dict[tuple[int, int], str] = {}
    for (row, size), (column, wet) in product(enumerate(sizes), enumerate(options.wet_bulb)):
        try:
            minutes = drying.core_time(
                (size[0].value, size[1].value),
                wood,
                drying.HeatingAir(wet.value),
                options.target.value,
            )
            times[row, column] = number(minutes, 0)
        except ValueError:  # the wet bulb is too low to heat the core that far
            times[row, column] = NOTHING
    rows = [
        (words, *(times[row, column] for column in range(len(options.wet_bulb))))
        for row, words in enumerate(options.size)
    ]
    last = options.wet_bulb[-1]
    return Table(
        (Column("Size", text=True), *(Column(wet.entered) for wet in options.wet_bulb)),
        tuple(rows),
        "Computed: product of two slab series, the faces at the wet bulb. A dash: this wet bulb "
        "never brings the core there. A planning figure; the probe decides.",
        over="Minutes by wet bulb",
        worked=(
            worked(
                "core_time",
                f"{options.size[0]}, {last.entered}",
                thickness=sizes[0][0],
                width=sizes[0][1],
                gravity=options.gravity,
                wet_bulb=last,
                start=options.start,
                target=options.target,
            ),
        ),
    )


class GradientOptions(Options):
    """Options of a table of peak gradient indices of a board in constant air."""

    thickness: Annotated[list[Length], Field(min_length=1)]
    """Rows."""
    emc: Annotated[list[Percent], Field(min_length=1)]
    """Columns."""
    temperature: Temperature
    """Dry bulb."""
    mc_from: Percent
    """MC at the start."""


@table_kind("gradient-peaks", GradientOptions)
def _peaks(_builder: Builder, options: GradientOptions, _document: Document) -> Table:
    rows = [
        (
            cell_words(size),
            *(number(_peak(size.value, emc.value, options), 1) for emc in options.emc),
        )
        for size in options.thickness
    ]
    return Table(
        (Column("Thickness"), *(Column(figures.as_entered(emc)) for emc in options.emc)),
        tuple(rows),
        "Computed by the board model: half the thickness in eight cells, D₀ of oak, shrinkage of "
        "10 %. Figures to set beside one another; no stress and no limit.",
        over="Peak gradient index, in %, by the EMC of the air",
    )


def _peak(thickness_mm: float, emc_pct: float, options: GradientOptions) -> float:
    """Return the largest index while drying to two points above the EMC."""
    board = typical_board(thickness_mm, options.mc_from.value, _OAK_GRAVITY)
    air = (PlannedStep(options.temperature.value, emc_pct, emc_pct + 2.0),)
    return run_board(board, air).peak


class ScheduleOptions(Options):
    """Options of a table of schedules by their effect on a board of their own timber."""

    species: Annotated[list[Slug], Field(min_length=1)]
    """The woods; schedules that run by the clock are left out."""


@table_kind("schedule-peaks", ScheduleOptions)
def _schedules(builder: Builder, options: ScheduleOptions, document: Document) -> Table:
    folder = builder.setting.folder
    names: dict[str, str] = {}
    for i, species in enumerate(options.species):
        if species not in folder.species:
            at = document.place("species", i)
            raise RecordProblems([unknown(at, "species", species, folder.species)])
        for name in sorted(reading.schedules_of_species(folder.graph, species)):
            names[name] = folder.schedules[name].record.title
    rows: list[tuple[Cell, ...]] = []
    for name, title in names.items():
        try:
            found = schedule_effects(folder, name)
        except NoComparison:
            continue
        address = builder.setting.record("schedule", name, builder.chapter.slug)
        wet = sum(step.share for step in found.steps if step.until_pct >= _WET_PCT)
        rows.append(
            (
                builder.setting.link(title, address),
                number(found.run.peak, 1),
                number(found.run.peak_mc_pct, 0),
                number(100.0 * wet, 0),
            )
        )
    return Table(
        (
            Column("Schedule", text=True),
            Column("Peak gradient index", "%"),
            Column("at a mean MC of", "%"),
            Column(f"Share of the days in steps above {_WET_PCT:g} % MC", "%"),
        ),
        tuple(rows),
        "Computed by the board model for one green board of the schedule's first wood and "
        "thickness, weighed once a day. Figures to set beside one another; no stress and no limit.",
    )


class RecordedOptions(Options):
    """Options of a table of the days that the mill's charges took."""


@table_kind("recorded-days", RecordedOptions)
def _recorded(builder: Builder, _options: RecordedOptions, _document: Document) -> Table:
    folder = builder.setting.folder
    rows: list[tuple[Cell, ...]] = []
    for one in all_recorded_days(folder.graph):
        band = one.forecast
        rows.append(
            (
                name_cell(builder, folder.species[one.species].record),
                f"{one.thickness.entered}, {one.start}",
                number(len(one.own_days), 0),
                number(one.median, 1),
                _span(one.own_days[0], one.own_days[-1]),
                _span(band.low80, band.high80) if band else NOTHING,
                NOTHING if one.formula is None else number(one.formula, 1),
            )
        )
    return Table(
        (
            Column("Timber", text=True),
            Column("Thickness and state", text=True),
            Column("Charges"),
            Column("Median", "days"),
            Column("Shortest to longest", "days"),
            Column("Forecast", "days"),
            Column("Red-oak formula", "days"),
        ),
        tuple(rows) or ((NOTHING, *[NOTHING] * 6),),
        "Recorded: from heating to the end, charges begun before the newest quarter. Forecast, 80 "
        "of 100 inside: a load on the schedule that most of them went by, before it goes in, learnt "
        "from the same charges; so it tells how wide to plan, and is no test of the forecast. "
        "Formula: the same load by the red-oak formula alone; for other woods no more than a hint.",
    )


def _span(low: float, high: float) -> str:
    if number(low, 1) == number(high, 1):
        return number(low, 1)
    return f"{number(low, 1)} to {number(high, 1)}"
