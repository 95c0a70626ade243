"""Brings a graph on disk up to date, in the order of a plan, in one process or several."""

from __future__ import annotations

import hashlib
import time
from collections import deque
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import field
from typing import TYPE_CHECKING, Any

from kilnfolio.graph.derived import AbsentError, Derived, NotMadeError, Step
from kilnfolio.graph.disk import DiskGraph, Failed, Started, finish_job
from kilnfolio.graph.plan import Plan
from kilnfolio.graph.sharing import Result, Shares, Task, Team, compute_shared, compute_together
from kilnfolio.graph.store import Done
from kilnfolio.graph.tree import Tree
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from concurrent.futures import Executor

#: Work that justifies starting other processes, which takes half a second, and work that justifies
#: handing some to those that run, in tenths of a second.
_WORTH_STARTING, _WORTH_SHARING = 4.0, 0.5
#: Fewest keys that justify a progress message.
_WORTH_TELLING = 10
#: Jobs started before waiting for the first: the handbook comes first, and takes long.
_AHEAD = 64
#: Seconds of work that an interruption may cost.
_COMMITTED_EVERY = 2.0


@dataclass
class Run:
    """One update of a graph on disk.

    Parameters
    ----------
    graph : DiskGraph
        The graph of this process.
    tree : Tree
        The copy of the site that files are written to.
    plan : Plan
        What is computed, in order.
    edition : str
        The only edition to build; empty for all.
    team : callable
        Returns the processes that compute values, if any, called when first needed; takes whether
        they must be of this computer.
    printers : callable
        Returns an executor for jobs, if any.
    tell : callable
        Takes a label, the number of keys done and their total.
    guard : callable
        Takes a path and the bytes to be written; returns why they must not be, or "".
    postponed : collection of (str, str)
        Values and keys to leave for a later run.
    first : collection of str, optional
        If given, only values with these keys are computed, from what the others were at the last
        run; a value without a key goes by its cell, as in ``limits:``.
    """

    graph: DiskGraph
    tree: Tree
    plan: Plan
    edition: str
    team: Callable[[bool], Team | None]
    printers: Callable[[], Executor | None]
    tell: Callable[[str, int, int], None]
    guard: Callable[[str, bytes], str]
    postponed: Collection[tuple[str, str]] = ()
    first: Collection[str] | None = None
    running: dict[bool, Team | None] = field(default_factory=dict)
    done: int = 0
    refused: list[str] = field(default_factory=list)
    withheld: set[str] = field(
        default_factory=set
    )  # refused by the guard, so not to be tried again
    failures: list[Failed] = field(default_factory=list)

    def all(self) -> tuple[Any, ...]:
        """Compute every stale value.

        Returns
        -------
        tuple
            The problems of the inputs. If there are any, the inputs that do not depend on them were
            computed and stored, and the rest of the plan was not computed.
        """
        self.graph.failed, self.graph.partly = frozenset(), self.first is not None
        self.graph.store.forget()
        try:
            for step in self.plan.inputs:
                self._step(step)
            for step in () if self.graph.failed else self.plan.rest:
                self._step(step)
        finally:
            self.graph.store.commit()
        return tuple(reason for one in self._in_order() for reason in one.reasons)

    def _in_order(self) -> list[Failed]:
        """Return the failures in the order of the plan, and of their keys within a step."""
        steps = (*self.plan.inputs, *self.plan.rest)
        places = {
            value.name: (n, m) for n, step in enumerate(steps) for m, value in enumerate(step)
        }

        def place(one: Failed) -> tuple[int, str, int]:
            step, within = places[one.value]
            return step, one.key, within

        return sorted(self.failures, key=place)

    def _step(self, step: Step) -> None:
        store = self.graph.store
        self.graph.forget()
        wanted = tuple(
            value for value in step if value.edition in ("", self.edition) or not self.edition
        )
        for value in wanted:
            self._update_keys(value)
        wanted = tuple(value for value in wanted if not self._switched_off(value))
        tasks = self._tasks(wanted)
        if not tasks:
            return
        label = next((value.label for value in wanted if value.label), "")
        self._tell(label, 0, len(tasks))
        committed, keys = time.monotonic(), set()
        for result in self._results(wanted, tasks):
            self._absorb(result)
            if result.key not in keys:
                keys.add(result.key)
                self._tell(label, len(keys), len(tasks))
            if time.monotonic() - committed > _COMMITTED_EVERY:
                store.commit()
                committed = time.monotonic()
        store.commit()
        if len(wanted) > 1:
            self._recompute_changed(wanted)

    def _switched_off(self, value: Derived[Any]) -> bool:
        """Return whether this value's option is off; if so, withdraw its stale results."""
        store = self.graph.store
        if not value.option or store.digest(f"option:{value.option}") is not None:
            return False
        for key in store.stale(value.name, made=True):
            self.tree.remove(store.withdraw(value.name, key))
        return True

    def _tasks(self, step: Step) -> list[Task]:
        """Return the stale values of a step, by key."""
        found: dict[str, list[str]] = {}
        for value in step:
            for key in self.graph.store.stale(value.name):
                cell = f"{value.name}:{key}"
                if not (
                    self._left(value.name, key)
                    or cell in self.graph.failed
                    or cell in self.withheld
                ):
                    found.setdefault(key, []).append(value.name)
        return [(key, tuple(found[key])) for key in sorted(found)]

    def _left(self, value: str, key: str) -> bool:
        """Return whether a value is left for a later run."""
        if self.first is not None and (key or f"{value}:") not in self.first:
            return True
        return (value, key) in self.postponed

    def _recompute_changed(self, step: Step) -> None:
        """Compute values that became stale because another value of the same step changed."""
        self.graph.forget()
        while tasks := self._tasks(step):
            for result in self._compute_here(step, tasks):
                self._absorb(result)
            self.graph.store.commit()
            self.graph.forget()

    def _tell(self, label: str, done: int, total: int) -> None:
        if label and total >= _WORTH_TELLING:
            self.tell(label, done, total)

    def _update_keys(self, value: Derived[Any]) -> None:
        """Add new keys, and drop those that no longer exist."""
        store, call = self.graph.store, f"keys of {value.name}"
        store.add(call, [""])
        if not store.stale(call):
            return
        with self.graph.noting() as frame:
            try:
                wanted = set(value.keys(self.graph))
            except (AbsentError, NotMadeError):
                return
        present = store.keys(value.name)
        for key in sorted(present - wanted):
            self.tree.remove(store.drop(value.name, key))
        store.add(value.name, sorted(wanted - present))
        store.put(Done(call, "", frozenset(frame.reads | {"code:all"})), {})

    def _absorb(self, result: Result) -> None:
        if isinstance(result, Failed):
            self.failures.append(result)
            self.graph.failed |= {result.cell}
            return
        refused = [self.guard(path, data) for path, data in result.files.items()]
        if any(refused):
            self.refused.extend(filter(None, refused))
            self.withheld.add(f"{result.value}:{result.key}")
            return
        digests = {path: hashlib.sha256(data).digest() for path, data in result.files.items()}
        write, gone = self.graph.store.put(result, digests)
        for path in write:
            self.tree.write(path, result.files[path])
        self.tree.remove(gone)
        self.done += 1

    # --- where values are computed ----------------------------------------------------------------

    def _results(self, step: Step, tasks: Sequence[Task]) -> Iterator[Result]:
        if len(step) == 1 and step[0].jobs:
            pool = self.printers() if len(tasks) >= _WORTH_STARTING else None
            if pool:
                return self._run_jobs(pool, step[0], [key for key, _ in tasks])
        else:
            shares = Shares(tasks, step)
            if team := self._team_for(shares.work, any(value.at_home for value in step)):
                return self._share(team, step, shares)
        return self._compute_here(step, tasks)

    def _share(self, team: Team, step: Step, shares: Shares) -> Iterator[Result]:
        """Share the work with a team; until it is ready, do it here."""
        while shares and not team.ready:
            yield from self._compute_here(step, shares.first(team.count + 1))
        if shares:
            team.show(self.graph.store)
            yield from compute_shared(
                team,
                shares,
                self.graph.failed,
                self.graph.store,
                lambda tasks: self._compute_here(step, tasks),
            )

    def _team_for(self, work: float, at_home: bool) -> Team | None:
        """Return the processes that do so much work; None for this one."""
        if work >= _WORTH_STARTING and at_home not in self.running:
            self.running[at_home] = self.team(at_home)
        return self.running.get(at_home) if work >= _WORTH_SHARING else None

    def _compute_here(self, step: Step, tasks: Sequence[Task]) -> Iterator[Result]:
        for key, names in tasks:
            yield from compute_together(
                self.graph, [value for value in step if value.name in names], key
            )

    def _run_jobs(
        self, pool: Executor, value: Derived[Any], keys: Sequence[str]
    ) -> Iterator[Result]:
        """Start jobs and yield their results in order."""
        waiting: deque[Started | Result] = deque()
        for key in keys:
            waiting.append(
                self.graph.compute(value, key, lambda job: pool.submit(job.call, *job.arguments))
            )
            while len(waiting) > _AHEAD:
                yield _result_of(waiting.popleft())
        while waiting:
            yield _result_of(waiting.popleft())


def _result_of(one: Started | Result) -> Result:
    return finish_job(one, one.result.result()) if isinstance(one, Started) else one
