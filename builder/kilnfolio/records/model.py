"""The base of every record, and validation that collects every problem at once."""

from __future__ import annotations

import datetime as dt
import difflib
import re
import types
import typing
from dataclasses import dataclass
from typing import Annotated, Any, Generic, TypeVar
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from pydantic import ValidationInfo, WithJsonSchema
from pydantic_core import ErrorDetails, PydanticCustomError

from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.quantities import Quantity
from kilnfolio.records.yaml_source import Document

#: The record format this version reads and writes.
FORMAT = 1


class Record(BaseModel):
    """Part of a record: fields are fixed once read, and unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True,
                              ser_json_inf_nan="strings", use_attribute_docstrings=True)


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
        if len(text) > most or not re.fullmatch(pattern, text):
            raise record_error(text, f"it may hold only {words}, {most} at most")
        return text
    return Annotated[str, AfterValidator(check),
                     WithJsonSchema({"type": "string", "pattern": f"^{pattern}$",
                                     "maxLength": most, "description": words})]


def record_error(entered: object, why: str, instead: str = "") -> PydanticCustomError:
    """Return an error a model raises about one of its own values."""
    return PydanticCustomError("record", "{why}", {"entered": str(entered), "why": why,
                                                   "instead": instead})


#: The name of a record in files and addresses.
Slug = _matching(r"[a-z0-9]+(-[a-z0-9]+)*", 60,
                 "lower-case letters, digits and single hyphens")
#: A charge, lot or pack number as the mill writes it; 20 characters is the room a
#: GS1 batch or lot number, AI (10), has (GS1 General Specifications).
Number = _matching(r"[A-Za-z0-9][A-Za-z0-9._-]*", 20, "letters, digits, '.', '_' and '-'")
Text = Annotated[str, Field(min_length=1, max_length=2000)]
Name = Annotated[str, Field(min_length=1, max_length=120)]


def _moment(value: object, info: ValidationInfo) -> dt.datetime:
    if isinstance(value, dt.datetime) and value.tzinfo:
        return value
    text = str(value).strip().replace(" ", "T", 1)
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise _moment_error(value, "is not a date and time",
                            "Write it as in 2026-03-02T07:10") from None
    if "T" not in text:
        raise _moment_error(value, "has no time of day", "Write it as in 2026-03-02T07:10")
    if moment.tzinfo:
        return moment
    zone = (info.context or {}).get("zone")
    if zone is None:
        raise _moment_error(value, "has no zone, and the mill's time zone is not known here",
                            "Write it as in 2026-03-02T07:10-05:00")
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
        raise _moment_error(entered, f"never was: clocks in {zone.key} skipped that hour",
                            "Write the time with its offset, as in "
                            + second.astimezone(dt.UTC).astimezone(zone).isoformat("T", "minutes"))
    raise _moment_error(entered, f"happened twice: clocks in {zone.key} went back",
                        f"Write {first.isoformat('T', 'minutes')} for the first, "
                        f"{second.isoformat('T', 'minutes')} for the second")


def _moment_error(value: object, why: str, instead: str) -> PydanticCustomError:
    return PydanticCustomError("moment", "{why}", {"entered": str(value), "why": why,
                                                   "instead": instead})


#: A date and time; without an offset it is the local time of the mill.
Moment = Annotated[dt.datetime, BeforeValidator(_moment),
                   WithJsonSchema({"type": "string", "format": "date-time",
                                   "examples": ["2026-03-02T07:10"]})]

#: The day a thing was done, written 2026-03-02.
Day = Annotated[dt.date, WithJsonSchema({"type": "string", "format": "date",
                                         "examples": ["2026-03-02"]})]


class Signature(Record):
    """Who did or approved something, and when."""

    by: Name
    """Name or initials of the person."""
    on: Day
    """The day."""
    role: Name | None = None
    """What the person answers for."""


class Change(Record):
    """One line of a revision history."""

    revision: int
    """The revision this change made."""
    on: Day
    """The day it took effect."""
    by: Name
    """Who made it."""
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
        raise RecordProblems([Problem(
            document.place(), "the file holds no record", "a record is a list of 'key: value' lines",
            f"Begin with 'format: {FORMAT}'")])
    try:
        record = model.model_validate(document.value, context={"zone": zone})
    except ValidationError as error:
        problems = [_problem(document, model, detail) for detail in error.errors()]
        raise RecordProblems(_without_echoes(problems)) from None
    return Located(record, document)


def _without_echoes(problems: list[Problem]) -> list[Problem]:
    """Keep one problem a place: a union reports each of its members."""
    kept: dict[Place, Problem] = {}
    for problem in problems:
        kept.setdefault(problem.place, problem)
    missing = [p for p in problems if p.what.startswith("the key")]
    return list({*kept.values(), *missing})


def _problem(document: Document, model: type[Record], detail: ErrorDetails) -> Problem:
    path = _real_path(document.value, detail["loc"])
    key = next((part for part in reversed(path) if isinstance(part, str)), "")
    kind, context = detail["type"], detail.get("ctx", {})
    if kind == "missing":
        return _missing(document, detail["loc"], model)
    if kind == "extra_forbidden":
        return _unknown(document, path, model)
    entered = context.get("entered", detail["input"])
    what = f"{key} {_shown(entered)}".strip()
    if kind in ("quantity", "moment", "record"):
        return Problem(document.place(*path), what, context["why"], context.get("instead", ""))
    if detail["input"] is None:
        return Problem(document.key_place(*path), f"{key} is empty", "a value is needed here",
                       "Write the value, or remove the key if it may be left out")
    why, instead = _plain_words(kind, context, detail)
    return Problem(document.place(*path), what, why, instead)


def _shown(value: object) -> str:
    if isinstance(value, (dict, list)):
        return "holds a list" if isinstance(value, list) else "holds a mapping"
    text = str(value)
    return f"'{text if len(text) <= 60 else text[:57] + '...'}'"


def _real_path(value: Any, loc: tuple[int | str, ...]) -> tuple[int | str, ...]:
    """Drop the parts of a pydantic location that name types, not keys."""
    path: list[int | str] = []
    for part in loc:
        if isinstance(value, dict) and part in value:
            value = value[part]
        elif isinstance(value, list) and isinstance(part, int) and part < len(value):
            value = value[part]
        else:
            continue
        path.append(part)
    return tuple(path)


def _missing(document: Document, loc: tuple[int | str, ...], model: type[Record]) -> Problem:
    parent = _real_path(document.value, loc[:-1])
    owner = model_at(model, parent)
    field = owner.model_fields.get(str(loc[-1])) if owner else None
    meaning = (field.description or "").strip().rstrip(".") if field else ""
    return Problem(document.key_place(*parent) if parent else document.place(),
                   f"the key '{loc[-1]}' is missing",
                   f"it says: {meaning}" if meaning else "it is needed here",
                   f"Add a line '{loc[-1]}: …'")


def _unknown(document: Document, path: tuple[int | str, ...], model: type[Record]) -> Problem:
    owner = model_at(model, path[:-1])
    known = list(owner.model_fields) if owner else []
    near = difflib.get_close_matches(str(path[-1]), known, n=1, cutoff=0.55)
    if near:
        instead = f"Did you mean '{near[0]}'?"
    else:
        instead = "Known keys here: " + ", ".join(known) if known else "Remove it"
    return Problem(document.key_place(*path), f"the key '{path[-1]}' is not known here",
                   "unknown keys are refused, so that a slip of the pen is not lost",
                   instead)


def model_at(model: type[Record], path: tuple[int | str, ...]) -> type[Record] | None:
    """Return the model that the mapping at `path` should follow, or None where none is fixed."""
    found: Any = model
    for part in path:
        found = _inside(found, part)
        if found is None:
            return None
    models = [member for member in _members(found)
              if isinstance(member, type) and issubclass(member, Record)]
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
    entered = detail["input"]
    if kind in ("literal_error", "enum"):
        choices = re.findall(r"'([^']*)'", context.get("expected", ""))
        near = difflib.get_close_matches(str(entered), choices, n=1, cutoff=0.5)
        return ("it must be one of " + ", ".join(choices),
                f"Did you mean '{near[0]}'?" if near else "")
    if kind.startswith("bool"):
        return "it must be true or false", "Write true or false, without quotes"
    if kind.startswith(("int", "float")) or kind == "decimal_parsing":
        if isinstance(entered, str) and re.search(r"\d,\d", entered):
            return ("a comma may mean thousands or decimals",
                    f"Write '{entered.replace(',', '.')}' or '{entered.replace(',', '')}'")
        return "it must be a number", "Write digits only, with a point for decimals"
    if kind.startswith("date"):
        return "it must be a date", "Write it as in 2026-03-02"
    if kind == "string_type":
        return "it must be text", f'Put it in quotes: "{entered}"'
    if kind in ("list_type", "tuple_type"):
        return "a list is needed here", "Begin each item on its own line with '- '"
    if kind in ("dict_type", "model_type", "model_attributes_type"):
        return "'key: value' lines are needed here", "Indent them under this key"
    if kind in ("greater_than_equal", "greater_than", "less_than_equal", "less_than"):
        return detail["msg"].lower().replace("input should be", "it must be"), ""
    return detail["msg"][0].lower() + detail["msg"][1:].rstrip("."), ""


def in_range(low: float, high: float) -> Any:
    """Return an annotation that keeps a quantity between two values of its house unit."""
    def check(quantity: Quantity) -> Quantity:
        if not low <= quantity.value <= high:
            raise record_error(
                quantity.entered,
                f"it lies outside {low:g} to {high:g} {quantity.unit}, where a {quantity.dimension}"
                " can lie here", "Check the unit and the decimal point")
        return quantity
    return AfterValidator(check)
