"""Keeps pickles that a cluster sends from running code in this process.

Dask unpickles what it receives in many places, and offers no way to turn that off. But a pickle can
run nothing that it has not first looked up by name, and Python reports every such lookup to its audit
hooks (docs.python.org, "Audit events table": pickle.find_class), which can refuse it.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from concurrent.futures.process import _ExecutorManagerThread
from contextlib import contextmanager

#: What Dask names: a result of ours, and its own error about workers that died. None has side effects.
_HARMLESS = {
    ("builtins", "bytes"),
    ("builtins", "int"),
    ("collections", "defaultdict"),
    ("collections", "deque"),
    ("distributed.core", "Status"),
    ("distributed.scheduler", "KilledWorker"),
    ("distributed.scheduler", "WorkerState"),
}


class RefusedPickleError(TypeError):
    """A pickle named something that it may not use."""


class _Guard:
    """What has been refused, while at least one connection to a cluster is open."""

    def __init__(self) -> None:
        self.open = 0
        self.refused: list[str] = []
        self._hooked = False

    def begin(self) -> None:
        if not self._hooked:
            sys.addaudithook(self._look)  # cannot be removed
            self._hooked = True
        self.open += 1

    def _look(self, event: str, arguments: tuple[object, ...]) -> None:
        if event != "pickle.find_class" or not self.open or arguments in _HARMLESS:
            return
        if isinstance(threading.current_thread(), _ExecutorManagerThread):
            return  # results of processes that this one started
        name = ".".join(map(str, arguments))
        self.refused.append(name)
        raise RefusedPickleError(f"a pickle from the cluster names {name}")


_GUARD = _Guard()


@contextmanager
def only_harmless_pickles() -> Iterator[list[str]]:
    """Refuse pickles that could run code, in all threads but those of this machine's own workers.

    Yields
    ------
    list of str
        The names that were refused, as they come.
    """
    _GUARD.begin()
    _GUARD.refused = []
    try:
        yield _GUARD.refused
    finally:
        _GUARD.open -= 1
