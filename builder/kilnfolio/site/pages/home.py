"""The front page, and the page of search."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from kilnfolio.handbook.chapter import Manuscript
from kilnfolio.records.reading import ALL
from kilnfolio.records.region import Custom, Region, regions
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review.findings import CHECKS
from kilnfolio.runtime.field_docs import field_doc
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import (
    HOME_PAGE,
    RECORDS_PAGE,
    SEARCH_PAGE,
    SOURCES_PAGE,
    SiteContext,
)
from kilnfolio.site.pages.open_charges import draft_views, open_charge_views
from kilnfolio.site.pages.phrases import plural
from kilnfolio.site.pages.summaries import ChargeRow, charge_rows
from kilnfolio.site.pages.today import today

#: Charges shown on the front page.
_LATEST = 6


@dataclass(frozen=True)
class Room:
    """A part of the site as the front page introduces it."""

    name: str
    target: str
    holds: str
    says: str


@dataclass(frozen=True)
class ChapterLine:
    """A chapter in the contents."""

    number: int | None
    title: str
    target: str
    summary: str


def home_page(context: SiteContext) -> Page:
    """Return the front page."""
    latest: list[ChargeRow] = charge_rows(context, context.charges[ALL][:_LATEST])
    mill = context.folder.mill.record
    as_of, kilns = today(context)
    shown = {one.number for one in kilns}
    return context.page(
        "home.html",
        HOME_PAGE,
        "Drying handbook and records",
        "front page",
        latest=latest,
        as_of=as_of,
        kilns=kilns,
        open_charges=[one for one in open_charge_views(context) if one.number not in shown],
        drafts=draft_views(context),
        rooms=list(_rooms(context)),
        region=mill.practice,
        customs=list(_customs(regions()[mill.practice])),
        words=list(regions()[mill.practice].words.items()),
        chapters=list(chapter_lines(context.manuscript)),
        build_date=context.build_date,
        sources=SOURCES_PAGE,
        records=RECORDS_PAGE,
        summary=f"The drying handbook, schedules and kiln records of {mill.name}.",
    )


def _customs(region: Region) -> Iterator[tuple[str, Custom]]:
    """Yield the customs of the mill's region, each with the question it answers."""
    for name in Region.model_fields:
        if name != "words":
            yield field_doc(Region, name).rstrip("."), getattr(region, name)


def chapter_lines(manuscript: Manuscript | None) -> Iterator[ChapterLine]:
    """Yield the chapters of the handbook."""
    for chapter in manuscript.chapters if manuscript else ():
        yield ChapterLine(
            chapter.record.number,
            chapter.record.title,
            routes.chapter(chapter.slug),
            chapter.record.summary,
        )


def _rooms(context: SiteContext) -> Iterator[Room]:
    folder = context.folder
    yield Room(
        "Species",
        "species/index.html",
        plural(len(folder.species), "species"),
        "Density, green moisture, shrinkage, safe rates, and the defects each is prone to.",
    )
    yield Room(
        "Schedules",
        "schedules/index.html",
        plural(len(folder.schedules), "schedule"),
        "Every step in both unit systems, with the air it asks for at this mill's height.",
    )
    yield Room(
        "Charges",
        "charges/index.html",
        plural(len(context.charges[ALL]), "charge"),
        "What was dried, how, and what the checks say of it.",
    )
    yield Room(
        "Lots",
        "lots/index.html",
        plural(len(context.lots[ALL]), "lot"),
        "What was shipped, against what was ordered.",
    )
    yield Room(
        "Kilns",
        "kilns/index.html",
        plural(len(folder.kilns), "kiln"),
        "Instruments, calibrations, and the places that dry unevenly.",
    )
    yield Room(
        "Trends",
        routes.TRENDS,
        "",
        "What the charges together show: whether a kiln or a timber has changed.",
    )
    yield Room(
        "Checks",
        "checks/index.html",
        plural(len(CHECKS), "check"),
        "Every rule applied to a charge or lot, with its reason, limit and source.",
    )


def search_page(context: SiteContext, pages: Sequence[Page]) -> Page:
    """Return the search page, which lists everything if scripts are off.

    Parameters
    ----------
    context : SiteContext
        The records.
    pages : sequence of Page
        Every other page of the edition.
    """
    return context.page(
        "search.html",
        SEARCH_PAGE,
        "Search",
        "search",
        groups=list(_groups(pages)),
        summary="Search the handbook and records.",
    )


def _groups(pages: Iterable[Page]) -> Iterator[tuple[str, list[Page]]]:
    # charges and lots grow without limit and have registers of their own
    for kind, heading in (
        ("chapter", "Handbook"),
        ("glossary", "Glossary"),
        ("species", "Species"),
        ("schedule", "Schedules"),
        ("kiln", "Kilns"),
        ("check", "Checks"),
        ("guide", "Guide"),
    ):
        found = [page for page in pages if page.kind == kind]
        if kind not in ("chapter", "glossary", "guide"):
            found.sort(key=lambda page: (page.title.casefold(), page.path))
        if found:
            yield heading, found
