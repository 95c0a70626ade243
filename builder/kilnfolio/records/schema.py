"""JSON Schemas of the records, for editors and as a reference of every key.

They are generated from the models and are never stricter: a record that is read without a problem
also conforms to its schema, even in a validator that checks formats. A schema allows marks of
values to be filled in wherever a draft may have them. What a schema cannot express (that a step
states in exactly one way how dry the air is, that ids name existing records) is checked when the
folder is read.
"""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.model import TO_FILL
from kilnfolio.records.open_charge import LAST
from kilnfolio.records.quantities import HOUSE_UNIT, QUANTITY
from kilnfolio.records.sourced import Sourced
from kilnfolio.runtime.field_docs import DescribedSchema

#: The dialect: JSON Schema draft 2020-12.
DIALECT = "https://json-schema.org/draft/2020-12/schema"
#: A local date and time, or one with its offset. JSON Schema's ``date-time`` demands the offset.
MOMENT = r"^\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:?\d{2})?$"
#: The mark of a value to be filled in, which a draft may contain.
_MARK = {"enum": [TO_FILL, "..."], "description": "Still to be filled in."}
#: The description of a parametrized model, such as Sourced[Percent].
_GENERIC = str(Sourced.__doc__)
#: Words in a key that are written in capitals.
_CAPITALS = {"mc": "MC", "emc": "EMC", "fsp": "FSP", "id": "ID"}


def record_schema(kind: str) -> dict[str, Any]:
    """Return the JSON Schema of a record kind.

    Parameters
    ----------
    kind : str
        One of `RECORD_KINDS`, as in ``charge``.

    Returns
    -------
    dict
        The schema; every key has a title and a description, and quantities list their units.

    Raises
    ------
    KeyError
        There is no such kind.
    """
    article = "The" if kind == "sources" else "An" if kind[0] in "aeiou" else "A"
    schema = model_schema(RECORD_KINDS[kind].model, f"{article} {kind} record")
    if kind == "charge":
        _allow_marks(schema)
        schema |= _only_when_ended(schema.pop("required"))
    elif RECORD_KINDS[kind].draft:
        _allow_marks(schema)
    return {**schema, "description": _home(schema["description"])}


def model_schema(kind: type[BaseModel], title: str) -> dict[str, Any]:
    """Return the JSON Schema of a model under a given title.

    Returns
    -------
    dict
        The schema; every key has a title and a description, and quantities list their units.
    """
    schema = kind.model_json_schema(schema_generator=DescribedSchema)
    for model in (schema, *schema.get("$defs", {}).values()):
        model["title"] = _title(_words(model["title"]))
        model.setdefault("description", _GENERIC)
        for key, field in model.get("properties", {}).items():
            _describe(field, key)
    # limits and sources are mappings with free keys: describe their values in place
    _in_words(schema)
    return {"$schema": DIALECT, **_for_validators(schema), "title": title}


def _home(description: str) -> str:
    """Return the path of a record, with which its model's docstring begins."""
    return "Kept in " + description.split("``")[1] + description.split("``")[2].replace(":", ".", 1)


def _describe(field: dict[str, Any], key: str) -> None:
    """Add a title to a key, and the units and range of its quantity to the description."""
    field["title"] = _title(key.split("_"))
    said = [field.get("description", "").strip(), *_quantities(field)]
    if "default" in field and field["default"] not in (None, [], {}):
        default = field["default"]
        said.append(f"Without it: {str(default).lower() if default in (True, False) else default}")
    sentences = [
        text[0].upper() + text[1:] + ("" if text[-1] in ".?!" else ".") for text in said if text
    ]
    field["description"] = " ".join(dict.fromkeys(sentences))


def _quantities(field: dict[str, Any]) -> list[str]:
    """Return the units and range of a field's quantities, if its description lacks them."""
    members = [
        field,
        *field.get("anyOf", []),
        *([field["items"]] if "items" in field else []),
        *(
            [field["additionalProperties"]]
            if isinstance(field.get("additionalProperties"), dict)
            else []
        ),
    ]
    return [member[QUANTITY] for member in members if QUANTITY in member]


def _in_words(node: Any) -> None:
    """Turn the private keys of quantities into descriptions throughout a schema."""
    if isinstance(node, list):
        for item in node:
            _in_words(item)
    elif isinstance(node, dict):
        words, _ = node.pop(QUANTITY, None), node.pop(HOUSE_UNIT, None)
        if words and "description" not in node:
            node["description"] = words
        for item in node.values():
            _in_words(item)


def _words(name: str) -> list[str]:
    """Return the words of a model's name, such as SafeDailyLoss."""
    spaced = "".join(f" {letter.lower()}" if letter.isupper() else letter for letter in name)
    return spaced.split("[", 1)[0].split()


def _title(words: list[str]) -> str:
    joined = " ".join(_CAPITALS.get(word, word) for word in words)
    return joined[0].upper() + joined[1:]


def _for_validators(node: Any) -> Any:
    """Return a schema for strict validators: one type each, and local times as text."""
    if isinstance(node, list):
        return [_for_validators(item) for item in node]
    if not isinstance(node, dict):
        return node
    made = {key: _for_validators(item) for key, item in node.items()}
    if made.get("format") == "date-time":
        del made["format"]
        made["pattern"] = MOMENT
    if isinstance(types := made.get("type"), list):
        del made["type"]
        pattern = {"pattern": made.pop("pattern")} if "pattern" in made else {}
        made["anyOf"] = [{"type": name, **(pattern if name == "string" else {})} for name in types]
    return made


def _allow_marks(schema: dict[str, Any]) -> None:
    """Allow the mark of a value to be filled in for every value of a draft."""
    for model in (schema, *schema.get("$defs", {}).values()):
        for key, field in model.get("properties", {}).items():
            if key != "format":
                model["properties"][key] = _or_mark(field)


def _or_mark(field: dict[str, Any]) -> dict[str, Any]:
    """Return a field's schema that also allows the mark, for itself and each of its items."""
    said: tuple[str, ...] = ("title", "description", "examples", "default")
    words = {name: field[name] for name in said if name in field}
    rest = {name: value for name, value in field.items() if name not in words}
    members = rest["anyOf"] if rest.keys() == {"anyOf"} else [rest] if rest else []
    members = [
        {**member, "items": _or_mark(member["items"])} if "items" in member else member
        for member in members
    ]
    return {**words, "anyOf": [*members, _MARK]} if members else words


def _only_when_ended(required: list[str]) -> dict[str, Any]:
    """Return the conditional required keys of a charge: all once its end is written, two before."""
    written = {key: {"type": "string", "pattern": MOMENT} for key in LAST}
    return {
        "required": required[:2],
        "if": {"type": "object", "required": list(LAST), "properties": written},
        "then": {
            "type": "object",
            "required": required,
            "properties": dict.fromkeys(required, True),
        },
    }
