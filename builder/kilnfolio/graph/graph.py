"""The graph that registered functions read from, which records what each one reads."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import field
from pathlib import Path
from typing import Any, TypeVar

from kilnfolio.graph.derived import Bound, Derived, Group, Inline, NotMadeError, Table
from kilnfolio.graph.inputs import Index
from kilnfolio.runtime.values import dataclass

T = TypeVar("T")

Member = tuple[str, str, str]
"""Cell of a group, what it is sorted by, and the name in it."""


def cell_of(value: Derived[Any], key: str) -> str:
    """Return the name under which a value is stored."""
    return f"{value.name}:{key}"


def entry_cell(table: Table[Any], name: str) -> str:
    """Return the name under which an entry of a table is stored."""
    return f"{table.name}/{name}"


def group_cell(group: Group, key: str) -> str:
    """Return the name under which a group is stored."""
    return f"group:{group.name}:{key}"


@dataclass
class Frame:
    """What one computation reads, joins and writes."""

    reads: set[str] = field(default_factory=set)
    joined: set[Member] = field(default_factory=set)
    files: dict[str, bytes] = field(default_factory=dict)


@dataclass
class _Kept:
    """An inline value, or the error instead, with the state of what it was computed from."""

    tokens: dict[str, object]
    value: Any = None
    error: NotMadeError | None = None


class Graph(ABC):
    """Values derived from the files of a folder.

    Parameters
    ----------
    folder : Path
        The folder of the inputs.
    index : Index
        Sorts the names of its files into lists.
    bound : mapping of str to callable, optional
        Functions that replace those of inline values, by name: a higher room supplies what a lower
        one asks for.
    """

    def __init__(self, folder: Path, index: Index, bound: Bound | None = None):
        self.folder, self.index, self.bound = folder, index, dict(bound or {})
        self.refused: tuple[str, ...] = ()
        """Folders that this graph has not."""
        self._frames: list[Frame] = []
        self._inline: dict[str, OrderedDict[str, _Kept]] = {}
        self._views: dict[Callable[..., Any], Any] = {}

    # --- inputs -----------------------------------------------------------------------------------

    def file(self, name: str) -> Path:
        """Return a file of the folder; the value being computed depends on its bytes."""
        self._note(f"file:{name}")
        return self._at(name)

    def proposed(self, name: str) -> bytes | None:  # noqa: ARG002
        """Return the bytes proposed for a file before it is written; None if there are none."""
        return None

    def tree(self, name: str) -> Path:
        """Return a folder; the value being computed depends on every file below it."""
        self._note(f"tree:{name}")
        return self._at(name)

    def names(self, kind: str) -> Mapping[str, tuple[str, ...]]:
        """Return the files of one list of the index by name, sorted."""
        found: Mapping[str, tuple[str, ...]] = self._input(f"index:{kind}") or {}
        return found

    def paths(self, kind: str, name: str) -> tuple[str, ...]:
        """Return the files of one name; the value being computed depends on that name alone."""
        found: tuple[str, ...] = self._input(f"index:{kind}/{name}") or ()
        return found

    def option(self, name: str) -> Any:
        """Return an option of the build; None if it is not set."""
        return self._input(f"option:{name}")

    # --- values -----------------------------------------------------------------------------------

    @abstractmethod
    def get(self, value: Derived[Any], key: str) -> Any:
        """Return a derived value."""

    @abstractmethod
    def has(self, value: Derived[Any], key: str) -> bool:
        """Return whether a value exists, even if it could not be computed."""

    @abstractmethod
    def entry(self, table: Table[Any], name: str, default: Any) -> Any:
        """Return an entry of a table."""

    @abstractmethod
    def members(self, group: Group, key: str, *, newest_first: bool = False) -> tuple[str, ...]:
        """Return the names in a group, in order."""

    @abstractmethod
    def last(self, group: Group, key: str) -> str | None:
        """Return the highest sort key in a group; None if it is empty."""

    @abstractmethod
    def made_file(self, path: str) -> Path:
        """Return a file of the site; the caller must also ask for the value that wrote it."""

    def inline(self, value: Inline[Any], key: str) -> Any:
        """Return an inline value, computed again if something it read has changed."""
        kept = self._inline.setdefault(value.name, OrderedDict())
        found = kept.get(key)
        if found is None or any(self._token(cell) != was for cell, was in found.tokens.items()):
            found = self._compute_inline(value, key)
            kept[key] = found
            if len(kept) > value.keep:
                kept.popitem(last=False)
        kept.move_to_end(key)
        for cell in found.tokens:
            self._note(cell)
        if found.error is not None:
            raise found.error.with_traceback(None)
        return found.value

    def _compute_inline(self, value: Inline[Any], key: str) -> _Kept:
        made, error = None, None
        with self.noting() as frame:
            try:
                made = self.bound.get(value.name, value.compute)(self, key)
            except NotMadeError as raised:
                error = raised
        if any(cell.startswith("group:") for cell in frame.reads) or frame.joined or frame.files:
            raise RuntimeError(
                f"inline value '{value.name}' reads a group, joins one or writes a "
                "file: make it a derived value"
            )
        return _Kept({cell: self._token(cell) for cell in frame.reads}, made, error)

    def view(self, of: Callable[[Graph], T]) -> T:
        """Return this graph's only object of a class, made when first asked for.

        The object must read everything it returns through the graph.
        """
        if of not in self._views:
            self._views[of] = of(self)
        found: T = self._views[of]
        return found

    # --- what a computation produces --------------------------------------------------------------

    def join(self, group: Group, key: str, name: str, sort: str = "") -> None:
        """Put a name into a group; its sort key is the name unless another is given."""
        self._frames[-1].joined.add((group_cell(group, key), sort or name, name))

    def write(self, path: str, data: bytes | str) -> None:
        """Write a file of the site."""
        self._frames[-1].files[path] = data.encode() if isinstance(data, str) else data

    # --- within -----------------------------------------------------------------------------------

    @contextmanager
    def noting(self) -> Iterator[Frame]:
        """Record what is read inside the block in a new frame."""
        frame = Frame()
        self._frames.append(frame)
        try:
            yield frame
        finally:
            self._frames.pop()

    def _at(self, name: str) -> Path:
        if name.partition("/")[0] in self.refused:
            raise RuntimeError(f"{name} does not leave the mill: mark what reads it 'at_home'")
        return self.folder / name

    def _note(self, cell: str) -> None:
        if self._frames:
            self._frames[-1].reads.add(cell)

    @abstractmethod
    def _input(self, cell: str) -> Any:
        """Return the value of an input and record that it was read."""

    @abstractmethod
    def _token(self, cell: str) -> object:
        """Return a token for the present state of a cell, without recording a read."""


def check_fills(value: Derived[Any], joined: Iterable[Member]) -> None:
    """Raise an error if a computation joined a group that it is not registered to fill."""
    allowed = tuple(f"group:{group.name}:" for group in value.fills)
    for cell, _, _ in joined:
        if not cell.startswith(allowed):
            raise RuntimeError(f"'{value.name}' joins {cell}: name its group in 'fills'")
