"""The base of every record, and validation that collects every problem at once."""

from __future__ import annotations

import datetime as dt
import difflib
import re
import types
import typing
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated, Any, Generic, Literal, TypeVar
from zoneinfo import ZoneInfo

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationError,
    ValidationInfo,
    WithJsonSchema,
)
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails, PydanticCustomError, core_schema

from kilnfolio.records.formats import FORMAT, FORMATS, current
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.quantities import HOUSE_UNIT, QUANTITY, Quantity
from kilnfolio.records.yaml_source import Document
from kilnfolio.runtime.field_docs import field_doc

#: Stands in a new record for a value that somebody still has to write.
TO_FILL = "…"


class Record(BaseModel):
    """Part of a record: fields are fixed once read, and unknown keys are refused."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        str_strip_whitespace=True,
        allow_inf_nan=False,
        ser_json_inf_nan="strings",
        defer_build=True,  # a validator is built when a record of the kind is first read
    )


R = TypeVar("R", bound=Record)


@dataclass(frozen=True)
class Located(Generic[R]):
    """A record and the document it was read from, so that a finding can point at a line."""

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
    """Return a text type that follows `pattern`, refused in `words`."""

    def check(text: str) -> str:
        if len(text) > most:
            raise record_error(
                text, f"it has {len(text)} characters, and {most} are the most", "Shorten it"
            )
        if not re.fullmatch(pattern, text):
            near = re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-")
            tries = (way for way in (near, near.lower()) if re.fullmatch(pattern, way))
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
    """Return an error a model raises about one of its own values, at a path below itself."""
    return PydanticCustomError(
        "record", "{why}", {"entered": str(entered), "why": why, "instead": instead, "at": at}
    )


#: The name of a record in files and addresses.
Slug = _matching(r"[a-z0-9]+(-[a-z0-9]+)*", 60, "lower-case letters, digits and single hyphens")
#: A charge, lot or pack number as the mill writes it; 20 characters is the room a
#: GS1 batch or lot number, AI (10), has (GS1 General Specifications).
Number = _matching(r"[A-Za-z0-9][A-Za-z0-9._-]*", 20, "letters, digits, '.', '_' and '-'")


#: Characters that turn the order of the text around them (Unicode UAX #9): with them a name can be
#: made to read as another.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def _printable(text: str) -> str:
    """Refuse what an escape in a quoted text can smuggle in: characters that act unseen."""
    for character in text:
        if (
            unicodedata.category(character) == "Cc" and character not in "\n\t"
        ) or character in _TURNING:
            raise record_error(
                text.replace(character, "?"),
                f"it holds the control character U+{ord(character):04X}",
                "Remove it",
            )
    return text


Text = Annotated[str, Field(min_length=1, max_length=2000), AfterValidator(_printable)]
Name = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_printable)]

#: Years a record can be of: a slip in the century is caught.
_YEARS = range(1950, 2200)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_TIME = re.compile(rf"({_DAY.pattern})[T ]\d{{2}}:\d{{2}}(:\d{{2}})?(Z|[+-]\d{{2}}:\d{{2}})?")
#: A day written 2/3/2026 or 2.3.2026, and one written 2026-3-2 or 2026/03/02.
_DAY_LAST = re.compile(r"(\d{1,2})[/.-](\d{1,2})[/.-](\d{4})\b")
_DAY_LOOSE = re.compile(r"(\d{4})(?:[/.-](\d{1,2})[/.-](\d{1,2})|(\d{2})(\d{2}))(?![\d])")


def _meant(entered: str) -> list[str]:
    """Return every day that a day not written as records write it may mean."""
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


def _clock_meant(entered: str) -> str:
    """Return the time of day in words such as 7:10 PM; empty if there is none."""
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
            f"Write {' or '.join(_meant(entered)) or 'it as in 2026-03-02'}",
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
        clock = _clock_meant(entered)
        ways = " or ".join(f"{day}T{clock or '07:10'}" for day in _meant(entered))
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
    """Return the moment a local clock showed, refusing hours that repeat or never were.

    Parameters
    ----------
    moment : datetime
        Naive local time.
    zone : ZoneInfo
        The mill's zone.
    entered : object
        The words as entered, for the message.

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

#: The day a thing was done, written 2026-03-02.
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


# --- validation -----------------------------------------------------------------------------------


