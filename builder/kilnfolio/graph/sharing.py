"""Values computed by several processes; the one that writes the store gets them back.

Each process opens the folder and the store for itself, and reads there what its values read.
"""

from __future__ import annotations

import importlib
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from kilnfolio.graph.derived import Derived, Step
from kilnfolio.graph.disk import DiskGraph, Failed, Started
from kilnfolio.graph.plan import Plan
from kilnfolio.graph.store import Done, Store
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from kilnfolio.runtime.workers import Workers

Result = Done | Failed

Task = tuple[str, tuple[str, ...]]
"""A key and the names of the values that are to be computed for it."""


class Team(Protocol):
    """Processes that compute values.

    Attributes
    ----------
    count : int
        How many they are.
    """

    count: int

    @property
    def ready(self) -> bool:
        """Whether they have started; until then the process that shares the work does it."""

    def show(self, store: Store) -> None:
        """Let them see what the store holds by now."""

    def compute(
        self, tasks: Sequence[Task], failed: frozenset[str], store: Store
    ) -> Callable[[], list[Result]]:
        """Have some values computed; return a function that waits for them.

        Parameters
        ----------
        tasks : sequence of Task
            What to compute.
        failed : frozenset of str
            Cells that could not be computed.
        store : Store
            What was shown.
        """


def in_batches(tasks: Iterable[Task], step: Step) -> list[list[Task]]:
    """Divide tasks into batches, each about a tenth of a second of work."""
    work = {value.name: 1 / value.batch for value in step}
    batches: list[list[Task]] = [[]]
    done = 0.0
    for task in tasks:
        if done >= 1:
            batches.append([])
            done = 0.0
        batches[-1].append(task)
        done += sum(work[name] for name in task[1])
    return batches


def compute_shared(
    team: Team, batches: Iterable[Sequence[Task]], failed: frozenset[str], store: Store
) -> Iterator[Result]:
    """Yield what a team computes, in order, keeping each process a batch ahead."""
    left = iter(batches)
    waiting: deque[Callable[[], list[Result]]] = deque()

    def send() -> None:
        if batch := next(left, None):
            waiting.append(team.compute(batch, failed, store))

    for _ in range(2 * team.count + 1):
        send()
    while waiting:
        made = waiting.popleft()()
        send()
        yield from made


# --- on this machine ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Place:
    """Where a process finds the graph.

    Attributes
    ----------
    plan : str
        The plan, as ``package.module:NAME``.
    folder, out, store : Path
        As for `DiskGraph`.
    away : bool
        Whether that is a copy without private folders, which nothing may then ask for.
    """

    plan: str
    folder: Path
    out: Path
    store: Path
    away: bool = False


#: States of stores that were shown; none has the number of another.
_STATES = count(1)


class LocalTeam:
    """Processes of this machine; see `Team`."""

    def __init__(self, pool: Workers, workers: int, place: Place):
        self.count, self._pool, self._place, self._state = workers, pool, place, 0

    @property
    def ready(self) -> bool:
        """See `Team.ready`."""
        return self._pool.ready

    def show(self, store: Store) -> None:
        """See `Team.show`."""
        store.commit()
        self._state = next(_STATES)

    def compute(
        self, tasks: Sequence[Task], failed: frozenset[str], store: Store
    ) -> Callable[[], list[Result]]:
        """See `Team.compute`."""
        del store  # each process reads it
        return self._pool.submit(run_batch, self._place, self._state, tasks, failed).result


# --- in other processes ---------------------------------------------------------------------------


@dataclass
class _Opened:
    """A graph, and the state in which it last saw the store."""

    place: Place
    plan: Plan
    graph: DiskGraph
    state: int = 0


class _Here(threading.local):
    """The graph of this thread."""

    opened: _Opened | None = None


_HERE = _Here()


def run_batch(
    place: Place, state: int, tasks: Sequence[Task], failed: frozenset[str]
) -> list[Result]:
    """Compute some values in this process from what the store holds in this state."""
    opened = _open(place)
    graph, values = opened.graph, opened.plan.values
    if opened.state != state:
        graph.forget()
        graph.store.forget()
        opened.state = state
    graph.failed = failed
    return [
        one
        for key, names in tasks
        for one in compute_together(graph, [values[name] for name in names], key)
    ]


def _open(place: Place) -> _Opened:
    opened = _HERE.opened
    if opened is None or opened.place != place:
        if opened is not None:
            opened.graph.store.close()
        module, _, name = place.plan.partition(":")
        plan: Plan = getattr(importlib.import_module(module), name)
        graph = DiskGraph(place.folder, plan.index, place.out, Store(place.store), plan.bound)
        graph.refused = plan.index.private if place.away else ()
        opened = _HERE.opened = _Opened(place, plan, graph)
    return opened


def compute_together(
    graph: DiskGraph, values: Iterable[Derived[object]], key: str
) -> Iterator[Result]:
    """Compute some values for one key; later ones may read earlier ones."""
    graph.fresh.clear()
    for value in values:
        made = graph.compute(value, key)
        if isinstance(made, Failed):
            graph.failed |= {made.cell}
        if not isinstance(made, Started):
            yield made
    graph.fresh.clear()
