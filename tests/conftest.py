"""Fixtures shared by all tests."""

import fcntl
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser

    from kilnfolio.graph.graph import Graph
    from kilnfolio.records.folder import MillFolder

# The same examples every time: a failure seen once can be seen again.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")

PROJECT = Path(__file__).resolve().parent.parent

PROCESSORS = os.cpu_count() or 1

#: Long trials at their full length: every page of a kind, ten thousand random inputs.
WHOLE = os.environ.get("KILNFOLIO_WHOLE") == "1"


def some_of(paths: list[Path], most: int) -> list[Path]:
    """Return paths spread evenly over a list; all of them in a whole run."""
    return paths if WHOLE else paths[:: max(1, -(-len(paths) // most))]


# Commands that tests start as processes of their own run this tree, installed or not.
os.environ["PYTHONPATH"] = str(PROJECT / "builder")


#: The files that take longest begin first, so that the processes that share a run end together.
LONGEST = (
    "tests/test_site.py",
    "tests/test_cluster.py",
    "tests/browser",
    "tests/trust",
    "tests/pipeline",
    "tests/docs",
    "tests/paper/test_book.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest files first."""
    items.sort(key=lambda item: not item.path.relative_to(PROJECT).as_posix().startswith(LONGEST))


#: The charges and lots whose PDFs are printed in a default run: the fullest ones, those amended, and
#: the largest or one not sealed. A whole run prints all. The books are always printed.
PRINTED_CHARGES = ("HB-25-041", "HB-26-034", "HB-26-011")
PRINTED_LOTS = ("HBL-25-101", "HBL-26-014", "HBL-26-017")


def build_demo(out: Path) -> None:
    """Build the demonstration; where little is printed, no page leads to a PDF that is not there."""
    from kilnfolio.pipeline.build import build_site
    from kilnfolio.pipeline.pdfs import pdf

    every = pdf.keys

    def some(graph: "Graph") -> list[str]:
        printed = (*PRINTED_CHARGES, *PRINTED_LOTS)
        return [key for key in every(graph) if ":" not in key or key.split(":")[1] in printed]

    if not WHOLE:
        object.__setattr__(pdf, "keys", some)
    try:
        build_site(PROJECT, out, workers=PROCESSORS)
    finally:
        object.__setattr__(pdf, "keys", every)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup() -> None:
    """Work out the practice problems once in a process: hundreds of sums, a third of a small build.

    They are made again where the limits or the mill are others.
    """
    pages = sys.modules.get("kilnfolio.pipeline.pages")
    if pages is None or hasattr(pages.practice_numbers, "made"):
        return
    made: dict[str, str] = {}
    work_out = pages.practice_numbers

    def practice_numbers(folder: "MillFolder") -> str:
        key = repr((folder.limits.record, folder.mill.record))
        if key not in made:
            made[key] = work_out(folder)
        return made[key]

    practice_numbers.made = made
    pages.practice_numbers = practice_numbers


@pytest.fixture(scope="session", autouse=True)
def _one_process_each() -> Iterator[None]:
    """Build in this process where a test names no number of workers: the run shares the machine.

    The demonstration is built by as many as there are processors.
    """
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("os.cpu_count", lambda: 1)
        yield


@pytest.fixture(scope="session")
def demo_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of the demo mill's site, built once for the whole run.

    While writing pages, KILNFOLIO_DEMO_SITE may name a site already built, to save the time.
    """
    if built := os.environ.get("KILNFOLIO_DEMO_SITE"):
        return Path(built)
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent  # the processes that share this run share its site
    with (folder / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        out = folder / "demo"
        if not out.exists():
            build_demo(folder / "demo-begun")
            (folder / "demo-begun").rename(out)
    return out


# Debian's own Chromium is used, so no browser is downloaded: the build without windows, which takes
# half the processor time. It must not call home during a test.
CHROMIUM = "/usr/bin/chromium-headless-shell"
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser() -> "Iterator[Browser]":
    """Return one running Chromium for the whole run; the extra `browser` drives it."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()
