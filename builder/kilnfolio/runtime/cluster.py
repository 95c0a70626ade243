"""A Dask cluster whose workers share a build.

Results come back as MessagePack, which holds data and no code. Dask wraps them, and messages of its
own, in pickles; `runtime.unpickling` keeps these from running anything here.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from kilnfolio.runtime.cluster_address import Cluster
from kilnfolio.runtime.code_version import code_digests
from kilnfolio.runtime.errors import WorkersUnreachableError
from kilnfolio.runtime.workers import MOST_DEATHS


class WorkersDifferError(WorkersUnreachableError):
    """Workers of a cluster run other code than this process and would produce other bytes."""


@contextmanager
def cluster(where: Cluster) -> Iterator[Dask]:
    """Yield the workers of a Dask cluster.

    A task returns None, numbers, text, bytes, or lists and mappings of these; a tuple arrives as a
    list. Tasks travel as pickles: the workers trust this machine. It runs nothing that they send.

    Raises
    ------
    WorkersDifferError
        A worker runs a different version of the code from this process.
    WorkersUnreachableError
        No cluster answers, the address and the files do not match, the workers of a task died, or a
        machine sent something that could have run code here.
    """
    try:
        from distributed import Client
    except ImportError:
        raise WorkersUnreachableError(
            "a cluster needs kilnfolio's extra 'cluster': pip install 'kilnfolio[cluster]'"
        ) from None
    from kilnfolio.runtime.unpickling import only_harmless_pickles

    _silence()
    with only_harmless_pickles() as refused:
        try:
            client = Client(where.address, timeout="10s", security=_security(where))
        except Exception as error:
            raise _answer(refused, f"no cluster answers at {where.address}: {error}") from None
        with client:
            here = code_digests()
            try:
                there = client.run(_packed, code_digests)
                others = [worker for worker, packed in there.items() if _unpacked(packed) != here]
            except Exception as error:
                raise _answer(refused, f"the workers at {where.address} fail: {error}") from None
            if others:
                raise WorkersDifferError(
                    f"{', '.join(others)}: another version of kilnfolio or of its PDF libraries is "
                    "installed there; install the same versions as here"
                )
            yield Dask(client, len(there), refused)


def _silence() -> None:
    """Keep Dask from printing tracebacks: what stops a build is raised, and told in a sentence."""
    for name in ("distributed", "distributed.client", "tornado.application"):
        for handler in logging.getLogger(name).handlers:
            handler.setLevel(logging.CRITICAL + 1)


def _answer(refused: list[str], otherwise: str) -> WorkersUnreachableError:
    """Return the error to raise: that something was refused, if so, or what else it is."""
    if not refused:
        return WorkersUnreachableError(otherwise)
    return WorkersUnreachableError(
        f"something that a machine of the cluster sent was not read: it names {refused[0]}, and only "
        "data is read here, for all else could run programs. Its own log says whether Dask failed "
        "there; if not, find out who changed that machine"
    )


class Dask(Executor):
    """The workers of a cluster, whose results are data and nothing else."""

    def __init__(self, client: Any, count: int, refused: list[str]):
        self.count, self._client, self._refused = count, client, refused
        self._dask = client.get_executor(pure=False, retries=MOST_DEATHS)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Submit a task; its result is unpacked as it arrives."""
        task: Future[Any] = Future()
        task.set_running_or_notify_cancel()

        def done(packed: Future[bytes]) -> None:
            try:
                task.set_result(_unpacked(packed.result()))
            except _TaskFailedError as error:
                task.set_exception(error)
            except BaseException as error:
                task.set_exception(self._gave_up(error))

        self._dask.submit(_packed, fn, *args, **kwargs).add_done_callback(done)
        return task

    def everywhere(self, fn: Callable[..., Any], *args: Any, only: str = "") -> dict[str, Any]:
        """Have each worker call a function, or only one; return the results by worker.

        Raises
        ------
        WorkersUnreachableError
            One of them failed.
        """
        try:
            packed = self._client.run(_packed, fn, *args, workers=[only] if only else None)
            return {worker: _unpacked(one) for worker, one in packed.items()}
        except Exception as error:
            raise self._gave_up(error) from None

    def _gave_up(self, error: BaseException) -> WorkersUnreachableError:
        words = f"the workers of the cluster gave up: {type(error).__name__}: {error}"
        return _answer(self._refused, words)


class _TaskFailedError(Exception):
    """A task failed on its worker, as it would have here."""


def _packed(fn: Callable[..., Any], *args: Any, **kwargs: Any) -> bytes:
    """Run a task on a worker; return its result, or what it failed with, as MessagePack."""
    try:
        found = [fn(*args, **kwargs), ""]
    except Exception as error:
        found = [None, f"{type(error).__name__}: {error}"]
    import msgpack

    packed: bytes = msgpack.packb(found)
    return packed


def _unpacked(packed: bytes) -> Any:
    import msgpack

    if type(packed) is not bytes:
        raise TypeError(f"a worker sent {type(packed).__name__} in place of bytes")
    result, failure = msgpack.unpackb(packed)
    if failure:
        raise _TaskFailedError(failure)
    return result


def _security(where: Cluster) -> Any:
    """Return the TLS settings of the connection to a cluster; None over tcp."""
    if where.address.startswith("tls://") is not bool(where.tls):
        raise WorkersUnreachableError(
            f"{where.address}: an address that begins with tls:// and --cluster-tls go together"
        )
    if not where.tls:
        return None
    if missing := [name for name in where.tls if not Path(name).is_file()]:
        raise WorkersUnreachableError(
            f"{missing[0]}: there is no such file. --cluster-tls takes "
            "the certificate of your authority, your own, and its key"
        )
    from distributed.security import Security

    authority, certificate, key = where.tls
    return Security(
        tls_ca_file=authority,
        tls_client_cert=certificate,
        tls_client_key=key,
        require_encryption=True,
    )
