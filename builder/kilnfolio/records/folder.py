"""A whole mill folder, read and cross-checked.

First every file is parsed and validated and all problems are kept; then the survivors are checked
against each other, so that one slip does not hide the rest.
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import TypeVar, cast
from zoneinfo import ZoneInfo

from kilnfolio.records.book import Known, Sources, publication_of
from kilnfolio.records.charge import Charge
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.limits import Limits
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.lot import Lot
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import TO_FILL, Located, Record, validate
from kilnfolio.records.notation import Notation, expand
from kilnfolio.records.open_charge import OpenCharge, read_charge
from kilnfolio.records.practice import ControlRule, practices
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.schedule import Schedule, Step
from kilnfolio.records.species import Species
from kilnfolio.records.yaml_source import read_yaml

R = TypeVar("R", bound=Record)

#: Every kind of record a mill keeps in YAML, by the name of its noun.
RECORD_KINDS: dict[str, type[Record]] = {
    "charge": Charge, "kiln": Kiln, "limits": Limits, "logger": LoggerProfile, "lot": Lot,
    "mill": Mill, "notation": Notation, "schedule": Schedule, "sources": Sources,
    "species": Species}


@dataclass(frozen=True)
class MillFolder:
    """Every record of a mill, each with the document it was read from."""

    root: Path
    mill: Located[Mill]
    sources: Located[Sources]
    limits: Located[Limits]
    species: Mapping[str, Located[Species]]
    schedules: Mapping[str, Located[Schedule]]
    notations: Mapping[str, Located[Notation]]
    kilns: Mapping[str, Located[Kiln]]
    loggers: Mapping[str, Located[LoggerProfile]]
    charges: Mapping[str, Located[Charge]]
    lots: Mapping[str, Located[Lot]]
    #: Records that are there and could not be read: never called unknown where they are named.
    unread: frozenset[str] = frozenset()
    #: Charges that are not yet complete, and the lots that wait for them: in no count, on no list.
    open_charges: Mapping[str, OpenCharge] = field(default_factory=dict)
    waiting_lots: Mapping[str, Located[Lot]] = field(default_factory=dict)
    #: Earlier revisions of schedules by id, the newest first. Nothing is dried or judged by them.
    superseded: Mapping[str, tuple[Located[Schedule], ...]] = field(default_factory=dict)

    def steps_of(self, schedule: Schedule) -> tuple[Step, ...]:
        """Return a schedule's steps, a notation code expanded."""
        if schedule.steps:
            return tuple(schedule.steps)
        notation = next(iter(self.notations.values())).record
        return expand(str(schedule.notation), notation)

    def charge_folder(self, charge_id: str) -> Path:
        """Return the folder that holds a charge's files."""
        return (self.root / self.charges[charge_id].file).parent


#: How a record's file may end in error, as a text editor names it or by another habit.
_ENDINGS = ("*.[yY][aA][mM][lL]", "*.[yY][mM][lL]", "*.[yY][aA][mM][lL].txt")
#: Records as they were read, each with when its file was saved, its size, and its zone.
Kept = dict[tuple[str, type[Record]], tuple[object, "Located | OpenCharge"]]


def read_mill_folder(root: Path, kept: Kept | None = None) -> MillFolder:
    """Read and cross-check a mill folder.

    Parameters
    ----------
    root : Path
        The folder that holds ``content/`` and ``schedules/``.
    kept : dict, optional
        What an earlier reading kept; files that were not saved since are taken from it, and what
        is read is added. Empty at first.

    Raises
    ------
    RecordProblems
        Every problem in every file.
    """
    if not (root / "content").is_dir():
        missing = "there is no such folder" if not root.is_dir() else "it holds no folder content/"
        raise RecordProblems([Problem(
            Place(str(root)), "this is not a mill's folder", missing,
            "Name the folder that holds content/ and schedules/; "
            "'kilnfolio new mill FOLDER' makes one")])
    reader = _Reader(root, {} if kept is None else kept)
    reader.name_other_mills()
    mill = reader.one("content/mill.yaml", Mill)
    # with no mill record the zone is unknown; its own problem says so, not every time in every file
    zone = mill.record.zone if mill else ZoneInfo("UTC")
    sources = reader.one("schedules/sources.yaml", Sources)
    limits = reader.one("schedules/limits.yaml", Limits)
    species = reader.many("schedules/species", Species)
    schedules = reader.many("schedules/hardwood", Schedule)
    reader.many("schedules/softwood", Schedule, found=schedules)
    superseded = reader.superseded(schedules)
    notations = reader.many("schedules/notations", Notation)
    kilns = reader.many("content/kilns", Kiln)
    loggers = reader.many("content/loggers", LoggerProfile)
    charges = reader.charges(zone)
    lots = reader.many("content/lots", Lot, zone=zone)
    if not (mill and sources and limits):
        raise RecordProblems(reader.problems)
    rule = practices()[mill.record.practice].rule
    charges = {name: _by_practice(charge, rule) for name, charge in charges.items()}
    for name, running in reader.open.items():
        if running.so_far is not None:
            reader.open[name] = replace(running, so_far=_by_practice(running.so_far, rule))
    waiting = {name: lot for name, lot in lots.items()
               if any(pack.charge in reader.open for pack in lot.record.packs)}
    folder = MillFolder(root, mill, sources, limits, species, schedules, notations, kilns, loggers,
                        charges, {name: lot for name, lot in lots.items() if name not in waiting},
                        frozenset(reader.unread), reader.open, waiting, superseded)
    reader.problems.extend(_cross_check(folder))
    if reader.problems:
        raise RecordProblems(reader.problems)
    return folder


