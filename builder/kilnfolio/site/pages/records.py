"""The reference of records: every key of every file, made from the models that read them."""

from __future__ import annotations

import datetime as dt
import re
import types
import typing
from typing import Annotated, Any, Literal

from pydantic.fields import FieldInfo

from kilnfolio.records.earlier import EarlierCharge, EarlierReading
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.model import Record
from kilnfolio.records.quantities import Quantity
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import PLAIN, RegionalFormat
from kilnfolio.runtime.field_docs import field_doc
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import RECORDS_PAGE, SiteContext

#: The model of each file, in the order in which a mill first needs them; of a table, of its rows.
FILES: tuple[type[Record], ...] = (
    *(kind.model for kind in RECORD_KINDS.values()),
    EarlierCharge,
    EarlierReading,
)


@dataclass(frozen=True)
class Key:
    """One key of a record."""

    name: str
    type: str
    target: str
    """Anchor of the part it holds; empty for a plain value."""
    required: bool
    default: str
    meaning: str


@dataclass(frozen=True)
class Part:
    """A model: a file, or a part of one."""

    name: str
    anchor: str
    meaning: str
    keys: list[Key]


@dataclass(frozen=True)
class Group:
    """A file, with the parts that no earlier file has."""

    file: Part
    parts: list[Part]


def records_page(context: SiteContext) -> Page:
    """Return the reference page."""
    groups = record_groups(context.regional)
    keys = sum(len(part.keys) for group in groups for part in (group.file, *group.parts))
    return context.page(
        "records.html",
        RECORDS_PAGE,
        "Records",
        "record",
        groups=groups,
        summary=f"Every key of every file the mill writes: {keys} keys, with type and meaning.",
        text=[
            f"{part.name}: {part.meaning} "
            + " ".join(f"{key.name}: {key.meaning}" for key in part.keys)
            for group in groups
            for part in (group.file, *group.parts)
        ],
    )


def record_groups(regional: RegionalFormat) -> list[Group]:
    """Return each file's model with the parts that no earlier file has."""
    seen: set[type[Record]] = set(FILES)
    groups = []
    for model in FILES:
        parts: list[type[Record]] = []
        _collect(model, seen, parts)
        groups.append(Group(_part(model, regional), [_part(part, regional) for part in parts]))
    return groups


def _collect(model: type[Record], seen: set[type[Record]], parts: list[type[Record]]) -> None:
    for field in model.model_fields.values():
        for member in _models(field.annotation):
            if member not in seen:
                seen.add(member)
                parts.append(member)
                _collect(member, seen, parts)


def _part(model: type[Record], regional: RegionalFormat) -> Part:
    meaning = " ".join((model.__doc__ or "").split())
    return Part(
        _name(model),
        _anchor(model),
        meaning.replace("``", ""),
        [_key(model, name, field, regional) for name, field in model.model_fields.items()],
    )


def _name(model: type[Record]) -> str:
    words = "".join(" " + c.lower() if c.isupper() else c for c in model.__name__.partition("[")[0])
    inner = model.__pydantic_generic_metadata__["args"]
    return words.strip().capitalize() + (f" {type_words(inner[0])}" if inner else "")


def _anchor(model: type[Record]) -> str:
    return re.sub(r"[^a-z0-9]+", "-", _name(model).lower()).strip("-")


def _key(model: type[Record], name: str, field: FieldInfo, regional: RegionalFormat) -> Key:
    inner = _models(field.annotation)
    required = field.is_required()
    default = "" if required else _default(field)
    return Key(
        name,
        type_words(field.annotation, regional),
        _anchor(inner[0]) if inner else "",
        required,
        default,
        " ".join(field_doc(model, name).split()).replace("``", ""),
    )


def _default(field: FieldInfo) -> str:
    value = field.get_default(call_default_factory=True)
    if value is None or value in ([], {}, "") or isinstance(value, Record):
        return ""
    return (
        {True: "true", False: "false"}.get(value, str(value))
        if isinstance(value, bool)
        else str(value)
    )


def _models(annotation: Any) -> list[type[Record]]:
    if isinstance(annotation, type) and issubclass(annotation, Record):
        return [annotation]
    return [model for member in typing.get_args(annotation) for model in _models(member)]


_PLAIN = {
    str: "text",
    int: "whole number",
    float: "number",
    bool: "true or false",
    dt.date: "day",
    dt.datetime: "moment",
}


def type_words(annotation: Any, regional: RegionalFormat = PLAIN) -> str:
    """Return a type in words for somebody who writes records."""
    origin, arguments = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is Annotated:
        return type_words(arguments[0], regional)
    if origin is Literal:
        return " or ".join(str(choice) for choice in arguments)
    if origin in (typing.Union, types.UnionType):
        return " or ".join(type_words(one, regional) for one in arguments if one is not type(None))
    if origin is list:
        return f"list of {type_words(arguments[0], regional)}"
    if origin is dict:
        return f"mapping to {type_words(arguments[1], regional)}"
    if isinstance(annotation, type) and issubclass(annotation, Record):
        return _name(annotation).lower()
    if isinstance(annotation, type) and issubclass(annotation, Quantity):
        example = regional.native(annotation.parse(annotation.example)).entered
        return f"{annotation.dimension}, as in {example}"
    return _PLAIN.get(annotation, "text")
