"""Checks records against each other: names of missing records, duplicate numbers, and the like.

If a record that a check needs cannot be read, that is not a problem of the record that names it; it
is reported where it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from itertools import pairwise
from pathlib import PurePosixPath
from typing import Any

from kilnfolio.graph.derived import BlockedError
from kilnfolio.physics.moisture import HOURS_RANGE
from kilnfolio.records.charge import Charge
from kilnfolio.records.drafts import Draft
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.formats import matching
from kilnfolio.records.instrument import InstrumentTrials
from kilnfolio.records.limits import Limits
from kilnfolio.records.lot import Lot
from kilnfolio.records.model import Located, Record, looks_like_a_number
from kilnfolio.records.notation import Notation
from kilnfolio.records.open_charge import OpenCharge
from kilnfolio.records.problems import Place, Problem
from kilnfolio.records.reading import links_outside, misnamed
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.setpoints import impossible_air, impossible_stages, mill_pressure
from kilnfolio.records.sourced import Known, publication_of
from kilnfolio.records.species import Species
from kilnfolio.records.validation import is_mark, kind_of
from kilnfolio.runtime.nearest import nearest


def superseded_problems(
    folder: MillFolder, located: Located[Schedule], current: Located[Schedule] | None
) -> Iterator[Problem]:
    """Yield the problems of an earlier revision: misplaced, not earlier, or of impossible air.

    Parameters
    ----------
    folder : MillFolder
        The mill's records.
    located : Located of Schedule
        The earlier revision.
    current : Located of Schedule, optional
        The revision in force.
    """
    yield from name_problems(located)
    record = located.record
    if str(record.revision) != PurePosixPath(located.file).stem or (
        current and record.revision >= current.record.revision
    ):
        yield Problem(
            located.place("revision"),
            f"revision {record.revision}",
            "an earlier revision is kept in a file named by its number, and is below the "
            "revision in force",
            f"Keep revision 1 as schedules/superseded/{record.id}/1.yaml",
        )
    yield from _schedule_problems(folder, located)


def identity_of(read: Located[Any] | Draft) -> str:
    """Return the id of a record; None if it has none."""
    identity: str = read.id if isinstance(read, Draft) else vars(read.record)["id"]
    return identity


def name_problems(read: Located[Any] | Draft) -> Iterator[Problem]:
    """Yield a problem if a record's id is not the name of its file, or of a charge's folder."""
    path, identity = PurePosixPath(read.file), identity_of(read)
    in_folder = path.name == "charge.yaml" or "superseded" in path.parts
    what, home = ("folder", path.parent.name) if in_folder else ("file", path.stem)
    if identity != home:
        yield Problem(
            read.document.place("id"),
            f"id '{identity}'",
            f"the {what} is named '{home}', and the two must be the same",
            f"Write 'id: {home}', or rename the {what}"
            if looks_like_a_number(home)
            else f"Rename the {what}; a copy is moved out of content/",
        )


def misplaced_problem(name: str, why: str) -> Problem:
    """Return the problem of a file that would be ignored; see `kinds.misplaced`."""
    return Problem(Place(name), "this file would not be read", why, "Rename or move it")


def duplicate_problem(read: Located[Any] | Draft, other: str) -> Problem:
    """Return the problem of a record whose id another file also has."""
    return Problem(
        read.document.place("id"),
        f"id '{identity_of(read)}'",
        f"{other} has it too",
        "Give each record an id of its own",
    )


# --- against the others ---------------------------------------------------------------------------


def problems_of(folder: MillFolder, read: Located[Any] | Draft) -> Iterator[Problem]:
    """Yield the problems of a record with respect to the others, such as names of missing records.

    Parameters
    ----------
    folder : MillFolder
        The mill's records.
    read : Located or Draft
        A record that was itself read without problems.
    """
    yield from _missing_names(folder, read)
    if isinstance(read, Draft):
        yield from _draft_problems(folder, read)
        return
    for model, check in _CHECKS:
        if isinstance(read.record, model):
            yield from _readable(check(folder, read))


def _readable(problems: Iterator[Problem]) -> Iterator[Problem]:
    """Yield problems, stopping when a record that is needed cannot be read."""
    try:
        yield from problems
    except BlockedError:
        return


def _unknown(
    folder: MillFolder, place: Place, kind: str, name: str, known: Mapping[str, object]
) -> Iterator[Problem]:
    if name in known:
        return
    near = [
        identity
        for identity in (folder.species if kind == "species" else ())
        if (species := folder.species.get(identity)) and name in _names_of(species.record)
    ] or nearest(name, known, cutoff=0.4)
    yield Problem(
        place,
        f"{kind} '{name}'",
        f"there is no {kind} of this name",
        f"Did you mean '{near[0]}'?" if near else f"Add it, or name another {kind}",
    )


#: Where records name others: the pattern of the key, the word for what it names, and the attribute
#: of the folder that holds those.
_NAMES: Mapping[str, tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...]] = {
    "charge": (
        (("kiln",), "kiln", ("kilns",)),
        (("schedule",), "schedule", ("schedules",)),
        (("stock", "*", "species"), "species", ("species",)),
        (("log", "*", "profile"), "logger profile", ("loggers",)),
    ),
    "lot": (
        (("species",), "species", ("species",)),
        (("packs", "*", "charge"), "charge", ("charges", "open_charges")),
    ),
    "instrument": (
        (("kilns", "*"), "kiln", ("kilns",)),
        (("oven_pairs", "*", "species"), "species", ("species",)),
    ),
    "order": (
        (("species",), "species", ("species",)),
        (("schedule",), "schedule", ("schedules",)),
        (("charges", "*"), "charge", ("charges", "open_charges")),
    ),
    "schedule": ((("for_stock", "species", "*"), "species", ("species",)),),
}


#: Words for kinds of record that differ from their names.
_KIND = {"logger profile": "logger"}


def _named(read: Located[Any] | Draft) -> Iterator[tuple[Place, str, str, tuple[str, ...]]]:
    """Yield the path, kind, name and groups of every record that a record names."""
    kind = read.kind if isinstance(read, Draft) else kind_of(type(read.record))
    for pattern, noun, groups in _NAMES.get(kind, ()):
        for path in matching(read.document.value, pattern):
            name = read.document.value
            for part in path:
                name = name[part]
            if isinstance(name, str) and not is_mark(name):
                yield read.document.place(*path), noun, name, groups


def _missing_names(folder: MillFolder, read: Located[Any] | Draft) -> Iterator[Problem]:
    """Yield names of missing records and, for a complete record, of incomplete ones."""
    for place, noun, name, groups in _named(read):
        draft = folder.drafts.get(f"{_KIND.get(noun, noun)} {name}")
        if draft is None:
            known = [getattr(folder, field) for field in groups]
            # checked last: to find this id in another file, every record of the kind is read
            if not any(name in group for group in known) and name not in misnamed(
                folder.graph, _KIND.get(noun, noun)
            ):
                yield from _unknown(folder, place, noun, name, known[0])
        elif not isinstance(read, Draft):
            yield Problem(
                place,
                f"{noun} '{name}'",
                f"its record, {draft.file}, is still to be filled in",
                f"Fill that in first, or name another {noun}",
            )
            yield from draft.to_fill


def incomplete_references(folder: MillFolder, read: Draft) -> tuple[Draft, ...]:
    """Return the records named by a record that are themselves still to be filled in."""
    found = {
        draft.name: draft
        for _, noun, name, _ in _named(read)
        if (draft := folder.drafts.get(f"{noun} {name}"))
    }
    return tuple(found.values())


def _names_of(species: Species) -> set[str]:
    """Return the names of a species, written as ids are."""
    return {"-".join(name.lower().split()) for name in (species.trade_name, *species.also_called)}


def _schedule_problems(folder: MillFolder, located: Located[Schedule]) -> Iterator[Problem]:
    """Yield a notation that cannot be expanded, or the set-points that no air can have."""
    schedule = located.record
    try:
        steps = folder.steps_of(schedule)
    except (ValueError, StopIteration) as error:
        yield Problem(
            located.place("notation"),
            f"notation '{schedule.notation}'",
            str(error) or "no notation table is at hand",
            "" if str(error) else "Add one to schedules/notations, or write the steps out",
        )
        return
    yield from _readable(impossible_air(located, steps, mill_pressure(folder)))


def _charge_problems(folder: MillFolder, located: Located[Charge]) -> Iterator[Problem]:
    yield from _revision_problems(folder, located)
    yield from _log_problems(folder, located)
    yield from _readable(_step_problems(folder, located))
    yield from _board_problems(folder, located)
    yield from _order_problems(located)
    yield from _meter_problems(located)
    yield from _readable(impossible_stages(located, mill_pressure(folder)))


def _revision_problems(folder: MillFolder, located: Located[Charge]) -> Iterator[Problem]:
    charge, schedule = located.record, folder.schedules.get(located.record.schedule)
    if schedule and charge.schedule_revision > schedule.record.revision:
        yield Problem(
            located.place("schedule_revision"),
            f"schedule_revision '{charge.schedule_revision}'",
            f"schedule '{charge.schedule}' is at revision {schedule.record.revision}",
            "Write the revision that was run",
        )


def _log_problems(folder: MillFolder, located: Located[Charge]) -> Iterator[Problem]:
    charge, place = located.record, located.place
    for index, log in enumerate(charge.log):
        if "/" in log.file or "\\" in log.file or log.file.startswith("."):
            yield Problem(
                place("log", index, "file"),
                f"file '{log.file}'",
                "a logger file lies beside its charge.yaml",
                "Write its name only",
            )
            continue
        export = folder.file(PurePosixPath(located.file).with_name(log.file).as_posix())
        if not export.is_file():
            yield Problem(
                place("log", index, "file"),
                f"file '{log.file}'",
                "there is no such file beside charge.yaml",
                "Copy the export there",
            )
        elif links_outside(folder.graph.folder, export):
            yield Problem(
                place("log", index, "file"),
                f"file '{log.file}'",
                "it is a link that leads out of the mill's folder",
                "Copy the export itself there",
            )


def _draft_problems(folder: MillFolder, draft: Draft) -> Iterator[Problem]:
    """Yield the problems of an incomplete record, apart from the names it gives."""
    if isinstance(draft, OpenCharge) and draft.so_far is not None:
        yield from _charge_problems(folder, draft.so_far)


def _step_problems(folder: MillFolder, located: Located[Charge]) -> Iterator[Problem]:
    """Yield steps that the schedule does not have; an older revision may have had them."""
    charge = located.record
    run = folder.schedules.get(charge.schedule)
    if run is None or run.record.revision != charge.schedule_revision:
        return
    try:
        steps = len(folder.steps_of(run.record))
    except (ValueError, StopIteration):
        return  # a problem of the schedule
    for index, change in enumerate(charge.step_changes):
        if change.step > steps:
            yield Problem(
                located.place("step_changes", index, "step"),
                f"step '{change.step}'",
                f"schedule '{charge.schedule}' has {steps} steps",
                "Check the number",
            )


def _boards_without_sections(_: MillFolder, located: Located[Charge]) -> Iterator[Problem]:
    """Yield boards of a complete charge without a section, whose MC is never known."""
    for index, board in enumerate(located.record.boards):
        if not board.sections:
            yield Problem(
                located.place("boards", index, "sections"),
                f"board '{board.id}'",
                "it has no section with its oven-dry mass",
                "Write the sections, or take the board and its masses out",
            )


def _board_problems(folder: MillFolder, located: Located[Charge]) -> Iterator[Problem]:
    charge, place = located.record, located.place
    boards: dict[str, int] = {}
    for index, board in enumerate(charge.boards):
        if board.id in boards:
            first = place("boards", boards[board.id], "id")
            yield Problem(
                place("boards", index, "id"),
                f"board '{board.id}'",
                f"it already stands at line {first.line}",
                "Give every board its own tag",
            )
        boards.setdefault(board.id, index)
    for index, weighing in enumerate(charge.weighings):
        named = {*weighing.masses, *weighing.stated_mc}
        for name in named if len(boards) == len(charge.boards) else ():
            key = "masses" if name in weighing.masses else "stated_mc"
            written = located.document.key_place("weighings", index, key, name)
            lacking = [tag for tag in boards if tag not in getattr(weighing, key)]
            if name not in boards and len(lacking) == 1:
                yield Problem(
                    written,
                    f"board '{name}'",
                    "there is no board of this name",
                    f"Did you mean '{lacking[0]}', which this round lacks?",
                )
            else:
                yield from _unknown(folder, written, "board", name, boards)
        if index and weighing.at <= charge.weighings[index - 1].at:
            yield Problem(
                place("weighings", index, "at"),
                f"at '{weighing.at:%Y-%m-%d %H:%M}'",
                "it is not after the weighing before it",
                "Check the date; keep weighings oldest first",
            )
    yield from _gap_problems(located)


def _gap_problems(located: Located[Charge]) -> Iterator[Problem]:
    """Yield rounds so long after a board's mass before them that one of the dates must be wrong."""
    charge = located.record
    last = {board.id: board.weighed_at for board in charge.boards}
    for index, weighing in enumerate(charge.weighings):
        weighed = [last[tag] for tag in weighing.masses if tag in last]
        if weighed and (weighing.at - min(weighed)).total_seconds() / 3600.0 > HOURS_RANGE[1]:
            yield Problem(
                located.place("weighings", index, "at"),
                f"at '{weighing.at:%Y-%m-%d %H:%M}'",
                f"a board was last weighed on {min(weighed):%Y-%m-%d}, more than a year before",
                "Check both dates",
            )
        last |= {tag: max(last[tag], weighing.at) for tag in weighing.masses if tag in last}


