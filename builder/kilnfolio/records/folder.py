"""A mill folder, whose records are read on demand."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from kilnfolio.graph.derived import AbsentError, BlockedError, Bound, Derived, Group
from kilnfolio.graph.graph import Graph
from kilnfolio.graph.memory import MemoryGraph
from kilnfolio.records import reading
from kilnfolio.records.charge import Charge
from kilnfolio.records.drafts import Draft
from kilnfolio.records.instrument import InstrumentTrials
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.kinds import INDEX, RECORD_KINDS, SUPERSEDED
from kilnfolio.records.limits import Limits
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.lot import Lot
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import Located
from kilnfolio.records.notation import Notation, expand
from kilnfolio.records.open_charge import OpenCharge
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.schedule import Schedule, Step
from kilnfolio.records.sourced import Sources
from kilnfolio.records.species import Species
from kilnfolio.runtime.environment import environment_options

if TYPE_CHECKING:
    from kilnfolio.graph.kept import Kept
    from kilnfolio.records.order import OpenOrder
    from kilnfolio.records.prices import Prices

T = TypeVar("T")


class Derivations(Mapping[str, T]):
    """Mapping of one kind of derived value by name, each computed on demand.

    Parameters
    ----------
    graph : Graph
        The graph that computes them.
    value : Derived
        The derived value.
    names : callable
        Returns the names, for iteration.
    take : callable, optional
        Takes a value; returns the entry of this mapping, or None if it does not belong here.
    """

    def __init__(
        self,
        graph: Graph,
        value: Derived[Any],
        names: Callable[[], tuple[str, ...]],
        take: Callable[[Any], T | None] = lambda value: value,
    ):
        self._graph, self._value, self._names, self._take = graph, value, names, take

    def __getitem__(self, name: str) -> T:
        found = self._take(self._value(self._graph, name))
        if found is None:
            raise AbsentError(f"{self._value.name}:{name}")
        return found

    def get(self, name: str, default: Any = None) -> Any:
        """Return a value, or the default, also if it could not be computed."""
        try:
            return self[name]
        except (KeyError, BlockedError):
            return default

    def __contains__(self, name: object) -> bool:
        """Return whether the value exists, even if it could not be computed."""
        try:
            return isinstance(name, str) and self[name] is not None
        except BlockedError:
            return True
        except KeyError:
            return False

    def __iter__(self) -> Iterator[str]:
        return iter(self._names())

    def __len__(self) -> int:
        return len(self._names())


class Lookup(Mapping[str, T]):
    """A mapping that supports lookup by name only, not iteration."""

    def __init__(self, ask: Callable[[str], T]):
        self._ask = ask

    def __getitem__(self, name: str) -> T:
        return self._ask(name)

    def __iter__(self) -> Iterator[str]:
        raise TypeError("it is asked for by name only")

    def __len__(self) -> int:
        raise TypeError("it is asked for by name only")


#: Values of the kinds of record that may be drafts, except charges.
_DRAFTED: Mapping[str, Derived[Any]] = {
    kind: value
    for kind, value in sorted([*reading.LIBRARY.items(), ("lot", reading.lot)])
    if RECORD_KINDS[kind].draft
}


class _Fetched(Generic[T]):
    """An attribute fetched at each access, unless an instance was given its own value."""

    def __init__(self, value: Derived[T]):
        self._value = value

    def __get__(self, folder: MillFolder, _: type[MillFolder]) -> T:
        return self._value(folder.graph)


def _complete(read: Any) -> Any:
    return read if isinstance(read, Located) else None


class MillFolder:
    """The records of a mill folder; made by `open_mill`, or from a graph by `mill_of`.

    Parameters
    ----------
    graph : Graph
        The graph that reads the records.
    """

    def __init__(self, graph: Graph):
        self.graph = graph
        self.species: Mapping[str, Located[Species]] = self._library("species")
        self.schedules: Mapping[str, Located[Schedule]] = self._library("schedule")
        self.notations: Mapping[str, Located[Notation]] = self._library("notation")
        self.kilns: Mapping[str, Located[Kiln]] = self._library("kiln")
        self.instruments: Mapping[str, Located[InstrumentTrials]] = self._library("instrument")
        self.loggers: Mapping[str, Located[LoggerProfile]] = self._library("logger")
        self.orders: Mapping[str, Located[OpenOrder]] = self._library("order")
        self.charges: Mapping[str, Located[Charge]] = Derivations(
            graph, reading.charge, lambda: self._sorted(reading.charges), _complete
        )
        self.lots: Mapping[str, Located[Lot]] = Derivations(
            graph, reading.lot, lambda: self._sorted(reading.lots), _complete
        )
        #: Charges that are not complete, and lots that wait for them; they are neither counted nor
        #: listed.
        self.open_charges: Mapping[str, OpenCharge] = Derivations(
            graph,
            reading.charge,
            lambda: reading.open_charges(graph),
            lambda read: read if isinstance(read, OpenCharge) else None,
        )
        self.waiting_lots: Mapping[str, Located[Lot]] = Derivations(
            graph,
            reading.lot,
            lambda: reading.waiting_lots(graph),
            lambda read: read.located if isinstance(read, reading.WaitingLot) else None,
        )
        #: Earlier revisions of schedules by id, the newest first; they are no longer used.
        self.superseded: Mapping[str, tuple[Located[Schedule], ...]] = Derivations(
            graph, reading.superseded, lambda: tuple(graph.names(SUPERSEDED.name))
        )
        #: Other records that are still to be filled in, by names such as ``kiln k2``; not listed.
        self.drafts: Mapping[str, Draft] = Drafts(graph)

    def _library(self, kind: str) -> Mapping[str, Any]:
        graph = self.graph

        def names() -> tuple[str, ...]:
            drafts = reading.drafts(graph, kind) if RECORD_KINDS[kind].draft else ()
            return tuple(name for name in graph.names(kind) if name not in drafts)

        return Derivations(graph, reading.LIBRARY[kind], names, _complete)

    def _sorted(self, group: Group) -> tuple[str, ...]:
        return tuple(sorted(group(self.graph)))

    mill: _Fetched[Located[Mill]] = _Fetched(reading.mill)
    """The mill's own record."""
    sources: _Fetched[Located[Sources]] = _Fetched(reading.sources)
    """The publications that data are taken from."""
    limits: _Fetched[Located[Limits]] = _Fetched(reading.limits)
    """The limits of the checks."""
    prices: _Fetched[Located[Prices] | None] = _Fetched(reading.prices)
    """What drying costs the mill, if it says so."""
    latest: _Fetched[dt.datetime] = _Fetched(reading.latest)
    """The newest moment on record."""

    @property
    def root(self) -> Path:
        """The folder; the value being computed depends on the handbook's chapters."""
        self.graph.tree("content/handbook")
        return self.graph.folder

    def with_records(self, **records: Any) -> MillFolder:
        """Return the same mill with some attributes replaced."""
        then = copy.copy(self)
        vars(then).update(records)
        return then

    def steps_of(self, schedule: Schedule) -> tuple[Step, ...]:
        """Return a schedule's steps, with a notation code expanded."""
        if schedule.steps:
            return tuple(schedule.steps)
        notation = next(iter(self.notations.values())).record
        return expand(str(schedule.notation), notation)

    def located_charge(self, number: str) -> Located[Charge] | OpenCharge:
        """Return a charge with the place of every value, which `charges` omits."""
        return reading.located_charge(self.graph, number)

    def charge_folder(self, number: str) -> Path:
        """Return the folder that holds a charge's files."""
        name = self.charges[number].file
        return self.graph.folder / PurePosixPath(name).parent

    def file(self, name: str) -> Path:
        """Return the path of a file by its name from the root, to be read."""
        return self.graph.file(name)

    @cached_property
    def lots_with_pack(self) -> Mapping[str, tuple[str, ...]]:
        """Lots that name each pack, waiting lots last."""
        return Lookup(lambda pack: reading.lots_with_pack(self.graph, pack))

    @cached_property
    def lots_of_charge(self) -> Mapping[str, tuple[str, ...]]:
        """Lots with packs of each charge, in order."""
        return Lookup(lambda number: reading.lots_of_charge(self.graph, number))

    @cached_property
    def lots_waiting_for(self) -> Mapping[str, tuple[str, ...]]:
        """Lots that wait for each open charge, in order."""
        return Lookup(lambda number: reading.lots_waiting_for(self.graph, number))

    @cached_property
    def charges_with_pack(self) -> Mapping[str, tuple[str, ...]]:
        """Charges whose stacking record lists each pack, in order."""
        return Lookup(lambda pack: reading.charges_with_pack(self.graph, pack))


