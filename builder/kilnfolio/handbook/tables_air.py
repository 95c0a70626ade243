"""Tables of air and EMC."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product
from typing import TYPE_CHECKING, Annotated

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
    or_none,
    paired_columns,
    quantity_cell,
    quantity_columns,
    table_kind,
    two_systems,
    worked,
)
from kilnfolio.physics import air, sorption, sums
from kilnfolio.records.quantities import (
    Length,
    Percent,
    Pressure,
    Temperature,
    TemperatureDifference,
)
from kilnfolio.records.yaml_source import Document
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review import figures
from kilnfolio.review.dossier import Working
from kilnfolio.review.figures import NOTHING, number

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder


class BulbOptions(Options):
    """Options of a table by dry bulb and depression."""

    dry_bulb: Annotated[list[Temperature], Field(min_length=1)]
    """Rows."""
    depression: Annotated[list[TemperatureDifference], Field(min_length=1)]
    """Columns."""
    altitude: Length = SEA_LEVEL
    """Altitude, which determines the air pressure."""


def _by_bulbs(
    regional: RegionalFormat,
    options: BulbOptions,
    compute: Callable[[float, float], float],
    decimals: int,
    source: str,
    formula: str,
) -> Table:
    pressure = air.pressure_at_altitude(options.altitude.value / 1000.0)

    def cell(dry: float, depression: float) -> float | None:
        wet = sums.difference(dry, depression)
        humidity = or_none(air.relative_humidity, dry, wet, pressure)
        return None if humidity is None else compute(dry, humidity)

    first, step = options.dry_bulb[-1], options.depression[0]
    rows = [
        (
            quantity_cell(regional, dry),
            *(number(cell(dry.value, step.value), decimals) for step in options.depression),
        )
        for dry in options.dry_bulb
    ]
    return Table(
        (Column("Dry bulb", text=True), *quantity_columns(regional, options.depression)),
        tuple(rows),
        source,
        over="Wet-bulb depression",
        worked=(
            worked(
                formula,
                cell_words(first, step),
                dry_bulb=first,
                wet_bulb=sums.difference(first.value, step.value),
                altitude=options.altitude,
            ),
        ),
    )


@table_kind("emc-by-bulbs", BulbOptions)
def _emc_by_bulbs(builder: Builder, options: BulbOptions, _document: Document) -> Table:
    regional = builder.setting.regional
    return _by_bulbs(
        regional,
        options,
        sorption.equilibrium_moisture_content,
        1,
        f"EMC in %. {air_source(regional, options.altitude)} {EMC_SOURCE}",
        "emc_from_bulbs",
    )


@table_kind("humidity-by-bulbs", BulbOptions)
def _humidity_by_bulbs(builder: Builder, options: BulbOptions, _document: Document) -> Table:
    regional = builder.setting.regional
    return _by_bulbs(
        regional,
        options,
        lambda _dry, humidity: humidity,
        0,
        f"RH in %. {air_source(regional, options.altitude)}",
        "relative_humidity",
    )


class HumidityOptions(Options):
    """Options of a table by temperature and RH."""

    temperature: Annotated[list[Temperature], Field(min_length=1)]
    """Rows."""
    relative_humidity: Annotated[list[Percent], Field(min_length=1)]
    """Columns."""


@table_kind("emc-by-humidity", HumidityOptions)
def _emc_by_humidity(builder: Builder, options: HumidityOptions, _document: Document) -> Table:
    regional = builder.setting.regional
    rows = [
        (
            quantity_cell(regional, temperature),
            *(
                number(
                    or_none(
                        sorption.equilibrium_moisture_content, temperature.value, humidity.value
                    )
                )
                for humidity in options.relative_humidity
            ),
        )
        for temperature in options.temperature
    ]
    return Table(
        (Column("Temperature", text=True), *quantity_columns(regional, options.relative_humidity)),
        tuple(rows),
        f"EMC in %. Computed: {EMC_SOURCE}",
        over="Relative humidity",
        worked=(
            worked(
                "equilibrium_moisture_content",
                cell_words(options.temperature[0], options.relative_humidity[0]),
                temperature=options.temperature[0],
                relative_humidity=options.relative_humidity[0],
            ),
        ),
    )


class SetPointOptions(Options):
    """Options of a table of wet bulbs for an EMC."""

    emc: Annotated[list[Percent], Field(min_length=1)]
    """Rows."""
    dry_bulb: Annotated[list[Temperature], Field(min_length=1)]
    """Columns."""
    altitude: Length = SEA_LEVEL
    """Altitude."""


@table_kind("set-points-for-emc", SetPointOptions)
def _set_points(builder: Builder, options: SetPointOptions, _document: Document) -> Table:
    regional = builder.setting.regional
    pressure = air.pressure_at_altitude(options.altitude.value / 1000.0)

    def cell(dry: float, emc: float) -> Cell:
        humidity = or_none(sorption.relative_humidity_for_emc, dry, emc)
        wet = None if humidity is None else or_none(air.wet_bulb, dry, humidity, pressure)
        return (
            NOTHING if wet is None else two_systems(*regional.ordered(number(wet), fahrenheit(wet)))
        )

    rows = [
        (figures.as_entered(emc), *(cell(dry.value, emc.value) for dry in options.dry_bulb))
        for emc in options.emc
    ]
    return Table(
        (Column("EMC", text=True), *quantity_columns(regional, options.dry_bulb)),
        tuple(rows),
        "Wet bulb in {}, with {} beneath. ".format(*regional.ordered("°C", "°F"))
        + f"{air_source(regional, options.altitude)} {EMC_SOURCE}",
        over="Dry bulb",
        worked=tuple(_worked_set_point(options)),
    )


def _worked_set_point(options: SetPointOptions) -> Iterator[Working]:
    """Yield the working of the first possible wet bulb."""
    for emc, dry in product(options.emc, options.dry_bulb):
        humidity = or_none(sorption.relative_humidity_for_emc, dry.value, emc.value)
        if humidity is None:
            continue
        label = cell_words(emc, dry)
        yield worked("relative_humidity_for_emc", f"{label}: RH", temperature=dry, emc=emc)
        yield worked(
            "wet_bulb",
            label,
            dry_bulb=dry,
            relative_humidity=humidity,
            altitude=options.altitude,
        )
        return


class AltitudeOptions(Options):
    """Options of a table of air pressure by altitude."""

    altitude: Annotated[list[Length], Field(min_length=1)]
    """Rows."""


@table_kind("pressure-by-altitude", AltitudeOptions)
def _pressures(builder: Builder, options: AltitudeOptions, _document: Document) -> Table:
    regional, rows = builder.setting.regional, []
    for altitude in options.altitude:
        pressure = air.pressure_at_altitude(altitude.value / 1000.0)
        feet = figures.CUSTOMARY[Length][-1].of(altitude.value)
        mercury = figures.CUSTOMARY[Pressure][0].of(pressure)
        rows.append(
            (
                *regional.ordered(number(altitude.value / 1000.0, 0), number(feet, 0)),
                *regional.ordered(number(pressure / 1000.0, 2), number(mercury, 2)),
            )
        )
    return Table(
        (
            *paired_columns(regional, "Altitude", "m", "ft"),
            *paired_columns(regional, "Pressure", "kPa", "inHg"),
        ),
        tuple(rows),
        "Computed: standard atmosphere, ICAO Doc 7488. Weather moves it by about 3 %.",
        worked=(
            worked(
                "pressure_at_altitude",
                cell_words(options.altitude[-1]),
                altitude=options.altitude[-1],
            ),
        ),
    )