def _order_problems(located: Located[Charge]) -> Iterator[Problem]:
    charge = located.record
    moments = [
        ("loaded", charge.loaded),
        ("started", charge.started),
        ("ended", charge.ended),
        ("unloaded", charge.unloaded),
    ]
    for (before, first), (after, second) in pairwise(moments):
        if second < first:
            yield Problem(
                located.place(after),
                f"{after} '{second:%Y-%m-%d %H:%M}'",
                f"it is before {before}, {first:%Y-%m-%d %H:%M}",
                "Check both dates",
            )
    spans = [(f"stops.{i}", s.start, s.end) for i, s in enumerate(charge.stops)]
    spans += [
        (name, stage.start, stage.end)
        for name in ("equalizing", "conditioning")
        if (stage := getattr(charge, name))
    ]
    for name, start, end in spans:
        if end <= start:
            path = tuple(int(p) if p.isdigit() else p for p in name.split("."))
            yield Problem(
                located.place(*path, "end"),
                f"end '{end:%Y-%m-%d %H:%M}'",
                f"it is not after its start, {start:%Y-%m-%d %H:%M}",
                "Check both dates",
            )


def _meter_problems(located: Located[Charge]) -> Iterator[Problem]:
    for place, (one, after) in enumerate(pairwise(located.record.meter_readings), 1):
        if after.at <= one.at:
            yield Problem(
                located.place("meter_readings", place, "at"),
                f"at '{after.at:%Y-%m-%d %H:%M}'",
                "it is not after the reading before it",
                "Check the date; keep readings oldest first",
            )
        elif after.reading.value < one.reading.value:
            yield Problem(
                located.place("meter_readings", place, "reading"),
                f"reading '{after.reading.entered}'",
                f"it is below the one before it, {one.reading.entered}",
                "A meter only counts up: check both readings, and whether the meter was changed",
            )


