"""A whole mill folder, read and cross-checked.

First every file is parsed and validated and all problems are kept; then the survivors are checked
against each other, so that one slip does not hide the rest.
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import TypeVar, cast
from zoneinfo import ZoneInfo

from kilnfolio.records.begun import BEGUN, Begun, read_begun
from kilnfolio.records.book import Known, Sources, publication_of
from kilnfolio.records.charge import Charge
from kilnfolio.records.formats import matching
from kilnfolio.records.homes import strays
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.limits import Limits
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.lot import Lot
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import Located, Record, is_mark, kind_of, validate
from kilnfolio.records.notation import Notation, expand
from kilnfolio.records.open_charge import OpenCharge, read_charge
from kilnfolio.records.practice import ControlRule, practices
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.schedule import Schedule, Step
from kilnfolio.records.species import Species
from kilnfolio.records.yaml_source import Document, read_yaml

R = TypeVar("R", bound=Record)

#: The newest moment of a mill with nothing on record.
NOTHING_YET = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)

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
    #: Other records that are still to be filled in, as by ``kiln k2``: in no count, on no list.
    begun: Mapping[str, Begun] = field(default_factory=dict)
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

    def file(self, name: str) -> Path:
        """Return a file of the folder by its name from the root, to be read."""
        return self.root / name

    @cached_property
    def latest(self) -> dt.datetime:
        """The newest moment on record."""
        zone = self.mill.record.zone
        moments = [located.record.unloaded for located in self.charges.values()]
        moments += [charge.so_far.record.unloaded for charge in self.open_charges.values()
                    if charge.so_far]
        moments += [lot.record.shipped for lot in self.lots.values() if lot.record.shipped]
        return max(moments, default=NOTHING_YET).astimezone(zone)

    @cached_property
    def lots_with_pack(self) -> Mapping[str, tuple[str, ...]]:
        """Lots that name each pack, those that wait last; one that names it twice stands twice."""
        return _index((pack.number, lot_id) for lots in (self.lots, self.waiting_lots)
                      for lot_id, lot in lots.items() for pack in lot.record.packs)

    @cached_property
    def lots_of_charge(self) -> Mapping[str, tuple[str, ...]]:
        """Lots that have packs of each charge, in their order."""
        return _index((name, lot_id) for lot_id, lot in self.lots.items()
                      for name in sorted({pack.charge for pack in lot.record.packs}))

    @cached_property
    def lots_waiting_for(self) -> Mapping[str, tuple[str, ...]]:
        """Lots that wait for each open charge, in their order."""
        return _index((name, lot_id) for lot_id, lot in self.waiting_lots.items()
                      for name in sorted({pack.charge for pack in lot.record.packs}))

    @cached_property
    def charges_with_pack(self) -> Mapping[str, tuple[str, ...]]:
        """Charges whose stacking record lists each pack, in their order."""
        return _index((pack, name) for name, charge in self.charges.items()
                      for pack in (charge.record.stacking.packs if charge.record.stacking else ()))


def refuse_other_folder(root: Path) -> None:
    """Refuse a folder that is not a mill's.

    Raises
    ------
    RecordProblems
        Says what it lacks.
    """
    if not (root / "content").is_dir():
        missing = "there is no such folder" if not root.is_dir() else "it holds no folder content/"
        raise RecordProblems([Problem(
            Place(str(root)), "this is not a mill's folder", missing,
            "Name the folder that holds content/ and schedules/; "
            "'kilnfolio new mill FOLDER' makes one")])


def _index(pairs: Iterable[tuple[str, str]]) -> Mapping[str, tuple[str, ...]]:
    found: defaultdict[str, list[str]] = defaultdict(list)
    for key, name in pairs:
        found[key].append(name)
    return defaultdict(tuple, {key: tuple(names) for key, names in found.items()})


#: An earlier revision, which is always complete.
_EARLIER = re.compile(r"schedules/superseded/.*")


def read_mill_folder(root: Path, settled: Collection[str] = ()) -> MillFolder:
    """Read and cross-check a mill folder.

    Parameters
    ----------
    root : Path
        The folder that holds ``content/`` and ``schedules/``.
    settled : collection of str
        Charges and lots, as ``C1`` and ``lot L1``, that are not held against the other records:
        they stay as they are, whatever became of those.

    Raises
    ------
    RecordProblems
        Every problem in every file.
    """
    refuse_other_folder(root)
    reader = _Reader(root)
    reader.name_strays()
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
    charges = {name: by_practice(charge, rule) for name, charge in charges.items()}
    opened = {one.id: open_by_practice(one, rule) for one in reader.begun.values()
              if isinstance(one, OpenCharge)}
    waiting = {name: lot for name, lot in lots.items()
               if any(pack.charge in opened for pack in lot.record.packs)}
    folder = MillFolder(root, mill, sources, limits, species, schedules, notations, kilns, loggers,
                        charges, {name: lot for name, lot in lots.items() if name not in waiting},
                        frozenset(reader.unread), opened, waiting,
                        {name: one for name, one in reader.begun.items()
                         if not isinstance(one, OpenCharge)}, superseded)
    reader.problems.extend(_cross_check(folder, settled))
    if reader.problems:
        raise RecordProblems(reader.problems)
    return folder


def by_practice(charge: Located[Charge], rule: ControlRule) -> Located[Charge]:
    """Return a charge that says which boards decide: by its own word, or the mill's practice."""
    if "control_rule" in charge.record.model_fields_set or charge.record.control_rule == rule:
        return charge
    return replace(charge, record=charge.record.model_copy(update={"control_rule": rule}))


