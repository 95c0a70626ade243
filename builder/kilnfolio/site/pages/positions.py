"""Pages of position maps: which places of a kiln stay wetter, and which pack to measure next."""

from __future__ import annotations

from collections.abc import Iterator

from kilnfolio.charts.stack import Cell, stack
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review.dossier import Working
from kilnfolio.review.working import Bare
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.workings import Shown, Workings, by_id, percent, shown, work_out
from kilnfolio.trends.control import streams
from kilnfolio.trends.positions import (
    CONFIDENCE,
    LEAST,
    MEASURED_FIRST,
    NEWEST,
    PositionMap,
    position_map,
)


@dataclass(frozen=True)
class MapView:
    """Everything the page of a kiln's places prints."""

    name: str
    kiln: str
    """Page of the kiln."""
    chart: str
    map: PositionMap
    how: Workings


def map_names(context: SiteContext) -> list[str]:
    """Return the kilns with enough charges for a map."""
    keys = (key.partition(":") for key in streams(context.graph))
    return [
        kiln
        for kind, _, kiln in keys
        if kind == "kiln" and kiln in context.folder.kilns and position_map(context.graph, kiln)
    ]


def map_page(context: SiteContext, kiln: str) -> Page:
    """Return the page of a kiln's places."""
    found = position_map(context.graph, kiln)
    assert found is not None  # map_names leaves out kilns without a map
    name = context.folder.kilns[kiln].record.name
    cells = [Cell(one.position, one.points, one.half, one.charges) for one in found.places]
    view = MapView(
        name,
        routes.kiln(kiln),
        stack(f"Places of {name}", cells),
        found,
        by_id([_shown(found)]),
    )
    title = f"Which places of {name} stay wetter or drier?"
    return context.page(
        "positions.html",
        routes.position_map(kiln),
        title,
        "trend",
        view=view,
        first=MEASURED_FIRST,
        least=LEAST,
        newest=NEWEST,
        confidence=round(100 * CONFIDENCE),
        crumbs=(("Trends", routes.TRENDS),),
        text=[title],
    )


def _shown(found: PositionMap) -> Shown:
    confidence = 100.0 * (1.0 - (1.0 - CONFIDENCE) / len(found.places))

    def worked() -> Iterator[Working | None]:
        for one in found.places[:1]:
            yield work_out(
                "confidence_interval",
                one.position,
                mean=percent(one.points),
                sd=percent(one.spread),
                readings=Bare(float(one.charges), str(one.charges)),
                confidence=percent(confidence),
            )

    return shown(
        "places",
        "A place against the mean of its charges",
        worked(),
        "n is the number of charges. The confidence of each is raised so that all together hold.",
        sample=True,
    )
