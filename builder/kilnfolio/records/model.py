"""The base of every record, and the types that records share."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from typing import Annotated, Any, Generic, TypeVar
from zoneinfo import ZoneInfo

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationInfo,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError, core_schema

from kilnfolio.records.problems import Place
from kilnfolio.records.quantities import HOUSE_UNIT, QUANTITY, Quantity
from kilnfolio.records.yaml_source import Document
from kilnfolio.runtime.values import dataclass

#: Marks a value in a new record that somebody still has to fill in.
TO_FILL = "…"


class Record(BaseModel):
    """A record or part of one: immutable once read; unknown keys are refused."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        str_strip_whitespace=True,
        allow_inf_nan=False,
        ser_json_inf_nan="strings",
        defer_build=True,  # build a validator only when a record of the kind is first read
    )


R = TypeVar("R", bound=Record)


@dataclass(frozen=True)
class Located(Generic[R]):
    """A record with the document it was read from, so that a finding can point to a line."""

    record: R
    document: Document

    @property
    def file(self) -> str:
        """The file's path relative to the mill folder."""
        return self.document.file

    def place(self, *path: str | int) -> Place:
        """Return where the value at `path` is written."""
        return self.document.place(*path)


# --- types shared by the records ----------------------------------------------------------------


def _matching(pattern: str, most: int, words: str) -> Any:
    """Return a text type that must match `pattern`; `words` describe it in the refusal."""
    matches = re.compile(pattern).fullmatch

    def check(text: str) -> str:
        if len(text) > most:
            raise record_error(
                text, f"it has {len(text)} characters, and at most {most} are allowed", "Shorten it"
            )
        if not matches(text):
            bare = unicodedata.normalize("NFKD", text.replace("ß", "ss")).encode("ascii", "ignore")
            near = re.sub(r"[^A-Za-z0-9]+", "-", bare.decode()).strip("-")
            tries = (way for way in (near, near.lower()) if matches(way))
            raise record_error(
                text,
                f"it may hold only {words}",
                "".join(f"Write '{way}', say" for way in [*tries][:1]),
            )
        return text

    return Annotated[
        str,
        AfterValidator(check),
        WithJsonSchema(
            {"type": "string", "pattern": f"^{pattern}$", "maxLength": most, "description": words}
        ),
    ]


def record_error(
    entered: object, why: str, instead: str = "", *, at: tuple[str | int, ...] = ()
) -> PydanticCustomError:
    """Return an error about one of a model's own values, for the model to raise."""
    return PydanticCustomError(
        "record", "{why}", {"entered": str(entered), "why": why, "instead": instead, "at": at}
    )


#: The name of a record in files and addresses.
Slug = _matching(r"[a-z0-9]+(-[a-z0-9]+)*", 60, "lower-case letters, digits and single hyphens")
_NUMBER = r"[A-Za-z0-9][A-Za-z0-9._-]*"
#: A charge, lot or pack number as the mill writes it; 20 characters is the length of a GS1 batch or
#: lot number, AI (10) (GS1 General Specifications).
Number = _matching(_NUMBER, 20, "letters, digits, '.', '_' and '-'")


def looks_like_a_number(text: str) -> bool:
    """Return whether a text has the characters of a `Number`, whatever its length."""
    return re.fullmatch(_NUMBER, text) is not None


#: Control characters but tabs and new lines, and characters that change the direction of the text
#: around them (Unicode UAX #9), by which one name can be made to look like another.
_INVISIBLE = re.compile("[\0-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def _printable(text: str) -> str:
    """Refuse invisible control characters, which an escape in a quoted text can contain."""
    if found := _INVISIBLE.search(text):
        raise record_error(
            text.replace(found[0], "?"),
            f"it holds the control character U+{ord(found[0]):04X}",
            "Remove it",
        )
    return text


Text = Annotated[str, Field(min_length=1, max_length=2000), AfterValidator(_printable)]
Name = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_printable)]

#: Possible years of a record, to catch a wrong century.
_YEARS = range(1950, 2200)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_TIME = re.compile(rf"({_DAY.pattern})[T ]\d{{2}}:\d{{2}}(:\d{{2}})?(Z|[+-]\d{{2}}:\d{{2}})?")
#: A date written 2/3/2026 or 2.3.2026, and one written 2026-3-2 or 2026/03/02.
_DAY_LAST = re.compile(r"(\d{1,2})[/.-](\d{1,2})[/.-](\d{4})\b")
_DAY_LOOSE = re.compile(r"(\d{4})(?:[/.-](\d{1,2})[/.-](\d{1,2})|(\d{2})(\d{2}))(?![\d])")


def _possible_dates(entered: str) -> list[str]:
    """Return every date that a date in another notation may mean."""
    if loose := _DAY_LOOSE.match(entered):
        year, month, day = (int(part) for part in loose.groups() if part)
        pairs = {(month, day)}
    elif last := _DAY_LAST.match(entered):
        one, other, year = map(int, last.groups())
        pairs = {(one, other), (other, one)}
    else:
        return []
    return [
        f"{year}-{month:02}-{day:02}"
        for month, day in sorted(pairs)
        if 1 <= month <= 12 and 1 <= day <= 31
    ]


def _time_of_day(entered: str) -> str:
    """Return the time of day in text such as 7:10 PM; empty if there is none."""
    found = re.search(r"\b(\d{1,2}):(\d{2})(?::\d{2})?\s*([ap])?\.?m?\b", entered, re.IGNORECASE)
    if not found or int(found[1]) > 23 or int(found[2]) > 59:
        return ""
    half = (found[3] or "").lower()
    hour = int(found[1]) % 12 + 12 * (half == "p") if half else int(found[1])
    return f"{hour:02}:{found[2]}"