def _lot_problems(folder: MillFolder, located: Located[Lot]) -> Iterator[Problem]:
    lot, place = located.record, located.place
    own: dict[str, int] = {}
    for index, pack in enumerate(lot.packs):
        if first := _first_place(folder, located, pack.number, own):
            yield Problem(
                place("packs", index, "number"),
                f"pack '{pack.number}'",
                f"it already stands at {first}",
                "A pack belongs to one lot, once",
            )
        own.setdefault(pack.number, index)
    yield from _rule_problems(located)


def _first_place(
    folder: MillFolder, located: Located[Lot], pack: str, own: Mapping[str, int]
) -> Place | None:
    """Return where a pack is named before, in this lot or another; None if nowhere."""
    if pack in own:
        return located.place("packs", own[pack], "number")
    holder = folder.lots_with_pack[pack][0]
    if holder == located.record.id:
        return None
    other = folder.lots.get(holder) or folder.waiting_lots[holder]
    numbers = [one.number for one in other.record.packs]
    return other.place("packs", numbers.index(pack), "number")


def _rule_problems(located: Located[Lot]) -> Iterator[Problem]:
    """Yield what the order's rule lacks, and limits that exclude every value."""
    order = located.record.order
    needed = {"band": ("lowest", "highest"), "maximum": ("highest",), "en-14298": ()}[order.rule]
    for key in needed:
        if getattr(order, key) is None:
            yield Problem(
                located.place("order", "rule"),
                f"rule '{order.rule}'",
                f"it needs '{key}'",
                f"Add a line '{key}: … %'",
            )
    for low, high in (("lowest", "highest"), ("mean_lowest", "mean_highest")):
        least, most = getattr(order, low), getattr(order, high)
        if least and most and least.value >= most.value:
            yield Problem(
                located.place("order", high),
                f"{high} '{most.entered}'",
                f"it is not above {low}, {least.entered}",
                "Check whether the two are swapped",
            )


