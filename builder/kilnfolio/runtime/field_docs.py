"""What the fields of a model mean: the docstring under each, read only on demand.

Pydantic can collect these docstrings itself (``use_attribute_docstrings``), but then parses every
class's source at import, which took a fifth of a short command's time.
"""

from __future__ import annotations

import ast
import inspect
import sys
from functools import cache
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema


def field_doc(model: type[BaseModel], name: str) -> str:
    """Return what a field of a model means, or "" if it has no description.

    Parameters
    ----------
    model : subclass of BaseModel
        The model.
    name : str
        The field.

    Returns
    -------
    str
        The field's own ``description``, or the docstring below it in the class that declares it.
    """
    if stated := model.model_fields[name].description:
        return stated
    for owner in model.__mro__:
        # a parametrized model, such as Sourced[Percent], has the source code of the generic one
        origin = owner.__dict__.get("__pydantic_generic_metadata__", {}).get("origin") or owner
        docs = _module_docs(origin.__module__).get(origin.__qualname__, {})
        if name in docs:
            return docs[name]
    return ""


class DescribedSchema(GenerateJsonSchema):
    """A JSON Schema whose properties are described by their docstrings."""

    def model_schema(self, schema: core_schema.ModelSchema) -> JsonSchemaValue:
        """Return the schema of a model, with a description for each property."""
        made = super().model_schema(schema)
        for name, value in made.get("properties", {}).items():
            if name in schema["cls"].model_fields and (doc := field_doc(schema["cls"], name)):
                value["description"] = doc
        return made


@cache
def _module_docs(module: str) -> dict[str, dict[str, str]]:
    """Return the docstrings of attributes, by class and name, of a module."""
    found: dict[str, dict[str, str]] = {}
    _collect(ast.parse(inspect.getsource(sys.modules[module])), "", found)
    return found


def _collect(node: Any, prefix: str, into: dict[str, dict[str, str]]) -> None:
    for part in node.body:
        if not isinstance(part, ast.ClassDef):
            continue
        name = prefix + part.name
        docs = into[name] = {}
        for line, below in zip(part.body, part.body[1:], strict=False):
            if (
                isinstance(line, ast.AnnAssign)
                and isinstance(line.target, ast.Name)
                and isinstance(below, ast.Expr)
                and isinstance(below.value, ast.Constant)
                and isinstance(below.value.value, str)
            ):
                docs[line.target.id] = inspect.cleandoc(below.value.value)
        _collect(part, f"{name}.", into)
