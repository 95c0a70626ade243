"""The front page, and the page of search."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from kilnfolio.handbook.chapter import Manuscript
from kilnfolio.records.practice import Custom, Practice, practices
from kilnfolio.records.reading import ALL
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review.findings import CHECKS
from kilnfolio.site.context import (
    HOME_PAGE,
    RECORDS_PAGE,
    SEARCH_PAGE,
    SOURCES_PAGE,
    SiteContext,
)
from kilnfolio.site.pages.histories import ChargeRow, charge_rows
from kilnfolio.site.pages.running import draft_views, running_views
from kilnfolio.site.pages.today import today
from kilnfolio.site.pages.words import plural

#: Charges shown on the front page.
_LATEST = 6


@dataclass(frozen=True)
class Room:
    """A part of the site, as the front page introduces it."""

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


def home_page(holdings: SiteContext) -> Page:
    """Return the front page."""
    latest: list[ChargeRow] = charge_rows(holdings, holdings.charges[ALL][:_LATEST])
    mill = holdings.folder.mill.record
    as_of, kilns = today(holdings)
    shown = {one.number for one in kilns}
    return holdings.page(
        "home.html",
        HOME_PAGE,
        "Drying handbook and records",
        "front page",
        latest=latest,
        as_of=as_of,
        kilns=kilns,
        running=[one for one in running_views(holdings) if one.number not in shown],
        begun=draft_views(holdings),
        rooms=list(_rooms(holdings)),
        practice=mill.practice,
        customs=list(_customs(practices()[mill.practice])),
        words=list(practices()[mill.practice].words.items()),
        chapters=list(chapter_lines(holdings.manuscript)),
        build_date=holdings.build_date,
        sources=SOURCES_PAGE,
        records=RECORDS_PAGE,
        summary=f"The drying handbook, schedules and kiln records of {mill.name}.",
    )


def _customs(practice: Practice) -> Iterator[tuple[str, Custom]]:
    """Yield what the mill's practice says, each with the question it answers."""
    for name, field in Practice.model_fields.items():
        if name != "words":
            yield str(field.description).rstrip("."), getattr(practice, name)


def chapter_lines(manuscript: Manuscript | None) -> Iterator[ChapterLine]:
    """Yield the chapters of the handbook."""
    for chapter in manuscript.chapters if manuscript else ():
        yield ChapterLine(
            chapter.record.number,
            chapter.record.title,
            routes.chapter(chapter.slug),
            chapter.record.summary,
        )


def _rooms(holdings: SiteContext) -> Iterator[Room]:
    folder = holdings.folder
    yield Room(
        "Species",
        "species/index.html",
        plural(len(folder.species), "species", "species"),
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
        plural(len(holdings.charges[ALL]), "charge"),
        "What was dried, how, and what the checks say of it.",
    )
    yield Room(
        "Lots",
        "lots/index.html",
        plural(len(holdings.lots[ALL]), "lot"),
        "What was shipped, against what was ordered.",
    )
    yield Room(
        "Kilns",
        "kilns/index.html",
        plural(len(folder.kilns), "kiln"),
        "Instruments, calibrations, and the places that dry unevenly.",
    )
    yield Room(
        "Checks",
        "checks/index.html",
        plural(len(CHECKS), "check"),
        "Every rule applied to a charge or lot, with its reason, limit and source.",
    )


def search_page(holdings: SiteContext, pages: Sequence[Page]) -> Page:
    """Return the page of search; without script it lists what there is to find.

    Parameters
    ----------
    holdings : SiteContext
        The records.
    pages : sequence of Page
        Every other page of the edition.
    """
    return holdings.page(
        "search.html",
        SEARCH_PAGE,
        "Search",
        "search",
        groups=list(_groups(pages)),
        summary="Search the handbook and records.",
    )


def _groups(pages: Iterable[Page]) -> Iterator[tuple[str, list[Page]]]:
    # charges and lots come without end, and have an index of their own
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
