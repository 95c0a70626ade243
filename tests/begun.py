"""Sites of small mills begin as a copy of one built before, so that a build makes only what differs.

Of the 300 values of a small mill most are the same in all: the guide, the pages of checks, the
reference. A build finds them in the store as it does after an edit. That it writes what a build
from nothing writes is tested in ``FROM_NOTHING``; in a whole run every build begins with nothing.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from tests.copied import copied_site

from kilnfolio.pipeline import build

#: Tests whose builds begin with nothing: they compare, count, interrupt and damage them.
FROM_NOTHING = (
    "tests/test_",
    "tests/adopt/test_full_disk",
    "tests/adopt/test_interrupted",
    "tests/archive/test_outlives",
    "tests/pipeline",
    "tests/site/test_pages.py::test_the_same_records_give_the_same_pages",
)


def begin_sites(patched: pytest.MonkeyPatch, like: Callable[[Path, str], Path | None]) -> None:
    """Begin each site in a copy of another.

    Parameters
    ----------
    patched : pytest.MonkeyPatch
        Undoes it.
    like : callable
        Takes a mill's folder and the only edition, and returns the site to copy, or None for a
        build from nothing.
    """
    built = build._Site.bring_up_to_date

    def bring_up_to_date(site: Any, *postponed: Any) -> build.Report:
        options = site._options
        out = options.out
        earlier = None if any(out.iterdir()) else like(options.root, options.edition)
        if earlier is None:
            return built(site, *postponed)
        copied_site(earlier, out)
        try:
            return built(site, *postponed)
        except BaseException:  # a build that fails leaves no site where none was
            site.close()
            for edition in out.iterdir():
                shutil.rmtree(edition)
            raise

    patched.setattr(build._Site, "bring_up_to_date", bring_up_to_date)