class Drafts(Mapping[str, Draft]):
    """Mapping of drafts except charges, by names such as ``kiln k2``."""

    def __init__(self, graph: Graph):
        self._graph = graph

    def __getitem__(self, name: str) -> Draft:
        kind, _, identity = name.partition(" ")
        value = _DRAFTED.get(kind)
        read = value(self._graph, identity) if value else None
        if not isinstance(read, Draft):
            raise KeyError(name)
        return read

    def get(self, name: str, default: Any = None) -> Any:
        """Return a draft, or the default, also if the record cannot be read."""
        try:
            return self[name]
        except (KeyError, BlockedError):
            return default

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and self.get(name) is not None

    def __iter__(self) -> Iterator[str]:
        return iter(
            [f"{kind} {name}" for kind in _DRAFTED for name in reading.drafts(self._graph, kind)]
        )

    def __len__(self) -> int:
        return len(list(iter(self)))


def mill_of(graph: Graph) -> MillFolder:
    """Return the records of the mill that a graph reads."""
    return graph.view(MillFolder)


def open_mill(
    root: Path,
    proposed: Mapping[str, bytes] | None = None,
    bound: Bound | None = None,
    kept: Kept | None = None,
) -> MillFolder:
    """Return the records of a mill folder; nothing is read yet.

    Parameters
    ----------
    root : Path
        The folder that holds ``content/`` and ``schedules/``.
    proposed : mapping of str to bytes, optional
        Bytes to use in place of the files' own, by name.
    bound : mapping of str to callable, optional
        See `graph.Graph`; `archive.sealed_mill` binds sealed records.
    kept : Kept, optional
        See `graph.MemoryGraph`; `pipeline.built` opens a mill with it.

    Raises
    ------
    RecordProblems
        It is not a mill folder.
    """
    refuse_other_folder(root)
    return mill_of(
        MemoryGraph(root, INDEX, environment_options(), proposed=proposed, bound=bound, kept=kept)
    )


def mill_of_files(root: Path, files: Mapping[str, Path]) -> MillFolder:
    """Return the records in these files alone.

    Parameters
    ----------
    root : Path
        The folder that their names are relative to.
    files : mapping of str to Path
        The path of each file, by its name in a mill folder.
    """
    return mill_of(MemoryGraph(root, INDEX, environment_options(), files))


def refuse_other_folder(root: Path) -> None:
    """Refuse a folder that is not a mill folder.

    Raises
    ------
    RecordProblems
        The message says what the folder lacks.
    """
    if not (root / "content").is_dir():
        missing = "there is no such folder" if not root.is_dir() else "it holds no folder content/"
        raise RecordProblems(
            [
                Problem(
                    Place(str(root)),
                    "this is not a mill's folder",
                    missing,
                    "Name the folder that holds content/ and schedules/; "
                    "'kilnfolio new mill FOLDER' makes one",
                )
            ]
        )