def validate(document: Document, model: type[R], *, zone: ZoneInfo | None = None) -> Located[R]:
    """Build a record from a document.

    Parameters
    ----------
    document : Document
        What was parsed.
    model : type of Record
        What it should be.
    zone : ZoneInfo, optional
        The mill's zone, for local times.

    Raises
    ------
    RecordProblems
        Every problem in the document, each with its place.
    """
    if not isinstance(document.value, dict):
        what = "the file is empty" if document.value is None else "the file holds no record"
        raise RecordProblems(
            [
                Problem(
                    document.place(),
                    what,
                    "a record is made of 'key: value' lines",
                    f"Begin with 'format: {FORMAT}'",
                )
            ]
        )
    document = current(document, kind_of(model))
    blanks = list(_blanks(document.value))
    details: list[ErrorDetails] = []
    try:
        record = model.model_validate(document.value, context={"zone": zone})
    except ValidationError as error:
        details = error.errors()
        unknown = [
            _real_path(document.value, detail["loc"])
            for detail in details
            if detail["type"] == "extra_forbidden"
        ]
        blanks = [path for path in blanks if path not in unknown]
        details = [
            detail for detail in details if _real_path(document.value, detail["loc"]) not in blanks
        ]
    if blanks or details:
        problems = [_problem(document, model, detail) for detail in details]
        raise RecordProblems(
            [
                *(_blank_problem(document, model, path) for path in blanks),
                *_without_echoes(problems, details),
            ]
        ) from None
    return Located(record, document)


def kind_of(model: type[Record]) -> str:
    """Return the word for a kind of record, as in ``charge``."""
    return _KIND.get(model.__name__, model.__name__.lower())


#: Kinds that are not called as their models are.
_KIND = {"LoggerProfile": "logger", "OpenOrder": "order"}


def is_mark(value: object) -> bool:
    """Return whether a value is the mark of one to be filled in."""
    return value in (TO_FILL, "...")


def holds_marks(value: object) -> bool:
    """Return whether anything in a record is still to be filled in, by its marks."""
    return next(_blanks(value), None) is not None


