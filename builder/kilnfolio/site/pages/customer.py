"""A lot's record for the customer: whether it is as dry as ordered, and the evidence."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.charts.range_strip import Strip, range_strip
from kilnfolio.charts.survey import Histogram, histogram
from kilnfolio.physics.sorption import relative_humidity_for_emc
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.lot import Lot
from kilnfolio.records.model import Located
from kilnfolio.records.quantities import Percent, Volume
from kilnfolio.rendering.languages import SEALED, language
from kilnfolio.rendering.lot_state import STATES, LotState, state_of
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import regional_format
from kilnfolio.rendering.templating import day as day_words
from kilnfolio.rendering.templating import render
from kilnfolio.review import figures
from kilnfolio.review.assessment import CONFIDENCE_PCT, OWN_PACKS, WHOLE_CHARGE, WHOLE_CHARGES
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.site.editions import CUSTOMER_FIELDS, EditionView, for_customer
from kilnfolio.site.lot_record import LotRecord, RecordNumbers, linked_data, sealed_fields
from kilnfolio.site.pages.indoors import (
    Indoors,
    Timber,
    chooser,
    indoor_workings,
    indoors,
    timber_of,
)
from kilnfolio.site.pages.phrases import listed, plural
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

#: Room temperature assumed in advice about storage. [°C]
ROOM_C = 20.0

#: Most packs named in a phrase; more are counted there and named in their list.
_PACKS_NAMED = 2

#: The answer to a claim that the record does not support.
NOT_SUPPORTED = "Not supported by the mill's record."
#: Outcomes under which the record does not support a claim.
UNSHOWN = frozenset({"fail", "question", "no data", "answered"})

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
    boards: str
    """Which boards were measured."""
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
    shown: Mapping[str, str]
    """Phrases made from several facts, as the page prints them."""
    asked: Mapping[str, Any]
    """The part of the mill's record of the lot that its customer may read, as entered."""
    numbers: RecordNumbers
    served: Served | None = None
    """The record as data; None if only the words are wanted."""

    @cached_property
    def qr(self) -> Markup:
        """The label's QR code; drawn only when a page prints it, because it is slow."""
        return qr_svg(self.label_address, f"Code that leads to the record of lot {self.lot}")

    @property
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
        seal = self.served.seal.last if self.served else None
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


def with_record(view: CustomerLot, text: str, seal: SealView) -> CustomerLot:
    """Return a customer's view with the words of a record, which may be the sealed one.

    Parameters
    ----------
    view : CustomerLot
        The lot as the mill's records have it now.
    text : str
        The record to serve, as canonical JSON.
    seal : SealView
        Its seals.
    """
    record = LotRecord.model_validate_json(text)
    return replace(
        view,
        **sealed_fields(record),
        state=state_of(record.verdict),
        served=Served(text, record, seal),
    )


