"""Records as commented YAML: values put into a template, and never over a file that is there."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from string import Template

from kilnfolio.adopt.record_text import scalar
from kilnfolio.records.model import TO_FILL
from kilnfolio.records.problems import Place, Problem, RecordProblems


def filled(template: str, values: Mapping[str, str | int | None]) -> str:
    """Return a template of ``adopt/templates`` with values put in.

    A value that is None becomes the mark of one to be filled in.
    """
    text = (resources.files("kilnfolio.adopt") / "templates" / template).read_text("utf-8")
    return Template(text).substitute({
        name: TO_FILL if value is None else scalar(value) if isinstance(value, str) else value
        for name, value in values.items()})


def write_new(root: Path, files: Mapping[str, str]) -> None:
    """Write files that are not there yet.

    Raises
    ------
    RecordProblems
        One of them is there; nothing is written.
    """
    there = [name for name in files if (root / name).exists()]
    if there:
        raise RecordProblems([Problem(Place(name), "this file is there already",
                                      "a new record never takes the place of one",
                                      "Choose another id, or remove it first") for name in there])
    made: list[Path] = []
    try:
        for name, text in files.items():
            made += _make_folder((root / name).parent)
            made.append(root / name)
            (root / name).write_text(text, encoding="utf-8", newline="\n")
    except BaseException:  # as a full disk: what would be there by half is taken away
        for path in reversed(made):
            _remove(path)
        raise


def _make_folder(folder: Path) -> list[Path]:
    """Make a folder and those above it; return those that were not there."""
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    return missing[::-1]


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):  # a folder that somebody else wrote into meanwhile stays
        path.rmdir() if path.is_dir() else path.unlink()
