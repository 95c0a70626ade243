"""The data pages are made from: the mill's records, their reviews, and the links between them."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from jinja2 import Environment

from kilnfolio.archive.sealed_mill import sealed_folder
from kilnfolio.graph.derived import Group, derived, inline
from kilnfolio.graph.graph import Graph
from kilnfolio.handbook.chapter import Manuscript
from kilnfolio.handbook.compiled import manuscript
from kilnfolio.records import reading
from kilnfolio.records.build_date import build_date as date_of_build
from kilnfolio.records.folder import Derivations, Lookup, MillFolder, mill_of
from kilnfolio.records.setpoints import mill_pressure
from kilnfolio.records.sourced import in_words, publication_of
from kilnfolio.rendering import routes
from kilnfolio.rendering.languages import SEALED
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import RegionalFormat, regional_format
from kilnfolio.rendering.templating import environment, render
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.review.open_review import OpenReview
from kilnfolio.review.reviews import dossiers, lot_dossier, open_reviews
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.house import house
from kilnfolio.site.pages.rows import (
    CHARGES,
    LOTS,
    Register,
    RegisterPart,
    Row,
    lot_row,
    register_part_of,
)
from kilnfolio.site.pages.summaries import ChargeLine, LotLine
from kilnfolio.site.pages.summaries import charge_line as line_of_charge
from kilnfolio.site.pages.summaries import lot_line as line_of_lot
from kilnfolio.site.pages.tallies import Tally, YearTally, tally_over_years, tally_year
from kilnfolio.site.sealed import Seals, lot_addresses

#: The page that lists the publications, each under its own id.
SOURCES_PAGE = "sources.html"
#: The page that explains every key of every record.
RECORDS_PAGE = "records.html"
#: The front page.
HOME_PAGE = "index.html"
#: The search page with all results; without script, a list of everything.
SEARCH_PAGE = "search.html"
#: Charges or lots listed on the page of another record; the registers hold the rest.
SHOWN = 50


@dataclass(frozen=True)
class Citation:
    """The source of a value, as a page prints it."""

    words: str
    """Short title of the publication, or the citation itself if it names none."""
    rest: str
    """Table or page."""
    target: str
    """Address of the publication in the edition; empty without a publication."""


#: Menu, search and footer of each edition; the customer edition has none of them.
_EDITION_GLOBALS: Mapping[str, Mapping[str, Any]] = {
    "mill": {"menu": routes.MENU},
    "customer": {"menu": ()},
    "auditor": {"menu": routes.AUDITOR_MENU, "searchable": False, "foot": ()},
}
#: The kind of record of each register.
_KIND = {CHARGES.kind: "charge", LOTS.kind: "lot"}
REGISTERS: Mapping[str, Register] = {"charge": CHARGES, "lot": LOTS}
#: PDFs that have been printed, by name as in ``lot:L1``; see `paper`.
printed = Group("printed", lambda _graph, _value, _key: False)


class SiteContext:
    """Everything the pages of one edition are made from, fetched when a page asks for it.

    The page of a charge reads that charge's record and review. A page that covers many charges
    reads their short summaries (`lines`), which it finds by group: ``kiln:k1``, ``year:2026``.

    Parameters
    ----------
    graph : Graph
        The mill.
    edition : str
        mill, customer or auditor.
    """

    folder: MillFolder
    """The records."""
    dossiers: Mapping[str, Dossier]
    lot_dossiers: Mapping[str, LotDossier]
    open_reviews: Mapping[str, OpenReview]
    """Charges that are not yet complete; no count includes them."""

    def __init__(self, graph: Graph, edition: str):
        self.graph, self.edition = graph, edition
        self.folder = mill_of(graph)
        self.dossiers = dossiers(self.folder)
        self.lot_dossiers = Derivations(graph, lot_dossier, lambda: tuple(self.folder.lots))
        self.open_reviews = open_reviews(self.folder)
        self.seals = Seals(graph)
        self.lines: Mapping[str, ChargeLine] = Derivations(
            graph, charge_line, lambda: tuple(self.folder.charges)
        )
        self.lot_lines: Mapping[str, LotLine] = Derivations(
            graph, lot_line, lambda: tuple(self.folder.lots)
        )
        self.charges: Mapping[str, tuple[str, ...]] = Lookup(
            lambda group: reading.charges(graph, group, newest_first=True)
        )
        """Charges by group, the newest first; see `reading.groups_of_charge`."""
        self.lots: Mapping[str, tuple[str, ...]] = Lookup(
            lambda group: reading.lots(graph, group, newest_first=True)
        )
        """Lots by group, the newest first; see `reading.groups_of_lot`."""
        self.schedules_of_species: Mapping[str, tuple[str, ...]] = Lookup(
            lambda species: reading.schedules_of_species(graph, species)
        )
        self._records: MillFolder | None = None
        self.tokens: Mapping[str, str] = Lookup(self._token)
        """The last part of each lot's address; empty if the mill has no key."""

    def as_of(self, folder: MillFolder, dossier: Dossier) -> SiteContext:
        """Return a copy that shows one charge with earlier records and an earlier review."""
        then = copy.copy(self)
        then.folder = then._records = folder
        then.dossiers = {dossier.charge: dossier}
        return then

    @property
    def is_copy(self) -> bool:
        """Whether it shows a charge with records and a review of its own; see `as_of`."""
        return self._records is not None

    def records_of(self, charge: str) -> MillFolder:
        """Return the records a charge's page is made from; of a sealed charge, those as sealed."""
        return self._records or sealed_folder(self.graph, charge) or self.folder

    def _token(self, lot: str) -> str:
        for address in lot_addresses(self.graph, lot).live:
            return address
        raise KeyError(lot)

    @property
    def env(self) -> Environment:
        """The template environment, with the mill as it is now."""
        return template_environment(self.graph, self.edition)

    def env_in(self, tag: str) -> Environment:
        """Return the template environment in one of the customers' languages."""
        return template_environment(self.graph, f"{self.edition}:{tag}")

    def links_to(self, *pdfs: str, env: Environment | None = None) -> None:
        """Declare the PDFs that the page being made links to if they have been printed.

        Called without names, it stands for the PDFs that are printed after the pages.
        """
        (env or self.env).globals["pdfs"] = _Printed(self.graph, pdfs)

    @property
    def build_date(self) -> dt.date:
        """The date pages print."""
        return build_date(self.graph).date()

    @property
    def manuscript(self) -> Manuscript | None:
        """The handbook's chapters; None in an edition without a handbook."""
        return manuscript(self.graph)[0] if self.edition == "mill" else None

    @property
    def pressure_pa(self) -> float:
        """Air pressure used for every humidity [Pa]."""
        return mill_pressure(self.folder)

    @property
    def regional(self) -> RegionalFormat:
        """The mill's units, formats and regional words."""
        return regional_format(self.folder.mill.record)

    @property
    def years(self) -> tuple[int, ...]:
        """Years in which charges began or lots were issued, newest first."""
        return tuple(int(year) for year in reading.years(self.graph, newest_first=True))

    def register_parts(self, register: Register) -> tuple[RegisterPart, ...]:
        """Return a summary of each quarter of a register, newest first."""
        kind = _KIND[register.kind]
        return tuple(
            register_part(self.graph, f"{kind}:{quarter}")
            for quarter in reading.quarters(self.graph, kind, newest_first=True)
        )

    def register_rows(self, register: Register, group: str, most: int | None = None) -> list[Row]:
        """Return a group's rows of a register, newest first, at most `most` of them."""
        if register.kind == LOTS.kind:
            return [lot_row(self.lot_lines[name]) for name in self.lots[group][:most]]
        return [self.lines[name].row for name in self.charges[group][:most]]

    def tally(self, slug: str) -> Tally:
        """Return a check's outcomes over all charges and lots."""
        return tally_over_years(
            slug, [tally_of_year(self.graph, str(year)) for year in self.years], SHOWN
        )

    def cite(self, citation: str) -> Citation:
        """Return a citation with the publication's short title and its address."""
        identity, _, rest = citation.partition(",")
        publications = self.folder.sources.record.publications
        publication = publications.get(publication_of(citation))
        rest = in_words(rest.strip(), publications)
        if publication is None:  # free text, which may name several publications
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
            The word that search prints beside the page.
        text : iterable of str
            The page's sentences, for search.
        """
        html = render(
            self.env,
            template,
            path,
            title=title,
            summary=summary,
            crumbs=crumbs,
            publications=self.folder.sources.record.publications,
            **values,
        )
        return Page(path, html, title, kind, "\n".join(line for line in text if line), summary)


def source_address(identity: str) -> str:
    """Return the address of a publication's description."""
    return f"{SOURCES_PAGE}#{identity}"


