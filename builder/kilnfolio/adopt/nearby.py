"""What one charge rests on, read without the rest of the mill: its kiln, schedule and species."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
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


def read_nearby(root: Path, document: Document, cache: Cache | None = None) -> MillFolder:
    """Return a mill folder that holds one charge and what it names.

    Parameters
    ----------
    root : Path
        The mill folder.
    document : Document
        The charge's record, which may be another than the file holds.
    cache : dict, optional
        Keeps what the charge names while its record is edited.

    Raises
    ------
    RecordProblems
        The charge, or something it names, cannot be read.
    """
    cache = {} if cache is None else cache
    names = _names(document.value if isinstance(document.value, dict) else {})
    mill = _mill(root, cache)
    read = read_charge(document, mill.record.zone)
    if names not in cache:
        cache[names] = _around(root, mill, dict(names))
    folder = cache[names]
    rule = practices()[mill.record.practice].rule
    if isinstance(read, OpenCharge):
        return replace(folder, open_charges={read.id: open_by_practice(read, rule)})
    return replace(folder, charges={read.record.id: by_practice(read, rule)})


#: What charges name, by those names; the mill's own record under no name.
Cache = dict[tuple[tuple[str, tuple[str, ...]], ...], MillFolder]


def _names(value: Mapping[str, Any]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return the records a charge names, by kind."""
    def named(key: str, inner: str) -> list[object]:
        items = value.get(key)
        return [one.get(inner) for one in items if isinstance(one, dict)] \
            if isinstance(items, list) else []
    found: dict[str, list[object]] = {
        "kilns": [value.get("kiln")], "schedules": [value.get("schedule")],
        "species": named("stock", "species"), "loggers": named("log", "profile")}
    return tuple((kind, tuple(dict.fromkeys(one for one in names if isinstance(one, str) and one)))
                 for kind, names in found.items())


def _mill(root: Path, cache: Cache) -> Located[Mill]:
    return next(iter(cache.values())).mill if cache else _must(root, "content/mill.yaml", Mill)


def _around(root: Path, mill: Located[Mill], names: Mapping[str, Sequence[str]]) -> MillFolder:
    """Read what a charge names, and what every charge rests on."""
    there = frozenset(path.stem for folder in (
        "content/kilns", "content/loggers", "schedules/species", "schedules/hardwood",
        "schedules/softwood") for path in (root / folder).glob("*.yaml"))
    return MillFolder(
        root, mill, _must(root, "schedules/sources.yaml", Sources),
        _must(root, "schedules/limits.yaml", Limits),
        _named(root, "schedules/species/{}.yaml", Species, names["species"]),
        _named(root, "schedules/*wood/{}.yaml", Schedule, names["schedules"]),
        _named(root, "schedules/notations/{}.yaml", Notation,
               [path.stem for path in (root / "schedules/notations").glob("*.yaml")]),
        _named(root, "content/kilns/{}.yaml", Kiln, names["kilns"]),
        _named(root, "content/loggers/{}.yaml", LoggerProfile, names["loggers"]),
        {}, {}, there)


def charge_problems(root: Path, name: str, text: str, cache: Cache) -> tuple[Problem, ...]:
    """Return everything wrong with a charge's text, beside what it names; empty where nothing is.

    Raises
    ------
    RecordProblems
        The mill's own record cannot be read.
    """
    zone = _mill(root, cache).record.zone
    try:
        document = parse_yaml(text.encode(), name)
        read_charge(document, zone)
    except RecordProblems as error:
        return error.problems
    try:
        folder = read_nearby(root, document, cache)
    except RecordProblems:  # what it names cannot be read; that is not the charge's fault
        return ()
    those: list[Located | Begun] = [*folder.charges.values(), *folder.open_charges.values()]
    return tuple(problem for one in those for problem in problems_of(folder, one))


def _must(root: Path, name: str, model: type[R]) -> Located[R]:
    read = read_record(root, name, model)
    if isinstance(read, Begun):
        raise RecordProblems(read.to_fill)
    return read


def _named(root: Path, pattern: str, model: type[R], names: Iterable[str]
           ) -> dict[str, Located[R]]:
    """Return the records named, by id; those not there or still to be filled in are left out."""
    found: dict[str, Located[R]] = {}
    for name in names:
        for path in root.glob(pattern.format(name)):
            read = read_record(root, path.relative_to(root).as_posix(), model)
            if not isinstance(read, Begun):
                found[name] = read
    return found
