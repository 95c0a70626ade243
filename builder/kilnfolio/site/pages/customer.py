"""A lot's record for the customer: whether it is as dry as ordered, and the evidence."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.archive.canonical import canonical
from kilnfolio.charts.range_strip import Strip, range_strip
from kilnfolio.charts.survey import Histogram, histogram
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.gs1 import batch_path
from kilnfolio.records.quantities import Percent
from kilnfolio.rendering.languages import SEALED, language
from kilnfolio.rendering.lot_state import LotState, state_of
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.routes import customer_folder
from kilnfolio.rendering.templating import render
from kilnfolio.review.assessment import CONFIDENCE_PCT
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.site.editions import EditionView, for_customer
from kilnfolio.site.lot_record import LotRecord, linked_data
from kilnfolio.site.lot_words import Stated, lot_record, shown_words, stated
from kilnfolio.site.pages.indoors import (
    Indoors,
    Timber,
    chooser,
    indoor_workings,
    indoors,
    timber_of,
)
from kilnfolio.site.pages.workings import (
    Shown,
    Workings,
    by_id,
    percent,
    shown,
    with_titles,
    work_out,
)
from kilnfolio.site.qr import labelled, lot_address, qr_svg
from kilnfolio.site.seals import SealView

#: What a page prints as its record has it.
_SAID = (
    "invented",
    "lot",
    "version",
    "issued",
    "mill",
    "place",
    "product",
    "gtin",
    "species",
    "size",
    "statement",
    "ordered",
    "target",
    "mean",
    "span",
    "readings",
    "supported",
    "method",
    "measured",
    "heat_treatment",
    "stress",
    "claim",
    "storage",
)

LIMITS = (
    "This page states what was measured, on the pieces measured, on the date given. It does not "
    "say how the timber behaves afterwards, nor that it suits a use, nor anything about strength."
)


@dataclass(frozen=True)
class CustomerLot:
    """Everything a customer's page or PDF prints."""

    lot: str
    version: int
    issued: dt.date
    invented: bool
    mill: str
    place: str
    contact: tuple[str, str, str]
    """Office, address, telephone."""
    product: str
    gtin: str
    species: str
    size: str
    packs: tuple[tuple[str, int, str], ...]
    """Number, pieces, volume."""
    pack_words: str
    pack_total: tuple[int, str]
    """Pieces and volume of all packs."""
    statement: str
    state: LotState
    """Meets the order, does not meet it, or is not assessed."""
    ordered: str
    target: str
    mean: str
    span: str
    readings: str
    supported: str
    method: str
    measured: tuple[dt.date, ...]
    heat_treatment: str
    stress: str
    claim: str
    storage: str
    timber: Timber
    """The timber that the three rooms are computed for."""
    how: Workings
    """The working of each computed number."""
    shrinkage_status: str
    """Status of its shrinkage values; "" if they are not known."""
    strip: Markup
    """Driest, mean and wettest against the order; empty where the lot was not assessed."""
    chart: Histogram | None
    address: str
    guessable: str
    """Its second address below the first, by GTIN and lot number; "" if the mill publishes none."""
    shown: Mapping[str, str]
    """Phrases made from several facts, as the page prints them."""
    served: Served
    """The record as data."""

    @cached_property
    def qr(self) -> Markup:
        """The label's QR code; drawn only when a page prints it, because it is slow."""
        return qr_svg(self.label_address, f"Code that leads to the record of lot {self.lot}")

    @cached_property
    def indoors(self) -> tuple[Indoors, ...]:
        """How the timber behaves in three rooms."""
        return indoors(self.timber)

    @property
    def chooser(self) -> Mapping[str, Any]:
        """The data from which the page's script computes a room of the reader's choice."""
        return chooser(self.timber)

    @property
    def label_address(self) -> str:
        """The address in the label's code: the record, and the seal it must bear."""
        seal = self.served.seal.last
        return labelled(self.address, seal.digits if seal else "")


@dataclass(frozen=True)
class Served:
    """A lot's record as served: its bytes, and its entries in the ledger."""

    text: str
    """Canonical JSON."""
    record: LotRecord
    """The same, parsed."""
    seal: SealView
    """Its entries in the ledger; none if it is not sealed. The names in them are never printed."""

    @property
    def as_text(self) -> Markup:
        """The text escaped as the content of an element; quotation marks need no escape there."""
        return Markup(self.text.replace("&", "&amp;").replace("<", "&lt;"))

    @property
    def linked(self) -> Markup:
        """The record in the vocabulary of schema.org, escaped for a script element."""
        text = json.dumps(
            linked_data(self.record), ensure_ascii=False, sort_keys=True, separators=(",", ":")
        )
        return Markup(text.replace("&", r"\u0026").replace("<", r"\u003c").replace(">", r"\u003e"))


def served_record(text: str, seal: SealView) -> Served:
    """Return a sealed record as it is served, from its canonical JSON and how it is sealed."""
    return Served(text, LotRecord.model_validate_json(text), seal)