def _by_practice(charge: Located[Charge], rule: ControlRule) -> Located[Charge]:
    """Return a charge that says which boards decide: by its own word, or the mill's practice."""
    if "control_rule" in charge.record.model_fields_set or charge.record.control_rule == rule:
        return charge
    return replace(charge, record=charge.record.model_copy(update={"control_rule": rule}))


def _saved(path: Path) -> tuple[int, int] | None:
    """Return when a file was saved and its size; None where it is not there."""
    try:
        state = path.stat()
    except OSError:
        return None
    return state.st_mtime_ns, state.st_size


@dataclass
class _Reader:
    root: Path
    kept: Kept
    problems: list[Problem] = field(default_factory=list)
    unread: set[str] = field(default_factory=set)
    open: dict[str, OpenCharge] = field(default_factory=dict)

    def one(self, name: str, model: type[R], zone: ZoneInfo | None = None) -> Located[R] | None:
        read = self._read(name, model, zone)
        if isinstance(read, OpenCharge):
            self._keep_open(read)
            return None
        return read

    def _read(self, name: str, model: type[R], zone: ZoneInfo | None
              ) -> Located[R] | OpenCharge | None:
        saved = (_saved(self.root / name), zone)
        before = self.kept.get((name, model))
        if before and before[0] == saved:
            return before[1]
        try:
            document = read_yaml(self.root / name, name)
            read = cast("Located[R] | OpenCharge", read_charge(document, zone)) \
                if model is Charge else validate(document, model, zone=zone)
        except RecordProblems as error:
            self.problems.extend(error.problems)
            return None
        self.kept[name, model] = (saved, read)
        return read

    def _keep_open(self, charge: OpenCharge) -> None:
        place = charge.document.place("id")
        if charge.id != PurePosixPath(charge.file).parent.name:
            self.problems.append(_misnamed(place, charge.id, charge.file))
        if charge.id in self.open:
            self.problems.append(_taken(place, charge.id, self.open[charge.id].file))
        self.open[charge.id] = charge

    def many(self, folder: str, model: type[R], *, zone: ZoneInfo | None = None,
             found: dict[str, Located[R]] | None = None) -> dict[str, Located[R]]:
        """Read every record of a folder, adding to `found`."""
        self._name_strays(folder, "*.yaml", f"{folder}/ID.yaml")
        return self._by_id(sorted((self.root / folder).glob("*.yaml")), model, zone,
                           {} if found is None else found)

    def charges(self, zone: ZoneInfo | None) -> dict[str, Located[Charge]]:
        folder, pattern = "content/charges", "*/*/charge.yaml"
        self._name_strays(folder, pattern, f"{folder}/YEAR/ID/charge.yaml")
        return self._by_id(sorted((self.root / folder).glob(pattern)), Charge, zone, {})

    def superseded(self, schedules: Mapping[str, Located[Schedule]]
                   ) -> dict[str, tuple[Located[Schedule], ...]]:
        """Read the earlier revisions of schedules, ``schedules/superseded/ID/REVISION.yaml``."""
        home, pattern = "schedules/superseded", "*/*.yaml"
        self._name_strays(home, pattern, f"{home}/ID/REVISION.yaml")
        found: dict[str, list[Located[Schedule]]] = {}
        for path in sorted((self.root / home).glob(pattern)):
            located = self.one(path.relative_to(self.root).as_posix(), Schedule)
            if located is None:
                continue
            record = located.record
            if record.id != path.parent.name:
                self.problems.append(_misnamed(located.place("id"), record.id, located.file))
            current = schedules.get(record.id)
            if str(record.revision) != path.stem or (
                    current and record.revision >= current.record.revision):
                self.problems.append(Problem(
                    located.place("revision"), f"revision {record.revision}",
                    "an earlier revision is kept in a file named by its number, and is below the "
                    "revision in force", f"Keep revision 1 as {home}/{record.id}/1.yaml"))
            found.setdefault(record.id, []).append(located)
        return {identity: tuple(sorted(those, key=lambda one: -one.record.revision))
                for identity, those in found.items()}

    def _name_strays(self, folder: str, pattern: str, kept_as: str) -> None:
        """Name every YAML file that lies where it would be passed over in silence."""
        home = self.root / folder
        for path in sorted({path for ending in _ENDINGS for path in home.rglob(ending)}
                           - set(home.glob(pattern))):
            self._name_stray(path, f"records of this kind are kept as {kept_as}")

    def name_other_mills(self) -> None:
        """Name every YAML file that stands beside mill.yaml, such as another mill's."""
        home = self.root / "content"
        for path in sorted({path for ending in _ENDINGS for path in home.glob(ending)}
                           - {home / "mill.yaml"}):
            self._name_stray(path, "a folder holds one mill, in content/mill.yaml")

    def _name_stray(self, path: Path, why: str) -> None:
        self.problems.append(Problem(Place(path.relative_to(self.root).as_posix()),
                                     "this file would not be read", why, "Rename or move it"))

    def _by_id(self, files: list[Path], model: type[R], zone: ZoneInfo | None,
               found: dict[str, Located[R]]) -> dict[str, Located[R]]:
        for path in files:
            located = self.one(path.relative_to(self.root).as_posix(), model, zone)
            home = path.parent.name if path.name == "charge.yaml" else path.stem
            if located is None:
                self.unread |= {home} - self.open.keys()
                continue
            identity: str = vars(located.record)["id"]
            if identity != home:
                self.unread.add(home)
                self.problems.append(_misnamed(located.place("id"), identity, located.file))
            if identity in found:
                self.problems.append(_taken(located.place("id"), identity, found[identity].file))
            found[identity] = located
        return found