def open_by_practice(charge: OpenCharge, rule: ControlRule) -> OpenCharge:
    """Return an open charge that says which boards decide; see `by_practice`."""
    so_far = charge.so_far
    return charge if so_far is None else replace(charge, so_far=by_practice(so_far, rule))


def read_record(root: Path, name: str, model: type[R], zone: ZoneInfo | None = None
                ) -> Located[R] | Begun:
    """Read one record, or what there is of it where it is still to be filled in.

    Parameters
    ----------
    root : Path
        The mill folder.
    name : str
        The file, from the root.
    model : type
        What it is a record of; see `RECORD_KINDS`.
    zone : ZoneInfo, optional
        The mill's, for times written without one.

    Raises
    ------
    RecordProblems
        Every problem in it.
    """
    if (root / name).is_symlink() and leads_out(root, name):
        raise RecordProblems([Problem(Place(name), "this record is a link that leads out of the "
                                      "mill's folder", "only the mill's own files are read",
                                      "Copy the record itself here")])
    return record_of(read_yaml(root / name, name), model, zone)


def record_of(document: Document, model: type[R], zone: ZoneInfo | None = None
              ) -> Located[R] | Begun:
    """Return the record a YAML document holds; see `read_record`."""
    if model is Charge:
        return cast("Located[R] | Begun", read_charge(document, zone))
    if kind_of(model) in BEGUN and not _EARLIER.fullmatch(document.file):
        return read_begun(document, model, zone)
    return validate(document, model, zone=zone)


@dataclass
class _Reader:
    root: Path
    problems: list[Problem] = field(default_factory=list)
    unread: set[str] = field(default_factory=set)
    begun: dict[str, Begun] = field(default_factory=dict)

    def one(self, name: str, model: type[R], zone: ZoneInfo | None = None) -> Located[R] | None:
        read = self._read(name, model, zone)
        if isinstance(read, Begun):
            self._keep_begun(read)
            return None
        return read

    def _read(self, name: str, model: type[R], zone: ZoneInfo | None
              ) -> Located[R] | Begun | None:
        try:
            return read_record(self.root, name, model, zone)
        except RecordProblems as error:
            self.problems.extend(error.problems)
            return None

    def _keep_begun(self, begun: Begun) -> None:
        self.problems.extend(name_problems(begun))
        if begun.name in self.begun:
            self.problems.append(twice_problem(begun, self.begun[begun.name].file))
        self.begun[begun.name] = begun

    def many(self, folder: str, model: type[R], *, zone: ZoneInfo | None = None,
             found: dict[str, Located[R]] | None = None) -> dict[str, Located[R]]:
        """Read every record of a folder, adding to `found`."""
        return self._by_id(sorted((self.root / folder).glob("*.yaml")), model, zone,
                           {} if found is None else found)

    def charges(self, zone: ZoneInfo | None) -> dict[str, Located[Charge]]:
        files = sorted((self.root / "content/charges").glob("*/*/charge.yaml"))
        return self._by_id(files, Charge, zone, {})

    def superseded(self, schedules: Mapping[str, Located[Schedule]]
                   ) -> dict[str, tuple[Located[Schedule], ...]]:
        """Read the earlier revisions of schedules, ``schedules/superseded/ID/REVISION.yaml``."""
        found: dict[str, list[Located[Schedule]]] = {}
        for path in sorted((self.root / "schedules/superseded").glob("*/*.yaml")):
            located = self.one(path.relative_to(self.root).as_posix(), Schedule)
            if located is None:
                continue
            self.problems.extend(superseded_problems(located, schedules))
            found.setdefault(located.record.id, []).append(located)
        return {identity: newest_first(those) for identity, those in found.items()}

    def name_strays(self) -> None:
        """Name every YAML file that lies where it would be passed over in silence."""
        names = [path.relative_to(self.root).as_posix() for tree in ("content", "schedules")
                 for path in (self.root / tree).rglob("*")]
        self.problems.extend(stray_problem(name, why) for name, why in strays(names))

    def _by_id(self, files: list[Path], model: type[R], zone: ZoneInfo | None,
               found: dict[str, Located[R]]) -> dict[str, Located[R]]:
        for path in files:
            located = self.one(path.relative_to(self.root).as_posix(), model, zone)
            home = path.parent.name if path.name == "charge.yaml" else path.stem
            if located is None:
                if f"{kind_of(model)} {home}" not in self.begun:
                    self.unread.add(home)
                continue
            identity: str = vars(located.record)["id"]
            misnamed = list(name_problems(located))
            self.problems.extend(misnamed)
            if misnamed:
                self.unread.add(home)
            if identity in found:
                self.problems.append(twice_problem(located, found[identity].file))
            found[identity] = located
        return found


