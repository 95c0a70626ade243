"""A lot's record for the customer: whether it is as dry as ordered, and the evidence."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.archive.canonical import canonical
from kilnfolio.charts.range_strip import Strip, range_strip
from kilnfolio.charts.survey import Histogram, histogram
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.gs1 import batch_path
from kilnfolio.records.quantities import Percent
from kilnfolio.records.sourced import Titled
from kilnfolio.rendering.languages import SEALED, language
from kilnfolio.rendering.lot_state import LotState, state_of
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.routes import customer_folder
from kilnfolio.rendering.templating import render
from kilnfolio.review.assessment import CONFIDENCE_PCT
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.site.editions import EditionView
from kilnfolio.site.lot_record import LotRecord, linked_data
from kilnfolio.site.lot_words import Stated, record_of, shown_words, stated
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

LIMITS = (
    "This page states what was measured, on the pieces measured, on the date given. It does not "
    "say how the timber behaves afterwards, nor that it suits a use, nor anything about strength."
)


@dataclass(frozen=True)
class Served:
    """A record as it is served, and as it was sealed if it has entries in the ledger."""

    text: str
    """Canonical JSON."""
    seal: SealView
    """Its entries in the ledger; none if it is not sealed. The names in them are never printed."""

    @cached_property
    def record(self) -> LotRecord:
        """The same, parsed."""
        return LotRecord.model_validate_json(self.text)

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


@dataclass(frozen=True)
class CustomerLot:
    """Everything a customer's page or PDF prints, besides its drawings, which are made when printed."""

    served: Served
    """The record as data."""
    pack_words: str
    pack_total: tuple[int, str]
    """Pieces and volume of all packs."""
    readings: tuple[float, ...]
    """The readings that it was judged by [% MC]; none if it was not assessed."""
    measured: Strip | None
    """Driest, mean and wettest of them against the order."""
    timber: Timber
    """The timber that the three rooms are computed for."""
    how: Workings
    """The working of each computed number."""
    shrinkage_status: str
    """Status of its shrinkage values; "" if they are not known."""
    address: str
    guessable: str
    """Its second address below the first, by GTIN and lot number; "" if the mill publishes none."""
    shown: Mapping[str, str]
    """Phrases made from several facts, as the page prints them."""

    @property
    def record(self) -> LotRecord:
        """What is said of the lot."""
        return self.served.record

    @property
    def state(self) -> LotState:
        """Meets the order, does not meet it, or is not assessed."""
        return state_of(self.record.verdict)

    @cached_property
    def strip(self) -> Markup:
        """Driest, mean and wettest against the order; empty where the lot was not assessed."""
        return range_strip(self.measured) if self.measured else Markup("")

    @cached_property
    def chart(self) -> Histogram | None:
        """The readings, and what was ordered."""
        if self.measured is None:
            return None
        return histogram(
            self.readings,
            title=f"Readings of lot {self.record.lot}",
            target_pct=self.measured.target,
            low_pct=self.measured.low,
            high_pct=self.measured.high,
            alone=False,
        )

    @cached_property
    def qr(self) -> Markup:
        """The label's QR code."""
        return qr_svg(self.label_address, f"Code that leads to the record of lot {self.record.lot}")

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


#: A record that is not sealed: what the records say now.
NOT_SEALED = Served("", SealView())


def customer_lot(
    folder: MillFolder,
    lot_id: str,
    dossiers: Mapping[str, Dossier],
    lot_dossier: LotDossier,
    token: str,
    served: Served = NOT_SEALED,
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
        The record that was sealed; without a text, what the records say now.
    """
    about = stated(folder, lot_id, dossiers, lot_dossier)
    if not served.text:
        record = record_of(about, folder.lots[lot_id])
        served = Served(canonical(record).decode(), served.seal)
    return _printed(about, served, token, folder.sources.record.publications)


def _printed(
    about: Stated, served: Served, token: str, publications: Mapping[str, Titled]
) -> CustomerLot:
    record, judgement, readings = served.record, about.review.judgement, about.readings
    target, shrinkage = about.lot.order.target_mc.value, about.species.shrinkage
    timber = timber_of(judgement.mean_pct if readings else target, about.species, about.regional)
    workings = (*(_workings(judgement, readings) if readings else ()), *indoor_workings(timber))
    return CustomerLot(
        served,
        about.pack_words,
        about.pack_total,
        readings,
        Strip(
            min(readings),
            judgement.mean_pct,
            max(readings),
            target,
            judgement.piece_low_pct,
            judgement.piece_high_pct,
        )
        if readings
        else None,
        timber,
        with_titles(by_id(workings), publications),
        shrinkage.status if shrinkage else "",
        lot_address(about.mill.records_address, token),
        batch_path(record.gtin, record.lot) if about.mill.digital_link and record.gtin else "",
        record.shown or shown_words(about),
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
        title=f"{language(tag).translations.gettext('Lot')} {view.record.lot}",
        view=view,
        robots="noindex, nofollow, noarchive",
        limits=LIMITS,
        home=home,
        others=others,
    )
    return Page(path, html, f"Lot {view.record.lot}", "lot record", "")
