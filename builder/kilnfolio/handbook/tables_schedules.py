"""Tables of notations, equalizing, surveys and meters."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any

from markupsafe import Markup
from pydantic import Field

from kilnfolio.handbook.tables import (
    EMC_SOURCE,
    SEA_LEVEL,
    Cell,
    Column,
    Options,
    Table,
    air_source,
    cell_words,
    fahrenheit,
    paired_columns,
    quantity_cell,
    quantity_columns,
    table_kind,
    worked,
)
from kilnfolio.physics import air, meters, rules, sorption, sums, survey
from kilnfolio.records.model import Name
from kilnfolio.records.notation import Notation, expand
from kilnfolio.records.quantities import (
    Length,
    Percent,
    Temperature,
    TemperatureDifference,
)
from kilnfolio.records.setpoints import state_of
from kilnfolio.records.yaml_source import Document
from kilnfolio.review import figures
from kilnfolio.review.dossier import Working
from kilnfolio.review.figures import NBSP, NOTHING, measure, number
from kilnfolio.review.limits import Subject, limit_table
from kilnfolio.review.stages import conditioning_rule, points_above

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder

#: What moves a resistance meter's reading by half a point: Wood Handbook 2010, p. 13-3.
_PER_HALF_POINT = TemperatureDifference.parse("10 °F")


def _notation(builder: Builder) -> Notation:
    found = [located.record for located in builder.setting.folder.notations.values()]
    if not found:
        raise ValueError("the mill folder holds no notation under schedules/notations")
    return found[0]


def _from(mc: Percent | str) -> str:
    return "green" if isinstance(mc, str) else f"below {figures.as_entered(mc)}"


@table_kind("notation-temperature")
def _notation_temperature(builder: Builder, _options: Options, _document: Document) -> Table:
    notation = _notation(builder)
    starts = list(
        dict.fromkeys(
            stage.from_mc if isinstance(stage.from_mc, str) else stage.from_mc.value
            for stages in notation.dry_bulb.values()
            for stage in stages
        )
    )
    starts.sort(key=lambda mc: float("inf") if isinstance(mc, str) else mc, reverse=True)
    rows = []
    for code, stages in notation.dry_bulb.items():
        held: dict[Any, Temperature] = {
            stage.from_mc if isinstance(stage.from_mc, str) else stage.from_mc.value: stage.dry_bulb
            for stage in stages
        }
        rows.append(
            (
                code,
                *(
                    quantity_cell(builder.setting.regional, held[mc]) if mc in held else NOTHING
                    for mc in starts
                ),
            )
        )
    quantity_columns = [
        Column("green" if isinstance(mc, str) else f"below {measure(mc, '%', 0)}") for mc in starts
    ]
    return Table(
        (Column("Code", text=True), *quantity_columns),
        tuple(rows),
        builder.cite_row(notation.source, notation.status),
        over="Controlling MC",
    )


@table_kind("notation-depression")
def _notation_depression(builder: Builder, _options: Options, _document: Document) -> Table:
    notation = _notation(builder)
    classes = notation.mc_classes
    most = max(len(values) for values in notation.depressions.values())
    rows: list[tuple[Cell, ...]] = []
    for letter, starts in classes.items():
        words = [_from(mc) for mc in starts] + [NOTHING] * (most - len(starts))
        rows.append((f"class {letter}", *words[:most]))
    for code, values in notation.depressions.items():
        cells = [quantity_cell(builder.setting.regional, value) for value in values]
        rows.append((f"number {code}", *cells, *[NOTHING] * (most - len(cells))))
    return Table(
        (
            Column("Class or number", text=True),
            *(Column(f"stage {place + 1}") for place in range(most)),
        ),
        tuple(rows),
        builder.cite_row(notation.source, notation.status),
        over="Begins at this controlling MC (class), with this depression (number)",
    )


class CodeOptions(Options):
    """Options of a table that expands a schedule code."""

    code: Name
    """As in T4-D2."""
    altitude: Length = SEA_LEVEL
    """Altitude."""


@table_kind("notation-steps", CodeOptions)
def _notation_steps(builder: Builder, options: CodeOptions, _document: Document) -> Table:
    notation = _notation(builder)
    pressure = air.pressure_at_altitude(options.altitude.value / 1000.0)
    regional = builder.setting.regional
    rows, begun = [], "green"
    for place, step in enumerate(expand(options.code, notation), 1):
        until = step.until_mc if isinstance(step.until_mc, Percent) else None
        depression = step.depression.value if step.depression else 0.0
        written = step.dry_bulb.value
        state = regional.as_set(
            state_of(written, sums.difference(written, depression), pressure), pressure
        )
        dry, wet, humidity = state.dry_bulb_c, state.wet_bulb_c, state.relative_humidity_pct
        ends = f"{number(until.value, 0)}{NBSP}%" if until else "final"
        rows.append(
            (
                str(place),
                f"{begun} to {ends}",
                *regional.ordered(number(dry), fahrenheit(dry)),
                *regional.ordered(number(wet), fahrenheit(wet)),
                *regional.ordered(number(state.depression_k), number(state.depression_k * 1.8, 0)),
                number(humidity, 0),
                number(sorption.equilibrium_moisture_content(dry, humidity)),
            )
        )
        begun = ends
    return Table(
        (
            Column("Step"),
            Column("Controlling MC", text=True),
            *paired_columns(regional, "DB", "°C", "°F"),
            *paired_columns(regional, "WB", "°C", "°F"),
            *paired_columns(regional, "Depression", "K", "°F"),
            Column("RH", "%"),
            Column("EMC", "%"),
        ),
        tuple(rows),
        Markup("{} {} {}").format(
            builder.cite_row(notation.source, notation.status),
            air_source(regional, options.altitude),
            EMC_SOURCE,
        ),
        worked=tuple(_worked_step(options.code, notation, options.altitude)),
    )


def _worked_step(code: str, notation: Notation, altitude: Length) -> Iterator[Working]:
    """Yield the working of the first step's wet bulb, RH and EMC."""
    step = expand(code, notation)[0]
    if step.depression is None:
        return
    dry, wet = step.dry_bulb, sums.difference(step.dry_bulb.value, step.depression.value)
    yield worked("wet_bulb_of_depression", "step 1, WB", dry_bulb=dry, depression=step.depression)
    yield worked("relative_humidity", "step 1, RH", dry_bulb=dry, wet_bulb=wet, altitude=altitude)
    yield worked("emc_from_bulbs", "step 1, EMC", dry_bulb=dry, wet_bulb=wet, altitude=altitude)


