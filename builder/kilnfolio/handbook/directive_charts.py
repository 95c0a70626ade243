"""The charts a chapter may include: each a drawing and the table behind it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from markupsafe import Markup
from pydantic import Field

from kilnfolio.charts.emc import emc_chart, emc_rows, usual_temperatures
from kilnfolio.charts.mc_bands import bands_chart, bands_rows
from kilnfolio.charts.strength import strength_chart, strength_rows
from kilnfolio.handbook import tables
from kilnfolio.handbook.facts import read_facts
from kilnfolio.records.model import Name, Record, Text
from kilnfolio.records.quantities import Temperature
from kilnfolio.rendering.templating import READ_OUT
from kilnfolio.review import figures
from kilnfolio.review.dossier import Working
from kilnfolio.review.working import Stress
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder

#: Temperature of the room whose humidity is given beside the bands of moisture content [°C].
_ROOM_C = 20.0
#: The wood whose strength is drawn, as named in the facts.
_WOOD = "Oak, northern red"


class ChartOptions(Record):
    """``::: chart``."""

    kind: Name
    """The chart: emc, strength or mc-bands."""
    caption: Text
    """What the reader should see in it."""
    alt: Text
    """A description for those who cannot see it."""
    temperature: list[Temperature] = Field(default_factory=list)
    """Temperatures of the curves, for the kind emc."""


@dataclass(frozen=True)
class Chart:
    """A drawing, the figures behind it, and the working of one of them."""

    drawing: Markup
    columns: Sequence[tables.Column]
    rows: Sequence[tuple[str, ...]]
    worked: Sequence[Working]


def behind(builder: Builder, chart: Chart) -> Markup:
    """Return what follows a drawing on the site: its read-out, its figures, a working."""
    if builder.setting.target != "site":
        return Markup("")
    return Markup(
        '{}<details class="chart-table"><summary>The figures behind the chart</summary>'
        "{}</details>{}"
    ).format(
        READ_OUT,
        tables.plain(chart.columns, chart.rows),
        tables.collapsed_workings(
            chart.worked, builder.setting.publications, builder.setting.regional.localized
        ),
    )


def _emc(builder: Builder, options: ChartOptions, anchor: str) -> Chart:
    regional = builder.setting.regional
    asked = [temperature.value for temperature in options.temperature]
    temperatures = asked or list(usual_temperatures(regional))
    columns = (
        tables.Column("RH", "%"),
        *(
            tables.Column(
                *regional.ordered(
                    figures.metric(value, Temperature, 0), figures.customary(value, Temperature)
                )
            )
            for value in temperatures
        ),
    )
    example = tables.worked(
        "equilibrium_moisture_content",
        "EMC at 50 % RH",
        temperature=temperatures[0],
        relative_humidity=50.0,
    )
    return Chart(
        emc_chart(anchor, options.alt, temperatures, regional=regional),
        columns,
        emc_rows(temperatures),
        [example],
    )


def _strength(builder: Builder, options: ChartOptions, anchor: str) -> Chart:
    facts = read_facts(builder.setting.folder.root, "strength")
    row = next((row for row in facts.rows if row.cell("wood") == _WOOD), facts.rows[0])
    properties = {}
    for words, key in (
        ("crushing strength", "crushing"),
        ("bending strength", "bending"),
        ("stiffness", "stiffness"),
    ):
        dry, green, intersection = row.numbers(f"{key}_dry", f"{key}_green", "intersection")
        properties[words] = (dry, green, intersection)
    dry, green, intersection = properties["bending strength"]
    columns = (
        tables.Column("MC", "%"),
        *(tables.Column(words.capitalize(), "% of green") for words in properties),
    )
    example = tables.worked(
        "strength_at",
        "Bending strength at 8 %",
        at_12=Stress.parse(f"{dry:g} MPa"),
        green=Stress.parse(f"{green:g} MPa"),
        mc=8.0,
        intersection=intersection,
    )
    return Chart(
        strength_chart(anchor, options.alt, properties),
        columns,
        strength_rows(properties),
        [example],
    )


def _bands(builder: Builder, options: ChartOptions, anchor: str) -> Chart:
    facts = read_facts(builder.setting.folder.root, "mc-bands")
    bands = []
    for row in facts.rows:
        low, high = row.numbers("low", "high")
        bands.append((str(row.cell("band")), low, high))
    columns = (
        tables.Column("Band", text=True),
        tables.Column("From", "% MC"),
        tables.Column("to", "% MC"),
        tables.Column("Air, from", "% RH"),
        tables.Column("to", "% RH"),
    )
    example = tables.worked(
        "relative_humidity_for_emc", "RH that holds 10 %", temperature=_ROOM_C, emc=10.0
    )
    return Chart(
        bands_chart(anchor, options.alt, bands, _ROOM_C),
        columns,
        bands_rows(bands, _ROOM_C),
        [example],
    )


#: Every kind of chart by name.
CHARTS: dict[str, Callable[[Builder, ChartOptions, str], Chart]] = {
    "emc": _emc,
    "strength": _strength,
    "mc-bands": _bands,
}
