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

#: The least work of a batch, in tenths of a second: handing one out takes about a millisecond.
_LEAST_WORK = 0.1
#: Towards the end a batch is the work left for each process, divided by this.
_SHARES = 4

Task = tuple[str, tuple[str, ...]]
"""A key and the names of the values that are to be computed for it."""


class Asked(Protocol):
    """What a team was asked to compute."""

    def done(self) -> bool:
        """Return whether it has been computed."""

    def result(self) -> list[Result]:
        """Return what was computed, once it has been."""


class Team(Protocol):
    """Processes that compute values.

    Attributes
    ----------
    count : int
        How many they are.
    beside_us : bool
        Whether the process that shares the work computes too: one of theirs is left out for it.
    """

    count: int
    beside_us: bool

    @property
    def ready(self) -> bool:
        """Whether they have started; until then the process that shares the work does it."""

    def show(self, store: Store) -> None:
        """Let them see what the store holds by now."""

    def compute(self, tasks: Sequence[Task], failed: frozenset[str], store: Store) -> Asked:
        """Have some values computed.

        Parameters
        ----------
        tasks : sequence of Task
            What to compute.
        failed : frozenset of str
            Cells that could not be computed.
        store : Store
            What was shown.
        """


class Shares:
    """Tasks of a step that are still to be handed out, in batches.

    Of each kind, one process takes the first and the others the last, in every step alike: so each
    finds most of what its tasks read among the values that it has computed itself.

    A batch is about a tenth of a second of work, the last ones less, so that all processes finish
    at about the same time.

    Parameters
    ----------
    tasks : iterable of Task
        In the order of their keys.
    step : Step
        Their values.
    """

    def __init__(self, tasks: Iterable[Task], step: Step):
        self._work = {value.name: 1 / value.batch for value in step}
        self._kinds: dict[str, deque[Task]] = {}
        for task in sorted(tasks, key=self._work_of, reverse=True):  # the longest come first
            self._kinds.setdefault(task[1][0], deque()).append(task)
        self.work = sum(self._work_of(task) for kind in self._kinds.values() for task in kind)
        """What is left, in tenths of a second."""

    def __bool__(self) -> bool:
        return bool(self._kinds)

    def first(self, processes: int) -> list[Task]:
        """Take a batch from the first; so many processes share the work."""
        return self._taken(deque.popleft, processes)

    def last(self, processes: int) -> list[Task]:
        """Take a batch from the last."""
        return self._taken(deque.pop, processes)[::-1]

    def _taken(self, take: Callable[[deque[Task]], Task], processes: int) -> list[Task]:
        least = self.work - max(_LEAST_WORK, min(1.0, self.work / (_SHARES * processes)))
        taken = []
        while self._kinds and self.work > least:
            kind, tasks = next(iter(self._kinds.items()))
            taken.append(take(tasks))
            self.work -= self._work_of(taken[-1])
            if not tasks:
                del self._kinds[kind]
        return taken

    def _work_of(self, task: Task) -> float:
        return sum(self._work[name] for name in task[1])


def compute_shared(
    team: Team,
    shares: Shares,
    failed: frozenset[str],
    store: Store,
    here: Callable[[Sequence[Task]], Iterable[Result]],
) -> Iterator[Result]:
    """Yield what a team computes as it comes, keeping each process a batch ahead.

    Parameters
    ----------
    team, failed, store
        See `Team.compute`.
    shares : Shares
        What to compute; emptied.
    here : callable
        Computes a batch in this process, which it does while nothing has come from a team beside it.
    """
    waiting: list[Asked] = []
    processes = team.count + team.beside_us
    while shares or waiting:
        while shares and len(waiting) < 2 * team.count + 1:
            waiting.append(team.compute(shares.last(processes), failed, store))
        made = next((asked for asked in waiting if asked.done()), None)
        if made is None and shares and team.beside_us:
            yield from here(shares.first(processes))
            continue
        made = made or waiting[0]
        waiting.remove(made)
        yield from made.result()


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

    beside_us = True

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

    def compute(self, tasks: Sequence[Task], failed: frozenset[str], store: Store) -> Asked:
        """See `Team.compute`."""
        del store  # each process reads it
        return self._pool.submit(run_batch, self._place, self._state, tasks, failed)


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
