"""What pages are made from: the mill's records, the reviews, and who refers to whom."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeVar

from jinja2 import Environment

from kilnfolio.publish import routes
from kilnfolio.publish.page import Page
from kilnfolio.publish.seals import Seals
from kilnfolio.publish.templating import render
from kilnfolio.records.book import publication_of
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.lot import Lot
from kilnfolio.records.schedule import Schedule
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.review.review import mill_pressure

T = TypeVar("T")

#: Where the publications are listed; each stands under its own id.
SOURCES_PAGE = "sources.html"
#: Where every key of every record is explained.
RECORDS_PAGE = "records.html"
#: The front page.
HOME_PAGE = "index.html"
#: Search with all its results, and without script a list of everything.
SEARCH_PAGE = "search.html"


@dataclass(frozen=True)
class Citation:
    """Where a value stands, as a page prints it."""

    words: str
    """Short title of the publication, or the citation itself where it names none."""
    rest: str
    """Table or page."""
    target: str
    """Address of the publication in the edition; empty where there is none."""


@dataclass(frozen=True)
class Holdings:
    """Everything the pages of one build are made from."""

    folder: MillFolder
    dossiers: Mapping[str, Dossier]
    lot_dossiers: Mapping[str, LotDossier]
    env: Environment
    tokens: Mapping[str, str]
    build_date: dt.date
    seals: Seals = field(default_factory=Seals)

    @cached_property
    def pressure_pa(self) -> float:
        """Air pressure every humidity is computed at [Pa]."""
        return mill_pressure(self.folder)

    @cached_property
    def charges(self) -> tuple[Charge, ...]:
        """Reviewed charges, the newest first."""
        records = [self.folder.charges[name].record for name in self.dossiers]
        return tuple(sorted(records, key=lambda charge: (charge.started, charge.id), reverse=True))

    @cached_property
    def lots(self) -> tuple[Lot, ...]:
        """Reviewed lots, the newest first."""
        records = [self.folder.lots[name].record for name in self.lot_dossiers]
        return tuple(sorted(records, key=lambda lot: (lot.issued, lot.id), reverse=True))

    @cached_property
    def charges_of_species(self) -> Mapping[str, tuple[Charge, ...]]:
        """Charges by species."""
        return _grouped(self.charges, lambda c: sorted({stock.species for stock in c.stock}))

    @cached_property
    def charges_of_schedule(self) -> Mapping[str, tuple[Charge, ...]]:
        """Charges by schedule."""
        return _grouped(self.charges, lambda charge: [charge.schedule])

    @cached_property
    def charges_of_kiln(self) -> Mapping[str, tuple[Charge, ...]]:
        """Charges by kiln."""
        return _grouped(self.charges, lambda charge: [charge.kiln])

    @cached_property
    def lots_of_charge(self) -> Mapping[str, tuple[Lot, ...]]:
        """Lots by charge."""
        return _grouped(self.lots, lambda lot: sorted({pack.charge for pack in lot.packs}))

    @cached_property
    def schedules_of_species(self) -> Mapping[str, tuple[Schedule, ...]]:
        """Schedules by species."""
        schedules = [self.folder.schedules[name].record for name in sorted(self.folder.schedules)]
        return _grouped(schedules, lambda schedule: schedule.for_stock.species)

    def cite(self, citation: str) -> Citation:
        """Return a citation with the publication's short title and its address."""
        identity, _, rest = citation.partition(",")
        publication = self.folder.sources.record.publications.get(publication_of(citation))
        if publication is None:
            return Citation(identity.strip(), rest.strip(), "")
        return Citation(publication.short, rest.strip(), source_address(identity.strip()))

    def species_name(self, identity: str) -> str:
        """Return a species' trade name."""
        return self.folder.species[identity].record.trade_name

    def page(
        self,
        template: str,
        path: str,
        title: str,
        kind: str,
        *,
        text: Iterable[str] = (),
        summary: str = "",
        crumbs: tuple[tuple[str, str], ...] = (),
        **values: Any,
    ) -> Page:
        """Return a finished page.

        Parameters
        ----------
        template, path, title, summary, crumbs, **values
            As for `templating.render`.
        kind : str
            The word search prints beside it.
        text : iterable of str
            Its sentences, for search.
        """
        html = render(
            self.env, template, path, title=title, summary=summary, crumbs=crumbs, **values
        )
        return Page(path, html, title, kind, "\n".join(line for line in text if line), summary)


def source_address(identity: str) -> str:
    """Return where a publication is described."""
    return f"{SOURCES_PAGE}#{identity}"


def check_page(slug: str) -> str:
    """Return the page of its own that a check has beside its line in the catalogue."""
    return routes.check(slug).partition("index.html")[0] + f"{slug}.html"


def _grouped(
    records: Iterable[T], keys: Callable[[T], Iterable[str]]
) -> Mapping[str, tuple[T, ...]]:
    found: defaultdict[str, list[T]] = defaultdict(list)
    for record in records:
        for key in keys(record):
            found[key].append(record)
    return defaultdict(tuple, {key: tuple(group) for key, group in found.items()})