# --- the end of the charge ------------------------------------------------------------------------


class TargetOptions(Options):
    """Options of a table of equalizing and conditioning by target."""

    targets: Annotated[list[Percent], Field(min_length=1)]
    """Rows."""


@table_kind("equalizing-conditioning", TargetOptions)
def _ending(builder: Builder, options: TargetOptions, _document: Document) -> Table:
    limits = limit_table(builder.setting.folder)
    below = limits.value("equalizing-below-target")
    kinds = [Subject(kind=kind) for kind in ("hardwood", "softwood")]
    first = options.targets[0]
    rows = [
        (
            figures.as_entered(target),
            number(rules.equalizing_start(target.value, below), 0),
            number(rules.equalizing_emc(target.value, below), 0),
            number(target.value, 0),
            *(number(conditioning_rule(limits, target.value, kind), 0) for kind in kinds),
        )
        for target in options.targets
    ]
    return Table(
        (
            Column("Target MC", text=True),
            Column("Equalize when the driest is at", "% MC"),
            Column("Equalizing EMC", "%"),
            Column("until the wettest is at", "% MC"),
            Column("Conditioning EMC, hardwood", "%"),
            Column("Conditioning EMC, softwood", "%"),
        ),
        tuple(rows),
        Markup("Computed: start {}; EMC {}").format(
            builder.cite_row("wengert-extension", "read"),
            builder.cite_row("dry-kiln-operators-manual, ch. 7", "memory"),
        ),
        worked=(
            worked("equalizing_start", "driest board", target=first, below=below),
            worked("equalizing_emc", "equalizing EMC", target=first, below=below),
            worked(
                "conditioning_emc",
                "conditioning EMC",
                target=first,
                kind="hardwood",
                above=points_above(limits, first.value, kinds[0]),
            ),
        ),
    )


class ShareOptions(Options):
    """Options of a table of readings needed by share and confidence."""

    share: Annotated[list[Percent], Field(min_length=1)]
    """Rows."""
    confidence: Annotated[list[Percent], Field(min_length=1)]
    """Columns."""


@table_kind("readings-for-share", ShareOptions)
def _readings(builder: Builder, options: ShareOptions, _document: Document) -> Table:
    rows = [
        (
            f"at least {figures.as_entered(share)}",
            *(
                number(survey.readings_needed(share.value / 100.0, confidence.value / 100.0), 0)
                for confidence in options.confidence
            ),
        )
        for share in options.share
    ]
    return Table(
        (
            Column("Share of the lot", text=True),
            *quantity_columns(builder.setting.regional, options.confidence),
        ),
        tuple(rows),
        "Readings, none of them failing. Computed: Clopper and Pearson's exact bound "
        "(Biometrika 26, 1934); pieces chosen at random.",
        over="Confidence",
        worked=(
            worked(
                "readings_needed",
                cell_words(options.share[0], options.confidence[0]),
                share=options.share[0],
                confidence=options.confidence[0],
            ),
        ),
    )


class MeterOptions(Options):
    """Options of a table of temperature corrections of a meter."""

    reading: Annotated[list[Percent], Field(min_length=1)]
    """Rows."""
    wood_temperature: Annotated[list[Temperature], Field(min_length=1)]
    """Columns."""
    calibration_temperature: Temperature = Temperature(20.0, "20 °C")
    """Temperature at which the meter's scale is right."""


@table_kind("meter-temperature", MeterOptions)
def _meter(builder: Builder, options: MeterOptions, _document: Document) -> Table:
    rows = [
        (
            figures.as_entered(reading),
            *(
                number(
                    meters.reading_at_calibration(
                        reading.value, temperature.value, options.calibration_temperature.value
                    )
                )
                for temperature in options.wood_temperature
            ),
        )
        for reading in options.reading
    ]
    regional = builder.setting.regional
    calibrated = regional.side_by_side(options.calibration_temperature)
    return Table(
        (
            Column("Reading", text=True),
            *quantity_columns(regional, options.wood_temperature),
        ),
        tuple(rows),
        Markup(
            "MC in %, before the species correction. Computed for a scale made at {}: "
            "half a point for each {} {}"
        ).format(
            calibrated,
            regional.side_by_side(_PER_HALF_POINT),
            builder.cite_row("wood-handbook-2010, p. 13-3", "read"),
        ),
        over="Wood temperature",
        worked=(
            worked(
                "meter_temperature_correction",
                cell_words(options.reading[0], options.wood_temperature[-1]),
                reading=options.reading[0],
                wood_temperature=options.wood_temperature[-1],
                calibration_temperature=options.calibration_temperature,
            ),
        ),
    )
