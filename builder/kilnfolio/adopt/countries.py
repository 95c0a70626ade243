"""Countries and their time zones, from the tables of the IANA time zone database."""

from __future__ import annotations

import datetime as dt
from functools import cache
from importlib import resources
from zoneinfo import ZoneInfo

#: Common names of countries that differ from the database's table (ISO 3166).
_ALSO = {
    "america": "US",
    "czechia": "CZ",
    "england": "GB",
    "great britain": "GB",
    "holland": "NL",
    "northern ireland": "GB",
    "republic of ireland": "IE",
    "scotland": "GB",
    "south korea": "KR",
    "the netherlands": "NL",
    "uk": "GB",
    "united kingdom": "GB",
    "united states of america": "US",
    "usa": "US",
    "wales": "GB",
}
#: The years in which the clocks of two zones must agree for them to count as one.
_FROM, _YEARS = dt.datetime(2024, 1, 1, 12, tzinfo=dt.UTC), 2


@cache
def zones_of(country: str) -> tuple[str, ...]:
    """Return the time zones of a country, one for each set of places whose clocks agree nowadays.

    Parameters
    ----------
    country : str
        A name or two-letter code; an unknown one returns nothing.
    """
    word = " ".join(country.split()).casefold()
    codes = {name.casefold(): code for code, name in _table("iso3166.tab", 0, 1)}
    code = (
        _ALSO.get(word)
        or codes.get(word)
        or (country if country in codes.values() else codes.get(f"{word} (uk)"))
    )
    clocks: dict[tuple[dt.timedelta | None, ...], str] = {}
    for of, name in _table("zone.tab", 0, 2):
        if of == code:
            clocks.setdefault(_clock(ZoneInfo(name)), name)
    return tuple(clocks.values())


def _clock(zone: ZoneInfo) -> tuple[dt.timedelta | None, ...]:
    days = (_FROM + dt.timedelta(days=day) for day in range(0, 366 * _YEARS, 3))
    return tuple(day.astimezone(zone).utcoffset() for day in days)


def _table(file: str, *columns: int) -> list[tuple[str, ...]]:
    text = (resources.files("tzdata") / "zoneinfo" / file).read_text("utf-8")
    lines = [line.split("\t") for line in text.splitlines() if line and not line.startswith("#")]
    return [tuple(line[column].strip() for column in columns) for line in lines]
