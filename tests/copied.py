"""Copies of a mill that was built: a tenth of what building it again takes."""

from __future__ import annotations

import subprocess
from contextlib import closing
from pathlib import Path

from kilnfolio.graph.states import STAGING
from kilnfolio.graph.store import Store


def copied_mill(built: Path, root: Path, site: Path = Path("site")) -> Path:
    """Copy a mill with its site, hard links and all, and tell its store where the copy lies.

    The next build looks at every file once, since these are others on the disk, and makes none.
    """
    subprocess.run(["cp", "-a", built, root], check=True)
    _tell_where(root / site)
    return root


def copied_site(site: Path, out: Path) -> None:
    """Copy the files of a site into an empty folder, and tell their store where they lie."""
    subprocess.run(["cp", "-a", f"{site}/.", out], check=True)
    _tell_where(out)


def _tell_where(out: Path) -> None:
    with closing(Store(out / STAGING / "store.sqlite")) as store:
        for note, home in (("served", out), ("staged", out / STAGING)):
            editions = store.note(note)
            store.keep(note, {edition: (home / edition).stat().st_ino for edition in editions})
        store.commit()
