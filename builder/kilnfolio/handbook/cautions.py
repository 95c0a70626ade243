"""The cautions of the handbook: the hazards of work at a kiln, and what to do about each."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from kilnfolio.records.model import Name, Record, Slug, Text
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import read_yaml

#: The folder of the handbook's chapters.
HANDBOOK = "content/handbook"
CAUTIONS = f"{HANDBOOK}/cautions.yaml"


class Caution(Record):
    """A hazard and what to do about it."""

    title: Name
    """Its name."""
    hazard: Text
    """What can happen."""
    stop_when: Text
    """When to stop."""
    who_authorizes: Text
    """Who may authorize the work."""
    local_rule: Text
    """The rules that apply."""


class _Cautions(Record):
    cautions: dict[Slug, Caution]


def read_cautions(root: Path) -> tuple[Mapping[str, Caution], list[Problem]]:
    """Read the cautions of a mill folder's handbook.

    Parameters
    ----------
    root : Path
        The folder that holds ``content/handbook``.

    Returns
    -------
    tuple of Mapping and list of Problem
        The cautions by key, and the problems of the file.
    """
    try:
        return (_read_cautions(root) if (root / CAUTIONS).is_file() else {}), []
    except RecordProblems as error:
        return {}, [*error.problems]


def _read_cautions(root: Path) -> Mapping[str, Caution]:
    document = read_yaml(root / CAUTIONS, CAUTIONS)
    wrapped = type(document)(
        document.file,
        {"cautions": document.value},
        {("cautions", *path): mark for path, mark in document.marks.items()},
        {("cautions", *path): mark for path, mark in document.key_marks.items()},
    )
    return validate(wrapped, _Cautions).record.cautions
