"""Fixtures shared by all tests."""

import fcntl
import functools
import gc
import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings
from tests.begun import FROM_NOTHING, begin_sites

from kilnfolio.runtime.garbage import collect_rarely

if TYPE_CHECKING:
    from jinja2 import Environment
    from playwright.sync_api import Browser

    from kilnfolio.graph.graph import Graph
    from kilnfolio.handbook.chapter import ChapterFile
    from kilnfolio.handbook.rendered import Contents

# Modules are compiled once, not by each of the hundreds of processes that tests start.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# As in a command (kilnfolio.cli.run): scanning all tests and libraries for garbage again and again took
# up to a third of a test's time, pydantic reads no entry points of everything installed, and threads
# of linear algebra would only wait for each other.
collect_rarely()
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

PROJECT = Path(__file__).resolve().parent.parent

PROCESSORS = os.cpu_count() or 1

#: Long trials at their full length: every page of a kind, ten thousand random inputs.
WHOLE = os.environ.get("KILNFOLIO_WHOLE") == "1"


def examples(most: int) -> int:
    """Return how many random examples of a law are tried: a third of the most, all in a whole run."""
    return most if WHOLE else -(-most // 3)


# The same examples every time: a failure seen once can be seen again.
settings.register_profile("repeatable", derandomize=True, deadline=None, max_examples=examples(150))
settings.load_profile("repeatable")


def some_of(paths: list[Path], most: int) -> list[Path]:
    """Return paths spread evenly over a list; all of them in a whole run."""
    return paths if WHOLE else paths[:: max(1, -(-len(paths) // most))]


# Commands that tests start as processes of their own run this tree, installed or not.
os.environ["PYTHONPATH"] = str(PROJECT / "builder")


#: The files that take longest begin first, so that the processes that share a run end together. One
#: builds the demonstration; what needs none comes next.
LONGEST = (
    "tests/test_site.py",
    "tests/trust",
    "tests/pipeline",
    "tests/docs",
    "tests/browser",
    "tests/paper/test_book.py",
)
#: The guard against a cluster's pickles listens to its process ever after, which costs later tests
#: a fiftieth; the files after it get shorter, so that the processes end together.
LAST = (
    "tests/test_cluster.py",
    "tests/trends",
    "tests/training",
    "tests/cli",
    "tests/graph",
    "tests/charts",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest files first, and some last."""
    order = {item.path: _turn(item.path.relative_to(PROJECT).as_posix()) for item in items}
    items.sort(key=lambda item: order[item.path])


def _turn(place: str) -> int:
    """Return when a file has its turn: with those of the same number, in alphabetical order."""
    turns = {head: turn for turn, head in enumerate(LONGEST)}
    turns |= {head: len(LONGEST) + turn for turn, head in enumerate(LAST, 1)}
    return next((turn for head, turn in turns.items() if place.startswith(head)), len(LONGEST))


def pytest_collection_finish() -> None:
    """Leave the collected tests and imported libraries out of later collections of garbage."""
    if mixture := sys.modules.get("kilnfolio.physics.mixture"):
        mixture._fitted = _once_for_the_same(mixture._fitted)
    gc.collect()
    gc.freeze()


def _once_for_the_same(fit: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """Fit the same readings once: most tests leave the survey as it is, and all checks run."""
    fitted: dict[bytes, Any] = {}

    def known(readings: Any) -> Any:
        key = readings.tobytes()
        if key not in fitted:
            fitted[key] = fit(readings)
        return fitted[key]

    return known


#: What a default run prints; a whole run prints all. Of charges and lots, the fullest, those amended,
#: and the largest or one not sealed; of the handbook, chapters that hold one of everything.
PRINTED_CHARGES = ("HB-25-041", "HB-26-034", "HB-26-011")
PRINTED_LOTS = ("HBL-25-101", "HBL-26-014", "HBL-26-017")
PRINTED_CHAPTERS = (1, 2, 4, 6, 7, 10, 14)


def is_printed(chapter: "ChapterFile") -> bool:
    """Return whether a chapter stands in the demonstration's printed handbook."""
    return WHOLE or chapter.record.number in (*PRINTED_CHAPTERS, None)


def build_demo(out: Path) -> None:
    """Build the demonstration; where little is printed, no page leads to a PDF that is not there."""
    from kilnfolio.paper import book
    from kilnfolio.pipeline.build import build_site
    from kilnfolio.pipeline.pdfs import pdf

    every, whole_book = pdf.keys, book.book_html

    def some(graph: "Graph") -> list[str]:
        printed = (*PRINTED_CHARGES, *PRINTED_LOTS)
        return [key for key in every(graph) if ":" not in key or key.split(":")[1] in printed]

    def short_book(contents: "Contents", env: "Environment") -> str:
        kept = tuple(filter(is_printed, contents.manuscript.chapters))
        setting = replace(contents.setting, manuscript=replace(contents.manuscript, chapters=kept))
        bodies = {chapter.slug: contents.bodies[chapter.slug] for chapter in kept}
        return whole_book(replace(contents, setting=setting, bodies=bodies), env)

    if not WHOLE:
        object.__setattr__(pdf, "keys", some)
        book.book_html = short_book
    try:
        build_site(PROJECT, out, workers=PROCESSORS if WHOLE else 1)
    finally:
        object.__setattr__(pdf, "keys", every)
        book.book_html = whole_book


#: Whether the builds of the test now running begin with nothing.
_from_nothing = [True]


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Note how the test's builds begin."""
    _from_nothing[:] = [WHOLE or item.nodeid.startswith(FROM_NOTHING)]


@pytest.fixture(scope="session", autouse=True)
def _one_process_each() -> Iterator[None]:
    """Build in this process where a test names no number of workers: the run shares the machine.

    In a whole run the demonstration is built by as many as there are processors.
    """
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("os.cpu_count", lambda: 1)
        yield


@pytest.fixture(scope="session", autouse=True)
def _code_is_read_once() -> Iterator[None]:
    """Read the program's own files once, not in every build: none changes during a run."""
    from kilnfolio.pipeline import build, built

    stamps = functools.cache(build.code_stamps)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(build, "code_digests", functools.cache(build.code_digests))
        patched.setattr(build, "code_stamps", stamps)
        patched.setattr(built, "code_stamps", stamps)
        yield


def _site_like(root: Path, edition: str) -> Path | None:
    """Return a site that differs little from the one to be built of a mill."""
    from tests.site.site import shared_mill

    made = {_home[0] / name for name in ("small-mill", "mill-with-library", "amended")}
    if _from_nothing[0] or edition or root == PROJECT or root in made:
        return None
    chapters = list((root / "content/handbook").glob("*.md"))
    return shared_mill(library=len(chapters) > 9).site


@pytest.fixture(scope="session", autouse=True)
def _sites_begun(_shared_home: None) -> Iterator[None]:
    """Build small mills from what is the same in all, where no test looks at the build itself."""
    with pytest.MonkeyPatch.context() as patched:
        begin_sites(patched, _site_like)
        yield


#: The folder of what the processes sharing this run make once between them.
_home: list[Path] = []


@pytest.fixture(scope="session", autouse=True)
def _shared_home(tmp_path_factory: pytest.TempPathFactory) -> None:
    home = tmp_path_factory.getbasetemp()
    _home[:] = [home.parent if "PYTEST_XDIST_WORKER" in os.environ else home]


def made_once(name: str, make: Callable[[Path], object]) -> Path:
    """Return a folder that the processes sharing this run make once between them."""
    (home,) = _home
    folder, done = home / name, home / f"{name}.done"
    with (home / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not done.exists():
            make(folder)
            done.touch()
    return folder


@pytest.fixture(scope="session", autouse=True)
def _few_books() -> Iterator[None]:
    """Print no booklets of problems for the small mills: two take as long as all else of such a mill.

    The demonstration's are printed, and read by the tests of them.
    """
    from kilnfolio.pipeline.pdfs import BOOKS, pdf

    every = pdf.keys

    def few(graph: "Graph") -> list[str]:
        left_out = () if WHOLE or graph.folder == PROJECT else BOOKS[1:]
        return [key for key in every(graph) if key not in left_out]

    object.__setattr__(pdf, "keys", few)
    yield
    object.__setattr__(pdf, "keys", every)


@pytest.fixture(scope="session")
def demo_site() -> Path:
    """Return the folder of the demo mill's site, built once for the whole run.

    While writing pages, KILNFOLIO_DEMO_SITE may name a site already built, to save the time.
    """
    if built := os.environ.get("KILNFOLIO_DEMO_SITE"):
        return Path(built)
    return made_once("demo", build_demo)


@pytest.fixture(scope="session")
def amended_site() -> Path:
    """Return the small mill with an amended charge and lot, and its site with PDFs in site/.

    The whole run shares it: a test that changes anything takes a copy.
    """
    from tests.archive.sealing import write_key
    from tests.trust.sealing import amended_mill

    from kilnfolio.pipeline.build import build_site

    def make(root: Path) -> None:
        root.mkdir()
        amended_mill(root)
        write_key(root)
        build_site(root, root / "site", workers=1)

    return made_once("amended", make)


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