def served_now(record: LotRecord, seal: SealView) -> Served:
    """Return a record as it would be sealed now."""
    return Served(canonical(record).decode(), record, seal)


def customer_lot(
    folder: MillFolder,
    lot_id: str,
    dossiers: Mapping[str, Dossier],
    lot_dossier: LotDossier,
    token: str,
    served: Served | None = None,
) -> CustomerLot:
    """Return what a customer's page prints of a lot: its record, with drawings and workings.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    lot_id : str
        The lot's number.
    dossiers : mapping of str to Dossier
        The reviews of its charges, at least.
    lot_dossier : LotDossier
        Its own review.
    token : str
        The last part of its address.
    served : Served, optional
        The record that was sealed; what the records say now where there is none.
    """
    if served is None:
        served = served_now(lot_record(folder, lot_id, dossiers, lot_dossier), SealView())
    about, mill = stated(folder, lot_id, dossiers, lot_dossier), for_customer(folder.mill.record)
    record, judgement, readings = served.record, about.review.judgement, about.readings
    species = for_customer(folder.species[about.lot.species].record)
    timber = timber_of(
        judgement.mean_pct if readings else about.lot.order.target_mc.value,
        species,
        about.regional,
    )
    workings = (
        *(_workings(judgement, readings) if readings else ()),
        *indoor_workings(timber),
    )
    return CustomerLot(
        **{key: getattr(record, key) for key in _SAID},
        contact=(record.contact.name, record.contact.email, record.contact.phone),
        packs=tuple((pack.number, pack.pieces, pack.volume) for pack in record.packs),
        pack_words=about.pack_words,
        pack_total=about.pack_total,
        state=state_of(record.verdict),
        shown=record.shown or shown_words(about, ZoneInfo(mill.time_zone)),
        timber=timber,
        how=with_titles(by_id(workings), folder.sources.record.publications),
        shrinkage_status=species.shrinkage.status if species.shrinkage else "",
        strip=_strip(about) if readings else Markup(""),
        chart=_chart(about) if readings else None,
        address=lot_address(mill.records_address, token),
        guessable=(
            batch_path(record.gtin, record.lot) if mill.digital_link and record.gtin else ""
        ),
        served=served,
    )


def _strip(about: Stated) -> Markup:
    judgement, readings = about.review.judgement, about.readings
    return range_strip(
        Strip(
            min(readings),
            judgement.mean_pct,
            max(readings),
            about.lot.order.target_mc.value,
            judgement.piece_low_pct,
            judgement.piece_high_pct,
        )
    )


def _chart(about: Stated) -> Histogram:
    return histogram(
        about.readings,
        title=f"Readings of lot {about.lot.id}",
        target_pct=about.lot.order.target_mc.value,
        low_pct=about.review.judgement.piece_low_pct,
        high_pct=about.review.judgement.piece_high_pct,
        alone=False,
    )


def _workings(judgement: EditionView, readings: tuple[float, ...]) -> Iterator[Shown]:
    """Yield the working of the figures of a lot that could be assessed."""
    own = [Percent(value, f"{value:g} %") for value in readings]
    yield shown("mean", "Mean of the readings", [work_out("mean", "", of=own)])
    low, high = judgement.piece_low_pct, judgement.piece_high_pct
    inside = sum(
        (low is None or value >= low) and (high is None or value <= high) for value in readings
    )
    yield shown(
        "share",
        "What the readings support",
        [
            work_out(
                "share_shown",
                "",
                readings=len(own),
                failures=len(own) - inside,
                confidence=percent(CONFIDENCE_PCT, 0),
            )
        ],
        "n readings, failures those outside what was ordered for a piece: count them in the chart.",
    )


@dataclass(frozen=True)
class OtherLanguage:
    """The same page in another language."""

    tag: str
    name: str
    """What the language calls itself."""
    address: str
    """Relative to the page that links to it."""


def render_lot(
    env: Environment,
    view: CustomerLot,
    token: str,
    tag: str = SEALED,
    languages: Sequence[str] = (SEALED,),
) -> Page:
    """Return a customer's page.

    Parameters
    ----------
    env : Environment
        Environment of an edition without a menu.
    view : CustomerLot
        The lot.
    token : str
        The folder of the page.
    tag : str
        The language of the page and of the environment.
    languages : sequence of str
        All languages; a label leads to the first, and the others have folders of their own.
    """
    home = "" if tag == languages[0] else "../"
    path = f"{customer_folder(token, tag, languages)}/index.html"
    others = [
        OtherLanguage(
            other,
            language(other).name,
            f"{home}{'' if other == languages[0] else f'{other}/'}index.html",
        )
        for other in languages
        if other != tag
    ]
    html = render(
        env,
        "customer_lot.html",
        path,
        title=f"{language(tag).translations.gettext('Lot')} {view.lot}",
        view=view,
        robots="noindex, nofollow, noarchive",
        limits=LIMITS,
        home=home,
        others=others,
    )
    return Page(path, html, f"Lot {view.lot}", "lot record", "")
