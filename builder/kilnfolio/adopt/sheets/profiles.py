"""How a mill's own sheets were read before: what was said and confirmed once is not asked again.

A sheet is known by its kind and its headings; days among the headings do not count. What is kept
lies in ``.kilnfolio/sheets.json``, on the computer where it was confirmed; it may be deleted.
"""

from __future__ import annotations

import json
import shlex
from collections.abc import Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from kilnfolio.adopt.record_file import STATE, replace_file
from kilnfolio.adopt.sheets.table import Options
from kilnfolio.adopt.sheets.values import is_day
from kilnfolio.adopt.tables import read_sheets

#: What is kept of the options: how a sheet is written, and nothing of a single day.
_KEPT = ("column", "unit", "decimal", "dates")
#: The most sheets remembered; the oldest is forgotten.
_MOST = 200


def _file(root: Path) -> Path:
    return root / STATE / "sheets.json"


def _key(kind: str, headings: Sequence[str]) -> str:
    return json.dumps([kind, *(text for text in headings if text and not is_day(text))])


def _profiles(root: Path) -> dict[str, dict[str, Any]]:
    try:
        kept = json.loads(_file(root).read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    if not isinstance(kept, dict):
        return {}
    return {key: one for key, one in kept.items() if _sound(one)}


def _sound(kept: object) -> bool:
    """Return whether what is kept of a sheet is what this program keeps."""
    return isinstance(kept, dict) and all(
        isinstance(value, list) and all(isinstance(one, str) for one in value)
        if name == "column"
        else value is None or isinstance(value, str)
        for name, value in kept.items()
    )


def recall(root: Path, path: Path, kind: str, options: Options) -> tuple[Options, str]:
    """Complete the options of an import by how a sheet with these headings was read before.

    Parameters
    ----------
    root, path : Path
        The mill folder and the sheet.
    kind : str
        What is imported, as in ``weighings``.
    options : Options
        What was said this time; it goes before what was kept.

    Returns
    -------
    tuple of Options and str
        The options, and those that were recalled as words of a command; empty where none were.
    """
    if not (profiles := _profiles(root)):
        return options, ""
    for sheet in read_sheets(path):
        if options.sheet is not None and sheet.name != options.sheet:
            continue
        for row in sheet.rows[:30]:
            if kept := profiles.get(_key(kind, [cell.text for cell in row])):
                missing = {
                    name: value
                    for name, value in kept.items()
                    if name in _KEPT and getattr(options, name) is None
                }
                return replace(options, **missing), _words(missing)
    return options, ""


def _words(kept: dict[str, Any]) -> str:
    return shlex.join(
        word
        for name, value in kept.items()
        for one in (value if isinstance(value, list) else [value])
        for word in (f"--{name}", str(one))
    )


def remember(
    root: Path, kind: str, headings: Sequence[str], options: Options, proposed: Sequence[str]
) -> None:
    """Keep how a sheet was read.

    Parameters
    ----------
    root : Path
        The mill folder.
    kind : str
        What was imported.
    headings : sequence of str
        The sheet's headings.
    options : Options
        What was said or recalled.
    proposed : sequence of str
        HEADING=ROLE of columns that were proposed and confirmed.
    """
    kept = {
        one.name: value
        for one in fields(options)
        if one.name in _KEPT and (value := getattr(options, one.name)) is not None
    }
    if proposed:
        kept["column"] = [*(options.column or ()), *proposed]
    profiles, key = _profiles(root), _key(kind, headings)
    if not kept or profiles.get(key) == kept:
        return
    profiles.pop(key, None)
    profiles[key] = kept
    newest = dict(list(profiles.items())[-_MOST:])
    replace_file(_file(root), json.dumps(newest, indent=1, ensure_ascii=False).encode())
