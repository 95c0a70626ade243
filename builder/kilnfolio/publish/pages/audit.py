"""The auditor's pages: every verdict, every figure's working, and the way to compute it alone.

Who audits a charge may see all that is under audit: suppliers, notes and names stand in the raw
record too, which the bag holds as it was written. What is not under audit, the customers and their
orders, is left out.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from kilnfolio.publish import routes
from kilnfolio.publish.page import Page
from kilnfolio.publish.pages.charges import ChargeView, charge_view, superseded_page
from kilnfolio.publish.pages.checks import check_pages
from kilnfolio.publish.pages.holdings import Citation, Holdings
from kilnfolio.publish.pages.kilns import kiln_pages
from kilnfolio.publish.pages.schedules import schedule_pages
from kilnfolio.publish.pages.sources import sources_page
from kilnfolio.publish.pages.species import species_pages
from kilnfolio.publish.pages.words import GRAVITY, OUTCOME_MEANING, Count, outcome_counts
from kilnfolio.publish.series import series_paths
from kilnfolio.records.charge import Charge
from kilnfolio.records.kiln import Instrument
from kilnfolio.records.limits import Limit
from kilnfolio.review.dossier import Finding
from kilnfolio.review.limits import LimitBook, NoLimit

INDEX = "index.html"
MENU = (("Register", INDEX), ("Kilns", "kilns/index.html"), ("Checks", "checks/index.html"),
        ("Sources", "sources.html"))
#: How long a record is kept.
RETENTION = "retention-years"


@dataclass(frozen=True)
class ChainLine:
    """A pack, and what it goes back to."""

    pack: str
    lot: str
    charge: str
    intake: str


@dataclass(frozen=True)
class Retention:
    """How long the record is kept, and by which rule."""

    until: dt.date
    limit: Limit
    cite: Citation


@dataclass(frozen=True)
class AuditView:
    """What an auditor's page of a charge prints beside what the mill's page prints."""

    charge: ChargeView
    chain: list[ChainLine]
    verdicts: list[Finding]
    """By gravity, the gravest first."""
    instruments: tuple[Instrument, ...]
    retention: Retention | None
    bag: str
    """The folder of its bag; empty where it is not sealed."""
    record: str
    """Its record in PDF; empty where it is not sealed."""
    series: tuple[str, str]


@dataclass(frozen=True)
class RegisterLine:
    """A charge in the register."""

    charge: Charge
    target: str
    kiln: str
    ended: dt.datetime
    counts: tuple[Count, ...]
    by_outcome: dict[str, int]
    seal: object
    retention: Retention | None


def bag_folder(charge: str) -> str:
    """Return where the bag of a charge stands."""
    return f"bags/{charge}/"


def record_path(charge: str) -> str:
    """Return where the record of a charge in PDF stands."""
    return f"records/{charge}.pdf"


def audit_pages(holdings: Holdings) -> Iterator[Page]:
    """Yield every page of the auditor edition; links that lead out of it are made plain words."""
    pages = [_register(holdings), *(_page(holdings, charge) for charge in holdings.charges)]
    for charge in holdings.charges:
        pages += [superseded_page(holdings, old)
                  for old in holdings.seals.superseded.get(charge.id, ())]
    for made in (kiln_pages, check_pages, schedule_pages, species_pages):
        pages += made(holdings)
    pages += sources_page(holdings, {})
    known = {page.path for page in pages} | set(_files(holdings))
    for page in pages:
        yield replace(page, html=within(page.html, page.path, known))


def _files(holdings: Holdings) -> Iterator[str]:
    for name in holdings.dossiers:
        yield from series_paths(name)
        if holdings.seals.of_charge(name).last:
            yield record_path(name)
            yield bag_folder(name) + "README.txt"


_LINK = re.compile(r'<a\b[^>]*?\bhref="([^"]*)"[^>]*>(.*?)</a>', re.DOTALL)


def within(html: str, path: str, known: Iterable[str]) -> str:
    """Return a page without links to what its edition does not hold: their words stay.

    Parameters
    ----------
    html, path : str
        The page, and where it stands.
    known : iterable of str
        The paths of the edition.
    """
    ways = {routes.relative(target, path) for target in known}

    def kept(match: re.Match[str]) -> str:
        target = match[1].partition("#")[0]
        outside = bool(target) and ":" not in target and target not in ways
        return match[2] if outside else match[0]

    return _LINK.sub(kept, html)


def _register(holdings: Holdings) -> Page:
    lines = []
    for charge in holdings.charges:
        dossier = holdings.dossiers[charge.id]
        counts = outcome_counts(dossier.findings)
        lines.append(RegisterLine(
            charge, routes.charge(charge.id), holdings.folder.kilns[charge.kiln].record.name,
            dossier.ended, counts, {count.outcome: count.number for count in counts},
            holdings.seals.of_charge(charge.id), retention(holdings, charge)))
    return holdings.page(
        "audit_index.html", INDEX, "Register of charges", "register", rows=lines,
        outcomes=GRAVITY, meanings=OUTCOME_MEANING, robots="noindex, nofollow",
        keys=sorted({line.key for view in holdings.seals.charges.values() for line in view.lines}))


def _page(holdings: Holdings, charge: Charge) -> Page:
    return holdings.page(
        "audit_charge.html", routes.charge(charge.id), f"Charge {charge.id}", "charge",
        robots="noindex, nofollow", crumbs=(("Register", INDEX),),
        **audit_values(holdings, charge))


def audit_values(holdings: Holdings, charge: Charge) -> dict[str, Any]:
    """Return what the templates of an auditor's page and record print."""
    view = audit_view(holdings, charge)
    return {"view": view.charge, "audit": view, "meanings": OUTCOME_MEANING}


