"""A Dask cluster whose workers print the PDFs of a build."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from kilnfolio.runtime.code_version import code_digests
from kilnfolio.runtime.errors import WorkersUnreachableError
from kilnfolio.runtime.workers import MOST_DEATHS


class WorkersDifferError(WorkersUnreachableError):
    """Workers of a cluster run other code than this process and would produce other bytes."""


@dataclass(frozen=True)
class Cluster:
    """Where a Dask cluster is, and how its machines and this one authenticate each other.

    Attributes
    ----------
    address : str
        Address of its scheduler, as in 'tls://10.0.0.5:8786'; empty for no cluster.
    tls : tuple of str
        PEM files: the certificate of the authority that signed all the others, this machine's own
        certificate, and its key; empty for a cluster over tcp.
    """

    address: str = ""
    tls: tuple[str, ...] = ()

    @property
    def open_to_all(self) -> bool:
        """Whether others on the network could join: neither encrypted nor on this computer."""
        host = urlsplit(self.address).hostname or ""
        return bool(self.address) and not self.tls and host not in ("127.0.0.1", "::1", "localhost")


#: No machines but this one.
NO_CLUSTER = Cluster()


@contextmanager
def cluster(where: Cluster) -> Iterator[Executor]:
    """Yield the workers of a Dask cluster.

    Work and results travel as pickles, so each machine can run programs on every other: every
    machine of a cluster must be trusted as much as this one.

    Raises
    ------
    WorkersDifferError
        A worker runs a different version of the code from this process.
    WorkersUnreachableError
        No cluster answers, or the address and the files do not match.
    """
    try:
        from distributed import Client
    except ImportError:
        raise WorkersUnreachableError(
            "a cluster needs kilnfolio's extra 'cluster': pip install 'kilnfolio[cluster]'"
        ) from None
    try:
        client = Client(where.address, timeout="10s", security=_security(where))
    except (OSError, ValueError) as error:
        raise WorkersUnreachableError(f"no cluster answers at {where.address}: {error}") from None
    with client:
        here = code_digests()
        other = [worker for worker, digests in client.run(code_digests).items() if digests != here]
        if other:
            raise WorkersDifferError(
                f"{', '.join(other)}: another version of kilnfolio or of its PDF libraries is "
                "installed there; install the same versions as here"
            )
        yield client.get_executor(pure=False, retries=MOST_DEATHS)


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
