"""The page of sources: every publication, with what rests on it and the status of its values."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping

from kilnfolio.handbook.chapter import Manuscript
from kilnfolio.records.model import Record
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.sourced import STATUS_MEANING, Known, Publication, publication_of
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review.findings import CHECKS
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SOURCES_PAGE, SiteContext, check_address
from kilnfolio.site.pages.checks import INDEX as CHECKS_INDEX
from kilnfolio.site.pages.phrases import plural


@dataclass(frozen=True)
class Citer:
    """A page whose values rest on a publication."""

    name: str
    target: str


@dataclass(frozen=True)
class SourceView:
    """One publication."""

    id: str
    record: Publication
    values: list[tuple[str, int]]
    """Number of values that rest on it, by status."""
    citers: list[tuple[str, list[Citer]]]
    """Pages by kind."""


def sources_page(context: SiteContext) -> Page:
    """Return the page of sources, with what cites each publication, including any chapters."""
    values: defaultdict[str, Counter[str]] = defaultdict(Counter)
    citers: defaultdict[str, dict[str, dict[str, Citer]]] = defaultdict(dict)
    for kind, name, target, known in _citing(context):
        for citation, status in known:
            values[publication_of(citation)][status] += 1
            citers[publication_of(citation)].setdefault(kind, {})[target] = Citer(name, target)
    for identity, found in _citing_chapters(context.manuscript).items():
        citers[identity]["Chapters"] = {target: Citer(name, target) for name, target in found}
    publications = context.folder.sources.record.publications
    views = [
        SourceView(
            identity,
            publications[identity],
            [
                (status, values[identity][status])
                for status in STATUS_MEANING
                if values[identity][status]
            ],
            [(kind, list(found.values())) for kind, found in sorted(citers[identity].items())],
        )
        for identity in sorted(publications, key=lambda name: publications[name].short.casefold())
    ]
    return context.page(
        "sources.html",
        SOURCES_PAGE,
        "Sources",
        "source",
        views=views,
        meanings=STATUS_MEANING,
        summary=f"{plural(len(views), 'publication')} that values, limits and chapters rest on, "
        "and whether each was read or recalled.",
        text=[
            f"{view.record.short}: {view.record.title}. {view.record.author or ''} "
            f"{view.record.note or ''}"
            for view in views
        ],
    )


def _citing_chapters(manuscript: Manuscript | None) -> Mapping[str, list[tuple[str, str]]]:
    cited: defaultdict[str, list[tuple[str, str]]] = defaultdict(list)
    for chapter in manuscript.chapters if manuscript else ():
        for identity in chapter.record.sources:
            cited[identity].append((chapter.heading, routes.chapter(chapter.slug)))
    return cited


def _citing(context: SiteContext) -> Iterator[tuple[str, str, str, list[tuple[str, str]]]]:
    folder = context.folder
    for name in sorted(folder.species):
        record = folder.species[name].record
        yield "Species", record.trade_name, routes.species(name), [*_known(record)]
    for name in sorted(folder.schedules):
        schedule = folder.schedules[name].record
        yield "Schedules", schedule.title, routes.schedule(name), [*_known(schedule)]
    for notation in folder.notations.values():
        yield "Schedules", "All schedules", "schedules/index.html", [*_known(notation.record)]
    limits = folder.limits.record.limits
    for check in CHECKS.values():
        cited = (
            [(check.source, "")]
            if publication_of(check.source) in folder.sources.record.publications
            else []
        )
        used = [
            pair for key in check.limits for limit in limits.get(key, []) for pair in _known(limit)
        ]
        yield "Checks", check.title, check_address(check.slug), cited + used
    unused = set(limits) - {key for check in CHECKS.values() for key in check.limits}
    yield (
        "Checks",
        "Limits of the review",
        CHECKS_INDEX,
        [pair for key in sorted(unused) for limit in limits[key] for pair in _known(limit)],
    )


def _known(value: object) -> Iterator[tuple[str, str]]:
    """Yield the citation and status of every sourced value within `value`."""
    if isinstance(value, Record):
        if isinstance(value, (Known, Schedule)):
            yield value.source, value.status
        for name in type(value).model_fields:
            yield from _known(getattr(value, name))
    elif isinstance(value, (list, tuple)):
        for item in value:
            yield from _known(item)
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from _known(item)
