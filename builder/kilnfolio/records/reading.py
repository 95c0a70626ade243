"""A mill's records as derived values, each file read once."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast
from zoneinfo import ZoneInfo

from kilnfolio.graph.derived import (
    BlockedError,
    Derived,
    Group,
    NoValueError,
    derived,
    inline,
)
from kilnfolio.graph.graph import Graph
from kilnfolio.records.charge import Charge
from kilnfolio.records.drafts import Draft, read_draft
from kilnfolio.records.kinds import RECORD_KINDS, SUPERSEDED, kind_at
from kilnfolio.records.limits import Limits
from kilnfolio.records.lot import Lot
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import Located, Record
from kilnfolio.records.open_charge import OpenCharge, may_be_open, read_charge
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.region import ControlRule, regions
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.sourced import Sources
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import Document, parse_yaml, yaml_bytes
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from kilnfolio.records.brand import Brand
    from kilnfolio.records.prices import Prices

R = TypeVar("R", bound=Record)

#: The newest moment of a mill without records.
NOTHING_YET = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)
#: The key under which a group holds all names.
ALL = ""


@dataclass(frozen=True)
class WaitingLot:
    """A lot with an incomplete charge; it is not listed until that charge is complete."""

    located: Located[Lot]


# --- groups ---------------------------------------------------------------------------------------


@inline("texts of charge", keep=64)
def texts_of_charge(graph: Graph, number: str) -> tuple[bytes, ...]:
    """Return a charge's file as written. The archive binds it as it was sealed."""
    return _texts(graph, "charge", number)


def _texts(graph: Graph, kind: str, name: str) -> tuple[bytes, ...]:
    found = []
    for path in graph.paths(kind, name):
        with contextlib.suppress(OSError):
            found.append(read_file(graph.file(path)))
    return tuple(found)


def _mentioned(texts: Iterable[bytes], word: str) -> bool:
    """Return whether a record's text contains a word; True if an escape may hide it."""
    return any(word.encode() in text or b"\\" in text for text in texts)


def _charge_mentions(graph: Graph, name: str, key: str) -> bool:
    """Return whether a charge may be of a kiln, schedule or species, or hold a pack."""
    kind, _, word = key.rpartition(":")
    if kind not in ("", "kiln", "schedule", "species") or not word:
        return True
    try:
        return _mentioned(texts_of_charge(graph, name), word)
    except RecordProblems:
        return True  # to read the charge reports them


def _may_be_open(graph: Graph, name: str, key: str) -> bool:
    try:
        return key in (ALL, name) and any(map(may_be_open, texts_of_charge(graph, name)))
    except RecordProblems:
        return True


def _lot_mentions(graph: Graph, name: str, key: str) -> bool:
    return _mentioned(_texts(graph, "lot", name), key)


def _itself(_: Graph, name: str, key: str) -> bool:
    return key in (ALL, name)


#: Complete charges by keys such as ``kiln:k1`` and ``year:2026``; see `groups_of_charge`.
charges = Group("charges", _charge_mentions)
#: Complete lots by keys; see `groups_of_lot`.
lots = Group("lots")
#: Incomplete charges, all together and each under its own number.
open_charges = Group("open charges", _may_be_open)
#: Lots that wait for a charge to be complete, all together and each under its own number.
waiting_lots = Group("waiting lots", _itself)
#: Drafts of each kind, except charges.
drafts = Group("drafts")
#: Ids of records whose file has another name, by kind, so that they do not count as unknown.
misnamed = Group("misnamed")
#: Lots with packs of a charge.
lots_of_charge = Group("lots of charge", _lot_mentions)
#: Lots that wait for a charge.
lots_waiting_for = Group("lots waiting for", _lot_mentions)
#: Lots that name a pack, waiting lots last.
lots_with_pack = Group("lots with pack", _lot_mentions)
#: Charges whose stacking record lists a pack.
charges_with_pack = Group("charges with pack", _charge_mentions)
#: Schedules for a species.
schedules_of_species = Group("schedules of species")
#: Times at which charges ended or lots were shipped.
moments = Group("moments")
#: Years in which charges began or lots were issued.
years = Group("years")
#: Quarters in which charges began or lots were issued, by kind.
quarters = Group("quarters")


