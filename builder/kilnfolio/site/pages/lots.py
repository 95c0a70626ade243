"""The mill's pages of lots: the order, the readings, and the charges and intake behind them."""

from __future__ import annotations

from markupsafe import Markup

from kilnfolio.charts.survey import Histogram, histogram
from kilnfolio.records.lot import Lot
from kilnfolio.rendering import routes
from kilnfolio.rendering.lot_state import STATES
from kilnfolio.rendering.page import Page
from kilnfolio.review import figures
from kilnfolio.review.dossier import LotDossier, Outcome
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import SiteContext
from kilnfolio.site.lot_words import pack_words
from kilnfolio.site.pages.charges import Link
from kilnfolio.site.pages.findings import FindingGroups, finding_groups
from kilnfolio.site.pages.phrases import Count, outcome_counts
from kilnfolio.site.pages.stored import stored_view
from kilnfolio.site.pages.workings import Workings
from kilnfolio.site.pages.workings.lot import lot_workings
from kilnfolio.site.qr import labelled, lot_address, qr_svg
from kilnfolio.site.seals import SealView

INDEX = routes.register("lots")


@dataclass(frozen=True)
class PackLine:
    """A pack and the charge it was dried in."""

    number: str
    pieces: int
    volume: str
    charge: Link


@dataclass(frozen=True)
class LotView:
    """Everything the mill's page of a lot prints."""

    record: Lot
    dossier: LotDossier
    verdict: tuple[Outcome, str]
    species: Link
    size: str
    packs: list[PackLine]
    pack_words: str
    counts: tuple[Count, ...]
    findings: FindingGroups
    chart: Histogram | None
    span: str
    intake: list[str]
    heat: str
    address: str
    """The address its label leads to; empty if the lot has none."""
    qr: Markup
    seal: SealView
    how: Workings
    """The working of each computed number."""


def lot_page(context: SiteContext, number: str) -> Page:
    """Return the mill's page of a lot."""
    record = context.folder.lots[number].record
    view = lot_view(context, record)
    return context.page(
        "lot.html",
        routes.lot(record.id),
        f"Lot {record.id}",
        "lot",
        view=view,
        stored=stored_view(context, record, view.dossier),
        summary=f"{record.product}. {view.dossier.judgement.sentence}",
        crumbs=(("Lots", INDEX),),
    )


def lot_view(context: SiteContext, record: Lot) -> LotView:
    """Return the view of a lot for the mill."""
    lot = record.id
    dossier = context.lot_dossiers[lot]
    judgement = dossier.judgement
    token = context.tokens.get(lot, "")
    seal = context.seals.of_lot(lot)
    address = (
        labelled(
            lot_address(context.folder.mill.record.records_address, token),
            seal.last.digits if seal.last else "",
        )
        if token
        else ""
    )
    chart = (
        histogram(
            dossier.readings,
            title=f"Readings of lot {lot}",
            target_pct=record.order.target_mc.value,
            low_pct=judgement.piece_low_pct,
            high_pct=judgement.piece_high_pct,
        )
        if dossier.readings
        else None
    )
    return LotView(
        record,
        dossier,
        (STATES[judgement.met].outcome, STATES[judgement.met].verdict),
        Link(context.species_name(record.species), routes.species(record.species)),
        ", ".join(
            filter(
                None,
                (context.regional.side_by_side(record.thickness), record.width, record.length),
            )
        ),
        [
            PackLine(
                pack.number,
                pack.pieces,
                context.regional.side_by_side(pack.volume),
                Link(pack.charge, routes.charge(pack.charge)),
            )
            for pack in record.packs
        ],
        pack_words(pack.number for pack in record.packs),
        outcome_counts(dossier.findings),
        finding_groups(dossier.findings),
        chart,
        _span(dossier),
        _intake(context, dossier),
        _heat(record, dossier),
        address,
        qr_svg(address, f"Code that leads to the record of lot {lot}") if address else Markup(""),
        seal,
        lot_workings(dossier),
    )


def _span(dossier: LotDossier) -> str:
    if not dossier.readings:
        return ""
    return (
        f"{figures.number(min(dossier.readings))} to {figures.measure(max(dossier.readings), '%')}"
    )


def _intake(context: SiteContext, dossier: LotDossier) -> list[str]:
    """Return the intake numbers of a lot's charges."""
    return list(
        dict.fromkeys(
            intake.number
            for name in dossier.charges
            for stock in context.folder.charges[name].record.stock
            for intake in stock.intake
        )
    )


def _heat(record: Lot, dossier: LotDossier) -> str:
    if not record.heat_treatment_stated:
        return "not asked for"
    return {
        True: "evidence holds for every charge",
        False: "not supported by the record",
        None: "not evidenced",
    }[dossier.heat_treated]
