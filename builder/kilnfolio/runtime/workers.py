"""Processes on this machine that share the work of a build.

Callers use the `concurrent.futures.Executor` interface. Tasks are pure: a function of the package
and its arguments go out, a value comes back, and only the parent writes files. A worker that dies
therefore loses nothing: its task runs again.
"""

from __future__ import annotations

import fcntl
import gc
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future
from concurrent.futures.process import ProcessPoolExecutor
from contextlib import suppress
from functools import partial
from multiprocessing import forkserver, resource_tracker
from multiprocessing.connection import wait
from multiprocessing.context import BaseContext
from multiprocessing.process import BaseProcess
from typing import Any

from kilnfolio.runtime.errors import WorkersUnreachableError
from kilnfolio.runtime.garbage import collect_rarely

#: Tasks after which the processes are replaced: each PDF leaks about 35 kB in the libraries that
#: WeasyPrint uses.
TASKS_PER_PROCESS = 500
#: A task is abandoned after this many of its workers died: the task itself is killing them.
MOST_DEATHS = 3
#: What a pool needs to clear up after the death of a process, at most [s].
_CLEARED_UP = 5.0
#: Size of the pipe in which results wait; Linux gives a user other than root no more [bytes].
_PIPE = 1 << 20


class Workers(Executor):
    """Processes on this machine, started by `start` or with the first task.

    A fork server starts them: forking this process would copy the whole mill while its libraries'
    threads run, and a fresh interpreter per worker would import everything again. It begins to
    import at once.

    Parameters
    ----------
    count : int
        Number of processes.
    preload : sequence of str, optional
        Modules that the fork server imports once, for all workers.
    """

    def __init__(self, count: int, preload: Sequence[str] = ()):
        self._count, self._preload = count, list(preload)
        self._pool: ProcessPoolExecutor | None = None
        self._sent = 0
        self._closed = False
        self._ready = threading.Event()
        self._lock = threading.RLock()
        self._context = self._prepared()

    @property
    def ready(self) -> bool:
        """Whether processes have been started and have imported what they need."""
        return self._ready.is_set()

    def start(self) -> None:
        """Start the processes, without waiting until they are ready."""
        self._starting = threading.Thread(target=self._start, daemon=True)
        self._starting.start()

    def _start(self) -> None:
        # if they are stopped meanwhile, they never become ready
        with suppress(RuntimeError, OSError, EOFError):
            self.submit(_nothing).result()
            self._ready.set()

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Submit a task; if its worker dies, another runs it again."""
        task: Future[Any] = Future()
        task.set_running_or_notify_cancel()
        self._send(task, partial(fn, *args, **kwargs), deaths=0)
        return task

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Stop the processes: after their tasks, or at once with `cancel_futures`."""
        with self._lock:
            pool, self._pool, self._closed = self._pool, None, True
        if cancel_futures:
            _kill(multiprocessing.active_children(), pool)
        if pool:
            pool.shutdown(wait, cancel_futures=cancel_futures)

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self.shutdown(cancel_futures=kind is not None)

    def _send(self, task: Future[Any], call: Callable[[], Any], deaths: int) -> None:
        with self._lock:
            if self._closed:
                raise RuntimeError("the workers have been shut down")
            if self._sent >= TASKS_PER_PROCESS * self._count and self._pool:
                self._pool.shutdown(wait=False)  # the old processes finish the tasks they have
                self._pool = None
            if self._pool is None:
                self._pool = ProcessPoolExecutor(self._count, self._context, _begin)
                _widen(self._pool)
                self._sent = 0
            pool = self._pool
            try:
                doing = pool.submit(call)
            except BrokenExecutor:
                self._drop(pool)
                self._send(task, call, deaths)
                return
            if self._sent == 0:
                threading.Thread(target=_watch, args=(pool,), daemon=True).start()
            self._sent += 1
        doing.add_done_callback(partial(self._done, task, call, deaths, pool))

    def _done(
        self,
        task: Future[Any],
        call: Callable[[], Any],
        deaths: int,
        pool: ProcessPoolExecutor,
        doing: Future[Any],
    ) -> None:
        error = None if doing.cancelled() else doing.exception()
        if doing.cancelled() or (isinstance(error, BrokenExecutor) and self._closed):
            task.set_exception(RuntimeError("the workers were shut down"))
        elif isinstance(error, BrokenExecutor) and deaths + 1 < MOST_DEATHS:
            self._drop(pool)
            self._send(task, call, deaths + 1)
        elif isinstance(error, BrokenExecutor):
            task.set_exception(
                WorkersUnreachableError(
                    f"the worker processes were killed {MOST_DEATHS} times, as happens when memory "
                    "runs out; close other programs, or build with --workers 1"
                )
            )
        elif error:
            task.set_exception(error)
        else:
            task.set_result(doing.result())

    def _drop(self, pool: ProcessPoolExecutor) -> None:
        with self._lock:
            if self._pool is pool:
                self._pool = None

    def _prepared(self) -> BaseContext:
        known = multiprocessing.get_all_start_methods()
        context = multiprocessing.get_context("forkserver" if "forkserver" in known else "spawn")
        if "forkserver" in known:
            context.set_forkserver_preload(["kilnfolio.runtime.quiet_workers", *self._preload])
            _start_fork_server()
        return context


def _nothing() -> None:
    """Do nothing: the first task shows that the processes are ready."""


def _widen(pool: ProcessPoolExecutor) -> None:
    """Let processes send a result without waiting until this one, which may be busy, reads it."""
    results = getattr(pool, "_result_queue", None)
    if results and hasattr(fcntl, "F_SETPIPE_SZ"):
        with suppress(OSError):
            fcntl.fcntl(results._writer.fileno(), fcntl.F_SETPIPE_SZ, _PIPE)


def _watch(pool: ProcessPoolExecutor) -> None:
    """Wait until a process of a pool is killed; if the pool does not see that, kill the others."""
    manager: threading.Thread | None = getattr(pool, "_executor_manager_thread", None)
    while manager and manager.is_alive():
        running = _processes(pool)  # a pool starts each when it has a task for it
        wait([process.sentinel for process in running], timeout=1)
        if any(process.exitcode for process in running):
            manager.join(_CLEARED_UP)
            if manager.is_alive():
                _kill(_processes(pool), pool)
            return


def _processes(pool: ProcessPoolExecutor) -> list[BaseProcess]:
    return list((getattr(pool, "_processes", None) or {}).values())


def _kill(processes: Sequence[BaseProcess], pool: ProcessPoolExecutor | None) -> None:
    """Kill processes, and close what they sent results through.

    A process that is killed while it sends a result leaves half of it, and the pool would wait for
    the other half for ever: while this process holds the pipe, it does not end.
    """
    for process in processes:
        process.terminate()
    for process in processes:
        process.join()
    if pool and (results := getattr(pool, "_result_queue", None)):
        results._writer.close()


def _start_fork_server() -> None:
    """Start the fork server deaf to Ctrl-C: it would print a traceback while it imports.

    The signal is held back, and a new process inherits that; ignoring it would lose a Ctrl-C that
    comes in this moment.
    """
    resource_tracker.ensure_running()  # started by the fork server, it would let the signal through
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        forkserver.ensure_running()
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin() -> None:
    """Leave Ctrl-C to the parent, and exit when the parent exits."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    collect_rarely()
    gc.freeze()  # imported modules are never garbage: keep them out of every collection
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)
