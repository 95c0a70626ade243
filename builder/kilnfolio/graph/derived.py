"""Registered functions: derived values, tables, inline values and the groups they fill."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Generic, TypeVar, overload

if TYPE_CHECKING:
    from kilnfolio.graph.graph import Graph

T = TypeVar("T")
D = TypeVar("D")

Compute = Callable[["Graph", str], T]
Bound = Mapping[str, Compute[Any]]
"""Functions that stand in for those of inline values, by name."""
Keys = Callable[["Graph"], Iterable[str]]
MayJoin = Callable[["Graph", str, str], bool]


class NotMadeError(Exception):
    """A value could not be computed from its inputs.

    Attributes
    ----------
    reasons : tuple
        What is wrong with the inputs. Empty where the value only lacks another that failed.
    """

    reasons: tuple[Any, ...] = ()


class BlockedError(NotMadeError):
    """A value could not be computed because one that it reads could not be."""


class NoValueError(Exception):
    """Raised by a registered function that has no value for this key."""


class AbsentError(KeyError):
    """Somebody asked for a value that does not exist."""


def single(_: Graph) -> tuple[str]:
    """Return the one key of a value that exists once."""
    return ("",)


@dataclass(frozen=True, eq=False)
class Group:
    """Names under a key, each with what it is sorted by.

    Attributes
    ----------
    name : str
        Unique among groups.
    may_join : callable, optional
        Takes the graph, the key of a value that fills this group and a key of the group. Returns
        False where that value cannot join that key, which spares a graph in memory from computing
        it.
    filled_by : list of Derived
        The values that fill it.
    """

    name: str
    may_join: MayJoin | None = None
    filled_by: list[Derived[Any]] = field(default_factory=list)

    def __call__(
        self, graph: Graph, key: str = "", *, newest_first: bool = False
    ) -> tuple[str, ...]:
        """Return the names under a key, in order."""
        return graph.members(self, key, newest_first=newest_first)

    def last(self, graph: Graph, key: str = "") -> str | None:
        """Return the highest of what the names under a key are sorted by."""
        return graph.last(self, key)


@dataclass(frozen=True, eq=False)
class Derived(Generic[T]):
    """A value computed from others by key; call it with a graph and a key.

    Attributes
    ----------
    name : str
        Unique among derived values.
    compute : callable
        Takes a graph and a key.
    keys : callable
        Returns the keys a build computes it for.
    fills : tuple of Group
        The groups it may join names to.
    code : str
        The version of the code it depends on.
    option : str
        An option without which a build does not compute it.
    edition : str
        The part of the site it is for; empty for what every part needs.
    batch : int
        Keys handed to another process at a time; 0 where it is computed in this one.
    label : str
        What progress calls it; nothing is told of values without a label.
    keep_none : bool
        A value of None is kept too; False where it means that nobody will ask for the value.
    jobs : bool
        It is computed by jobs: `compute` returns a `Job`.
    digest : callable, optional
        What tells a value from another where its repr does not.
    """

    name: str
    compute: Compute[T]
    keys: Keys = single
    fills: tuple[Group, ...] = ()
    code: str = "all"
    option: str = ""
    edition: str = ""
    batch: int = 0
    label: str = ""
    keep_none: bool = True
    jobs: bool = False
    digest: Callable[[Any], bytes] | None = None

    def __post_init__(self) -> None:
        for group in self.fills:
            group.filled_by.append(self)

    def __call__(self, graph: Graph, key: str = "") -> T:
        """Return the value for a key.

        Raises
        ------
        AbsentError
            There is none.
        BlockedError
            It could not be computed.
        """
        value: T = graph.get(self, key)
        return value

    def exists(self, graph: Graph, key: str = "") -> bool:
        """Return whether there is such a thing, even if its value could not be computed."""
        return graph.has(self, key)


@dataclass(frozen=True, eq=False)
class Table(Derived[Mapping[str, T]]):
    """A derived mapping whose entries are tracked one by one."""

    @overload
    def entry(self, graph: Graph, name: str) -> T | None: ...
    @overload
    def entry(self, graph: Graph, name: str, default: D) -> T | D: ...

    def entry(self, graph: Graph, name: str, default: Any = None) -> Any:
        """Return one entry; whoever asks depends on that entry alone."""
        return graph.entry(self, name, default)


@dataclass(frozen=True, eq=False)
class Inline(Generic[T]):
    """A value kept in the process only; what it reads counts as read by whoever asks.

    Attributes
    ----------
    name : str
        Unique among inline values.
    compute : callable
        Takes a graph and a key.
    keep : int
        How many values stay at hand.
    """

    name: str
    compute: Compute[T]
    keep: int = 8

    def __call__(self, graph: Graph, key: str = "") -> T:
        """Return the value for a key."""
        value: T = graph.inline(self, key)
        return value


Step = tuple[Derived[Any], ...]
"""Values that are computed together, key by key."""


@dataclass(frozen=True)
class Job:
    """The long part of a value whose product is files, for another process to run.

    Attributes
    ----------
    call : callable
        A function of `arguments` alone. Returns bytes and warnings.
    arguments : tuple
        What it is called with.
    paths : tuple of str
        The files that get the bytes; where there is none, it is not called.
    warnings : Group
        What the call warns of is joined to.
    joins : tuple of (Group, str, str)
        Groups, keys and names that are joined when it is done.
    """

    call: Callable[..., tuple[bytes, list[str]]]
    arguments: tuple[Any, ...]
    paths: tuple[str, ...]
    warnings: Group
    joins: tuple[tuple[Group, str, str], ...] = ()


def derived(name: str, **options: Any) -> Callable[[Compute[T]], Derived[T]]:
    """Register a function as a derived value; `options` are the attributes of `Derived`."""
    return lambda compute: Derived(name, compute, **options)


def table(name: str, **options: Any) -> Callable[[Compute[Mapping[str, T]]], Table[T]]:
    """Register a function that returns a mapping whose entries are tracked one by one."""
    return lambda compute: Table(name, compute, **options)


def inline(name: str, *, keep: int = 8) -> Callable[[Compute[T]], Inline[T]]:
    """Register a function whose values are kept in the process only."""
    return lambda compute: Inline(name, compute, keep)
