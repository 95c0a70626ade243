"""Writes records as commented YAML from templates; existing files are never overwritten."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from string import Template

from kilnfolio.adopt.record_text import scalar
from kilnfolio.records.model import TO_FILL
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.runtime.files import read_file, write_whole


def filled(
    template: str, values: Mapping[str, str | int | None], as_yaml: Mapping[str, str] | None = None
) -> str:
    """Return a template of ``adopt/templates`` with values filled in.

    None becomes the mark of a value still to be filled in; `as_yaml` is filled in as it is.
    """
    text = (resources.files("kilnfolio.adopt") / "templates" / template).read_text("utf-8")
    return Template(text).substitute(
        {
            name: TO_FILL if value is None else scalar(value) if isinstance(value, str) else value
            for name, value in values.items()
        }
        | dict(as_yaml or {})
    )


def write_new(root: Path, files: Mapping[str, str]) -> None:
    """Write files that do not exist yet; skip those that exist with the same content.

    So a command that was killed halfway can be repeated.

    Raises
    ------
    RecordProblems
        A file of that name exists with other content, or all files exist; nothing is written.
    """
    wanted = {name: text.encode() for name, text in files.items()}
    there = [name for name in wanted if (root / name).exists()]
    others = [name for name in there if read_file(root / name) != wanted[name]]
    if others or len(there) == len(wanted):
        raise RecordProblems(
            [
                Problem(
                    Place(name),
                    "this file already exists",
                    "a new record never replaces an existing one",
                    "Choose another id, or remove it first",
                )
                for name in others or there
            ]
        )
    made: list[Path] = []
    try:
        for name, data in wanted.items():
            if name not in there:
                made += _make_folder((root / name).parent)
                made.append(root / name)
                write_whole(root / name, data)
    except BaseException:  # such as a full disk: remove what would be incomplete
        for path in reversed(made):
            _remove(path)
        raise


def _make_folder(folder: Path) -> list[Path]:
    """Make a folder with its parents; return those that did not exist."""
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    return missing[::-1]


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):  # keep a folder that somebody else wrote into meanwhile
        path.rmdir() if path.is_dir() else path.unlink()
