"""A mill whose values are taken from the last build of its site, where they still hold."""

from __future__ import annotations

from kilnfolio.graph.states import STAGING
from kilnfolio.runtime.code_version import code_stamps
from kilnfolio.runtime.environment import environment_options

TYPE_CHECKING = False  # saves importing typing, which a build with nothing to do can spare
if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from kilnfolio.records.folder import MillFolder
    from kilnfolio.runtime.code_version import CodeStamps

#: The editions of a site.
EDITIONS = ("mill", "customer", "auditor")
#: The store of a site, in the folder it is built into.
STORE = f"{STAGING}/store.sqlite"


def site_of(root: Path) -> Path:
    """Return the folder a mill's site is built into where nothing else is asked for."""
    return root / "site"


def settings_of(root: Path, pdfs: bool, edition: str, code: CodeStamps) -> tuple[Any, ...]:
    """Return what a build rests on beside its inputs."""
    return (root, pdfs, edition, tuple(environment_options().items()), code)


def open_built_mill(root: Path, site: Path | None = None) -> MillFolder:
    """Return a mill folder whose sealed charges and lots are read as they were sealed.

    What the last build of its site computed is computed again only where something below it changed
    since, so that what is learnt of many earlier charges is learnt once.

    Parameters
    ----------
    root : Path
        The mill folder.
    site : Path, optional
        The site; by default the one in the mill folder.

    Raises
    ------
    RecordProblems
        It is not a mill's folder.
    """
    from kilnfolio.archive.sealed_mill import SEALED
    from kilnfolio.records.folder import open_mill

    store = (site or site_of(root)) / STORE
    if not store.is_file():
        return open_mill(root, bound=SEALED)
    from kilnfolio.graph.kept import Kept
    from kilnfolio.records.kinds import INDEX

    def holds(settings: Any) -> bool:
        now = settings_of(root.resolve(), False, "", code_stamps())
        return settings is not None and (settings[0], settings[3:]) == (now[0], now[3:])

    return open_mill(root, bound=SEALED, kept=Kept(store, holds, set(environment_options()), INDEX))
