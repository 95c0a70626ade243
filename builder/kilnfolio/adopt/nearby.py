"""What one charge rests on, read without the rest of the mill: its kiln, schedule and species."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path
from typing import Any, TypeVar

from kilnfolio.records.begun import Begun
from kilnfolio.records.book import Sources
from kilnfolio.records.folder import (
    MillFolder,
    by_practice,
    open_by_practice,
    problems_of,
    read_record,
    refuse_other_folder,
)
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.limits import Limits
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import Located, Record
from kilnfolio.records.notation import Notation
from kilnfolio.records.open_charge import OpenCharge, read_charge
from kilnfolio.records.practice import practices
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.species import Species
from kilnfolio.records.yaml_source import Document, parse_yaml

R = TypeVar("R", bound=Record)


def charge_file(root: Path, charge: str) -> Path:
    """Return the record of a charge.

    Raises
    ------
    RecordProblems
        There is no such charge; the message names the nearest.
    """
    refuse_other_folder(root)
    files = {path.parent.name: path
             for path in sorted((root / "content/charges").glob("*/*/charge.yaml"))}
    if charge in files:
        return files[charge]
    near = difflib.get_close_matches(charge, files, n=1, cutoff=0.4)
    raise RecordProblems([Problem(
        Place("content/charges"), f"charge '{charge}'", "there is no charge of this number",
        f"Did you mean '{near[0]}'? Otherwise begin it with 'kilnfolio new charge {charge}'"
        if near else f"Begin it with 'kilnfolio new charge {charge}'")])


def read_nearby(root: Path, document: Document) -> MillFolder:
    """Return a mill folder that holds one charge and what it names.

    Parameters
    ----------
    root : Path
        The mill folder.
    document : Document
        The charge's record, which may be another than the file holds.

    Raises
    ------
    RecordProblems
        The charge, or something it names, cannot be read.
    """
    value = document.value if isinstance(document.value, dict) else {}
    mill = _must(root, "content/mill.yaml", Mill)
    read = read_charge(document, mill.record.zone)
    stock = value.get("stock") or []
    logs = value.get("log") or []
    found: dict[str, dict[str, Located[Any]]] = {}
    for key, pattern, model, names in (
            ("kilns", "content/kilns/{}.yaml", Kiln, [value.get("kiln")]),
            ("schedules", "schedules/*wood/{}.yaml", Schedule, [value.get("schedule")]),
            ("species", "schedules/species/{}.yaml", Species,
             [one.get("species") for one in stock if isinstance(one, dict)]),
            ("loggers", "content/loggers/{}.yaml", LoggerProfile,
             [one.get("profile") for one in logs if isinstance(one, dict)])):
        found[key] = _named(root, pattern, model, names)
    notations = _named(root, "schedules/notations/{}.yaml", Notation,
                       [path.stem for path in (root / "schedules/notations").glob("*.yaml")])
    rule = practices()[mill.record.practice].rule
    there = frozenset(path.stem for folder in (
        "content/kilns", "content/loggers", "schedules/species", "schedules/hardwood",
        "schedules/softwood") for path in (root / folder).glob("*.yaml"))
    charges, opened = {}, {}
    if isinstance(read, OpenCharge):
        opened[read.id] = open_by_practice(read, rule)
    else:
        charges[read.record.id] = by_practice(read, rule)
    return MillFolder(
        root, mill, _must(root, "schedules/sources.yaml", Sources),
        _must(root, "schedules/limits.yaml", Limits), found["species"], found["schedules"],
        notations, found["kilns"], found["loggers"], charges, {}, there, opened)


def charge_problems(root: Path, name: str, text: str) -> tuple[Problem, ...]:
    """Return everything wrong with a charge's text, beside what it names; empty where nothing is.

    Raises
    ------
    RecordProblems
        The mill's own record cannot be read.
    """
    try:
        document = parse_yaml(text.encode(), name)
        read_charge(document, _must(root, "content/mill.yaml", Mill).record.zone)
    except RecordProblems as error:
        return error.problems
    try:
        folder = read_nearby(root, document)
    except RecordProblems:  # what it names cannot be read; that is not the charge's fault
        return ()
    those: list[Located | Begun] = [*folder.charges.values(), *folder.open_charges.values()]
    return tuple(problem for one in those for problem in problems_of(folder, one))


def _must(root: Path, name: str, model: type[R]) -> Located[R]:
    read = read_record(root, name, model)
    if isinstance(read, Begun):
        raise RecordProblems(read.to_fill)
    return read


def _named(root: Path, pattern: str, model: type[R], names: Iterable[object]
           ) -> dict[str, Located[R]]:
    """Return the records named, by id; those not there or still to be filled in are left out."""
    found: dict[str, Located[R]] = {}
    for name in dict.fromkeys(one for one in names if isinstance(one, str) and one):
        for path in root.glob(pattern.format(name)):
            read = read_record(root, path.relative_to(root).as_posix(), model)
            if not isinstance(read, Begun):
                found[name] = read
    return found