def check_address(slug: str) -> str:
    """Return the address of a check's own page; `routes.check` leads to the catalogue."""
    return routes.check(slug).partition("index.html")[0] + f"{slug}.html"


# --- values that many pages read ------------------------------------------------------------------


@inline("template environment")
def template_environment(graph: Graph, key: str) -> Environment:
    """Return the template environment of an edition; of ``customer:fr``, in French."""
    edition, _, tag = key.partition(":")
    given = dict(_EDITION_GLOBALS[edition])
    record = reading.mill(graph).record
    tag = tag or (record.language if edition == "mill" else SEALED)
    env = environment(record, menu=given.pop("menu"), tag=tag, own=house(graph).of(edition, tag))
    env.globals.update(given, pdfs=_Printed(graph, ()))
    return env


class _Printed:
    """True if the PDFs a page links to exist; testing it makes the page depend on them."""

    def __init__(self, graph: Graph, names: tuple[str, ...]):
        self._graph, self._names = graph, names

    def __bool__(self) -> bool:
        if not self._names:
            return bool(self._graph.option("pdfs"))
        return all(printed(self._graph, name) for name in self._names)


@derived("build date", at_home=True)
def build_date(graph: Graph, _: str) -> dt.datetime:
    """Return the time pages print: SOURCE_DATE_EPOCH if set, else the newest on record."""
    graph.option("epoch")
    return date_of_build(mill_of(graph))


