"""A site at rest: as its last build left it, and nothing that it rests on has changed since.

A build asks for this first. It needs no more than the standard library: importing what a build needs
would take as long again as asking the system for the state of every file.
"""

from __future__ import annotations

import os

from kilnfolio.graph.states import STAGING, input_stamps, site_stamps
from kilnfolio.pipeline.built import EDITIONS, STORE, settings_of
from kilnfolio.runtime.code_version import code_stamps
from kilnfolio.runtime.files import read_file, write_whole

TYPE_CHECKING = False  # saves importing typing
if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path
    from typing import Any

    from kilnfolio.graph.states import Stamps

#: Beside the store: what was built, then a line for everything that the site rests on and each of
#: its files.
_NOTE = f"{STAGING}/at-rest.txt"


def built_at_rest(root: Path, out: Path, *, pdfs: bool) -> tuple[int, int] | None:
    """Return how many pages and PDFs a site at rest has.

    None if anything changed, if the last build had something to say, or if there was none.

    Parameters
    ----------
    root, out, pdfs
        As for `build.build_site`.
    """
    try:
        head, *lines = os.fsdecode(read_file(out / _NOTE)).split("\n")
        pages, printed, *folders = head.split()
        if not (out / STORE).is_file():
            return None
        # changed inputs are the usual reason to build, and fewer than the files of the site
        known = set(lines)
        now = {repr(settings_of(root.resolve(), pdfs, "", code_stamps()))}
        now.update(_lines(input_stamps(root, folders)))
        if not now.issubset(known):
            return None
        now.update(_lines(site_stamps(out, EDITIONS)))
        return (int(pages), int(printed)) if now == known else None
    except (OSError, ValueError):
        return None


def note_at_rest(
    out: Path,
    built: tuple[int, int],
    settings: tuple[Any, ...],
    folders: Iterable[str],
    inputs: Stamps,
    site: Mapping[str, str | None],
) -> None:
    """Note that a site is at rest.

    Parameters
    ----------
    out : Path
        The folder of the editions.
    built : tuple of int
        Its pages and PDFs.
    settings : tuple
        As `built.settings_of` returns them.
    folders : iterable of str
        The folders of inputs.
    inputs, site : mapping
        The state of each input and of each file of the site, by its name.
    """
    head = " ".join((*map(str, built), *folders))
    lines = [head, repr(settings), *_lines(inputs), *_lines(site)]
    write_whole(out / _NOTE, os.fsencode("\n".join(lines)))


def _lines(states: Mapping[str, object]) -> Iterator[str]:
    """Yield a line for each file."""
    return (f"{name} {state}" for name, state in states.items())
