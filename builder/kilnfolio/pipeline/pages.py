"""The pages of the three editions, as derived values that write files."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any

from kilnfolio.calculators import render_calculators
from kilnfolio.graph.derived import Derived, Group, Step, derived, inline
from kilnfolio.graph.graph import Graph
from kilnfolio.handbook.compiled import chapters_of_site
from kilnfolio.handbook.pages import render_chapter, render_contents
from kilnfolio.records import reading
from kilnfolio.rendering.languages import SEALED
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.routes import customer_folder
from kilnfolio.review.reviews import charge_dossier
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext, context_of, mill_context
from kilnfolio.site.events import lot_events
from kilnfolio.site.house import house
from kilnfolio.site.lot_record import SCHEMA_PATH, record_schema
from kilnfolio.site.page_kinds import AUDITOR, MILL, SCRIPTS, PageKind
from kilnfolio.site.pages.audit import without_outside_links
from kilnfolio.site.pages.customer import render_lot
from kilnfolio.site.pages.home import search_page
from kilnfolio.site.pages.withdrawn import DATA, render_withdrawn
from kilnfolio.site.sealed import lot_addresses, lot_view, published_addresses
from kilnfolio.site.search import INDEX_PATH, Entry, entries_of, index_of, synonyms_of
from kilnfolio.site.series import series_files
from kilnfolio.site.static import assets
from kilnfolio.training.bench import render_bench
from kilnfolio.training.drills import Drill, make_drills, scene, sources_of_drills
from kilnfolio.training.exams import render_exams
from kilnfolio.training.lessons_page import render_lessons
from kilnfolio.training.pages import (
    PROBLEMS_PATH,
    practice_problems,
    render_drills,
    render_practice,
)

#: Kinds of pages that search finds through the registers.
_IN_REGISTERS = ("charge", "lot", "register", "script")
#: The derived values that are entered in the search index, by name and key.
found = Group("found")


@dataclass(frozen=True)
class Findable:
    """The search entries of some pages."""

    cards: tuple[tuple[str, str, str, str], ...]
    """Path, title, kind and summary of each that is listed by itself."""
    entries: tuple[Entry, ...]


def _write(
    graph: Graph,
    source: str,
    sort: str,
    pages: Iterable[Page],
    files: Mapping[str, str] | None = None,
) -> Findable | None:
    """Write pages of the mill edition; return their search entries."""
    pages = list(pages)
    for page in pages:
        graph.write(f"mill/{page.path}", page.html)
    for path, text in (files or {}).items():
        graph.write(f"mill/{path}", text)
    cards = tuple(
        (page.path, page.title, page.kind, page.summary)
        for page in pages
        if page.kind not in _IN_REGISTERS
    )
    entries = tuple(entry for page in pages for entry in entries_of(page))
    if not cards and not entries:
        return None
    graph.join(found, "", source, sort)
    return Findable(cards, entries)


# --- parts made in one piece ----------------------------------------------------------------------


def drills_of(graph: Graph) -> list[Drill]:
    """Return the drills, made from the oldest charges, whose records no longer change."""
    context = mill_context(graph)
    return make_drills(
        context.folder,
        {number: context.lines[number] for number in sources_of_drills(graph)},
        lambda number: scene(graph, number),
    )


_PARTS: Mapping[str, Callable[[SiteContext], Iterable[Page]]] = {
    "handbook": lambda context: render_contents(context.folder, context.env),
    "calculators": lambda context: [render_calculators(context.folder, context.env)],
    "practice": lambda context: [render_practice(context.folder, context.env)],
    "drills": lambda context: [render_drills(drills_of(context.graph), context.env)],
    "bench": lambda context: [render_bench(context.folder, context.env)],
    "lessons": lambda context: [render_lessons(context.folder, context.env)],
    "exams": lambda context: render_exams(context.folder, context.env),
}


@derived("part", keys=lambda _: _PARTS, fills=(found,), batch=3, keep_none=False)
def part(graph: Graph, name: str) -> Findable | None:
    """Write a part of the mill edition that is made in one piece."""
    context = mill_context(graph)
    context.links_to()  # its PDFs are printed later
    files = {PROBLEMS_PATH: practice_problems(context.folder)} if name == "practice" else {}
    return _write(
        graph, f"part/{name}", f"{list(_PARTS).index(name)}:{name}", _PARTS[name](context), files
    )


@derived("chapter page", keys=chapters_of_site, fills=(found,), batch=16, keep_none=False)
def chapter_page(graph: Graph, key: str) -> Findable | None:
    """Write the page of a chapter of the handbook, and the comparison of its revisions."""
    context = mill_context(graph)
    context.links_to()  # the book is printed later
    place = list(chapters_of_site(graph)).index(key)
    pages = render_chapter(context.folder, context.env, key)
    return _write(graph, f"chapter page/{key}", f"0:handbook:{place:03}", pages)


# --- pages by kind --------------------------------------------------------------------------------


@inline("charge series", keep=2)
def charge_series(graph: Graph, number: str) -> Mapping[str, str]:
    """Return a charge's series files, which two editions hold."""
    return series_files([charge_dossier(graph, number)])