def customer_lot(
    folder: MillFolder,
    lot_id: str,
    dossiers: Mapping[str, Dossier],
    lot_dossier: LotDossier,
    token: str,
) -> CustomerLot:
    """Return the view of a lot for its customer.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    lot_id : str
        The lot's number.
    dossiers : mapping of str to Dossier
        Reviews of charges, including all of this lot's.
    lot_dossier : LotDossier
        Its own review.
    token : str
        The last part of its address.
    """
    mill, lot = for_customer(folder.mill.record), for_customer(folder.lots[lot_id].record)
    review = for_customer(lot_dossier)
    charges = [for_customer(dossiers[name]) for name in lot_dossier.charges]
    species = for_customer(folder.species[lot.species].record)
    address = lot_address(mill.records_address, token)
    surveys = [charge.survey for charge in charges if charge.survey]
    zone = ZoneInfo(mill.time_zone)
    moisture = _moisture(lot, review.judgement, review.readings, surveys)
    timber = timber_of(
        review.judgement.mean_pct if moisture["mean"] else lot.order.target_mc.value,
        species,
        regional_format(folder.mill.record),
    )
    regional = regional_format(folder.mill.record)
    packs = tuple(
        (pack.number, pack.pieces, regional.side_by_side(pack.volume)) for pack in lot.packs
    )
    phrase = pack_words(pack.number for pack in lot.packs)
    measured = tuple(sorted({survey.at.astimezone(zone).date() for survey in surveys}))
    shown = {
        "pack_words": phrase,
        "packs": "; ".join(
            f"{number}, {pieces} pieces, {volume}" for number, pieces, volume in packs
        ),
        "measured": ", ".join(day_words(date) for date in measured),
        "issued": f"Version {lot.version}, issued {day_words(lot.issued)}",
        "boards": moisture["boards"],
        "size": regional.localized(_size(lot)),
        "method": regional.localized(_method(surveys)),
        "heat_treatment": regional.localized(_heat_treatment(lot, review, charges)),
        "pack_pieces": figures.number(sum(pack.pieces for pack in lot.packs), 0),
        "pack_volume": regional.localized(_total(lot)[1]),
    }
    return CustomerLot(
        lot=lot.id,
        version=lot.version,
        issued=lot.issued,
        invented=bool(lot.invented or mill.invented),
        mill=mill.name,
        place=f"{mill.place}, {mill.country}",
        contact=(mill.contact.name, mill.contact.email, mill.contact.phone or ""),
        product=lot.product,
        species=f"{species.trade_name} ({species.scientific_name})",
        size=regional.localized(_size(lot)),
        packs=packs,
        pack_words=phrase,
        pack_total=_total(lot),
        shown=shown,
        asked=entered_for_customer(folder.lots[lot_id]),
        numbers=_numbers(lot, review, moisture),
        **moisture,
        method=_method(surveys),
        measured=measured,
        heat_treatment=regional.localized(_heat_treatment(lot, review, charges)),
        stress=_stress(lot, charges),
        claim=_claim(lot, review),
        storage=_storage(lot.order.target_mc.value),
        timber=timber,
        how=with_titles(
            by_id(
                (
                    *(_workings(review.judgement, review.readings) if moisture["mean"] else ()),
                    *indoor_workings(timber),
                )
            ),
            folder.sources.record.publications,
        ),
        shrinkage_status=species.shrinkage.status if species.shrinkage else "",
        address=address,
    )


def _total(lot: EditionView) -> tuple[int, str]:
    volume = sum(pack.volume.value for pack in lot.packs)
    total = Volume(volume, f"{volume:.2f} m³")
    return sum(pack.pieces for pack in lot.packs), figures.side_by_side(total)


def entered_for_customer(located: Located[Lot]) -> dict[str, Any]:
    """Return the part of the mill's record of a lot that its customer may read, as entered.

    With the library and the dossiers of its charges, it suffices to rebuild the lot's record.
    """
    entered = located.document.value
    if not isinstance(entered, Mapping):  # builds keep no documents: use the values of the record
        entered = located.record.model_dump(mode="json", by_alias=True, exclude_unset=True)
    public = [key for key in Lot.model_fields if key in CUSTOMER_FIELDS[Lot]]
    found = {key: _plain(entered[key]) for key in public if key in entered}
    charges = sorted({pack["charge"] for pack in found["packs"]})
    for pack in found["packs"]:
        pack["from"] = charges.index(pack.pop("charge"))
    return found


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return value.isoformat() if isinstance(value, (dt.date, dt.datetime)) else value


def _numbers(lot: EditionView, review: EditionView, moisture: Mapping[str, Any]) -> RecordNumbers:
    judgement = review.judgement
    readings = review.readings if moisture["mean"] else ()
    return RecordNumbers(
        target_mc_pct=lot.order.target_mc.value,
        mean_mc_pct=judgement.mean_pct if readings else None,
        driest_mc_pct=min(readings, default=None),
        wettest_mc_pct=max(readings, default=None),
        readings=len(readings),
        inside=judgement.inside if readings else None,
        lowest_mc_pct=judgement.piece_low_pct,
        highest_mc_pct=judgement.piece_high_pct,
        share_shown_pct=judgement.share_shown_pct if readings else None,
        pieces=sum(pack.pieces for pack in lot.packs),
        volume_m3=round(sum(pack.volume.value for pack in lot.packs), 4),
    )


def _size(lot: EditionView) -> str:
    return ", ".join(
        filter(None, (f"{figures.side_by_side(lot.thickness)} thick", lot.width, lot.length))
    )


#: Which boards a lot is judged by, in a customer's words.
_BOARDS = {
    OWN_PACKS: "boards of this lot's own packs",
    WHOLE_CHARGE: "boards of the kiln load this lot comes from",
    WHOLE_CHARGES: "boards of the kiln loads this lot comes from",
}


