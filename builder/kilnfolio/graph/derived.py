"""Registered functions: derived values, tables, inline values and the groups they fill."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Any, Generic, TypeVar, overload

from kilnfolio.runtime.values import dataclass

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
        What is wrong with the inputs. Empty if the value only depends on another that failed.
    """

    reasons: tuple[Any, ...] = ()


class BlockedError(NotMadeError):
    """A value could not be computed because a value it reads could not be.

    Attributes
    ----------
    causes : tuple
        What is wrong with the inputs of the values that failed; empty if the graph does not know.
    """

    def __init__(self, cell: str, causes: tuple[Any, ...] = ()):
        super().__init__(cell)
        self.causes = causes


class NoValueError(Exception):
    """A registered function has no value for this key."""


class AbsentError(KeyError):
    """There is no such value."""


def single(_: Graph) -> tuple[str]:
    """Return the only key of a value that exists once: the empty string."""
    return ("",)


@dataclass(frozen=True, eq=False)
class Group:
    """Names under a key, each with its sort key.

    Attributes
    ----------
    name : str
        Unique among groups.
    may_join : callable, optional
        Takes the graph, the key of a value that fills this group and a key of the group. Returns
        False if that value cannot join that key, so that a graph in memory need not compute it.
    filled_by : list of Derived
        The derived values that may join names to it.
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
        """Return the highest sort key of the names under a key."""
        return graph.last(self, key)


@dataclass(frozen=True, eq=False)
class Derived(Generic[T]):
    """A value computed for a key; call it with a graph and a key.

    Attributes
    ----------
    name : str
        Unique among derived values.
    compute : callable
        Takes a graph and a key.
    keys : callable
        Takes a graph. Returns the keys that a build computes the value for.
    fills : tuple of Group
        The groups it may join names to.
    code : str
        The version of the code it depends on.
    option : str
        The option that a build needs to compute it; empty for none.
    edition : str
        The edition it is for; empty if every edition needs it.
    batch : int
        How many keys are about a tenth of a second of work, handed to another process at a time.
    label : str
        Its name in progress messages; empty for no messages.
    keep_none : bool
        Whether a value of None is stored; False if nothing will ask for it.
    jobs : bool
        Whether `compute` returns a `Job`.
    at_home : bool
        Whether only this computer may compute it: it reads private folders, files of the site or the
        environment.
    """

    name: str
    compute: Compute[T]
    keys: Keys = single
    fills: tuple[Group, ...] = ()
    code: str = "all"
    option: str = ""
    edition: str = ""
    batch: int = 10
    label: str = ""
    keep_none: bool = True
    jobs: bool = False
    at_home: bool = False

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
            A value it reads could not be computed.
        """
        value: T = graph.get(self, key)
        return value

    def exists(self, graph: Graph, key: str = "") -> bool:
        """Return whether the value exists, even if it could not be computed."""
        return graph.has(self, key)


@dataclass(frozen=True, eq=False)
class Table(Derived[Mapping[str, T]]):
    """A derived mapping whose entries are tracked separately."""

    @overload
    def entry(self, graph: Graph, name: str) -> T | None: ...
    @overload
    def entry(self, graph: Graph, name: str, default: D) -> T | D: ...

    def entry(self, graph: Graph, name: str, default: Any = None) -> Any:
        """Return one entry; the value being computed depends on that entry alone."""
        return graph.entry(self, name, default)


@dataclass(frozen=True, eq=False)
class Inline(Generic[T]):
    """A value cached in this process only; what it reads counts as read by the value that uses it.

    Attributes
    ----------
    name : str
        Unique among inline values.
    compute : callable
        Takes a graph and a key.
    keep : int
        How many values are cached.
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
    """The slow part of a value that produces files, run in another process.

    Attributes
    ----------
    call : callable
        A pure function of `arguments`. Returns bytes and warnings.
    arguments : tuple
        Its arguments.
    paths : tuple of str
        The files to write the bytes to; if empty, `call` is not called.
    warnings : Group
        The group that its warnings join.
    joins : tuple of (Group, str, str)
        Groups, keys and names to join when it is done.
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
    """Register a function that returns a mapping whose entries are tracked separately."""
    return lambda compute: Table(name, compute, **options)


def inline(name: str, *, keep: int = 8) -> Callable[[Compute[T]], Inline[T]]:
    """Register a function whose values are cached in this process only."""
    return lambda compute: Inline(name, compute, keep)