def of_kiln(kiln: str) -> str:
    """Return the key of the charges of a kiln."""
    return f"kiln:{kiln}"


def of_schedule(schedule: str) -> str:
    """Return the key of the charges dried by a schedule."""
    return f"schedule:{schedule}"


def of_species(species: str) -> str:
    """Return the key of the charges that hold a species."""
    return f"species:{species}"


def of_charge(charge: str) -> str:
    """Return the key of the lots with packs of a charge."""
    return f"charge:{charge}"


def groups_of_charge(charge: Charge) -> tuple[str, ...]:
    """Return the keys of the groups a charge joins."""
    return (
        ALL,
        of_kiln(charge.kiln),
        of_schedule(charge.schedule),
        *_dated(charge.started),
        *sorted({of_species(stock.species) for stock in charge.stock}),
    )


def groups_of_lot(lot: Lot) -> tuple[str, ...]:
    """Return the keys of the groups a lot joins."""
    return (ALL, *_dated(lot.issued), *sorted({of_charge(pack.charge) for pack in lot.packs}))


def quarter_of(day: dt.date) -> str:
    """Return the quarter of a date, as in ``2026-q1``."""
    return f"{day.year:04d}-q{(day.month + 2) // 3}"


def month_of(day: dt.date) -> str:
    """Return the month of a date, as in ``2026-03``."""
    return f"{day:%Y-%m}"


def _dated(day: dt.date) -> tuple[str, str, str]:
    return f"year:{day.year}", f"quarter:{quarter_of(day)}", f"month:{month_of(day)}"


def sorted_by_time(at: dt.datetime) -> str:
    """Return a sort key of a time: the same moment sorts alike in every time zone."""
    return at.astimezone(dt.UTC).isoformat()


# --- single records -------------------------------------------------------------------------------


def read_record(graph: Graph, path: str) -> Located[Any] | Draft:
    """Return the record in a file, or a draft if it is still to be filled in.

    Raises
    ------
    RecordProblems
        Every problem in it.
    """
    raw, file = graph.proposed(path), graph.file(path)
    if links_outside(graph.folder, file):
        raise RecordProblems(
            [
                Problem(
                    Place(path),
                    "this record is a link that leads out of the mill's folder",
                    "only the mill's own files are read",
                    "Copy the record itself here",
                )
            ]
        )
    if raw is None:
        raw = yaml_bytes(file, path)
    found = kind_at(path)
    return (
        record_of(raw, path, zone_of(graph))
        if found and found[0].local_times
        else _shared_record(raw, path)
    )


def links_outside(root: Path, file: Path) -> bool:
    """Return whether a file in the mill folder is a link to one outside it.

    Such a file would otherwise be read, published and put into bags without being the mill's.
    """
    return file.is_symlink() and not file.resolve().is_relative_to(root.resolve())


def record_of(raw: bytes, path: str, zone: ZoneInfo | None = None) -> Located[Any] | Draft:
    """Return the record in the file of this name; see `read_record`."""
    found = kind_at(path)
    if found is None:
        raise ValueError(f"{path}: no record lies there")
    kind, document = found[0], parse_yaml(raw, path)
    if kind.model is Charge:
        return read_charge(document, zone)
    if kind.draft:
        return read_draft(document, kind.model, zone)
    return validate(document, kind.model, zone=zone)


#: Cache of records without times of their own, of which many seals keep the same copy.
_shared_record = lru_cache(maxsize=64)(record_of)


def _single(name: str) -> Derived[Any]:
    (path,) = RECORD_KINDS[name].paths
    return Derived(name, lambda graph, _: read_record(graph, path), code="review")


mill = cast("Derived[Located[Mill]]", _single("mill"))
sources = cast("Derived[Located[Sources]]", _single("sources"))
limits = cast("Derived[Located[Limits]]", _single("limits"))


