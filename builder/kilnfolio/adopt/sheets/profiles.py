"""Remembers how a mill's sheets were read, so that nothing is asked twice.

A sheet is recognized by its kind and headings, except headings that are dates. The memory is
``.kilnfolio/sheets.json``, on the computer where it was confirmed; it may be deleted.
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
from kilnfolio.runtime.files import read_file

#: Options worth remembering: those about the form of a sheet, not about one day.
_KEPT = ("column", "unit", "decimal", "dates")
#: Most sheets remembered; the oldest is forgotten first.
_MOST = 200


def _file(root: Path) -> Path:
    return root / STATE / "sheets.json"


def _key(kind: str, headings: Sequence[str]) -> str:
    return json.dumps([kind, *(text for text in headings if text and not is_day(text))])


def _profiles(root: Path) -> dict[str, dict[str, Any]]:
    try:
        kept = json.loads(read_file(_file(root)))
    except (OSError, ValueError, RecursionError):
        return {}
    if not isinstance(kept, dict):
        return {}
    return {key: one for key, one in kept.items() if _is_valid(one)}


def _is_valid(kept: object) -> bool:
    """Return whether a remembered entry has the form that this program writes."""
    return isinstance(kept, dict) and all(
        isinstance(value, list) and all(isinstance(one, str) for one in value)
        if name == "column"
        else value is None or isinstance(value, str)
        for name, value in kept.items()
    )


def recall(root: Path, path: Path, kind: str, options: Options) -> tuple[Options, str]:
    """Complete the options of an import from the last sheet with the same headings.

    Parameters
    ----------
    root, path : Path
        The mill folder and the sheet.
    kind : str
        What is imported, as in ``weighings``.
    options : Options
        Options given this time, which take precedence.

    Returns
    -------
    tuple of Options and str
        The options, and the recalled ones as words of a command; empty if there are none.
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
    """Remember how a sheet was read.

    Parameters
    ----------
    root : Path
        The mill folder.
    kind : str
        What was imported.
    headings : sequence of str
        The sheet's headings.
    options : Options
        Options given or recalled.
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
