"""What is said to its customer of a lot, in words and numbers: its record, made of what is on file.

`pages.customer` prints it, the ledger seals it, and the audit makes it again from what was sealed.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any
from zoneinfo import ZoneInfo

from kilnfolio.charts.survey import bars_of
from kilnfolio.physics.sorption import relative_humidity_for_emc
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.lot import Lot
from kilnfolio.records.model import Located
from kilnfolio.records.quantities import Volume
from kilnfolio.rendering.lot_state import STATES
from kilnfolio.rendering.regional import RegionalFormat, regional_format
from kilnfolio.rendering.templating import day as day_words
from kilnfolio.review import figures
from kilnfolio.review.assessment import CONFIDENCE_PCT, OWN_PACKS, WHOLE_CHARGE, WHOLE_CHARGES
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.site.editions import CUSTOMER_FIELDS, EditionView, for_customer
from kilnfolio.site.lot_record import (
    LotRecord,
    RecordBar,
    RecordContact,
    RecordNumbers,
    RecordPack,
    units_of_figures,
)
from kilnfolio.site.pages.phrases import listed, plural

#: Room temperature assumed in advice about storage. [°C]
ROOM_C = 20.0

#: Most packs named in a phrase; more are counted there and named in their list.
_PACKS_NAMED = 2

#: The answer to a claim that the record does not support.
NOT_SUPPORTED = "Not supported by the mill's record."
#: Outcomes under which the record does not support a claim.
UNSHOWN = frozenset({"fail", "question", "no data", "answered"})


@dataclass(frozen=True)
class Stated:
    """A lot with its reviews, as far as its customer may read them.

    Attributes
    ----------
    lot, review : EditionView
        The lot, and its review.
    charges : list of EditionView
        The reviews of its charges.
    mill, species : EditionView
        The mill, and the lot's species.
    regional : RegionalFormat
        Units and words of the mill's region.
    """

    lot: EditionView
    review: EditionView
    charges: list[EditionView]
    mill: EditionView
    species: EditionView
    regional: RegionalFormat

    @cached_property
    def surveys(self) -> list[EditionView]:
        """The final surveys of its charges."""
        return [charge.survey for charge in self.charges if charge.survey]

    @cached_property
    def readings(self) -> tuple[float, ...]:
        """The readings it was judged by [% MC]; none if it was not assessed."""
        if self.review.judgement.met is None or not self.surveys:
            return ()
        readings: tuple[float, ...] = self.review.readings
        return readings

    @cached_property
    def packs(self) -> tuple[tuple[str, int, str], ...]:
        """Number, pieces and volume of each pack."""
        return tuple(
            (pack.number, pack.pieces, self.regional.side_by_side(pack.volume))
            for pack in self.lot.packs
        )

    @cached_property
    def pack_words(self) -> str:
        """Its packs in a phrase."""
        return pack_words(pack.number for pack in self.lot.packs)

    @cached_property
    def pack_total(self) -> tuple[int, str]:
        """Pieces and volume of all packs."""
        return _total(self.lot)

    @cached_property
    def measured(self) -> tuple[dt.date, ...]:
        """The dates of the surveys at the mill."""
        zone = ZoneInfo(self.mill.time_zone)
        return tuple(sorted({survey.at.astimezone(zone).date() for survey in self.surveys}))

    @cached_property
    def size(self) -> str:
        """Thickness, width and length."""
        lot = self.lot
        thick = f"{figures.side_by_side(lot.thickness)} thick"
        return self.regional.localized(", ".join(filter(None, (thick, lot.width, lot.length))))

    @cached_property
    def method(self) -> str:
        """How the readings were taken and corrected."""
        return "; ".join(
            dict.fromkeys(
                survey.method + (f", {survey.correction_words}" if survey.correction_words else "")
                for survey in self.surveys
            )
        )

    @cached_property
    def heat(self) -> list[EditionView]:
        """The heat treatments that the lot asks to state and its charges' records show."""
        if not (self.lot.heat_treatment_stated and self.review.heat_treated):
            return []
        return [run for charge in self.charges for run in charge.heat]

    @cached_property
    def heat_treatment(self) -> str:
        """What the mill's record shows of heat treatment; "" unless the lot asks for it."""
        return self.regional.localized(_heat_treatment(self))

    @cached_property
    def boards(self) -> str:
        """Which boards the readings are of; "" where it was not assessed."""
        source = self.review.judgement.readings_from
        return _BOARDS.get(source, _BOARDS[WHOLE_CHARGE]) if self.readings else ""


def stated(
    folder: MillFolder, lot_id: str, dossiers: Mapping[str, Dossier], lot_dossier: LotDossier
) -> Stated:
    """Return a lot with its reviews, as far as its customer may read them; see `lot_record`."""
    lot = for_customer(folder.lots[lot_id].record)
    return Stated(
        lot,
        for_customer(lot_dossier),
        [for_customer(dossiers[name]) for name in lot_dossier.charges],
        for_customer(folder.mill.record),
        for_customer(folder.species[lot.species].record),
        regional_format(folder.mill.record),
    )


def lot_record(
    folder: MillFolder, lot_id: str, dossiers: Mapping[str, Dossier], lot_dossier: LotDossier
) -> LotRecord:
    """Return what a customer may know of a lot.

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
    """
    return record_of(stated(folder, lot_id, dossiers, lot_dossier), folder.lots[lot_id])