@derived("brand", code="review")
def brand(graph: Graph, _: str) -> Located[Brand] | None:
    """Return the mill's logo, colours and typefaces; defaults if it has none of its own."""
    (path,) = RECORD_KINDS["brand"].paths
    return cast("Located[Brand]", read_record(graph, path)) if graph.names("brand") else None


@derived("prices", code="review")
def prices(graph: Graph, _: str) -> Located[Prices] | None:
    """Return what drying costs the mill; None if it states no prices."""
    (path,) = RECORD_KINDS["prices"].paths
    return cast("Located[Prices]", read_record(graph, path)) if graph.names("prices") else None


def zone_of(graph: Graph) -> ZoneInfo:
    """Return the mill's time zone; UTC if its record cannot be read (reported separately)."""
    try:
        return mill(graph).record.zone
    except BlockedError:
        return ZoneInfo("UTC")


# --- the library, kilns and loggers ---------------------------------------------------------------


def first_path(graph: Graph, kind: str, name: str) -> str:
    """Return the path of a record's file by name."""
    paths = graph.paths(kind, name)
    if not paths:
        raise NoValueError(f"{kind} {name}")
    return paths[0]


def _join_misnamed(graph: Graph, kind: str, name: str, read: Located[Any] | Draft) -> None:
    identity = read.id if isinstance(read, Draft) else read.record.id
    if identity != name:
        graph.join(misnamed, kind, identity)


def _named(kind: str) -> Derived[Any]:
    def compute(graph: Graph, name: str) -> Located[Any] | Draft:
        read = read_record(graph, first_path(graph, kind, name))
        _join_misnamed(graph, kind, name, read)
        if isinstance(read, Draft):
            graph.join(drafts, kind, name)
        elif isinstance(read.record, Schedule):
            for species in read.record.for_stock.species:
                graph.join(schedules_of_species, species, name)
        return read

    return Derived(
        kind,
        compute,
        keys=lambda graph: graph.names(kind),
        code="review",
        batch=150,
        fills=(drafts, schedules_of_species, misnamed),
    )


#: Records that depend on their own file alone, by kind.
LIBRARY: dict[str, Derived[Any]] = {
    name: _named(name)
    for name in ("species", "schedule", "notation", "kiln", "instrument", "logger", "order")
}


@derived("superseded", keys=lambda graph: graph.names(SUPERSEDED.name), code="review")
def superseded(graph: Graph, name: str) -> tuple[Located[Schedule], ...]:
    """Return the earlier revisions of a schedule, the newest first."""
    found = [
        cast("Located[Schedule]", read_record(graph, path))
        for path in graph.paths(SUPERSEDED.name, name)
    ]
    if not found:
        raise NoValueError(name)
    return tuple(sorted(found, key=lambda one: -one.record.revision))


# --- charges and lots -----------------------------------------------------------------------------


@inline("charge as sealed")
def charge_as_sealed(graph: Graph, number: str) -> Located[Charge] | None:  # noqa: ARG001
    """Return a charge as it was sealed; None if it is not sealed. The archive binds this."""
    return None


@inline("lot is sealed")
def lot_is_sealed(graph: Graph, number: str) -> bool:  # noqa: ARG001
    """Return whether a lot is sealed. The archive binds this."""
    return False


@inline("lot as sealed")
def lot_as_sealed(graph: Graph, number: str) -> Located[Lot] | None:  # noqa: ARG001
    """Return a lot as it was sealed, if its seal kept it. The archive binds this."""
    return None


@inline("located charge")
def located_charge(graph: Graph, number: str) -> Located[Charge] | OpenCharge:
    """Return a charge with the place of every value, as sealed or as written."""
    sealed = charge_as_sealed(graph, number)
    if sealed is not None:
        return sealed
    read = read_record(graph, first_path(graph, "charge", number))
    try:
        rule = regions()[mill(graph).record.practice].rule
    except BlockedError:
        return cast("Located[Charge] | OpenCharge", read)
    if not isinstance(read, OpenCharge):
        return with_rule(cast("Located[Charge]", read), rule)
    return read if read.so_far is None else replace(read, so_far=with_rule(read.so_far, rule))


