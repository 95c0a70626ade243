"""Charges of a kind laid over each other: MC, air, energy and result from the start."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from kilnfolio.charts.overlay import Course, Part, overlay_chart
from kilnfolio.forecast.outcomes import charge_outcome
from kilnfolio.records.quantities import Length
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.site.context import SiteContext
from kilnfolio.site.overlays import (
    MOST,
    AirAt,
    Overlay,
    charge_overlay,
    charges_of_kind,
    kind_of,
    kinds_dried,
)
from kilnfolio.site.pages.phrases import plural

INDEX = "charges/index.html"


def compared_kinds(context: SiteContext) -> list[str]:
    """Return the kinds of timber with two charges or more."""
    graph = context.graph
    return [kind for kind in kinds_dried(graph) if len(charges_of_kind(graph, kind)) > 1]


def compared_at(context: SiteContext, number: str) -> str:
    """Return the page that compares a charge with others of its kind; "" if it is the only one."""
    if context.edition != "mill":
        return ""
    kind = kind_of(charge_outcome(context.graph, number))
    several = len(charges_of_kind(context.graph, kind)) > 1
    return routes.compared("charges", kind) if several else ""


def alike_pages(context: SiteContext, charges: Sequence[str]) -> list[tuple[str, str]]:
    """Return the pages that compare charges of the kinds that some charges belong to.

    Returns
    -------
    list of (str, str)
        The timber in words, and the address.
    """
    found: dict[str, str] = {}
    for number in charges:
        page = compared_at(context, number)
        if page and page not in found:
            one = charge_overlay(context.graph, number)
            found[page] = f"{context.species_name(one.species)}, {_thickness(context, one)}"
    return [(words, page) for page, words in found.items()]


def _thickness(context: SiteContext, one: Overlay) -> str:
    return context.regional.side_by_side(Length(one.thickness_mm, one.thickness))


def compared_charges_page(context: SiteContext, kind: str) -> Page:
    """Return the page that lays the newest charges of a kind over each other."""
    names = charges_of_kind(context.graph, kind, newest_first=True)
    shown = [charge_overlay(context.graph, name) for name in names[:MOST]]
    wood = context.species_name(shown[0].species)
    size = _thickness(context, shown[0])
    return context.page(
        "compared_charges.html",
        routes.compared("charges", kind),
        f"How do our charges of {wood}, {size}, differ?",
        "trend",
        shown=shown,
        rows=[context.lines[one.charge].row for one in shown],
        kilns=[context.folder.kilns[one.kiln].record.name for one in shown],
        total=len(names),
        drawing=charges_chart(shown, context.regional),
        first=shown[-1],
        wood=wood,
        wood_page=routes.species(shown[0].species),
        summary=f"{plural(len(shown), 'charge')} from the start: MC, air, energy and result.",
        crumbs=(("Charges", INDEX),),
    )


def charges_chart(shown: Sequence[Overlay], regional: RegionalFormat) -> Markup:
    """Return the overlay of charges."""
    scale = regional.temperature_scale

    def dry(points: Sequence[AirAt], end: float | None = None) -> list[tuple[float, float]]:
        return _held([(p.day, p.dry_bulb_c) for p in points], end, scale.of)

    def emc(points: Sequence[AirAt], end: float | None = None) -> list[tuple[float, float]]:
        return _held([(p.day, p.emc_pct) for p in points], end)

    courses = list(enumerate(shown))
    panels = [
        Part(
            "Controlling MC, %",
            240.0,
            [Course(place, one.mc, dotted=True) for place, one in courses],
        ),
        Part(
            "EMC of the air, %; thin: asked",
            150.0,
            [
                *(Course(place, emc(one.asked, one.days), asked=True) for place, one in courses),
                *(Course(place, emc(one.air)) for place, one in courses),
            ],
        ),
        Part(
            f"Dry bulb, {scale.unit}; thin: asked",
            150.0,
            [
                *(Course(place, dry(one.asked, one.days), asked=True) for place, one in courses),
                *(Course(place, dry(one.air)) for place, one in courses),
            ],
            from_zero=False,
        ),
        Part(
            "Energy, kWh/m³; thin: computed least heat",
            150.0,
            [
                *(
                    Course(place, _by_volume(one, one.least), computed=True)
                    for place, one in courses
                ),
                *(Course(place, _used(one), dotted=True) for place, one in courses),
            ],
        ),
    ]
    said = "; ".join(
        f"{one.charge}: {one.days:.1f} days"
        + (f", from {one.mc[0][1]:.0f} to {one.mc[-1][1]:.1f} % MC" if one.mc else "")
        for one in shown
    )
    names = [one.charge for one in shown]
    return overlay_chart("compared-charges", "Charges from their starts", said, names, panels)


def _used(one: Overlay) -> list[tuple[float, float]]:
    """Return the days [d] and the energy metered up to each reading, or only in all [kWh/m³]."""
    in_all = ((one.days, one.kwh),) if one.kwh is not None else ()
    return _by_volume(one, one.metered or in_all)


def _by_volume(one: Overlay, points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    return [(day, kwh / one.volume_m3) for day, kwh in points] if one.volume_m3 else []


def _held(
    points: Sequence[tuple[float, float | None]],
    end: float | None,
    of: object = None,
) -> list[tuple[float, float]]:
    """Return the known points; with `end`, the last is held until then."""
    change = of if callable(of) else float
    known = [(x, change(y)) for x, y in points if y is not None]
    return [*known, (max(end, known[-1][0]), known[-1][1])] if known and end is not None else known