@derived("charge line", keys=reading.charges, batch=250)
def charge_line(graph: Graph, number: str) -> ChargeLine:
    """Return the summary of a charge that other pages print."""
    context = mill_context(graph)
    return line_of_charge(context, context.folder.charges[number].record)


@derived("lot line", keys=reading.lots, batch=1000)
def lot_line(graph: Graph, number: str) -> LotLine:
    """Return the summary of a lot that other pages print."""
    context = mill_context(graph)
    return line_of_lot(context, context.folder.lots[number].record, context.lot_dossiers[number])


@derived("last shipped", keys=reading.charges, batch=50, edition="auditor")
def last_shipped(graph: Graph, number: str) -> dt.date | None:
    """Return the day on which the last lot of a charge left, which may be none yet."""
    context = mill_context(graph)
    zone = context.folder.mill.record.zone
    lots = [context.lot_lines[lot] for lot in context.lots[reading.of_charge(number)]]
    return max((lot.shipped.astimezone(zone).date() for lot in lots if lot.shipped), default=None)


def _years(graph: Graph) -> tuple[str, ...]:
    return reading.years(graph)


@derived("tally", keys=_years)
def tally_of_year(graph: Graph, year: str) -> YearTally:
    """Return each check's outcomes over the charges and lots of a year."""
    context = mill_context(graph)
    return tally_year(
        [context.lines[number] for number in context.charges[f"year:{year}"]],
        [context.lot_lines[number] for number in context.lots[f"year:{year}"]],
    )


def _quarters(graph: Graph) -> list[str]:
    return [f"{kind}:{quarter}" for kind in REGISTERS for quarter in reading.quarters(graph, kind)]


@derived("register part", keys=_quarters)
def register_part(graph: Graph, key: str) -> RegisterPart:
    """Return a summary of one quarter of a register."""
    kind, _, quarter = key.partition(":")
    rows = mill_context(graph).register_rows(REGISTERS[kind], f"quarter:{quarter}")
    return register_part_of(quarter, rows)


def mill_context(graph: Graph) -> SiteContext:
    """Return the context of the mill edition."""
    return graph.view(_mill_context)


def _mill_context(graph: Graph) -> SiteContext:
    return SiteContext(graph, "mill")


def _customer_context(graph: Graph) -> SiteContext:
    return SiteContext(graph, "customer")


def _auditor_context(graph: Graph) -> SiteContext:
    return SiteContext(graph, "auditor")


def context_of(graph: Graph, edition: str) -> SiteContext:
    """Return the context of an edition."""
    return graph.view(
        {"mill": _mill_context, "customer": _customer_context, "auditor": _auditor_context}[edition]
    )
