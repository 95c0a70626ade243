"""The auditor's pages: every verdict, the working of every figure, and how to recompute it.

An auditor may see everything that is under audit: suppliers, notes and names are also in the raw
record, which the bag holds as written. Customers and their orders are not under audit and are left
out.
"""

from __future__ import annotations

import datetime as dt
import posixpath
import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from kilnfolio.records import reading
from kilnfolio.records.charge import Charge
from kilnfolio.records.kiln import Instrument
from kilnfolio.records.limits import Limit
from kilnfolio.records.reading import ALL
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review.dossier import Finding, Word
from kilnfolio.review.limits import NoLimit, limit_table
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SOURCES_PAGE, Citation, SiteContext, last_shipped
from kilnfolio.site.pages.charges import ChargeView, charge_view, superseded_page
from kilnfolio.site.pages.phrases import OUTCOME_MEANING, OUTCOME_ORDER
from kilnfolio.site.seals import SealView
from kilnfolio.site.series import series_paths
from kilnfolio.site.static import VERIFIER

INDEX = "index.html"
#: Most charges on the front page; with more, each year has a register of its own.
ON_ONE_PAGE = 200
#: Key of the limit that says how long a record is kept.
RETENTION = "retention-years"


@dataclass(frozen=True)
class ChainLine:
    """A pack, and the lot, charge and intake it can be traced to."""

    pack: str
    lot: str
    charge: str
    intake: str


@dataclass(frozen=True)
class Retention:
    """How long a record is kept, and by which rule."""

    until: dt.date
    limit: Limit
    cite: Citation


@dataclass(frozen=True)
class AuditView:
    """What an auditor's page of a charge prints in addition to the mill's page."""

    charge: ChargeView
    chain: list[ChainLine]
    verdicts: list[Finding]
    """The gravest first."""
    instruments: tuple[Instrument, ...]
    retention: Retention | None
    bag: str
    """The folder of its bag; empty if it is not sealed."""
    record: str
    """Its record as a PDF; empty if it is not sealed."""
    series: tuple[str, str]


@dataclass(frozen=True)
class RegisterLine:
    """A charge in the register."""

    number: str
    target: str
    kiln: str
    ended: dt.datetime
    by_outcome: dict[Word, int]
    seal: SealView
    retention: Retention | None


def bag_folder(charge: str) -> str:
    """Return the folder of a charge's bag."""
    return f"bags/{charge}/"


def record_path(charge: str) -> str:
    """Return the path of a charge's record as a PDF."""
    return f"records/{charge}.pdf"


def in_auditor_edition(path: str) -> bool:
    """Return whether the auditor edition also holds a path of the mill edition."""
    room, _, rest = path.partition("/")
    if not rest:
        return path in (INDEX, SOURCES_PAGE, VERIFIER)
    return room in _WHOLE_ROOMS or (room == "charges" and rest != "index.html")


#: Folders of which the auditor edition holds every page.
_WHOLE_ROOMS = frozenset(
    {"assets", "bags", "checks", "kilns", "records", "register", "schedules", "series", "species"}
)
_LINK = re.compile(r'<a\b[^>]*?\bhref="([^"]*)"[^>]*>(.*?)</a>', re.DOTALL)


def without_outside_links(page: Page) -> Page:
    """Return a page with links that lead out of the auditor edition replaced by their words."""
    home = posixpath.dirname(page.path)

    def kept(match: re.Match[str]) -> str:
        target = match[1].partition("#")[0]
        outside = (
            bool(target)
            and ":" not in target
            and not in_auditor_edition(posixpath.normpath(posixpath.join(home, target)))
        )
        return match[2] if outside else match[0]

    return replace(page, html=_LINK.sub(kept, page.html))


def years_listed(context: SiteContext) -> tuple[int, ...]:
    """Return the years that have a register of their own; none if one page holds all charges."""
    if len(context.charges[ALL]) <= ON_ONE_PAGE:
        return ()
    return tuple(year for year in context.years if context.charges[f"year:{year}"])


