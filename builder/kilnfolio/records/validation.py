"""Validation of records: all problems at once, in the words of people who write records."""

from __future__ import annotations

import datetime as dt
import re
import types
import typing
from collections.abc import Iterator
from dataclasses import replace
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import (
    ValidationError,
)
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from kilnfolio.records.formats import FORMAT, FORMATS, current
from kilnfolio.records.model import TO_FILL, Located, R, Record
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.quantities import Quantity
from kilnfolio.records.yaml_source import Document
from kilnfolio.runtime.field_docs import field_doc
from kilnfolio.runtime.nearest import nearest


def validate(document: Document, model: type[R], *, zone: ZoneInfo | None = None) -> Located[R]:
    """Build a record from a document.

    Parameters
    ----------
    document : Document
        The parsed record.
    model : type of Record
        The model to build.
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
    """Return the name of a model's kind of record, as in ``charge``."""
    return _KIND.get(model.__name__, model.__name__.lower())


#: Names of kinds that differ from their models' names.
_KIND = {"LoggerProfile": "logger", "OpenOrder": "order", "InstrumentTrials": "instrument"}


def is_mark(value: object) -> bool:
    """Return whether a value is the mark of a value to be filled in."""
    return value in (TO_FILL, "...")


def holds_marks(value: dict[str, Any]) -> bool:
    """Return whether a record contains marks of values to be filled in."""
    return next(_blanks(value), None) is not None


def _blanks(
    value: dict[str, Any] | list[Any], path: tuple[int | str, ...] = ()
) -> Iterator[tuple[int | str, ...]]:
    """Yield the path of every mark of a value to be filled in."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for key, item in items:
        if isinstance(item, (dict, list)):
            yield from _blanks(item, (*path, key))
        elif is_mark(item):
            yield (*path, key)


def _blank_problem(document: Document, model: type[Record], path: tuple[int | str, ...]) -> Problem:
    key = next((str(part) for part in reversed(path) if isinstance(part, str)), "the value")
    owner = model_at(model, path[: path.index(key)]) if key in path else None
    field = owner.model_fields.get(key) if owner else None
    meaning = field_doc(owner, key).strip().rstrip(".") if owner and field else ""
    ways = [
        _how_to_write(field.annotation) if field else "",
        "Remove the line if there is none" if field and not field.is_required() else "",
    ]
    return Problem(
        document.place(*path),
        f"{key} is still to be filled in",
        f"it holds: {meaning}" if meaning else "the record is not complete without it",
        ". ".join(filter(None, ways)),
        absent=True,
    )


def _how_to_write(annotation: Any) -> str:
    """Return an example of how a value of this type is written."""
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
    """Remove duplicates: a union reports all its members, and a misspelt key is also missing."""
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
    """Return a name for the value at a path: its key, or the key and the number of the item."""
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
    """Drop the parts of a pydantic location that name types rather than keys."""
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
    """Return the only value that a field accepts; empty if there is a choice."""
    choices = (
        typing.get_args(field.annotation)
        if field and typing.get_origin(field.annotation) is Literal
        else ()
    )
    return str(choices[0]) if len(choices) == 1 else ""


#: Extra keys that need more explanation than their names.
_MANY = 20


def _unknown(document: Document, path: tuple[int | str, ...], model: type[Record]) -> Problem:
    owner = model_at(model, path[:-1])
    known = list(owner.model_fields) if owner else []
    free = [key for key in known if (*path[:-1], key) not in document.marks]
    near = nearest(str(path[-1]), free, cutoff=0.52)
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
    """Return the model of the mapping at `path`; None if it has no fixed model."""
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
    """Return the reason and what to write instead, in the language of people who write records."""
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
            f"it has {len(entered)} characters, and at most {context['max_length']} are allowed",
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
    if not choices:  # the only choice among numbers is the format
        read = " and ".join(map(str, FORMATS))
        later = entered.isdigit() and int(entered) > FORMAT
        instead = (
            "Install the version of kilnfolio that wrote it; if it is a slip, write "
            if later
            else "Write "
        )
        return f"this version reads formats {read}", f"{instead}'format: {FORMAT}'"
    near = nearest(entered.lower(), choices, cutoff=0.5)
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
