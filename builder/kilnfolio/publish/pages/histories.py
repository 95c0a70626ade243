"""Charges as lines of a table: wherever a page says what has been dried."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from kilnfolio.publish import routes
from kilnfolio.publish.pages.holdings import Holdings
from kilnfolio.publish.pages.words import Count, days, gravest, outcome_counts, stock_words
from kilnfolio.records.charge import Charge
from kilnfolio.review import figures
from kilnfolio.review.dossier import Outcome


@dataclass(frozen=True)
class ChargeRow:
    """One charge in a table."""

    number: str
    target: str
    stock: str
    species: str
    """Species ids, for filters."""
    thickness: tuple[str, ...]
    """Each thickness as sold, for filters."""
    kiln: str
    kiln_id: str
    schedule: str
    schedule_target: str
    started: dt.datetime
    length: str
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


def charge_rows(holdings: Holdings, charges: Iterable[Charge]) -> list[ChargeRow]:
    """Return charges as lines of a table, in the order given."""
    return [_row(holdings, charge) for charge in charges]


def _row(holdings: Holdings, charge: Charge) -> ChargeRow:
    dossier = holdings.dossiers[charge.id]
    names = {stock.species: holdings.species_name(stock.species) for stock in charge.stock}
    kiln = holdings.folder.kilns[charge.kiln].record
    survey = dossier.survey
    sizes = {stock.thickness.entered.replace(" ", figures.NBSP) for stock in charge.stock}
    return ChargeRow(
        charge.id,
        routes.charge(charge.id),
        stock_words(charge, names),
        " ".join(sorted(names)),
        tuple(sorted(sizes)),
        kiln.name,
        kiln.id,
        holdings.folder.schedules[charge.schedule].record.title,
        routes.schedule(charge.schedule),
        charge.started,
        days(charge.started, charge.ended),
        dossier.target_mc_pct,
        dossier.controlling[0].mean_pct if dossier.controlling else None,
        survey.mean_pct if survey else None,
        survey.sd_pct if survey else None,
        survey.n if survey else 0,
        gravest(dossier.findings),
        outcome_counts(dossier.findings),
        defects_found(charge),
    )


def defects_found(charge: Charge) -> str:
    """Return the defects found at grading: ``surface checks 3 of 120``."""
    found = [count for count in charge.defects if count.pieces]
    if charge.defects and not found:
        return "none found"
    return "; ".join(
        f"{count.defect.replace('-', ' ')} {count.pieces} of {count.of}" for count in found
    )
