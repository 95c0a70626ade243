"""Pages of species: the wood, its defects, its schedules, and the mill's charges of it."""

from __future__ import annotations

from collections.abc import Iterator

from kilnfolio.records import reading
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.sourced import Status
from kilnfolio.records.species import Species
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SHOWN, Citation, SiteContext
from kilnfolio.site.pages.compared_charges import alike_pages
from kilnfolio.site.pages.facts import Fact, drying_facts, not_on_record, wood_facts
from kilnfolio.site.pages.open_charges import draft_views
from kilnfolio.site.pages.phrases import listed, plural, thicknesses
from kilnfolio.site.pages.summaries import ChargeRow, charge_rows

INDEX = "species/index.html"


@dataclass(frozen=True)
class Proneness:
    """A defect the wood is prone to."""

    defect: str
    target: str
    note: str
    cite: Citation
    status: Status


@dataclass(frozen=True)
class HazardLine:
    """A hazard of its dust or sap."""

    words: str
    cite: Citation
    status: Status


@dataclass(frozen=True)
class ScheduleLine:
    """One of its schedules."""

    title: str
    target: str
    thickness: str
    start: str
    notation: str
    draft: bool
    kilns: str


@dataclass(frozen=True)
class SpeciesView:
    """Everything a species page prints."""

    record: Species
    facts: tuple[tuple[str, list[Fact]], ...]
    drying: list[Fact]
    prone: list[Proneness]
    hazards: list[HazardLine]
    schedules: list[ScheduleLine]
    charges: list[ChargeRow]
    """The newest charges."""
    total: int
    """Number of all charges."""
    missing: list[str]
    """Values that no source on record gives."""


def species_index(context: SiteContext) -> Page:
    """Return the index of species."""
    records = sorted(
        (located.record for located in context.folder.species.values()),
        key=lambda record: (record.trade_name.casefold(), record.id),
    )
    rows = [
        (
            record,
            routes.species(record.id),
            len(context.schedules_of_species[record.id]),
            len(context.charges[reading.of_species(record.id)]),
        )
        for record in records
    ]
    return context.page(
        "species_index.html",
        INDEX,
        "Species",
        "species",
        rows=rows,
        drafts=draft_views(context, "species"),
        summary=f"{plural(len(records), 'species')}: density, green "
        "moisture, shrinkage, safe rates, defects and schedules.",
    )


def schedule_line(schedule: Schedule) -> ScheduleLine:
    """Return a schedule as a line of a list."""
    return ScheduleLine(
        schedule.title,
        routes.schedule(schedule.id),
        thicknesses(schedule.for_stock.thickness),
        schedule.for_stock.start,
        schedule.notation or "",
        schedule.approved is None,
        listed(schedule.kiln_types) or "any",
    )


def species_page(context: SiteContext, name: str) -> Page:
    """Return the page of a species."""
    record = context.folder.species[name].record
    charges = context.charges[reading.of_species(name)]
    view = SpeciesView(
        record,
        tuple(group for group in wood_facts(context, record) if group[1]),
        drying_facts(context, record),
        [
            Proneness(
                context.regional.defect(known.defect),
                routes.chapter("defect-atlas", known.defect),
                known.note,
                context.cite(known.source),
                known.status,
            )
            for known in record.prone_to
        ],
        [
            HazardLine(words, context.cite(known.source), known.status)
            for known in record.hazards
            for words in (known.dust, known.skin)
            if words
        ],
        [
            schedule_line(context.folder.schedules[schedule].record)
            for schedule in context.schedules_of_species[name]
        ],
        charge_rows(context, charges[:SHOWN]),
        len(charges),
        not_on_record(record),
    )
    path = routes.species(record.id)
    return context.page(
        "species.html",
        path,
        record.trade_name,
        "species",
        view=view,
        alike=alike_pages(context, charges[:SHOWN]),
        summary=f"{record.trade_name}, {record.scientific_name}: {record.kind} of {record.region}.",
        crumbs=(("Species", INDEX),),
        text=_text(view),
    )


def _text(view: SpeciesView) -> Iterator[str]:
    record = view.record
    yield f"{record.trade_name}, {record.scientific_name}."
    yield f"Also called {listed(record.also_called)}." if record.also_called else ""
    yield f"{record.kind.capitalize()} of {record.region}."
    yield "Refractory: dries slowly and checks easily." if record.refractory else ""
    for _, facts in view.facts:
        yield from (f"{fact.label}: {fact.value}." for fact in facts)
    yield from (f"{fact.label}: {fact.value}." for fact in view.drying)
    yield from (f"{line.defect.capitalize()}: {line.note}" for line in view.prone)
    yield from (line.words for line in view.hazards)
    yield from (
        f"Schedule {line.title}{', ' + line.notation if line.notation else ''}."
        for line in view.schedules
    )
    yield record.notes or ""
