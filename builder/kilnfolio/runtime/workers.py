"""Processes that share the work of a build: on this machine, or on a Dask cluster.

Work is handed over through `concurrent.futures.Executor`. What is handed over is pure: a function
of the package and its values go out, a value comes back, and the parent alone writes files. So a
worker that dies takes nothing with it: what it held is done again.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future
from concurrent.futures.process import ProcessPoolExecutor
from contextlib import contextmanager
from functools import partial
from multiprocessing import forkserver
from multiprocessing.connection import wait
from typing import Any

from kilnfolio.runtime.code_version import code_digests
from kilnfolio.runtime.errors import WorkersUnreachableError

#: What workers print with, imported once and shared by all of them.
PRELOAD = ("kilnfolio.paper.printing",)
#: Tasks after which fresh processes take over: setting a PDF leaves about 35 kB behind in the
#: libraries under WeasyPrint, for good.
TASKS_EACH = 500
#: A task that was under way when workers died this often is what kills them.
MOST_DEATHS = 3


class WorkersDifferError(WorkersUnreachableError):
    """The workers of a cluster do not run the same code, so they would make other bytes."""


class Workers(Executor):
    """Processes on this machine, started at the first task.

    They come from a fork server: a fork of this process would carry the whole mill along with
    whatever threads its libraries run, and a fresh interpreter each would import everything twice.

    Parameters
    ----------
    count : int
        How many processes.
    preload : sequence of str
        Modules that they have from the start.
    """

    def __init__(self, count: int, preload: Sequence[str] = PRELOAD):
        self._count, self._preload = count, list(preload)
        self._pool: ProcessPoolExecutor | None = None
        self._sent = 0
        self._closed = False
        self._lock = threading.RLock()

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Hand a task over; what a dead worker held is done by another."""
        task: Future[Any] = Future()
        task.set_running_or_notify_cancel()
        self._send(task, partial(fn, *args, **kwargs), deaths=0)
        return task

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Let the processes go; with `cancel_futures` at once, whatever they are about."""
        with self._lock:
            pool, self._pool, self._closed = self._pool, None, True
        if cancel_futures:
            for process in multiprocessing.active_children():
                process.terminate()
        if pool:
            pool.shutdown(wait, cancel_futures=cancel_futures)

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self.shutdown(cancel_futures=kind is not None)

    def _send(self, task: Future[Any], call: Callable[[], Any], deaths: int) -> None:
        with self._lock:
            if self._closed:
                raise RuntimeError("the workers have been let go")
            if self._sent >= TASKS_EACH * self._count and self._pool:
                self._pool.shutdown(wait=False)  # they end what they have
                self._pool = None
            if self._pool is None:
                self._pool, self._sent = self._fresh(), 0
            pool = self._pool
            try:
                doing = pool.submit(call)
            except BrokenExecutor:
                self._drop(pool)
                self._send(task, call, deaths)
                return
            self._sent += 1
        doing.add_done_callback(partial(self._done, task, call, deaths, pool))

    def _done(self, task: Future[Any], call: Callable[[], Any], deaths: int,
              pool: ProcessPoolExecutor, doing: Future[Any]) -> None:
        error = None if doing.cancelled() else doing.exception()
        if doing.cancelled() or (isinstance(error, BrokenExecutor) and self._closed):
            task.set_exception(RuntimeError("the workers were let go"))
        elif isinstance(error, BrokenExecutor) and deaths + 1 < MOST_DEATHS:
            self._drop(pool)
            self._send(task, call, deaths + 1)
        elif isinstance(error, BrokenExecutor):
            task.set_exception(WorkersUnreachableError(
                f"the processes that shared the work were ended {MOST_DEATHS} times from outside, "
                "as a computer does that runs out of memory; close other programs, or build with "
                "--workers 1"))
        elif error:
            task.set_exception(error)
        else:
            task.set_result(doing.result())

    def _drop(self, pool: ProcessPoolExecutor) -> None:
        with self._lock:
            if self._pool is pool:
                self._pool = None

    def _fresh(self) -> ProcessPoolExecutor:
        known = multiprocessing.get_all_start_methods()
        context = multiprocessing.get_context("forkserver" if "forkserver" in known else "spawn")
        if "forkserver" in known:
            context.set_forkserver_preload(["kilnfolio.runtime.orphans", *self._preload])
            _start_deaf()
        return ProcessPoolExecutor(self._count, context, _begin)


def _start_deaf() -> None:
    """Start the fork server so that it does not hear Ctrl-C: while it imports it would complain."""
    if threading.current_thread() is not threading.main_thread():
        return  # only the main thread may turn signals off
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        forkserver.ensure_running()
    finally:
        signal.signal(signal.SIGINT, before)


def _begin() -> None:
    """Leave Ctrl-C to the parent, and end when the parent does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.freeze()  # what was imported is not garbage, and not to be looked through for any
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)


# --- a cluster ------------------------------------------------------------------------------------

@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """Give the workers of a Dask cluster.

    Parameters
    ----------
    address : str
        Of its scheduler, as in 'tcp://10.0.0.5:8786'.

    Raises
    ------
    WorkersDifferError
        A worker runs other code than this process.
    WorkersUnreachableError
        There is no cluster there.
    """
    try:
        from distributed import Client
    except ImportError:
        raise WorkersUnreachableError(
            "a cluster needs kilnfolio's extra 'cluster': pip install 'kilnfolio[cluster]'") \
            from None
    try:
        client = Client(address, timeout="10s")
    except (OSError, ValueError) as error:
        raise WorkersUnreachableError(f"no cluster answers at {address}: {error}") from None
    with client:
        here = code_digests()
        other = [worker for worker, digests in client.run(code_digests).items()
                 if digests != here]
        if other:
            raise WorkersDifferError(
                f"other versions of kilnfolio or of what prints PDFs run at {', '.join(other)}; "
                "install the same there as here")
        yield client.get_executor(pure=False, retries=MOST_DEATHS)