def audit_view(holdings: Holdings, charge: Charge) -> AuditView:
    """Return what an auditor reads of a charge."""
    dossier = holdings.dossiers[charge.id]
    sealed = holdings.seals.of_charge(charge.id).last is not None
    view = replace(charge_view(holdings, charge), lots=[])
    return AuditView(
        view, list(_chain(holdings, charge)),
        sorted(dossier.findings, key=lambda finding: GRAVITY.index(finding.outcome)),
        tuple(holdings.folder.kilns[charge.kiln].record.instruments), retention(holdings, charge),
        bag_folder(charge.id) if sealed else "", record_path(charge.id) if sealed else "",
        series_paths(charge.id))


def _chain(holdings: Holdings, charge: Charge) -> Iterator[ChainLine]:
    intake = ", ".join(item.number for stock in charge.stock for item in stock.intake)
    packed = set()
    for lot in holdings.lots_of_charge[charge.id]:
        for pack in lot.packs:
            if pack.charge == charge.id:
                packed.add(pack.number)
                yield ChainLine(pack.number, lot.id, charge.id, intake)
    for number in charge.stacking.packs if charge.stacking else ():
        if number not in packed:
            yield ChainLine(number, "", charge.id, intake)
    if not packed and not (charge.stacking and charge.stacking.packs):
        yield ChainLine("", "", charge.id, intake)


def retention(holdings: Holdings, charge: Charge) -> Retention | None:
    """Return until when a charge's record is kept; none where the mill has no rule for it."""
    try:
        limit = LimitBook(holdings.folder.limits.record).find(RETENTION)
    except NoLimit:
        return None
    shipped = [lot.shipped.astimezone(holdings.folder.mill.record.zone).date()
               for lot in holdings.lots_of_charge[charge.id] if lot.shipped]
    begins = max([holdings.dossiers[charge.id].ended.date(), *shipped])
    return Retention(_years_on(begins, round(limit.value)), limit, holdings.cite(limit.source))


def _years_on(day: dt.date, years: int) -> dt.date:
    try:
        return day.replace(year=day.year + years)
    except ValueError:  # 29 February
        return dt.date(day.year + years, 3, 1)