def _moisture(
    lot: EditionView,
    judgement: EditionView,
    readings: tuple[float, ...],
    surveys: list[EditionView],
) -> dict[str, Any]:
    """Return the statements about moisture; with numbers only if the lot could be assessed."""
    words: dict[str, Any] = {
        "statement": judgement.sentence,
        "state": STATES[judgement.met],
        "ordered": judgement.rule,
        "target": figures.as_entered(lot.order.target_mc),
        "mean": "",
        "span": "",
        "readings": "",
        "boards": "",
        "supported": "",
        "strip": Markup(""),
        "chart": None,
    }
    if judgement.met is None or not readings or not surveys:
        return words
    low, high = judgement.piece_low_pct, judgement.piece_high_pct
    return words | {
        "mean": figures.measure(judgement.mean_pct, "%", 1),
        "span": f"{figures.number(min(readings))} to {figures.measure(max(readings), '%')}",
        "readings": str(judgement.n),
        "boards": _BOARDS.get(judgement.readings_from, _BOARDS[WHOLE_CHARGE]),
        "supported": _supported(judgement),
        "strip": range_strip(
            Strip(
                min(readings),
                judgement.mean_pct,
                max(readings),
                lot.order.target_mc.value,
                low,
                high,
            )
        ),
        "chart": histogram(
            readings,
            title=f"Readings of lot {lot.id}",
            target_pct=lot.order.target_mc.value,
            low_pct=low,
            high_pct=high,
            alone=False,
        ),
    }


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


def _supported(judgement: EditionView) -> str:
    share = judgement.share_shown_pct
    if share is None or (judgement.piece_low_pct is None and judgement.piece_high_pct is None):
        return ""
    return (
        f"at least {figures.measure(share, '%', 1)} of the boards lie within what was ordered, at "
        f"95{figures.NBSP}% confidence, if the pieces were picked at random"
    )


def _method(surveys: Iterable[EditionView]) -> str:
    return "; ".join(
        dict.fromkeys(
            survey.method + (f", {survey.correction_words}" if survey.correction_words else "")
            for survey in surveys
        )
    )


def _heat_treatment(lot: EditionView, review: EditionView, charges: list[EditionView]) -> str:
    """Return the statement about heat treatment; "" unless the lot asks for one.

    A claim that the lot asks for is always answered: it is stated if the record of every charge
    supports it, and otherwise the page says that it is not supported.
    """
    runs = [run for charge in charges for run in charge.heat]
    if not lot.heat_treatment_stated:
        return ""
    if not (review.heat_treated and runs):
        return (
            "Not supported by the mill's record: do not take this lot as heat-treated. The "
            "official mark on the wood governs; ask the mill."
        )
    required = listed(
        dict.fromkeys(
            f"{figures.measure(run.threshold_c, '°C', 0)} or above for "
            f"{figures.measure(run.required_minutes, 'minutes', 0)} without a break"
            for run in runs
        )
    )
    return (
        f"The mill's record shows the core of the pieces measured at {required}. "
        "The official mark on the wood governs; this page is not a certificate."
    )


def _claim(lot: EditionView, review: EditionView) -> str:
    """Return the certificate claim; "" if none is made."""
    if not lot.claim:
        return ""
    outcomes = {finding.outcome for finding in review.findings if finding.check == "claim-evidence"}
    if UNSHOWN & {str(outcome) for outcome in outcomes}:
        return f"{lot.claim}. {NOT_SUPPORTED} The claim does not stand on the papers of the intake."
    return str(lot.claim)


def _stress(lot: EditionView, charges: list[EditionView]) -> str:
    """Return the statement about drying stress; "" unless a class was ordered."""
    ordered = lot.order.stress
    if not ordered:
        return ""
    outcomes = {
        finding.outcome
        for charge in charges
        for finding in charge.findings
        if finding.check == "drying-stress"
    }
    shown = "the test sections kept it." if outcomes == {"pass"} else NOT_SUPPORTED.lower()
    return f"Ordered: {ordered}; {shown}"


@cache
def _storage(target_pct: float) -> str:
    humidity = relative_humidity_for_emc(ROOM_C, target_pct)
    return (
        f"Keep it under cover, off the ground and wrapped until it is used. Timber at "
        f"{target_pct:g}{figures.NBSP}% MC stays as it is in air of about "
        f"{figures.measure(float(humidity), '%', 0)} relative humidity at "
        f"{figures.measure(ROOM_C, '°C', 0)}; in other air it changes."
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
    folder = f"{tag}/" if home else ""
    path = f"{token}/{folder}index.html"
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


def pack_words(numbers: Iterable[str]) -> str:
    """Return a lot's packs in a phrase, with their numbers if there are few."""
    names = list(numbers)
    if len(names) > _PACKS_NAMED:
        return plural(len(names), "pack")
    return ("pack " if len(names) == 1 else "packs ") + listed(names)
