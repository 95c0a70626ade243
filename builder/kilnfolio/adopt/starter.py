"""The library of a new mill: species, schedules, limits, sources and the handbook."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from functools import cache, partial
from importlib import resources
from pathlib import Path
from typing import Any

from kilnfolio.adopt.entry.entries import EntryFile
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.schema import model_schema, record_schema

#: Where each part of the starter is: in the package, in the source tree, and in a mill folder.
_PARTS = {"schedules": "schedules", "handbook": "content/handbook"}
#: The kind of record in each folder of the library, for editors.
_KINDS = {
    "species": "species",
    "hardwood": "schedule",
    "softwood": "schedule",
    "notations": "notation",
    "limits.yaml": "limits",
    "sources.yaml": "sources",
}
#: A record of the demonstration mill that other mills do not need.
_INVENTED = re.compile(r"^invented: true$", re.MULTILINE)
#: Its entry among the sources, which no other record of the starter cites.
_INVENTED_SOURCE = re.compile(r"^  [\w-]+:\n    title: .*\(invented\)\n(?:    .*\n)*", re.MULTILINE)


def _home(part: str) -> Path:
    """Return the folder of a part of the starter, in the package or in the source tree.

    Raises
    ------
    FileNotFoundError
        It is in neither: the package was built incorrectly.
    """
    package = Path(str(resources.files("kilnfolio")))
    for home in (package / "starter" / part, package.parent.parent / _PARTS[part]):
        if home.is_dir():
            return home
    raise FileNotFoundError(f"the starter's {part} did not come with this installation")


def schema_comment(kind: str, depth: int) -> str:
    """Return the line that names the schema for editors in a file `depth` folders down."""
    return f"# yaml-language-server: $schema={'../' * depth}schemas/{kind}.json\n"


def starter_files() -> dict[str, str]:
    """Return the text of every file of the library by path in a mill folder."""
    found = {}
    for part, target in _PARTS.items():
        home = _home(part)
        for path in sorted(home.rglob("*")):
            if path.suffix not in (".yaml", ".md", ".svg"):
                continue
            below = path.relative_to(home)
            text = without_approval(path.read_text("utf-8"))
            if path.name == "sources.yaml":
                text = _INVENTED_SOURCE.sub("", text)
            if path.suffix == ".yaml" and part == "schedules":
                if _INVENTED.search(text):
                    continue
                text = schema_comment(_KINDS[below.parts[0]], len(below.parts)) + text
            found[f"{target}/{below.as_posix()}"] = text
    return found


def without_approval(text: str) -> str:
    """Return a schedule or chapter without the demonstration mill's approval and history.

    At another mill nobody has approved it yet, so it is a draft there.
    """
    lines, skipping = [], False
    for line in text.splitlines(keepends=True):
        skipping = line.startswith(("approved:", "changes:")) or (skipping and line[:1] in " -")
        if not skipping:
            lines.append(line)
    return "".join(lines).replace("; the demonstration mill's approval is invented", "")


def schema_files() -> dict[str, str]:
    """Return the JSON Schema of every kind by path in a mill folder."""
    return {f"schemas/{kind}.json": schema_file(kind) for kind in SCHEMAS}


@cache
def schema_file(kind: str) -> str:
    """Return the JSON Schema of a kind as its file in a mill folder."""
    return json.dumps(SCHEMAS[kind](), indent=1, ensure_ascii=False) + "\n"


#: Functions that return the JSON Schema of each kind of record and of the entry file.
SCHEMAS: Mapping[str, Callable[[], dict[str, Any]]] = {
    **{kind: partial(record_schema, kind) for kind in RECORD_KINDS},
    "entries": partial(model_schema, EntryFile, "An entry file of the kiln-side page"),
}
