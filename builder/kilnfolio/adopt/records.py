"""New records: commented templates with known values filled in and unknown ones marked."""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import get_args
from zoneinfo import ZoneInfo

from kilnfolio.adopt.starter import schema_comment, schema_file
from kilnfolio.adopt.writing import filled, write_new
from kilnfolio.records.drafts import only_absent
from kilnfolio.records.folder import open_mill
from kilnfolio.records.kiln import KilnKind
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.model import TO_FILL, Record
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.reading import zone_of
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml, read_yaml
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class Template:
    """A kind of record that `new` can begin."""

    kind: str
    #: Its line in the help.
    words: str
    example: str
    #: Keys that can be given as options, with their help.
    options: Mapping[str, str]
    #: Defaults of keys.
    defaults: Mapping[str, str]


TEMPLATES = {
    template.kind: template
    for template in (
        Template(
            "charge",
            "begin the record of a charge",
            "kilnfolio new charge 26-014 --kiln kiln-1 --schedule quercus-rubra-4-4",
            {
                "kiln": "id of the kiln",
                "schedule": "id of the schedule it runs",
                "species": "id of the species",
                "thickness": "as in 4/4 or 27 mm",
                "volume": "volume of the load, as in '40 m³'",
                "start": "green or air-dried",
                "target_mc": "target MC, as in '8 %%'",
                "loaded": "when the kiln was loaded, as in 2026-03-02T07:10",
                "started": "when heating began, as in 2026-03-02T08:00",
                "ended": "when drying, equalizing and conditioning ended, as in 2026-03-30T07:10",
                "unloaded": "when the load was drawn, as in 2026-03-30T15:00",
            },
            {"start": "green"},
        ),
        Template(
            "kiln",
            "begin the record of a kiln",
            "kilnfolio new kiln kiln-2 --kind steam --capacity '42 m³' --hottest '85 °C'",
            {
                "name": "the name people use",
                "kind": ", ".join(get_args(KilnKind)),
                "capacity": "as in '42 m³'",
                "hottest": "as in '85 °C'",
            },
            {},
        ),
        Template(
            "lot",
            "begin the record of a lot",
            "kilnfolio new lot L26-031 --charge 26-014 --pack P1",
            {
                "product": "what it is, in words a customer uses",
                "species": "id of the species",
                "thickness": "as in 4/4 or 27 mm",
                "target_mc": "MC ordered, as in '8 %%'",
                "rule": "en-14298, band or maximum",
                "lowest": "lowest MC a piece may have",
                "highest": "highest MC a piece may have",
                "share": "share of pieces that must lie within, as in '90 %%'",
                "charge": "the charge it was dried in",
                "pack": "number of the pack",
                "pieces": "how many pieces the pack holds",
                "volume": "volume of the pack, as in '2.1 m³'",
                "issued": "the day the record is issued, as in 2026-04-01",
            },
            {"rule": "band"},
        ),
        Template(
            "order",
            "begin the record of an order with a date",
            "kilnfolio new order 26-118 --species acer-saccharum --thickness 4/4 --due 2026-11-20",
            {
                "customer": "who ordered it; never published",
                "species": "id of the species",
                "thickness": "as in 4/4 or 27 mm",
                "volume": "as in '18 m³'",
                "target_mc": "MC ordered, as in '8 %%'",
                "due": "the day it is to be dry, as in 2026-11-20",
            },
            {},
        ),
        Template(
            "schedule",
            "begin a drying schedule",
            "kilnfolio new schedule our-red-oak-8-4 --species quercus-rubra --thickness 8/4",
            {
                "title": "the title people read",
                "species": "id of the species",
                "thickness": "as in 8/4 or 52 mm",
                "start": "green, air-dried or any",
            },
            {"start": "green"},
        ),
        Template(
            "species",
            "begin the record of a species",
            "kilnfolio new species quercus-petraea --trade-name 'Sessile oak'",
            {
                "trade_name": "the name the trade uses",
                "scientific_name": "genus and species",
                "kind": "hardwood or softwood",
                "region": "where the trees grow",
            },
            {},
        ),
    )
}


#: Keys of an order that one of its rules does not use.
_OF_OTHER_RULES = {"en-14298": ("lowest", "highest", "share"), "maximum": ("lowest",)}


@dataclass(frozen=True)
class Draft:
    """A record begun with `new`.

    Attributes
    ----------
    file : str
        Its path in the mill folder.
    taken : dict of str to str
        Values taken from other records because there was only one choice.
    to_fill : tuple of Problem
        What is still to be filled in.
    """

    file: str
    taken: dict[str, str]
    to_fill: tuple[Problem, ...]


#: The steps of a schedule that none were given for.
_NO_STEPS = ((TO_FILL, TO_FILL, TO_FILL), (TO_FILL, TO_FILL, "final"))