def _mill_pages(name: str, place: int, kind: PageKind) -> Derived[Findable | None]:
    value = f"mill {name}"

    def compute(graph: Graph, key: str) -> Findable | None:
        context = mill_context(graph)
        files = charge_series(graph, key) if name == "charge" else {}
        return _write(graph, f"{value}/{key}", f"{place:02}:{key}", kind.pages(context, key), files)

    return Derived(
        value,
        compute,
        keys=partial(_keys, "mill", kind),
        fills=(found,),
        batch=kind.batch,
        label="pages",
        keep_none=False,
    )


def _keys(edition: str, kind: PageKind, graph: Graph) -> Iterable[str]:
    return kind.names(context_of(graph, edition))


def _auditor_pages(name: str, kind: PageKind) -> Derived[None]:
    def compute(graph: Graph, key: str) -> None:
        context = context_of(graph, "auditor")
        context.links_to(charge_pdf_name(key))
        for page in kind.pages(context, key):
            graph.write(f"auditor/{page.path}", without_outside_links(page).html)
        if name == "audit-charge":
            for path, text in charge_series(graph, key).items():
                graph.write(f"auditor/{path}", text)

    return Derived(
        f"auditor {name}",
        compute,
        keys=partial(_keys, "auditor", kind),
        batch=kind.batch,
        label="pages",
        edition="auditor",
        keep_none=False,
    )


MILL_PAGES: Sequence[Derived[Findable | None]] = tuple(
    _mill_pages(name, place, kind)
    for place, (name, kind) in enumerate({**MILL, **SCRIPTS}.items(), 10)
)
AUDITOR_PAGES: Sequence[Derived[None]] = tuple(
    _auditor_pages(name, kind) for name, kind in AUDITOR.items()
)
_FINDABLE: Mapping[str, Derived[Any]] = {
    value.name: value for value in (part, chapter_page, *MILL_PAGES)
}


def charge_pdf_name(number: str) -> str:
    """Return the name of a charge's PDF among `context.printed`."""
    return f"charge:{number}"


def lot_pdf_name(number: str, tag: str, languages: Sequence[str]) -> str:
    """Return the name of a lot's PDF in a language among `context.printed`."""
    return f"lot:{number}" + (f":{tag}" if tag != languages[0] else "")


@derived(
    "customer page",
    keys=reading.lots,
    batch=100,
    label="pages",
    edition="customer",
    keep_none=False,
)
def customer_page(graph: Graph, number: str) -> None:
    """Write the page of a lot at each of its addresses, with its record."""
    context = context_of(graph, "customer")
    view = lot_view(graph, number).view
    languages = reading.mill(graph).record.customer_languages
    events = lot_events(
        view.served.record, view.served.seal, view.address, reading.mill(graph).record.zone
    )
    for address in published_addresses(graph, number):
        for tag in languages:
            env = context.env_in(tag)
            context.links_to(lot_pdf_name(number, tag, languages), env=env)
            page = render_lot(env, view, address, tag, languages)
            graph.write(f"customer/{page.path}", page.html)
        graph.write(f"customer/{address}/record.json", view.served.text)
        if events:
            graph.write(f"customer/{address}/events.json", events)
    for folder in withdrawn_folders(graph, number):
        page = render_withdrawn(context.env, folder)
        graph.write(f"customer/{page.path}", page.html)
    for address in lot_addresses(graph, number).withdrawn:
        for name in ("record.json", "events.json"):
            graph.write(f"customer/{address}/{name}", DATA)


def withdrawn_folders(graph: Graph, number: str) -> Iterator[str]:
    """Yield the folders of a lot's withdrawn pages: one for each address and language it had."""
    languages = reading.mill(graph).record.customer_languages
    for address in lot_addresses(graph, number).withdrawn:
        yield from (customer_folder(address, tag, languages) for tag in languages)


ALL_PAGES: Step = (*MILL_PAGES, *AUDITOR_PAGES)


@derived("search", fills=())
def search(graph: Graph, _: str) -> None:
    """Write the search page of the mill edition and its index."""
    context = mill_context(graph)
    cards: list[Page] = []
    entries: list[Entry] = []
    for source in found(graph):
        name, _, key = source.partition("/")
        one: Findable = _FINDABLE[name](graph, key)
        cards += [
            Page(path, "", title, kind, "", summary) for path, title, kind, summary in one.cards
        ]
        entries += one.entries
    page = search_page(context, cards)
    graph.write(f"mill/{page.path}", page.html)
    synonyms = synonyms_of(context.folder, context.manuscript)
    index = index_of(entries, synonyms, context.folder.mill.record.language)
    graph.write(f"mill/{INDEX_PATH}", index)


def _assets(edition: str) -> Derived[None]:
    def compute(graph: Graph, _: str) -> None:
        tag = reading.mill(graph).record.language if edition == "mill" else SEALED
        for path, data in assets(edition, tag).items():
            graph.write(f"{edition}/{path}", data)
        for path, data in house(graph).files.items():
            graph.write(f"{edition}/{path}", data)
        if edition == "customer":
            graph.write(f"customer/{SCHEMA_PATH}", record_schema())

    return Derived(f"{edition} assets", compute, edition=edition, keep_none=False)


ASSETS: Sequence[Derived[None]] = tuple(
    _assets(edition) for edition in ("mill", "customer", "auditor")
)