def leads_out(root: Path, name: str) -> bool:
    """Return whether a name in the mill's folder leads to a file outside it.

    Such a file would be read, printed and put into bags though nobody gave it to the mill.
    """
    return not (root / name).resolve().is_relative_to(root.resolve())


def superseded_problems(located: Located[Schedule], schedules: Mapping[str, Located[Schedule]]
                        ) -> Iterator[Problem]:
    """Yield where an earlier revision of a schedule lies wrongly, or is not earlier.

    Parameters
    ----------
    located : Located of Schedule
        The earlier revision.
    schedules : mapping of str to Located of Schedule
        The schedules in force.
    """
    yield from name_problems(located)
    record = located.record
    current = schedules.get(record.id)
    if str(record.revision) != PurePosixPath(located.file).stem or (
            current and record.revision >= current.record.revision):
        yield Problem(
            located.place("revision"), f"revision {record.revision}",
            "an earlier revision is kept in a file named by its number, and is below the "
            "revision in force", f"Keep revision 1 as schedules/superseded/{record.id}/1.yaml")


def newest_first(revisions: Iterable[Located[Schedule]]) -> tuple[Located[Schedule], ...]:
    """Return revisions of one schedule in order."""
    return tuple(sorted(revisions, key=lambda one: -one.record.revision))


def identity_of(read: Located | Begun) -> str:
    """Return the id of a record that has one."""
    identity: str = read.id if isinstance(read, Begun) else vars(read.record)["id"]
    return identity


def name_problems(read: Located | Begun) -> Iterator[Problem]:
    """Yield where the id of a record is not the name of its file, or of a charge's folder."""
    path, identity = PurePosixPath(read.file), identity_of(read)
    in_folder = path.name == "charge.yaml" or "superseded" in path.parts
    what, home = ("folder", path.parent.name) if in_folder else ("file", path.stem)
    if identity != home:
        yield Problem(read.document.place("id"), f"id '{identity}'",
                      f"the {what} is named '{home}', and the two must be the same",
                      f"Write 'id: {home}', or rename the {what}" if re.fullmatch(
                          r"[A-Za-z0-9][A-Za-z0-9._-]*", home) else
                      f"Rename the {what}; a copy is moved out of content/")


def stray_problem(name: str, why: str) -> Problem:
    """Return what is said of a file that would be passed over; see `homes.strays`."""
    return Problem(Place(name), "this file would not be read", why, "Rename or move it")


def twice_problem(read: Located | Begun, other: str) -> Problem:
    """Return what is said of a record whose id another file has."""
    return Problem(read.document.place("id"), f"id '{identity_of(read)}'", f"{other} has it too",
                   "Give each record an id of its own")


# --- cross-checks ---------------------------------------------------------------------------------

