"""The processes and machines that share the work of a build."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from kilnfolio.graph.sharing import LocalTeam, Place, Team
from kilnfolio.graph.tree import Tree
from kilnfolio.runtime.cluster_address import Cluster

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from kilnfolio.graph.away import AwayTeam
    from kilnfolio.runtime.cluster import Dask
    from kilnfolio.runtime.workers import Workers

#: Where processes find the plan. Importing it takes most of a second, so processes begin to do that
#: before this one does.
_PLAN = "kilnfolio.pipeline.plan:PLAN"
#: Modules that worker processes need, imported once by the fork server; the second prints PDFs.
_PRELOAD, _PRINTING = ("kilnfolio.pipeline.plan",), ("kilnfolio.paper.printing",)


class Teams:
    """Processes of this computer, and a cluster's; each started when first needed.

    A cluster shares a first build only: later ones change little, and its machines have kept nothing.
    """

    def __init__(self, root: Path, tree: Tree, workers: int, dask: Dask | None):
        self._root, self._editions, self._workers, self._dask = root, tree.editions, workers, dask
        self._place = Place(_PLAN, root, tree.out, tree.store.path)
        self._first = tree.store.note("served") is None
        # what a mill wrote itself runs with the permission of this computer's user alone
        self._own_code = tree.store.digest("option:code") is not None
        self._prints = tree.store.digest("option:pdfs") is not None
        self._beside: Workers | None = None
        self._printers: Workers | None = None
        self._away: AwayTeam | None = None

    def prepare(self) -> None:
        """Start processes if a first build is about to need them."""
        if self._first and not self._shares_all:
            self._processes_beside()

    def team(self, at_home: bool) -> Team | None:
        """See `Run.team`."""
        if self._shares_all and self._dask and not at_home:
            self._away = self._away or self._away_team()
            return self._away
        pool = self._processes_beside()
        return LocalTeam(pool, self._workers - 1, self._place) if pool else None

    def printers(self) -> Executor | None:
        """See `Run.printers`."""
        if self._dask is None and self._printers is None:
            self._printers = self._started(self._workers)
        return self._dask or self._printers

    def close(self, *, at_once: bool) -> None:
        """Stop the processes: after their tasks, or at once."""
        for pool in (self._beside, self._printers):
            if pool:
                pool.shutdown(cancel_futures=at_once)
        if self._away and not at_once:
            self._away.close()

    @property
    def _shares_all(self) -> bool:
        return bool(self._dask) and self._first and not self._own_code

    def _away_team(self) -> AwayTeam:
        from kilnfolio.graph.away import AwayTeam
        from kilnfolio.pipeline.plan import PLAN

        assert self._dask is not None
        return AwayTeam(self._dask, PLAN, self._root, self._editions)

    def _processes_beside(self) -> Workers | None:
        """Return the processes that compute beside this one; None if it does all."""
        if self._beside is None:
            self._beside = self._started(self._workers - 1)
        return self._beside

    def _started(self, count: int) -> Workers | None:
        if self._workers == 1:
            return None
        from kilnfolio.runtime.workers import Workers  # not needed by one process

        pool = Workers(count, (*_PRELOAD, *(_PRINTING if self._prints else ())))
        pool.start()
        return pool


@contextmanager
def teams(root: Path, tree: Tree, workers: int, where: Cluster) -> Iterator[Teams]:
    """Yield what shares the work of one build; see `build_site`."""
    with ExitStack() as stack:
        dask = None
        if where.address:
            from kilnfolio.runtime.cluster import cluster

            dask = stack.enter_context(cluster(where))
        made = Teams(root, tree, workers, dask)
        try:
            yield made
        except BaseException:
            made.close(at_once=True)
            raise
        made.close(at_once=False)