def record_of(about: Stated, located: Located[Lot]) -> LotRecord:
    """Return what a customer may know of a lot, of which `located` is the mill's own record."""
    lot, review, charges = about.lot, about.review, about.charges
    mill, species = about.mill, about.species
    judgement, readings = review.judgement, about.readings
    return LotRecord(
        invented=bool(lot.invented or mill.invented),
        lot=lot.id,
        version=lot.version,
        issued=lot.issued,
        mill=mill.name,
        place=f"{mill.place}, {mill.country}",
        contact=RecordContact(
            name=mill.contact.name, email=mill.contact.email, phone=mill.contact.phone or ""
        ),
        product=lot.product,
        gtin=lot.gtin or "",
        species=f"{species.trade_name} ({species.scientific_name})",
        size=about.size,
        packs=tuple(
            RecordPack(
                number=number,
                pieces=pieces,
                volume=volume,
                volume_m3=round(pack.volume.value, 4),
            )
            for pack, (number, pieces, volume) in zip(lot.packs, about.packs, strict=True)
        ),
        statement=judgement.sentence,
        verdict=STATES[judgement.met].verdict,
        ordered=judgement.rule,
        target=figures.as_entered(lot.order.target_mc),
        mean=figures.measure(judgement.mean_pct, "%", 1) if readings else "",
        span=_span(readings),
        readings=str(judgement.n) if readings else "",
        supported=_supported(judgement) if readings else "",
        method=about.method,
        measured=about.measured,
        heat_treatment=about.heat_treatment,
        stress=_stress(lot, charges),
        claim=_claim(lot, review),
        storage=_storage(lot.order.target_mc.value),
        bars=tuple(RecordBar(mc=words, boards=count) for words, count in bars_of(readings)),
        shown=shown_words(about),
        asked=entered_for_customer(located),
        numbers=_numbers(about),
        units=units_of_figures(),
    )


def shown_words(about: Stated) -> dict[str, str]:
    """Return the words that a page puts together of several facts."""
    lot, regional = about.lot, about.regional
    pieces, volume = about.pack_total
    return {
        "pack_words": about.pack_words,
        "packs": "; ".join(
            f"{number}, {pieces} pieces, {volume}" for number, pieces, volume in about.packs
        ),
        "measured": ", ".join(map(day_words, about.measured)),
        "issued": f"Version {lot.version}, issued {day_words(lot.issued)}",
        "boards": about.boards,
        "size": about.size,
        "method": regional.localized(about.method),
        "heat_treatment": about.heat_treatment,
        "pack_pieces": figures.number(pieces, 0),
        "pack_volume": regional.localized(volume),
    }


def pack_words(numbers: Iterable[str]) -> str:
    """Return a lot's packs in a phrase, with their numbers if there are few."""
    names = list(numbers)
    if len(names) > _PACKS_NAMED:
        return plural(len(names), "pack")
    return ("pack " if len(names) == 1 else "packs ") + listed(names)


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


def _numbers(about: Stated) -> RecordNumbers:
    lot, judgement, readings = about.lot, about.review.judgement, about.readings
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
        thickness_mm=round(lot.thickness.value, 3),
        confidence_pct=CONFIDENCE_PCT if readings and judgement.share_shown_pct else None,
        heat_core_c=min((run.threshold_c for run in about.heat), default=None),
        heat_minutes=min((run.required_minutes for run in about.heat), default=None),
    )


#: Which boards a lot is judged by, in a customer's words.
_BOARDS = {
    OWN_PACKS: "boards of this lot's own packs",
    WHOLE_CHARGE: "boards of the kiln load this lot comes from",
    WHOLE_CHARGES: "boards of the kiln loads this lot comes from",
}


def _span(readings: Sequence[float]) -> str:
    if not readings:
        return ""
    return f"{figures.number(min(readings))} to {figures.measure(max(readings), '%')}"


def _supported(judgement: EditionView) -> str:
    share = judgement.share_shown_pct
    if share is None or (judgement.piece_low_pct is None and judgement.piece_high_pct is None):
        return ""
    return (
        f"at least {figures.measure(share, '%', 1)} of the boards lie within what was ordered, at "
        f"95{figures.NBSP}% confidence, if the pieces were picked at random"
    )


def _heat_treatment(about: Stated) -> str:
    """Return the statement about heat treatment; "" unless the lot asks for one.

    A claim that the lot asks for is always answered: it is stated if the record of every charge
    supports it, and otherwise the page says that it is not supported.
    """
    if not about.lot.heat_treatment_stated:
        return ""
    if not about.heat:
        return (
            "Not supported by the mill's record: do not take this lot as heat-treated. The "
            "official mark on the wood governs; ask the mill."
        )
    required = listed(
        dict.fromkeys(
            f"{figures.measure(run.threshold_c, '°C', 0)} or above for "
            f"{figures.measure(run.required_minutes, 'minutes', 0)} without a break"
            for run in about.heat
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
        return f"{lot.claim}. {NOT_SUPPORTED} The claim is not on the intake papers."
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
    shown = "the test sections are within it." if outcomes == {"pass"} else NOT_SUPPORTED.lower()
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
