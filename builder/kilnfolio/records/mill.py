"""The mill: who and where it is, and what its pages print."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Literal, get_args
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BeforeValidator

from kilnfolio.records.model import Name, Record, Text, in_range, record_error
from kilnfolio.records.prices import amount, price_per
from kilnfolio.records.quantities import Length, Pressure
from kilnfolio.records.region import RegionName


def _zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, OSError, ValueError):  # no such zone, or no name of a file of zones
        known = False
    else:
        known = "." not in name and name[:6] not in ("posix/", "right/")
    if known and ("/" not in name or name.startswith("Etc/")):
        raise record_error(
            name,
            "it says no place, and follows no summer time",
            "Write it as in America/Toronto or Europe/Dublin",
        )
    if not known:
        raise record_error(
            name,
            "it is not a time zone of the IANA database",
            "Write it as in America/Toronto or Europe/Dublin",
        )
    return name


TimeZone = Annotated[Name, AfterValidator(_zone)]
"""A time zone of the IANA database that belongs to a place."""


def _height(entered: object) -> object:
    """Refuse a height without a unit: the usual hint of a length is mm, which nobody means here."""
    if re.fullmatch(r"-?\d+(\.\d+)?", str(entered).strip()):
        raise record_error(
            entered, "has no unit", f"Write '{entered} m' or '{entered} ft', whichever it is"
        )
    return entered


_TARIFF = price_per("kWh", "0.11 CAD/kWh", "a price of a kilowatt-hour with its currency")


class Contact(Record):
    """How a customer reaches the mill about a lot."""

    name: Name
    """The office, not a person."""
    email: Name
    """The office's e-mail address."""
    phone: Name | None = None
    """The office's telephone number."""


#: Languages of customers' pages; `rendering.languages` has their catalogues.
CustomerLanguage = Literal["en", "fr", "de"]


#: Languages of the mill's own pages.
OwnLanguage = Literal["en", "fr", "de"]


def _own_language(tag: str) -> str:
    if tag not in get_args(OwnLanguage):
        raise record_error(
            tag,
            "there is no translation of the mill's own pages into it",
            f"Write language: {' or '.join(get_args(OwnLanguage))}",
        )
    return tag


def _each_once(tags: list[str]) -> list[str]:
    if not tags or len(set(tags)) < len(tags):
        raise record_error(
            ", ".join(tags) or "[]",
            "it names no language, or one twice",
            "Write each language once, as in [en, fr]",
        )
    return tags


class SignedWording(Record):
    """A translation of the safety wording, read and signed by the mill."""

    language: CustomerLanguage
    """The language of the wording."""
    wording: Name
    """The digits that an unsigned page prints beside the wording, which identify its text."""
    by: Name
    """Who signs for the mill."""
    on: dt.date
    """The day it was signed."""


class Mill(Record):
    """``content/mill.yaml``."""

    format: Literal[1]
    """The record format."""
    name: Name
    """The mill's name as printed."""
    invented: bool = False
    """True for a demonstration mill; then every page says so."""
    place: Name
    """Town and region, as printed."""
    country: Name
    """The country, as printed."""
    language: Annotated[Name, AfterValidator(_own_language)] = "en"
    """Language of the mill's own pages: en, fr or de; chapters and sealed sentences stay as written."""
    customer_languages: Annotated[list[CustomerLanguage], AfterValidator(_each_once)] = ["en"]
    """Languages of customers' pages, lot PDFs and labels; a label's code leads to the first."""
    signed_wordings: list[SignedWording] = []
    """Translations of the safety wording that the mill has signed; others count as unsigned."""
    time_zone: TimeZone
    """IANA time zone of the clocks people read, as in America/Toronto."""
    altitude: Annotated[Length, BeforeValidator(_height), in_range(-500_000, 5_000_000)]
    """Height above sea level, as in 310 m; it determines the air pressure."""
    pressure: Pressure | None = None
    """Mean air pressure, if measured; otherwise it follows from the altitude."""
    contact: Contact
    """Printed on every lot page."""
    records_address: Name
    """Address at which the customer edition is served; QR codes lead there."""
    digital_link: bool = False
    """Whether the page of a lot with a GTIN has a second address by GS1 Digital Link, which can be
    guessed."""
    energy_tariff: Annotated[Name, _TARIFF] | None = None
    """Price of metered energy, as in 0.11 CAD/kWh, for the cost of each charge."""
    practice: RegionName
    """The region whose rules and words apply unless a charge or an order says otherwise."""
    about: Text | None = None
    """A sentence or two for the front page."""

    @property
    def energy_price(self) -> tuple[float, str] | None:
        """The price of a kilowatt-hour and its currency, if the mill gives a tariff."""
        return amount(self.energy_tariff)

    def has_signed(self, tag: str, wording: str) -> bool:
        """Return whether the mill has signed the present safety wording in a language."""
        return any(one.language == tag and one.wording == wording for one in self.signed_wordings)

    @property
    def zone(self) -> ZoneInfo:
        """The mill's time zone."""
        return ZoneInfo(self.time_zone)