def audit_register(context: SiteContext, year: str = "") -> Page:
    """Return the page of the register of a year's charges, or of all, newest first."""
    charges = context.charges[f"year:{year}" if year else ALL]
    return context.page(
        "audit_index.html",
        register_path(year),
        "Register of charges",
        "register",
        year=year,
        rows=[_line(context, number) for number in charges[: None if year else ON_ONE_PAGE]],
        total=len(charges),
        years=[(found, register_path(str(found))) for found in years_listed(context)],
        outcomes=OUTCOME_ORDER,
        meanings=OUTCOME_MEANING,
        robots="noindex, nofollow",
        crumbs=(("Register", INDEX),) if year else (),
        keys=context.seals.keys,
        demo_keys=context.seals.demo_keys,
    )


def register_path(year: str) -> str:
    """Return the path of the register of a year, or of all charges."""
    return f"register/{year}.html" if year else INDEX


def _line(context: SiteContext, number: str) -> RegisterLine:
    row = context.lines[number].row
    return RegisterLine(
        number,
        row.target,
        row.kiln,
        row.ended,
        {count.outcome: count.number for count in row.counts},
        context.seals.of_charge(number),
        retention(context, number, row.ended),
    )


def audit_charge(context: SiteContext, number: str) -> Iterator[Page]:
    """Yield the page of a charge, and of each sealed state that has since been amended."""
    charge = context.folder.charges[number].record
    yield context.page(
        "audit_charge.html",
        routes.charge(number),
        f"Charge {number}",
        "charge",
        robots="noindex, nofollow",
        crumbs=(("Register", INDEX),),
        **audit_values(context, charge),
    )
    for old in context.seals.superseded(number):
        yield superseded_page(context, old)


def audit_values(context: SiteContext, charge: Charge) -> dict[str, Any]:
    """Return the variables that the templates of an auditor's page and record share."""
    view = audit_view(context, charge)
    return {"view": view.charge, "audit": view, "meanings": OUTCOME_MEANING}


def audit_view(context: SiteContext, charge: Charge) -> AuditView:
    """Return the view of a charge for an auditor."""
    dossier = context.dossiers[charge.id]
    sealed = context.seals.of_charge(charge.id).last is not None
    view = replace(charge_view(context, charge), lots=[])
    return AuditView(
        view,
        list(_chain(context, charge)),
        sorted(dossier.findings, key=lambda finding: OUTCOME_ORDER.index(finding.word)),
        tuple(context.records_of(charge.id).kilns[charge.kiln].record.instruments),
        retention(context, charge.id, dossier.ended),
        bag_folder(charge.id) if sealed else "",
        record_path(charge.id) if sealed else "",
        series_paths(charge.id),
    )


def _chain(context: SiteContext, charge: Charge) -> Iterator[ChainLine]:
    intake = ", ".join(item.number for stock in charge.stock for item in stock.intake)
    packed = set()
    for lot in context.lots[reading.of_charge(charge.id)]:
        for pack, dried_in in context.lot_lines[lot].packs:
            if dried_in == charge.id:
                packed.add(pack)
                yield ChainLine(pack, lot, charge.id, intake)
    for number in charge.stacking.packs if charge.stacking else ():
        if number not in packed:
            yield ChainLine(number, "", charge.id, intake)
    if not packed and not (charge.stacking and charge.stacking.packs):
        yield ChainLine("", "", charge.id, intake)


def retention(context: SiteContext, number: str, ended: dt.datetime) -> Retention | None:
    """Return how long a charge's record is kept; None if the mill has no rule for it."""
    try:
        limit = limit_table(context.folder).find(RETENTION)
    except NoLimit:
        return None
    shipped = last_shipped(context.graph, number)
    begins = max(ended.date(), shipped) if shipped else ended.date()
    return Retention(_years_on(begins, round(limit.value)), limit, context.cite(limit.source))


def _years_on(day: dt.date, years: int) -> dt.date:
    try:
        return day.replace(year=day.year + years)
    except ValueError:  # 29 February
        return dt.date(day.year + years, 3, 1)