def begin(
    root: Path,
    kind: str,
    identity: str,
    given: Mapping[str, str],
    steps: Sequence[str] = (),
) -> Draft:
    """Write a new record.

    Parameters
    ----------
    root : Path
        The mill folder.
    kind : str
        One of `TEMPLATES`.
    identity : str
        Its id.
    given : mapping of str to str
        Known values, by option of the template.
    steps : sequence of str, optional
        The steps of a schedule, each as in ``43.3 °C, 2.2 K, 50 %``: dry bulb, depression, and the
        MC that ends it.

    Raises
    ------
    RecordProblems
        A value is not valid, there is no mill, or the file already exists; nothing is written.
    """
    template = TEMPLATES[kind]
    if unknown := list(_unknown_records(root, kind, given)):
        raise RecordProblems(unknown)
    steps_text = {"steps": _steps_text(steps)} if kind == "schedule" else {}
    read_yaml(root / "content/mill.yaml", "content/mill.yaml")  # refuses a folder without a mill
    taken = {
        key: value for key, value in _only_choice(root, kind, given).items() if key not in given
    }
    values: dict[str, str | int | None] = {
        **dict.fromkeys(template.options),
        **template.defaults,
        **taken,
        **given,
        "id": identity,
        "mark": None,
    }
    file = _record_path(root, template, identity, values)
    text = schema_comment(kind, file.count("/")) + filled(f"{kind}.yaml", values, steps_text)
    for key in _OF_OTHER_RULES.get(str(values.get("rule")), ()):
        text = text.replace(f"  {key}: {TO_FILL}\n", "")
    zone = zone_of(open_mill(root).graph)
    to_fill = _still_to_fill(text, file, RECORD_KINDS[kind].model, zone)
    schema = f"schemas/{kind}.json"
    lacking = {} if (root / schema).exists() else {schema: schema_file(kind)}
    write_new(root, {file: text} | lacking)
    return Draft(file, {key: str(value) for key, value in taken.items() if value}, to_fill)


def _steps_text(steps: Sequence[str]) -> str:
    """Return the steps as the record writes them, with marks where none are given."""
    split = [tuple(part.strip() for part in step.split(",")) for step in steps] or _NO_STEPS
    if wrong := [", ".join(parts) for parts in split if len(parts) != 3 or not all(parts)]:
        raise RecordProblems(
            [
                Problem(
                    Place("new schedule"),
                    f"--step '{one}'",
                    "a step is a dry bulb, a depression and the MC that ends it",
                    "Write it as in '43.3 °C, 2.2 K, 50 %', and the last one '…, final'",
                )
                for one in wrong
            ]
        )
    return "\n".join(
        f"  - {{dry_bulb: {dry}, depression: {depression}, until_mc: {until}}}"
        for dry, depression, until in split
    )


def _unknown_records(root: Path, kind: str, given: Mapping[str, str]) -> Iterator[Problem]:
    """Yield a problem for each record that is named but does not exist."""
    for key in given.keys() & {"kiln", "schedule", "species", "charge"}:
        record_kind, named = RECORD_KINDS[key], given[key]
        paths = (path for pattern in record_kind.globs for path in root.glob(pattern))
        known = [record_kind.name_at(path.relative_to(root).as_posix()) or "" for path in paths]
        if named in known:
            continue
        near = difflib.get_close_matches(named, known, n=1, cutoff=0.4)
        yield Problem(
            Place(f"new {kind}"),
            f"{key} '{named}'",
            f"there is no {key} of this id",
            (f"Did you mean '{near[0]}'? Otherwise b" if near else "B")
            + f"egin it first with 'kilnfolio new {key} {named}', or leave --{key} out",
        )


def _still_to_fill(
    text: str, file: str, model: type[Record], zone: ZoneInfo
) -> tuple[Problem, ...]:
    """Return what is still to be filled in; raise the problems of given values."""
    try:
        validate(parse_yaml(text.encode(), file), model, zone=zone)
    except RecordProblems as error:
        return only_absent(error)
    return ()


def _record_path(
    root: Path, template: Template, identity: str, values: Mapping[str, str | int | None]
) -> str:
    started = values.get("loaded") or values.get("started") or ""
    year = re.match(r"\d{4}", str(started))
    path = RECORD_KINDS[template.kind].paths[0]
    species = values.get("species")
    if template.kind == "schedule" and species:
        record = _plain(root / f"schedules/species/{species}.yaml")
        if record.get("kind") == "softwood":
            path = path.replace("hardwood", "softwood")
    known = {"ID": identity, "YEAR": year[0] if year else str(dt.datetime.now(dt.UTC).year)}
    return (
        "/".join(known.get(part, part) for part in path.removesuffix(".yaml").split("/")) + ".yaml"
    )


def _plain(path: Path) -> dict[str, object]:
    """Return a record's plain values; empty if it cannot be read."""
    try:
        value = read_yaml(path, path.name).value
    except RecordProblems:
        return {}
    return value if isinstance(value, dict) else {}


def _only_choice(root: Path, kind: str, given: Mapping[str, str]) -> dict[str, str | int | None]:
    """Return values for which there is only one choice: the only kiln, the schedule's timber."""
    found: dict[str, str | int | None] = {}
    if kind == "charge":
        kilns = sorted((root / "content/kilns").glob("*.yaml"))
        if len(kilns) == 1:
            found["kiln"] = kilns[0].stem
        schedule = next(
            iter((root / "schedules").glob(f"*wood/{given.get('schedule')}.yaml")), None
        )
        record = _plain(schedule) if schedule else {}
        stock = record.get("for_stock")
        revision = record.get("revision", 1)
        found["revision"] = revision if record and isinstance(revision, int) else None
        for key in ("species", "thickness"):
            choices = stock.get(key) if isinstance(stock, dict) else None
            if isinstance(choices, list) and len(choices) == 1:
                found[key] = str(choices[0])
    if kind == "lot" and given.get("charge"):
        charge = next(
            iter((root / "content/charges").glob(f"*/{given['charge']}/charge.yaml")), None
        )
        stock = _plain(charge).get("stock") if charge else None
        if isinstance(stock, list) and len(stock) == 1 and isinstance(stock[0], dict):
            found |= {
                key: str(stock[0][key])
                for key in ("species", "thickness")
                if stock[0].get(key) not in (None, TO_FILL)
            }
    return found
