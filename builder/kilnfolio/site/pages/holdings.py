"""What pages are made from: the mill's records, the reviews, and who refers to whom."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from jinja2 import Environment

from kilnfolio.rendering import routes
from kilnfolio.handbook.chapter import Manuscript
from kilnfolio.rendering.regional import RegionalFormat, regional_format
from kilnfolio.rendering.page import Page
from kilnfolio.site.pages.histories import ChargeLine, LotLine, charge_line, lot_line
from kilnfolio.site.pages.rows import (
    CHARGES,
    LOTS,
    Facts,
    Register,
    Row,
    facts_of,
    lot_row,
    month_of,
    shard_of,
)
from kilnfolio.site.pages.tallies import Tally, YearTally, joined, tally_year
from kilnfolio.site.seals import Seals
from kilnfolio.rendering.templating import render
from kilnfolio.records.book import in_words, publication_of
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.lot import Lot
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.review.review import mill_pressure
from kilnfolio.review.running import Running

#: Where the publications are listed; each stands under its own id.
SOURCES_PAGE = "sources.html"
#: Where every key of every record is explained.
RECORDS_PAGE = "records.html"
#: The front page.
HOME_PAGE = "index.html"
#: Search with all its results, and without script a list of everything.
SEARCH_PAGE = "search.html"
#: The group every charge and every lot is in.
ALL = ""
#: Charges or lots that the page of another thing names; the registers hold the rest.
SHOWN = 50


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
    """Everything the pages of one build are made from.

    A page of one charge reads its record and its review. What a page prints of many charges comes
    from their lines, which are small, and it finds them by group: ``kiln:k1``, ``year:2026``.
    """

    folder: MillFolder
    dossiers: Mapping[str, Dossier]
    lot_dossiers: Mapping[str, LotDossier]
    env: Environment
    tokens: Mapping[str, str]
    build_date: dt.date
    seals: Seals = field(default_factory=Seals)
    manuscript: Manuscript | None = None
    running: Mapping[str, Running] = field(default_factory=dict)
    """Charges that are not yet complete; counted nowhere."""

    @cached_property
    def pressure_pa(self) -> float:
        """Air pressure every humidity is computed at [Pa]."""
        return mill_pressure(self.folder)

    def records_of(self, charge: str) -> MillFolder:
        """Return the records a charge's page is made from: those it was sealed on, once sealed."""
        return self.seals.folders.get(charge, self.folder)

    @property
    def regional(self) -> RegionalFormat:
        """How the mill's pages say things."""
        return regional_format(self.folder.mill.record)

    @cached_property
    def lines(self) -> Mapping[str, ChargeLine]:
        """What other pages print of each reviewed charge."""
        return {name: charge_line(self, self.folder.charges[name].record)
                for name in self.dossiers}

    @cached_property
    def lot_lines(self) -> Mapping[str, LotLine]:
        """What other pages print of each reviewed lot."""
        return {name: lot_line(self, self.folder.lots[name].record, dossier)
                for name, dossier in self.lot_dossiers.items()}

    @cached_property
    def charges(self) -> Mapping[str, tuple[str, ...]]:
        """Reviewed charges by group, the newest first; see `groups_of_charge`."""
        records = [self.folder.charges[name].record for name in self.dossiers]
        return _grouped((groups_of_charge(record), when_of_charge(record)) for record in records)

    @cached_property
    def lots(self) -> Mapping[str, tuple[str, ...]]:
        """Reviewed lots by group, the newest first; see `groups_of_lot`."""
        records = [self.folder.lots[name].record for name in self.lot_dossiers]
        return _grouped((groups_of_lot(record), when_of_lot(record)) for record in records)

    @cached_property
    def tallies_by_year(self) -> Mapping[int, YearTally]:
        """What each check said of the charges and lots of a year."""
        return {year: tally_year([self.lines[name] for name in self.charges[f"year:{year}"]],
                                 [self.lot_lines[name] for name in self.lots[f"year:{year}"]])
                for year in self.years}

    @cached_property
    def years(self) -> tuple[int, ...]:
        """Years that charges began or lots were issued in, the newest first."""
        return tuple(sorted({int(group.removeprefix("year:")) for found in (self.charges, self.lots)
                             for group in found if group.startswith("year:")}, reverse=True))

    @cached_property
    def register_facts(self) -> Mapping[str, tuple[Facts, ...]]:
        """What is to be known of each part of a register, the newest first, by its kind."""
        return {
            register.kind: tuple(
                facts_of(name, self.register_rows(register, f"quarter:{name}"))
                for name in sorted(
                    (group.removeprefix("quarter:") for group in groups
                     if group.startswith("quarter:")), reverse=True))
            for register, groups in ((CHARGES, self.charges), (LOTS, self.lots))}

    def register_rows(self, register: Register, group: str, most: int | None = None) -> list[Row]:
        """Return a group's rows of a register, the newest first, and no more of them than asked."""
        if register.kind == LOTS.kind:
            return [lot_row(self.lot_lines[name]) for name in self.lots[group][:most]]
        return [self.lines[name].row for name in self.charges[group][:most]]

    def tally(self, slug: str) -> Tally:
        """Return what a check said of every charge and lot."""
        return joined(slug, [self.tallies_by_year[year] for year in self.years], SHOWN)

    @cached_property
    def schedules_of_species(self) -> Mapping[str, tuple[str, ...]]:
        """Schedules by species."""
        found: defaultdict[str, list[str]] = defaultdict(list)
        for name in sorted(self.folder.schedules):
            for species in self.folder.schedules[name].record.for_stock.species:
                found[species].append(name)
        return defaultdict(tuple, {species: tuple(names) for species, names in found.items()})

    def cite(self, citation: str) -> Citation:
        """Return a citation with the publication's short title and its address."""
        identity, _, rest = citation.partition(",")
        publications = self.folder.sources.record.publications
        publication = publications.get(publication_of(citation))
        rest = in_words(rest.strip(), publications)
        if publication is None:  # in words of its own, which may name several
            return Citation(in_words(identity.strip(), publications), rest, "")
        return Citation(publication.short, rest, source_address(identity.strip()))

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
            self.env, template, path, title=title, summary=summary, crumbs=crumbs,
            publications=self.folder.sources.record.publications, **values
        )
        return Page(path, html, title, kind, "\n".join(line for line in text if line), summary)