def _known_values(
    value: object, path: tuple[str | int, ...] = ()
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


def _citation_problems(folder: MillFolder, located: Located[Any]) -> Iterator[Problem]:
    publications = folder.sources.record.publications
    for path, citation in _known_values(located.record):
        publication = publication_of(citation)
        if publication != "common practice":
            yield from _unknown(
                folder, located.place(*path), "publication", publication, publications
            )


def _limit_problems(folder: MillFolder, located: Located[Limits]) -> Iterator[Problem]:
    for key, entries in located.record.limits.items():
        for index, limit in enumerate(entries):
            for number, species in enumerate(limit.scope.species):
                yield from _unknown(
                    folder,
                    located.place("limits", key, index, "scope", "species", number),
                    "species",
                    species,
                    folder.species,
                )


def _instrument_problems(
    folder: MillFolder, located: Located[InstrumentTrials]
) -> Iterator[Problem]:
    record = located.record
    for number, name in enumerate(record.kilns):
        kiln = folder.kilns.get(name)
        if kiln is None:
            continue
        known = {one.id: one.kind for one in kiln.record.instruments}
        if known.get(record.instrument) != record.kind:
            yield Problem(
                located.place("kilns", number),
                f"instrument '{record.instrument}'",
                f"kiln '{name}' has no {record.kind} of this id",
                f"Write the id of one of {', '.join(sorted(known)) or 'its instruments'}",
            )


Check = Callable[[MillFolder, Located[Any]], Iterator[Problem]]
#: The checks of each model, apart from the names it gives.
_CHECKS: tuple[tuple[type[Record] | tuple[type[Record], ...], Check], ...] = (
    (Schedule, _schedule_problems),
    (Charge, _charge_problems),
    (Charge, _boards_without_sections),
    (Lot, _lot_problems),
    (Limits, _limit_problems),
    (InstrumentTrials, _instrument_problems),
    ((Species, Schedule, Notation, Limits), _citation_problems),
)
