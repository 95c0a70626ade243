"""Where the cluster is that shares a build; what talks to it is loaded only when there is one."""

from __future__ import annotations

from kilnfolio.runtime.values import dataclass


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
        from urllib.parse import urlsplit

        host = urlsplit(self.address).hostname or ""
        return bool(self.address) and not self.tls and host not in ("127.0.0.1", "::1", "localhost")


#: No machines but this one.
NO_CLUSTER = Cluster()