def source_address(identity: str) -> str:
    """Return where a publication is described."""
    return f"{SOURCES_PAGE}#{identity}"


def check_address(slug: str) -> str:
    """Return the page of its own that a check has beside its line in the catalogue."""
    return routes.check(slug).partition("index.html")[0] + f"{slug}.html"


def groups_of_charge(charge: Charge) -> tuple[str, ...]:
    """Return the groups a charge is found by."""
    return (ALL, f"kiln:{charge.kiln}", f"schedule:{charge.schedule}", *_dated(charge.started),
            *sorted({f"species:{stock.species}" for stock in charge.stock}))


def groups_of_lot(lot: Lot) -> tuple[str, ...]:
    """Return the groups a lot is found by."""
    return (ALL, *_dated(lot.issued), *sorted({f"charge:{pack.charge}" for pack in lot.packs}))


def _dated(day: dt.date) -> tuple[str, str, str]:
    return f"year:{day.year}", f"quarter:{shard_of(day)}", f"month:{month_of(day)}"


def when_of_charge(charge: Charge) -> tuple[str, str]:
    """Return what charges are sorted by: their start, then their number."""
    return charge.started.astimezone(dt.UTC).isoformat(), charge.id


def when_of_lot(lot: Lot) -> tuple[str, str]:
    """Return what lots are sorted by: their issue, then their number."""
    return lot.issued.isoformat(), lot.id


def _grouped(members: Iterable[tuple[Iterable[str], tuple[str, str]]]
             ) -> Mapping[str, tuple[str, ...]]:
    """Return for each group the numbers in it, the newest first."""
    found: defaultdict[str, list[tuple[str, str]]] = defaultdict(list)
    for groups, when in members:
        for group in groups:
            found[group].append(when)
    return defaultdict(tuple, {group: tuple(number for _, number in sorted(whens, reverse=True))
                               for group, whens in found.items()})
