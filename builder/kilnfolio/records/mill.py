"""The mill: who it is, where it stands, and what its pages print."""

from __future__ import annotations

from typing import Annotated, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator

from kilnfolio.records.model import Name, Record, Text, in_range, record_error
from kilnfolio.records.quantities import Length, Pressure


def _zone(name: str) -> str:
    if name not in available_timezones():
        raise record_error(name, "it is not a time zone of the IANA database",
                           "Write it as in America/Toronto or Europe/Dublin")
    return name


class Contact(Record):
    """How a customer reaches the mill about a lot."""

    name: Name
    """The office, not a person."""
    email: Name
    """Address."""
    phone: Name | None = None
    """Telephone."""


class Mill(Record):
    """``content/mill.yaml``."""

    format: Literal[1]
    """The record format."""
    name: Name
    """The mill's name as printed."""
    invented: bool = False
    """True for a demonstration mill: every page then says so."""
    place: Name
    """Town and region, as printed."""
    country: Name
    """Country, as printed."""
    language: Name = "en"
    """Language tag of the pages."""
    time_zone: Annotated[Name, AfterValidator(_zone)]
    """IANA time zone of the clocks people read, as in America/Toronto."""
    altitude: Annotated[Length, in_range(-500_000, 5_000_000)]
    """Height above sea level, as in 310 m: it sets the air pressure."""
    pressure: Pressure | None = None
    """Mean air pressure, where measured; otherwise from the altitude."""
    contact: Contact
    """Printed on every lot page."""
    records_address: Name
    """Where the customer edition is served; QR codes lead there."""
    practice: Literal["North American", "British", "continental", "Australasian"]
    """Whose rules and words come first."""
    about: Text | None = None
    """A sentence or two for the front page."""

    @property
    def zone(self) -> ZoneInfo:
        """The mill's time zone."""
        return ZoneInfo(self.time_zone)
