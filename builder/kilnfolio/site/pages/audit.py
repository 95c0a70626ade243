"""The auditor's pages: every verdict, every figure's working, and the way to compute it alone.

Who audits a charge may see all that is under audit: suppliers, notes and names stand in the raw
record too, which the bag holds as it was written. What is not under audit, the customers and their
orders, is left out.
"""

from __future__ import annotations

import datetime as dt
import posixpath
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from kilnfolio.records.charge import Charge
from kilnfolio.records.kiln import Instrument
from kilnfolio.records.limits import Limit
from kilnfolio.records.reading import ALL
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review.dossier import Finding, Word
from kilnfolio.review.limits import NoLimit, limit_table
from kilnfolio.site.context import SOURCES_PAGE, Citation, SiteContext
from kilnfolio.site.pages.charges import ChargeView, charge_view, superseded_page
from kilnfolio.site.pages.phrases import BY_WEIGHT, OUTCOME_MEANING
from kilnfolio.site.seals import SealView
from kilnfolio.site.series import series_paths
from kilnfolio.site.static import VERIFIER

INDEX = "index.html"
#: Charges the front page lists; beyond it each year has a register of its own.
ON_ONE_PAGE = 200
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
    """The weightiest first."""
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

    number: str
    target: str
    kiln: str
    ended: dt.datetime
    by_outcome: dict[Word, int]
    seal: SealView
    retention: Retention | None


def bag_folder(charge: str) -> str:
    """Return where the bag of a charge stands."""
    return f"bags/{charge}/"


def record_path(charge: str) -> str:
    """Return where the record of a charge in PDF stands."""
    return f"records/{charge}.pdf"


def held(path: str) -> bool:
    """Return whether a path of the mill edition is one of the auditor edition too."""
    room, _, rest = path.partition("/")
    if not rest:
        return path in (INDEX, SOURCES_PAGE, VERIFIER)
    return room in _WHOLE_ROOMS or (room == "charges" and rest != "index.html")


#: Folders the auditor edition holds as the mill edition does, or alone.
_WHOLE_ROOMS = frozenset(
    {"assets", "bags", "checks", "kilns", "records", "register", "schedules", "series", "species"}
)
_LINK = re.compile(r'<a\b[^>]*?\bhref="([^"]*)"[^>]*>(.*?)</a>', re.DOTALL)


def within(page: Page) -> Page:
    """Return a page without links to what the auditor edition does not hold: their words stay."""
    home = posixpath.dirname(page.path)

    def kept(match: re.Match[str]) -> str:
        target = match[1].partition("#")[0]
        outside = (
            bool(target)
            and ":" not in target
            and not held(posixpath.normpath(posixpath.join(home, target)))
        )
        return match[2] if outside else match[0]

    return replace(page, html=_LINK.sub(kept, page.html))


def years_listed(context: SiteContext) -> tuple[int, ...]:
    """Return the years that have a register of their own: none where one page holds all."""
    if len(context.charges[ALL]) <= ON_ONE_PAGE:
        return ()
    return tuple(year for year in context.years if context.charges[f"year:{year}"])


def audit_register(context: SiteContext, year: str = "") -> Page:
    """Return the register of charges, the newest first: of a year, or of all."""
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
        outcomes=BY_WEIGHT,
        meanings=OUTCOME_MEANING,
        robots="noindex, nofollow",
        crumbs=(("Register", INDEX),) if year else (),
        keys=context.seals.keys,
        demo_keys=context.seals.demo_keys,
    )


def register_path(year: str) -> str:
    """Return where the register of a year stands, or of all."""
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
    """Yield the page of a charge, and of each sealed state of it that was amended since."""
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
    """Return what the templates of an auditor's page and record print."""
    view = audit_view(context, charge)
    return {"view": view.charge, "audit": view, "meanings": OUTCOME_MEANING}


def audit_view(context: SiteContext, charge: Charge) -> AuditView:
    """Return what an auditor reads of a charge."""
    dossier = context.dossiers[charge.id]
    sealed = context.seals.of_charge(charge.id).last is not None
    view = replace(charge_view(context, charge), lots=[])
    return AuditView(
        view,
        list(_chain(context, charge)),
        sorted(dossier.findings, key=lambda finding: BY_WEIGHT.index(finding.word)),
        tuple(context.records_of(charge.id).kilns[charge.kiln].record.instruments),
        retention(context, charge.id, dossier.ended),
        bag_folder(charge.id) if sealed else "",
        record_path(charge.id) if sealed else "",
        series_paths(charge.id),
    )


def _chain(context: SiteContext, charge: Charge) -> Iterator[ChainLine]:
    intake = ", ".join(item.number for stock in charge.stock for item in stock.intake)
    packed = set()
    for lot in context.lots[f"charge:{charge.id}"]:
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
    """Return until when a charge's record is kept; none where the mill has no rule for it."""
    try:
        limit = limit_table(context.folder).find(RETENTION)
    except NoLimit:
        return None
    lots = [context.lot_lines[lot] for lot in context.lots[f"charge:{number}"]]
    shipped = [
        lot.shipped.astimezone(context.folder.mill.record.zone).date()
        for lot in lots
        if lot.shipped
    ]
    begins = max([ended.date(), *shipped])
    return Retention(_years_on(begins, round(limit.value)), limit, context.cite(limit.source))


def _years_on(day: dt.date, years: int) -> dt.date:
    try:
        return day.replace(year=day.year + years)
    except ValueError:  # 29 February
        return dt.date(day.year + years, 3, 1)