def _cross_check(folder: MillFolder, settled: Collection[str]) -> Iterator[Problem]:
    charges = (charge for name, charge in folder.charges.items() if name not in settled)
    lots = (lot for name, lot in folder.lots.items() if f"lot {name}" not in settled)
    everything: list[Located | Begun] = [
        *folder.schedules.values(), *charges, *folder.open_charges.values(),
        *lots, *folder.waiting_lots.values(), *folder.begun.values(),
        *folder.species.values(), *folder.notations.values(), folder.limits]
    for read in everything:
        yield from problems_of(folder, read)


def problems_of(folder: MillFolder, read: Located | Begun) -> Iterator[Problem]:
    """Yield what is wrong with a record beside the others: names that lead nowhere, and the like.

    Parameters
    ----------
    folder : MillFolder
        The others.
    read : Located or Begun
        A record that was read without problems.
    """
    yield from _dead_names(folder, read)
    if isinstance(read, Begun):
        yield from _begun_problems(folder, read)
        return
    record = read.record
    if isinstance(record, Schedule):
        yield from _schedule_problems(folder, read)
    elif isinstance(record, Charge):
        yield from _charge_problems(folder, read)
        yield from _uncut_boards(read)
    elif isinstance(record, Lot):
        yield from _lot_problems(folder, read)
    elif isinstance(record, Limits):
        yield from _limit_problems(folder, read)
    if isinstance(record, (Species, Schedule, Notation, Limits)):
        yield from _citation_problems(folder, read)


def _unknown(folder: MillFolder, place: Place, kind: str, name: str, known: Mapping[str, object]
             ) -> Iterator[Problem]:
    if name in known or name in folder.unread:
        return
    near = [identity for identity, located in folder.species.items()
            if kind == "species" and name in _names_of(located.record)] \
        or difflib.get_close_matches(name, list(known), n=1, cutoff=0.4)
    yield Problem(place, f"{kind} '{name}'", f"there is no {kind} of this name",
                  f"Did you mean '{near[0]}'?" if near else f"Add it, or name another {kind}")


#: Where records name others: the pattern of the key, the word for what it names, and where the
#: folder holds those.
_NAMES: Mapping[str, tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...]] = {
    "charge": ((("kiln",), "kiln", ("kilns",)), (("schedule",), "schedule", ("schedules",)),
               (("stock", "*", "species"), "species", ("species",)),
               (("log", "*", "profile"), "logger profile", ("loggers",))),
    "lot": ((("species",), "species", ("species",)),
            (("packs", "*", "charge"), "charge", ("charges", "open_charges"))),
    "schedule": ((("for_stock", "species", "*"), "species", ("species",)),)}


def _named(read: Located | Begun) -> Iterator[tuple[Place, str, str, tuple[str, ...]]]:
    """Yield every record that a record names: the place, its kind, its name, its shelves."""
    kind = read.kind if isinstance(read, Begun) else kind_of(type(read.record))
    for pattern, noun, shelves in _NAMES.get(kind, ()):
        for path in matching(read.document.value, pattern):
            name = read.document.value
            for part in path:
                name = name[part]
            if isinstance(name, str) and not is_mark(name):
                yield read.document.place(*path), noun, name, shelves


def _dead_names(folder: MillFolder, read: Located | Begun) -> Iterator[Problem]:
    """Yield names that lead nowhere; of a complete record also those of records that are not."""
    for place, noun, name, shelves in _named(read):
        begun = folder.begun.get(f"{noun} {name}")
        if begun is None:
            shelf, *more = (getattr(folder, field) for field in shelves)
            if not any(name in other for other in more):
                yield from _unknown(folder, place, noun, name, shelf)
        elif not isinstance(read, Begun):
            yield Problem(place, f"{noun} '{name}'",
                          f"its record, {begun.file}, is still to be filled in",
                          f"Fill that in first, or name another {noun}")
            yield from begun.to_fill


def lacking(folder: MillFolder, read: Begun) -> tuple[Begun, ...]:
    """Return the records a record names that are still to be filled in themselves."""
    found = {begun.name: begun for _, noun, name, _ in _named(read)
             if (begun := folder.begun.get(f"{noun} {name}"))}
    return tuple(found.values())


def _names_of(species: Species) -> set[str]:
    """Return the names of a species, written as ids are."""
    return {"-".join(name.lower().split()) for name in (species.trade_name, *species.also_called)}