def with_rule(charge: Located[Charge], rule: ControlRule) -> Located[Charge]:
    """Return a charge with the rule for which boards decide filled in from the mill's region."""
    if "control_rule" in charge.record.model_fields_set or charge.record.control_rule == rule:
        return charge
    return replace(charge, record=charge.record.model_copy(update={"control_rule": rule}))


@derived(
    "charge",
    keys=lambda graph: graph.names("charge"),
    code="review",
    batch=25,
    label="charges reviewed",
    fills=(charges, open_charges, charges_with_pack, moments, years, quarters, misnamed),
)
def charge(graph: Graph, number: str) -> Located[Charge] | OpenCharge:
    """Return a charge, without places if it is complete."""
    read = located_charge(graph, number)
    _join_misnamed(graph, "charge", number, read)
    if isinstance(read, OpenCharge):
        for key in (ALL, number):
            graph.join(open_charges, key, number)
        if read.so_far:
            graph.join(moments, ALL, number, sorted_by_time(read.so_far.record.unloaded))
        return read
    record = read.record
    for key in groups_of_charge(record):
        graph.join(charges, key, number, sorted_by_time(record.started))
    _join_dated(graph, "charge", record.started)
    graph.join(moments, ALL, number, sorted_by_time(record.unloaded))
    for pack in record.stacking.packs if record.stacking else ():
        graph.join(charges_with_pack, pack, number)
    return Located(record, Document(read.file, None, {}, {}))


def _join_dated(graph: Graph, kind: str, day: dt.date) -> None:
    graph.join(years, ALL, str(day.year))
    graph.join(quarters, kind, quarter_of(day))


@derived(
    "lot",
    keys=lambda graph: graph.names("lot"),
    code="review",
    batch=200,
    label="lots read",
    fills=(
        lots,
        waiting_lots,
        drafts,
        lots_with_pack,
        lots_of_charge,
        lots_waiting_for,
        moments,
        years,
        quarters,
        misnamed,
    ),
)
def lot(graph: Graph, number: str) -> Located[Lot] | WaitingLot | Draft:
    """Return a lot, a waiting lot or a draft."""
    located = _located_lot(graph, number)
    _join_misnamed(graph, "lot", number, located)
    if isinstance(located, Draft):
        graph.join(drafts, "lot", number)
        return located
    record: Lot = located.record
    numbers = sorted({pack.charge for pack in record.packs})
    waits = any(open_charges(graph, name) for name in numbers)
    for pack in record.packs:
        graph.join(lots_with_pack, pack.number, number, f"{2 if waits else 1} {number}")
    for name in numbers:
        graph.join(lots_waiting_for if waits else lots_of_charge, name, number)
    if waits:
        for key in (ALL, number):
            graph.join(waiting_lots, key, number)
        return WaitingLot(located)
    for key in groups_of_lot(record):
        graph.join(lots, key, number, record.issued.isoformat())
    _join_dated(graph, "lot", record.issued)
    if record.shipped:
        graph.join(moments, ALL, number, sorted_by_time(record.shipped))
    return located


def _located_lot(graph: Graph, number: str) -> Located[Any] | Draft:
    """Return a lot as written, or as sealed if it is sealed and can no longer be read.

    Some internal facts, such as the shipping date, are written after a lot is sealed.
    """
    sealed = lot_as_sealed(graph, number)
    try:
        read = read_record(graph, first_path(graph, "lot", number))
    except RecordProblems:
        if sealed is None:
            raise
        return sealed
    return sealed if isinstance(read, Draft) and sealed is not None else read


@derived("latest", code="review")
def latest(graph: Graph, _: str) -> dt.datetime:
    """Return the newest moment on record."""
    last = moments.last(graph)
    newest = dt.datetime.fromisoformat(last) if last else NOTHING_YET
    return newest.astimezone(mill(graph).record.zone)