def _blanks(value: Any, path: tuple[int | str, ...] = ()) -> Iterator[tuple[int | str, ...]]:
    """Yield the path of every value that is still the mark of one to be filled in."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _blanks(item, (*path, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _blanks(item, (*path, index))
    elif is_mark(value):
        yield path


def _blank_problem(document: Document, model: type[Record], path: tuple[int | str, ...]) -> Problem:
    key = next((str(part) for part in reversed(path) if isinstance(part, str)), "the value")
    owner = model_at(model, path[: path.index(key)]) if key in path else None
    field = owner.model_fields.get(key) if owner else None
    meaning = field_doc(owner, key).strip().rstrip(".") if owner and field else ""
    ways = [
        _as_in(field.annotation) if field else "",
        "Remove the line if there is none" if field and not field.is_required() else "",
    ]
    return Problem(
        document.place(*path),
        f"{key} is still to be filled in",
        f"it holds: {meaning}" if meaning else "the record is not complete without it",
        ". ".join(filter(None, ways)),
        absent=True,
    )


def _as_in(annotation: Any) -> str:
    """Return how a value of this type is written."""
    for member in (_members(inside) for inside in _members(annotation)):
        for kind in member:
            if isinstance(kind, type) and issubclass(kind, Quantity):
                return f"Write it as in '{kind.example}'"
            if kind is dt.datetime:
                return "Write it as in 2026-03-02T07:10"
            if kind is dt.date:
                return "Write it as in 2026-03-02"
            if typing.get_origin(kind) is Literal:
                return "Write one of " + ", ".join(map(str, typing.get_args(kind)))
    return ""


def _without_echoes(problems: list[Problem], details: list[ErrorDetails]) -> list[Problem]:
    """Say each thing once: a union reports all its members, a misspelt key is also missing."""
    kept: dict[tuple[Place, str], Problem] = {}
    respelt = {problem.instead for problem in problems if problem.what.endswith("not known here")}
    for problem, detail in zip(problems, details, strict=True):
        about_key = problem.what.startswith("the key")
        if detail["type"] == "missing" and f"Did you mean '{detail['loc'][-1]}'?" in respelt:
            continue
        key = (problem.place, problem.what if about_key else "")
        first = kept.setdefault(key, problem)
        if first is not problem and detail["type"] == "literal_error":
            word = _choices(detail)[0]
            kept[key] = replace(first, instead=f"{first.instead}, or '{word}'")
    return list(kept.values())


def _choices(detail: ErrorDetails) -> list[str]:
    return re.findall(r"'([^']*)'", detail.get("ctx", {}).get("expected", ""))


def _problem(document: Document, model: type[Record], detail: ErrorDetails) -> Problem:
    kind, context = detail["type"], detail.get("ctx", {})
    path = (*_real_path(document.value, detail["loc"]), *context.get("at", ()))
    key = _name(path)
    if kind == "missing":
        return _missing(document, detail["loc"], model)
    if kind == "extra_forbidden":
        return _unknown(document, path, model)
    if detail["loc"] and detail["loc"][-1] == "[key]":
        why, instead = (
            (context["why"], context.get("instead", ""))
            if "why" in context
            else _plain_words(kind, context, detail)
        )
        return Problem(document.key_place(*path), f"the key '{key}'", why, instead)
    if detail["input"] is None:
        return Problem(
            document.key_place(*path),
            f"{key} is empty",
            "a value is needed here",
            "Write it" if _required(model, path) else "Write it, or remove the key",
            absent=True,
        )
    if kind == "too_short":
        return Problem(
            document.place(*path),
            f"{key} holds nothing",
            "the list is empty",
            "Add an item on a line of its own, beginning with '- '",
        )
    entered = context.get("entered", detail["input"])
    what = f"{key} {_shown(entered)}".strip()
    if kind in ("quantity", "moment", "record"):
        return Problem(document.place(*path), what, context["why"], context.get("instead", ""))
    why, instead = _plain_words(kind, context, detail)
    if kind.startswith(("dict", "model")) and (owner := model_at(model, path)):
        instead = "Its keys are: " + ", ".join(owner.model_fields)
    return Problem(document.place(*path), what, why, instead)


def _name(path: tuple[str | int, ...]) -> str:
    """Return what a person calls the value at a path: its key, or the key and which item."""
    if path and isinstance(path[-1], int):
        return f"{_name(path[:-1])}, item {path[-1] + 1}".lstrip(", ")
    return str(path[-1]) if path else ""


def _required(model: type[Record], path: tuple[str | int, ...]) -> bool:
    owner = model_at(model, path[:-1])
    field = owner.model_fields.get(str(path[-1])) if owner else None
    return field.is_required() if field else False


def _shown(value: object) -> str:
    if isinstance(value, (dict, list)):
        return "holds a list" if isinstance(value, list) else "holds a mapping"
    text = str(value)
    return f"'{text if len(text) <= 60 else text[:57] + '...'}'"


def _real_path(value: Any, loc: tuple[int | str, ...]) -> tuple[int | str, ...]:
    """Drop the parts of a pydantic location that name types, not keys."""
    path: list[int | str] = []
    for part in loc:
        stands = (
            part in value
            if isinstance(value, dict)
            else (isinstance(value, list) and isinstance(part, int) and part < len(value))
        )
        if stands:
            value = value[part]
            path.append(part)
    return tuple(path)


def _missing(document: Document, loc: tuple[int | str, ...], model: type[Record]) -> Problem:
    parent = _real_path(document.value, loc[:-1])
    owner = model_at(model, parent)
    field = owner.model_fields.get(str(loc[-1])) if owner else None
    meaning = field_doc(owner, str(loc[-1])).strip().rstrip(".") if owner and field else ""
    return Problem(
        document.key_place(*parent) if parent else document.place(),
        f"the key '{loc[-1]}' is missing",
        "it is needed here" + (f"; it holds: {meaning}" if meaning else ""),
        f"Add a line '{loc[-1]}: {_only_choice(field) or TO_FILL}'",
        absent=True,
    )


def _only_choice(field: FieldInfo | None) -> str:
    """Return the one word a field can hold; empty where there is a choice."""
    choices = (
        typing.get_args(field.annotation)
        if field and typing.get_origin(field.annotation) is Literal
        else ()
    )
    return str(choices[0]) if len(choices) == 1 else ""


#: Keys that are too many to tell by their names alone.
_MANY = 20


def _unknown(document: Document, path: tuple[int | str, ...], model: type[Record]) -> Problem:
    owner = model_at(model, path[:-1])
    known = list(owner.model_fields) if owner else []
    free = [key for key in known if (*path[:-1], key) not in document.places]
    near = difflib.get_close_matches(str(path[-1]), free, n=1, cutoff=0.52)
    above = next(
        (
            length
            for length in range(len(path) - 2, -1, -1)
            if (parent := model_at(model, path[:length])) and str(path[-1]) in parent.model_fields
        ),
        None,
    )
    if near:
        instead = f"Did you mean '{near[0]}'?"
    elif above is not None:
        instead = (
            "It is a key of "
            + (f"'{_name(path[:above])}'" if above else "the record itself")
            + ": move it there, indented as its neighbours are"
        )
    else:
        instead = "Known keys here: " + ", ".join(known) if known else "Remove it"
        if len(known) > _MANY:
            instead += f". 'kilnfolio schema {kind_of(model)}' says what each holds"
    return Problem(
        document.key_place(*path),
        f"the key '{path[-1]}' is not known here",
        "unknown keys are refused, so that a slip of the pen is not lost",
        instead,
    )


def model_at(model: type[Record], path: tuple[int | str, ...]) -> type[Record] | None:
    """Return the model that the mapping at `path` should follow, or None where none is fixed."""
    found: Any = model
    for part in path:
        found = _inside(found, part)
        if found is None:
            return None
    models = [
        member
        for member in _members(found)
        if isinstance(member, type) and issubclass(member, Record)
    ]
    return models[0] if models else None


def _inside(annotation: Any, part: int | str) -> Any:
    for member in _members(annotation):
        origin, args = typing.get_origin(member), typing.get_args(member)
        if isinstance(member, type) and issubclass(member, Record):
            field = member.model_fields.get(str(part))
            if field:
                return field.annotation
        elif origin in (list, tuple) and isinstance(part, int):
            return args[0]
        elif origin is dict and isinstance(part, str):
            return args[1]
    return None


def _members(annotation: Any) -> list[Any]:
    origin = typing.get_origin(annotation)
    if origin is Annotated:
        return _members(typing.get_args(annotation)[0])
    if origin in (typing.Union, types.UnionType):
        return [inner for member in typing.get_args(annotation) for inner in _members(member)]
    return [annotation]


def _plain_words(kind: str, context: dict[str, Any], detail: ErrorDetails) -> tuple[str, str]:
    """Return why and instead, in the words of somebody who types records."""
    entered = str(detail["input"])
    if kind in ("literal_error", "enum"):
        return _choice_words(entered, detail)
    if kind.startswith("bool"):
        return "it must be true or false", "Write true or false, without quotes"
    if kind == "finite_number":
        return "it is too large for a number", "Check the digits after the 'e'"
    if kind.startswith(("int", "float")):
        return _number_words(entered, whole=kind.startswith("int"))
    if kind == "string_type":
        return "it must be text", "" if isinstance(
            detail["input"], (dict, list)
        ) else f'Put it in quotes: "{entered}"'
    if kind == "string_too_short":
        return "it is empty", "Write the text, or remove the key"
    if kind == "string_too_long":
        return (
            f"it has {len(entered)} characters, and {context['max_length']} are the most",
            "Shorten it",
        )
    if kind in ("list_type", "tuple_type"):
        return "a list is needed here", "Begin each item on its own line with '- '"
    if kind in ("dict_type", "model_type", "model_attributes_type"):
        return "'key: value' lines are needed here", "Indent them under this key"
    if kind in ("greater_than_equal", "greater_than", "less_than_equal", "less_than"):
        words = {
            "greater_than_equal": ("at least", "ge"),
            "greater_than": ("more than", "gt"),
            "less_than_equal": ("at most", "le"),
            "less_than": ("less than", "lt"),
        }[kind]
        return f"it must be {words[0]} {context[words[1]]:g}", "Check the number"
    return detail["msg"][0].lower() + detail["msg"][1:].rstrip("."), ""


def _choice_words(entered: str, detail: ErrorDetails) -> tuple[str, str]:
    choices = _choices(detail)
    if not choices:  # the only number to choose from is the format
        read = " and ".join(map(str, FORMATS))
        later = entered.isdigit() and int(entered) > FORMAT
        instead = (
            "Install the version of kilnfolio that wrote it; if it is a slip, write "
            if later
            else "Write "
        )
        return f"this version reads formats {read}", f"{instead}'format: {FORMAT}'"
    near = difflib.get_close_matches(entered.lower(), choices, n=1, cutoff=0.5)
    return (
        f"it must be {'one of ' if len(choices) > 1 else ''}" + ", ".join(choices),
        f"Did you mean '{near[0]}'?" if near else "",
    )


def _number_words(entered: str, *, whole: bool) -> tuple[str, str]:
    number = "a whole number" if whole else "a number"
    if re.fullmatch(r"[-+]?\d+,\d+", entered):
        joined, point = entered.replace(",", ""), entered.replace(",", ".")
        ways = [joined] if whole else [point] if entered.startswith("0") else [point, joined]
        return "a comma may mean thousands or decimals", f"Write {' or '.join(ways)}"
    if found := re.fullmatch(r"([-+]?\d+(?:\.\d+)?)\s*[^\d\s.].*", entered):
        return f"it must be {number} without a unit", f"Write {found[1]}"
    return f"it must be {number}", "Write digits only" + (
        "" if whole else ", with a point for decimals"
    )


@dataclass(frozen=True)
class _InRange:
    """Keeps a quantity between two values of its house unit; the JSON Schema says so in words."""

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
    """Return an annotation that keeps a quantity between two values of its house unit."""
    return _InRange(low, high)


def _range(low: float, high: float, unit: str) -> str:
    """Return a range in words, in metres where millimetres run to five digits."""
    if unit == "mm" and max(-low, high) >= 10_000.0:
        return f"{low / 1000:g} to {high / 1000:g} m"
    return f"{low:g} to {high:g} {unit}"