def _schedule_problems(folder: MillFolder, located: Located[Schedule]) -> Iterator[Problem]:
    schedule = located.record
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
    if charge.schedule in folder.schedules:
        revision = folder.schedules[charge.schedule].record.revision
        if charge.schedule_revision > revision:
            yield Problem(place("schedule_revision"),
                          f"schedule_revision '{charge.schedule_revision}'",
                          f"schedule '{charge.schedule}' is at revision {revision}",
                          "Write the revision that was run")
    for index, log in enumerate(charge.log):
        if "/" in log.file or "\\" in log.file or log.file.startswith("."):
            yield Problem(place("log", index, "file"), f"file '{log.file}'",
                          "a logger file lies beside its charge.yaml", "Write its name only")
        elif not folder.file(PurePosixPath(located.file).with_name(log.file).as_posix()).is_file():
            yield Problem(place("log", index, "file"), f"file '{log.file}'",
                          "there is no such file beside charge.yaml", "Copy the export there")
        elif leads_out(folder.root, PurePosixPath(located.file).with_name(log.file).as_posix()):
            yield Problem(place("log", index, "file"), f"file '{log.file}'",
                          "it is a link that leads out of the mill's folder",
                          "Copy the export itself there")
    yield from _step_problems(folder, located)
    yield from _board_problems(folder, located)
    yield from _order_problems(located)


def _begun_problems(folder: MillFolder, begun: Begun) -> Iterator[Problem]:
    """Yield what cannot stand of a record that is not complete, beside the names it gives."""
    complete: Mapping[str, Located] = getattr(
        folder, begun.kind if begun.kind == "species" else f"{begun.kind}s")
    if begun.id in complete:
        yield twice_problem(begun, complete[begun.id].file)
    if isinstance(begun, OpenCharge) and begun.so_far is not None:
        yield from _charge_problems(folder, begun.so_far)


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


def _uncut_boards(located: Located[Charge]) -> Iterator[Problem]:
    """Yield boards of a complete charge without a section: their MC is known at no time."""
    for index, board in enumerate(located.record.boards):
        if not board.sections:
            yield Problem(located.place("boards", index, "sections"), f"board '{board.id}'",
                          "it has no section with its oven-dry mass",
                          "Write the sections, or take the board and its masses out")


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
        named = {*weighing.masses, *(weighing.stated_mc.keys() - weighing.mc.keys())}
        for name in named if len(boards) == len(charge.boards) else ():
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


def _lot_problems(folder: MillFolder, located: Located[Lot]) -> Iterator[Problem]:
    lot, place = located.record, located.place
    own: dict[str, int] = {}
    for index, pack in enumerate(lot.packs):
        if first := _first_place(folder, located, pack.number, own):
            yield Problem(place("packs", index, "number"), f"pack '{pack.number}'",
                          f"it already stands at {first}", "A pack belongs to one lot, once")
        own.setdefault(pack.number, index)
    yield from _rule_problems(located)


def _first_place(folder: MillFolder, located: Located[Lot], pack: str, own: Mapping[str, int]
                 ) -> Place | None:
    """Return where a pack stands before this, in this lot or in another; None where it does not."""
    if pack in own:
        return located.place("packs", own[pack], "number")
    holder = folder.lots_with_pack[pack][0]
    if holder == located.record.id:
        return None
    other = folder.lots[holder] if holder in folder.lots else folder.waiting_lots[holder]
    numbers = [one.number for one in other.record.packs]
    return other.place("packs", numbers.index(pack), "number")


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


def _citation_problems(folder: MillFolder, located: Located) -> Iterator[Problem]:
    publications = folder.sources.record.publications
    for path, citation in _known_values(located.record):
        publication = publication_of(citation)
        if publication != "common practice":
            yield from _unknown(folder, located.place(*path), "publication", publication,
                                publications)


def _limit_problems(folder: MillFolder, located: Located[Limits]) -> Iterator[Problem]:
    for key, entries in located.record.limits.items():
        for index, limit in enumerate(entries):
            for number, species in enumerate(limit.scope.species):
                yield from _unknown(
                    folder, located.place("limits", key, index, "scope", "species", number),
                    "species", species, folder.species)


def latest_moment(folder: MillFolder) -> dt.datetime:
    """Return the newest moment on record: the date of a build without SOURCE_DATE_EPOCH."""
    return folder.latest