def _misnamed(place: Place, identity: str, file: str) -> Problem:
    path = PurePosixPath(file)
    in_folder = path.name == "charge.yaml" or "superseded" in path.parts
    what, home = ("folder", path.parent.name) if in_folder else ("file", path.stem)
    return Problem(place, f"id '{identity}'",
                   f"the {what} is named '{home}', and the two must be the same",
                   f"Write 'id: {home}', or rename the {what}" if re.fullmatch(
                       r"[A-Za-z0-9][A-Za-z0-9._-]*", home) else
                   f"Rename the {what}; a copy is moved out of content/")


def _taken(place: Place, identity: str, other: str) -> Problem:
    return Problem(place, f"id '{identity}'", f"{other} has it too",
                   "Give each record an id of its own")


# --- cross-checks ---------------------------------------------------------------------------------

def _cross_check(folder: MillFolder) -> Iterator[Problem]:
    for located in folder.schedules.values():
        yield from _schedule_problems(folder, located)
    for located_charge in folder.charges.values():
        yield from _charge_problems(folder, located_charge)
    for open_charge in folder.open_charges.values():
        if open_charge.id in folder.charges:
            yield _taken(open_charge.document.place("id"), open_charge.id,
                         folder.charges[open_charge.id].file)
        yield from _open_problems(folder, open_charge)
    yield from _lots_problems(folder)
    yield from _citation_problems(folder)
    yield from _limit_problems(folder)


def _unknown(folder: MillFolder, place: Place, kind: str, name: str, known: Mapping[str, object]
             ) -> Iterator[Problem]:
    if name in known or name in folder.unread:
        return
    near = [identity for identity, located in folder.species.items()
            if kind == "species" and name in _names_of(located.record)] \
        or difflib.get_close_matches(name, list(known), n=1, cutoff=0.4)
    yield Problem(place, f"{kind} '{name}'", f"there is no {kind} of this name",
                  f"Did you mean '{near[0]}'?" if near else f"Add it, or name another {kind}")


def _names_of(species: Species) -> set[str]:
    """Return the names of a species, written as ids are."""
    return {"-".join(name.lower().split()) for name in (species.trade_name, *species.also_called)}


