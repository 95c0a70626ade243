"""Pages of records: a view model for each noun, and the two editions made of them.

Rooms
-----
holdings    what pages are made from, and who refers to whom
words       phrases that several pages share
facts       values from books with their sources
findings    what the checks said
histories   charges as lines of a table
home, species, schedules, kilns, charges, lots, checks, sources, records
            the mill edition, a module a noun
customer    a lot's record for the customer
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping

from jinja2 import Environment

from kilnfolio.publish import routes
from kilnfolio.publish.handbook.chapter import Manuscript
from kilnfolio.publish.page import Page
from kilnfolio.publish.pages.charges import charge_pages
from kilnfolio.publish.pages.checks import check_pages
from kilnfolio.publish.pages.customer import render_customer
from kilnfolio.publish.pages.holdings import Holdings
from kilnfolio.publish.pages.home import home_page, search_page
from kilnfolio.publish.pages.kilns import kiln_pages
from kilnfolio.publish.pages.lots import lot_pages
from kilnfolio.publish.pages.records import records_page
from kilnfolio.publish.pages.schedules import schedule_pages
from kilnfolio.publish.pages.sources import sources_page
from kilnfolio.publish.pages.species import species_pages
from kilnfolio.publish.seals import Seals
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.dossier import Dossier, LotDossier

__all__ = ["render_customer", "render_pages"]


def render_pages(
    folder: MillFolder,
    dossiers: Mapping[str, Dossier],
    lot_dossiers: Mapping[str, LotDossier],
    env: Environment,
    tokens: Mapping[str, str],
    build_date: dt.date,
    *,
    manuscript: Manuscript | None = None,
    handbook: Iterable[Page] = (),
    seals: Seals | None = None,
) -> Iterator[Page]:
    """Yield every page of the mill edition but the handbook's own.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    dossiers, lot_dossiers : mapping
        The reviews of its charges and lots, by number; only these have pages.
    env : Environment
        From `templating.environment`.
    tokens : mapping of str to str
        The last part of each lot's address.
    build_date : date
        The date of the build, from the records or SOURCE_DATE_EPOCH.
    manuscript : Manuscript, optional
        The handbook's chapters, for the contents and for what cites a publication.
    handbook : iterable of Page
        The handbook's pages, for the list that stands in for search where no script runs.
    seals : Seals, optional
        What the ledger says of charges and lots.
    """
    holdings = Holdings(
        folder, dossiers, lot_dossiers, env, tokens, build_date, seals or Seals())
    rest: list[Page] = []
    for pages in (
        home_page(holdings, manuscript),
        species_pages(holdings),
        schedule_pages(holdings),
        kiln_pages(holdings),
        charge_pages(holdings),
        lot_pages(holdings),
        check_pages(holdings),
        sources_page(holdings, _citing_chapters(manuscript)),
        records_page(holdings),
    ):
        for page in pages:
            rest.append(page)
            yield page
    yield search_page(holdings, [*handbook, *rest])


def _citing_chapters(manuscript: Manuscript | None) -> Mapping[str, list[tuple[str, str]]]:
    cited: defaultdict[str, list[tuple[str, str]]] = defaultdict(list)
    for chapter in manuscript.chapters if manuscript else ():
        for identity in chapter.record.sources:
            cited[identity].append((chapter.heading, routes.chapter(chapter.slug)))
    return cited