def _checked_day(text: str, entered: object) -> dt.date:
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise _moment_error(entered, "is a day no calendar has", "Check month and day") from None
    if day.year not in _YEARS:
        raise _moment_error(entered, f"lies outside {_YEARS[0]} to {_YEARS[-1]}", "Check the year")
    return day


def _day(value: object) -> dt.date:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value
    entered = str(value).strip()
    if not _DAY.fullmatch(entered):
        raise _moment_error(
            value,
            "is not a day as records write it",
            f"Write {' or '.join(_possible_dates(entered)) or 'it as in 2026-03-02'}",
        )
    return _checked_day(entered, value)


def _moment(value: object, info: ValidationInfo) -> dt.datetime:
    if isinstance(value, dt.datetime) and value.tzinfo:
        return value
    entered = str(value).strip()
    if _DAY.fullmatch(entered):
        raise _moment_error(value, "has no time of day", f"Write it as in {entered}T07:10")
    written = _TIME.fullmatch(entered)
    if not written:
        clock = _time_of_day(entered)
        ways = " or ".join(f"{day}T{clock or '07:10'}" for day in _possible_dates(entered))
        raise _moment_error(
            value,
            "is not a date and time as records write it",
            f"Write {ways}" if ways and clock else f"Write it as in {ways or '2026-03-02T07:10'}",
        )
    _checked_day(written[1], value)
    try:
        moment = dt.datetime.fromisoformat(entered.replace(" ", "T"))
    except ValueError:
        raise _moment_error(
            value,
            "has an hour no clock shows",
            "Write 00:00 to 23:59; midnight is 00:00 of the new day",
        ) from None
    if moment.tzinfo:
        return moment
    zone = (info.context or {}).get("zone")
    if zone is None:
        raise _moment_error(
            value,
            "has no zone, and the mill's time zone is not known here",
            f"Write it with its offset, as in {entered.replace(' ', 'T')}-05:00",
        )
    return localize(moment, zone, value)


def localize(moment: dt.datetime, zone: ZoneInfo, entered: object) -> dt.datetime:
    """Return a local time with its zone, refusing hours that are repeated or skipped.

    Parameters
    ----------
    moment : datetime
        Naive local time.
    zone : ZoneInfo
        The mill's zone.
    entered : object
        The text as entered, for the message.

    Raises
    ------
    PydanticCustomError
        The hour was skipped or repeated when the clocks changed.
    """
    first = moment.replace(tzinfo=zone)
    second = moment.replace(tzinfo=zone, fold=1)
    if first.utcoffset() == second.utcoffset():
        return first
    if first.astimezone(dt.UTC).astimezone(zone).replace(tzinfo=None) != moment:
        summer = first.astimezone(dt.UTC).astimezone(zone)
        raise _moment_error(
            entered,
            f"never was: clocks in {zone.key} skipped that hour",
            f"Write {summer.isoformat('T', 'minutes')} if your clock stood at winter time still",
        )
    raise _moment_error(
        entered,
        f"happened twice: clocks in {zone.key} went back",
        f"Write {first.isoformat('T', 'minutes')} before the clocks went back, "
        f"{second.isoformat('T', 'minutes')} after",
    )


def _moment_error(value: object, why: str, instead: str) -> PydanticCustomError:
    return PydanticCustomError(
        "moment", "{why}", {"entered": str(value), "why": why, "instead": instead}
    )


#: A date and time; without an offset it is the local time of the mill.
Moment = Annotated[
    dt.datetime,
    BeforeValidator(_moment),
    WithJsonSchema({"type": "string", "format": "date-time", "examples": ["2026-03-02T07:10"]}),
]

#: The date on which something was done, written 2026-03-02.
Day = Annotated[
    dt.date,
    BeforeValidator(_day),
    WithJsonSchema({"type": "string", "format": "date", "examples": ["2026-03-02"]}),
]


class Signature(Record):
    """Who did or approved something, and when."""

    by: Name
    """Name or initials of the person."""
    on: Day
    """The day it was done or approved."""
    role: Name | None = None
    """What the person answers for."""


class Change(Record):
    """One line of a revision history."""

    revision: int
    """The revision this change made."""
    on: Day
    """The day it took effect."""
    by: Name
    """Who made the change."""
    what: Text
    """What changed and why, in a sentence."""


@dataclass(frozen=True)
class _InRange:
    """Restricts a quantity to a range in its house unit, which the JSON Schema states in words."""

    low: float
    high: float

    def check(self, quantity: Quantity) -> Quantity:
        if not self.low <= quantity.value <= self.high:
            whole = 100.0 * quantity.value
            fraction = quantity.unit == "%" and self.low <= whole <= self.high
            raise record_error(
                quantity.entered,
                f"it is not within {_range(self.low, self.high, quantity.unit)}",
                f"Write '{whole:g} %' if it is a fraction of one"
                if fraction
                else "Check the unit and the decimal point",
            )
        return quantity

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_after_validator_function(self.check, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        words = handler(schema)
        unit = words.get(HOUSE_UNIT)
        if unit is not None:
            words[QUANTITY] = f"{words[QUANTITY]}; {_range(self.low, self.high, unit)}"
        return words


def in_range(low: float, high: float) -> Any:
    """Return an annotation that restricts a quantity to a range in its house unit."""
    return _InRange(low, high)


def _range(low: float, high: float, unit: str) -> str:
    """Return a range in words, in metres if millimetres would have five digits."""
    if unit == "mm" and max(-low, high) >= 10_000.0:
        return f"{low / 1000:g} to {high / 1000:g} m"
    return f"{low:g} to {high:g} {unit}"