def _schedule_problems(folder: MillFolder, located: Located[Schedule]) -> Iterator[Problem]:
    schedule = located.record
    for index, species in enumerate(schedule.for_stock.species):
        yield from _unknown(folder, located.place("for_stock", "species", index), "species",
                            species, folder.species)
    if schedule.notation:
        try:
            folder.steps_of(schedule)
        except (ValueError, StopIteration) as error:
            yield Problem(located.place("notation"), f"notation '{schedule.notation}'",
                          str(error) or "no notation table is at hand",
                          "" if str(error) else
                          "Add one to schedules/notations, or write the steps out")


def _charge_problems(folder: MillFolder, located: Located[Charge]) -> Iterator[Problem]:
    charge, place = located.record, located.place
    yield from _unknown(folder, place("kiln"), "kiln", charge.kiln, folder.kilns)
    yield from _unknown(folder, place("schedule"), "schedule", charge.schedule, folder.schedules)
    if charge.schedule in folder.schedules:
        revision = folder.schedules[charge.schedule].record.revision
        if charge.schedule_revision > revision:
            yield Problem(place("schedule_revision"),
                          f"schedule_revision '{charge.schedule_revision}'",
                          f"schedule '{charge.schedule}' is at revision {revision}",
                          "Write the revision that was run")
    for index, stock in enumerate(charge.stock):
        yield from _unknown(folder, place("stock", index, "species"), "species", stock.species,
                            folder.species)
    for index, log in enumerate(charge.log):
        yield from _unknown(folder, place("log", index, "profile"), "logger profile", log.profile,
                            folder.loggers)
        if "/" in log.file or "\\" in log.file or log.file.startswith("."):
            yield Problem(place("log", index, "file"), f"file '{log.file}'",
                          "a logger file lies beside its charge.yaml", "Write its name only")
        elif not (folder.root / located.file).with_name(log.file).is_file():
            yield Problem(place("log", index, "file"), f"file '{log.file}'",
                          "there is no such file beside charge.yaml", "Copy the export there")
    yield from _step_problems(folder, located)
    yield from _board_problems(folder, located)
    yield from _order_problems(located)


def _open_problems(folder: MillFolder, charge: OpenCharge) -> Iterator[Problem]:
    """Yield what cannot stand of an open charge: all that is known, or the names it gives."""
    if charge.so_far is not None:
        yield from _charge_problems(folder, charge.so_far)
        return
    for key, known in (("kiln", folder.kilns), ("schedule", folder.schedules)):
        name = charge.document.value.get(key)
        if isinstance(name, str) and name != TO_FILL:
            yield from _unknown(folder, charge.document.place(key), key, name, known)


def _step_problems(folder: MillFolder, located: Located[Charge]) -> Iterator[Problem]:
    """Yield steps the schedule does not have; an older revision may have had them."""
    charge = located.record
    run = folder.schedules.get(charge.schedule)
    if run is None or run.record.revision != charge.schedule_revision:
        return
    try:
        steps = len(folder.steps_of(run.record))
    except (ValueError, StopIteration):
        return  # the schedule's own problem
    for index, change in enumerate(charge.step_changes):
        if change.step > steps:
            yield Problem(located.place("step_changes", index, "step"), f"step '{change.step}'",
                          f"schedule '{charge.schedule}' has {steps} steps", "Check the number")


def _board_problems(folder: MillFolder, located: Located[Charge]) -> Iterator[Problem]:
    charge, place = located.record, located.place
    boards: dict[str, int] = {}
    for index, board in enumerate(charge.boards):
        if board.id in boards:
            first = place("boards", boards[board.id], "id")
            yield Problem(place("boards", index, "id"), f"board '{board.id}'",
                          f"it already stands at line {first.line}",
                          "Give every board its own tag")
        boards.setdefault(board.id, index)
    for index, weighing in enumerate(charge.weighings):
        for name in {*weighing.masses, *weighing.stated_mc} if len(boards) == len(charge.boards) \
                else ():
            key = "masses" if name in weighing.masses else "stated_mc"
            written = located.document.key_place("weighings", index, key, name)
            lacking = [tag for tag in boards if tag not in getattr(weighing, key)]
            if name not in boards and len(lacking) == 1:
                yield Problem(written, f"board '{name}'", "there is no board of this name",
                              f"Did you mean '{lacking[0]}', which this round lacks?")
            else:
                yield from _unknown(folder, written, "board", name, boards)
        if index and weighing.at <= charge.weighings[index - 1].at:
            yield Problem(place("weighings", index, "at"), f"at '{weighing.at:%Y-%m-%d %H:%M}'",
                          "it is not after the weighing before it",
                          "Check the date; keep weighings oldest first")


