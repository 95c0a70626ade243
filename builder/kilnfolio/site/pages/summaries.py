"""Charges and lots in brief, for pages that list them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import TYPE_CHECKING

from kilnfolio.records.charge import Charge
from kilnfolio.records.lot import Lot
from kilnfolio.rendering import routes
from kilnfolio.rendering.regional import RegionalFormat
from kilnfolio.review import figures
from kilnfolio.review.dossier import Finding, LotDossier, Outcome, Word
from kilnfolio.review.evidence import ChargeEvidence, charge_evidence
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.pages.phrases import Count, days, gravest_outcome, outcome_counts, stock_words

if TYPE_CHECKING:
    from kilnfolio.site.context import SiteContext


@dataclass(frozen=True)
class ChargeRow:
    """A charge as a row of a table."""

    number: str
    target: str
    stock: str
    species: str
    """Species ids, for filters."""
    species_names: tuple[str, ...]
    """Trade names of `species`, in the same order."""
    thickness: tuple[str, ...]
    """Each thickness as sold, for filters."""
    kiln: str
    kiln_id: str
    schedule: str
    schedule_target: str
    schedule_id: str
    started: dt.datetime
    ended: dt.datetime
    length: str
    days: float
    """The time it took, as a number [days]."""
    target_mc: float
    start_mc: float | None
    """Mean of the boards at the start [%]."""
    final_mc: float | None
    """Mean of the survey [%]."""
    final_sd: float | None
    readings: int
    outcome: Outcome
    counts: tuple[Count, ...]
    defects: str
    found: str
    """The defects found, without their counts, for search."""

    @property
    def day(self) -> dt.date:
        """The date it has in the register."""
        return self.started.date()

    @property
    def thicknesses(self) -> str:
        """Its thicknesses, for filters."""
        return " ".join(self.thickness)

    @property
    def choices(self) -> tuple[tuple[str, str, str], ...]:
        """The choices it adds to filters: the column, the value, and its words."""
        return (
            *(
                ("species", *pair)
                for pair in zip(self.species.split(), self.species_names, strict=True)
            ),
            *(("thicknesses", size, size) for size in self.thickness),
            ("kiln_id", self.kiln_id, self.kiln),
            ("schedule_id", self.schedule_id, self.schedule),
            ("outcome", self.outcome, self.outcome),
            *(("found", defect, defect) for defect in self.found.split(", ") if defect),
        )


@dataclass(frozen=True)
class CheckLine:
    """A check's finding on a charge or lot, as the check's page prints it."""

    check: str
    outcome: Word
    message: str
    """Empty if it is not printed, because the check passed or data is missing."""


@dataclass(frozen=True)
class ChargeLine:
    """The summary of a charge for other pages, which read nothing else of it."""

    row: ChargeRow
    evidence: ChargeEvidence
    checks: tuple[CheckLine, ...]
    weighings: int


@dataclass(frozen=True)
class LotLine:
    """The summary of a lot for other pages."""

    number: str
    target: str
    product: str
    species: str
    species_id: str
    issued: dt.date
    target_mc: float
    piece_low: float | None
    piece_high: float | None
    """The lowest and highest MC ordered for a piece [%]."""
    mean: float | None
    readings: int
    met: bool | None
    charges: tuple[str, ...]
    packs: tuple[tuple[str, str], ...]
    """Pack and charge."""
    shipped: dt.datetime | None
    checks: tuple[CheckLine, ...]


def charge_line(context: SiteContext, charge: Charge) -> ChargeLine:
    """Return the summary of a charge that other pages print."""
    dossier = context.dossiers[charge.id]
    return ChargeLine(
        _row(context, charge),
        charge_evidence(charge, dossier),
        _check_lines(dossier.findings),
        len(charge.weighings),
    )


def lot_line(context: SiteContext, lot: Lot, dossier: LotDossier) -> LotLine:
    """Return the summary of a lot that other pages print."""
    judgement = dossier.judgement
    return LotLine(
        lot.id,
        routes.lot(lot.id),
        lot.product,
        context.species_name(lot.species),
        lot.species,
        lot.issued,
        lot.order.target_mc.value,
        judgement.piece_low_pct,
        judgement.piece_high_pct,
        judgement.mean_pct,
        judgement.n,
        judgement.met,
        tuple(sorted({pack.charge for pack in lot.packs})),
        tuple((pack.number, pack.charge) for pack in lot.packs),
        lot.shipped,
        _check_lines(dossier.findings),
    )


def _check_lines(findings: Iterable[Finding]) -> tuple[CheckLine, ...]:
    return tuple(
        CheckLine(finding.check, finding.word, finding.message if shown else "")
        for finding in findings
        for shown in [finding.noted or finding.outcome not in ("pass", "no data", "not applicable")]
    )


def charge_rows(context: SiteContext, charges: Iterable[str]) -> list[ChargeRow]:
    """Return charges as rows of a table, in the order given."""
    return [context.lines[name].row for name in charges]


def _row(context: SiteContext, charge: Charge) -> ChargeRow:
    dossier = context.dossiers[charge.id]
    names = {stock.species: context.species_name(stock.species) for stock in charge.stock}
    kiln = context.folder.kilns[charge.kiln].record
    survey = dossier.survey
    sizes = {stock.thickness.entered.replace(" ", figures.NBSP) for stock in charge.stock}
    return ChargeRow(
        charge.id,
        routes.charge(charge.id),
        stock_words(charge, names),
        " ".join(sorted(names)),
        tuple(names[identity] for identity in sorted(names)),
        tuple(sorted(sizes)),
        kiln.name,
        kiln.id,
        context.folder.schedules[charge.schedule].record.title,
        routes.schedule(charge.schedule),
        charge.schedule,
        charge.started,
        charge.ended,
        days(charge.started, charge.ended),
        (charge.ended - charge.started).total_seconds() / 86_400.0,
        dossier.target_mc_pct,
        dossier.controlling[0].mean_pct if dossier.controlling else None,
        survey.mean_pct if survey else None,
        survey.sd_pct if survey else None,
        survey.n if survey else 0,
        gravest_outcome(dossier.findings),
        outcome_counts(dossier.findings),
        defects_found(context.regional, charge),
        ", ".join(sorted({context.regional.defect(c.defect) for c in charge.defects if c.pieces})),
    )


def defects_found(regional: RegionalFormat, charge: Charge) -> str:
    """Return the defects found at grading: ``surface checks 3 of 120``."""
    found = [count for count in charge.defects if count.pieces]
    if charge.defects and not found:
        return "none found"
    return "; ".join(
        f"{regional.defect(count.defect)} {count.pieces} of {count.of}" for count in found
    )
