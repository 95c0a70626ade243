"""Pages that somebody asks for while the preview makes all pages for the first time.

Each is computed in memory from the records it reads alone, so that a charge is on the screen after
seconds. The page that the build then makes is the same.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cached_property, partial
from pathlib import Path

from kilnfolio.graph.derived import AbsentError, NotMadeError
from kilnfolio.graph.memory import MemoryGraph
from kilnfolio.handbook.pages import render_chapter
from kilnfolio.pipeline.built import open_built_mill
from kilnfolio.records.problems import RecordProblems
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.site.context import HOME_PAGE, SiteContext, mill_context
from kilnfolio.site.house import house
from kilnfolio.site.page_kinds import MILL
from kilnfolio.site.static import assets

#: Kinds of page that are about one record, each with the path of the page of a name.
_OF_ONE_RECORD: Mapping[str, Callable[[str], str]] = {
    "charge": routes.charge,
    "open_charge": routes.charge,
    "lot": routes.lot,
    "species": routes.species,
    "schedule": routes.schedule,
    "kiln": routes.kiln,
}


class EarlyPages:
    """The front page, pages of one record, chapters and style sheets, computed when asked for.

    Parameters
    ----------
    root : Path
        The mill folder.
    site : Path
        Where the preview keeps its pages; what its last run computed is used where it still holds.
    """

    def __init__(self, root: Path, site: Path):
        self._root, self._site = root, site
        self._one_at_a_time = threading.Lock()

    @cached_property
    def _context(self) -> SiteContext:
        return mill_context(open_built_mill(self._root, self._site).graph)

    def file(self, path: str) -> bytes | None:
        """Return a page, or a file that pages need; None if it is not made early.

        A page of records with problems is not: the build reports them.
        """
        with self._one_at_a_time:
            try:
                graph = self._context.graph
                if isinstance(graph, MemoryGraph):
                    graph.refresh()
                if not path.endswith(".html"):
                    return self._assets.get(path)
                return next(
                    (page.html.encode() for page in self._pages(path) if page.path == path), None
                )
            except (RecordProblems, NotMadeError):
                return None

    @cached_property
    def _assets(self) -> Mapping[str, bytes]:
        tag = self._context.folder.mill.record.language
        return {**assets("mill", tag), **house(self._context.graph).files}

    def _pages(self, path: str) -> Iterator[Page]:
        """Yield the pages of whatever may be meant by a path."""
        context, name = self._context, path.rpartition("/")[2].removesuffix(".html")
        if path == HOME_PAGE:
            yield from MILL["home"].pages(context, "")
        elif path == routes.chapter(name):
            yield from _if_any(partial(render_chapter, context.folder, context.env, name))
        for kind, route in _OF_ONE_RECORD.items():
            if path == route(name):
                yield from _if_any(partial(MILL[kind].pages, context, name))


def _if_any(pages: Callable[[], Iterable[Page]]) -> list[Page]:
    """Return pages; none if there is no such record."""
    try:
        return list(pages())
    except AbsentError:
        return []