def _order_problems(located: Located[Charge]) -> Iterator[Problem]:
    charge = located.record
    moments = [("loaded", charge.loaded), ("started", charge.started), ("ended", charge.ended),
               ("unloaded", charge.unloaded)]
    for (before, first), (after, second) in pairwise(moments):
        if second < first:
            yield Problem(located.place(after), f"{after} '{second:%Y-%m-%d %H:%M}'",
                          f"it is before {before}, {first:%Y-%m-%d %H:%M}", "Check both dates")
    spans = [(f"stops.{i}", s.start, s.end) for i, s in enumerate(charge.stops)]
    spans += [(name, stage.start, stage.end) for name in ("equalizing", "conditioning")
              if (stage := getattr(charge, name))]
    for name, start, end in spans:
        if end <= start:
            path = tuple(int(p) if p.isdigit() else p for p in name.split("."))
            yield Problem(located.place(*path, "end"), f"end '{end:%Y-%m-%d %H:%M}'",
                          f"it is not after its start, {start:%Y-%m-%d %H:%M}", "Check both dates")


def _lots_problems(folder: MillFolder) -> Iterator[Problem]:
    seen: dict[str, Place] = {}
    for located in (*folder.lots.values(), *folder.waiting_lots.values()):
        lot, place = located.record, located.place
        yield from _unknown(folder, place("species"), "species", lot.species, folder.species)
        for index, pack in enumerate(lot.packs):
            yield from _unknown(folder, place("packs", index, "charge"), "charge", pack.charge,
                                {**folder.charges, **folder.open_charges})
            where = place("packs", index, "number")
            if pack.number in seen:
                yield Problem(where, f"pack '{pack.number}'",
                              f"it already stands at {seen[pack.number]}",
                              "A pack belongs to one lot, once")
            seen.setdefault(pack.number, where)
        yield from _rule_problems(located)


def _rule_problems(located: Located[Lot]) -> Iterator[Problem]:
    """Yield what the order's rule needs and lacks, and limits that leave no room."""
    order = located.record.order
    needed = {"band": ("lowest", "highest"), "maximum": ("highest",), "en-14298": ()}[order.rule]
    for key in needed:
        if getattr(order, key) is None:
            yield Problem(located.place("order", "rule"), f"rule '{order.rule}'",
                          f"it needs '{key}'", f"Add a line '{key}: … %'")
    for low, high in (("lowest", "highest"), ("mean_lowest", "mean_highest")):
        least, most = getattr(order, low), getattr(order, high)
        if least and most and least.value >= most.value:
            yield Problem(located.place("order", high), f"{high} '{most.entered}'",
                          f"it is not above {low}, {least.entered}",
                          "Check whether the two are swapped")


def _known_values(value: object, path: tuple[str | int, ...] = ()
                  ) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Yield the place and citation of every sourced value below `value`."""
    if isinstance(value, Record):
        if isinstance(value, (Known, Schedule)):
            yield (*path, "source"), value.source
        for name in type(value).model_fields:
            yield from _known_values(getattr(value, name), (*path, name))
    elif isinstance(value, (list, tuple)):
        for index, item in enumerate(value):
            yield from _known_values(item, (*path, index))
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield from _known_values(item, (*path, key))


def _citation_problems(folder: MillFolder) -> Iterator[Problem]:
    publications = folder.sources.record.publications
    cited: list[Located] = [*folder.species.values(), *folder.schedules.values(),
                            *folder.notations.values(), folder.limits]
    for located in cited:
        for path, citation in _known_values(located.record):
            publication = publication_of(citation)
            if publication != "common practice":
                yield from _unknown(folder, located.place(*path), "publication", publication,
                                    publications)


def _limit_problems(folder: MillFolder) -> Iterator[Problem]:
    for key, entries in folder.limits.record.limits.items():
        for index, limit in enumerate(entries):
            for number, species in enumerate(limit.scope.species):
                yield from _unknown(
                    folder, folder.limits.place("limits", key, index, "scope", "species", number),
                    "species", species, folder.species)


def latest_moment(folder: MillFolder) -> dt.datetime:
    """Return the newest moment on record: the date of a build without SOURCE_DATE_EPOCH."""
    zone = folder.mill.record.zone
    moments = [located.record.unloaded for located in folder.charges.values()]
    moments += [charge.so_far.record.unloaded for charge in folder.open_charges.values()
                if charge.so_far]
    moments += [lot.record.shipped for lot in folder.lots.values() if lot.record.shipped]
    return max(moments, default=dt.datetime(2000, 1, 1, tzinfo=zone)).astimezone(zone)
