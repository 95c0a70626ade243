"""Building mills of growing size: cold, with nothing changed, and with one weighing changed.

KILNFOLIO_BENCH_CHARGES names the sizes, "10,100" where it is absent; "10,1000,10000" takes hours on
two processors. Builds are without PDFs, which have benchmarks of their own.
"""

import hashlib
import os
import re

import pytest
from tests.bench.harness import Growth, child, timed
from tests.bench.mills import charge_file, charge_ids, make_mill

from kilnfolio.pipeline.built import EDITIONS

SIZES = [int(size) for size in os.environ.get("KILNFOLIO_BENCH_CHARGES", "10,100").split(",")]
TURNS = 5
#: With the settings of a command, so that both sides import alike.
IMPORTS = """
import os
os.environ.update(OPENBLAS_NUM_THREADS="1", PYDANTIC_DISABLE_PLUGINS="__all__")
import kilnfolio.pipeline.build, kilnfolio.pipeline.plan
"""


def build(root):
    return child("-m", "kilnfolio", "build", root, "--without-pdf", "--workers", 1)


def stat_and_hash(root):
    """Stat every input and every file of the site, and read one: no build can notice more by less."""
    for part in ("content", "schedules", *(f"site/{edition}" for edition in EDITIONS)):
        for folder, _, names in os.walk(root / part):
            for name in names:
                os.stat(os.path.join(folder, name))  # noqa: PTH116, PTH118  (the floor)
    hashlib.sha256((root / "content/mill.yaml").read_bytes()).digest()


def change_a_weighing(path, grams):
    """Move one mass of the third weighing."""
    head, found, rest = path.read_text("utf-8").partition("weighings:\n")
    lines = rest.split("\n")
    lines[2] = re.sub(r"S1: (\d+) g", lambda mass: f"S1: {int(mass[1]) + grams} g", lines[2])
    path.write_text(head + found + "\n".join(lines), "utf-8")


@pytest.fixture(scope="module")
def mills(tmp_path_factory):
    return {
        size: make_mill(tmp_path_factory.mktemp("mills") / str(size), charges=size)
        for size in SIZES
    }


def test_growth(book, mills):
    """Print cold, unchanged and edited builds at each size, against their floors."""
    cold = [build(root) for root in mills.values()]
    book.tell(Growth("cold build, charges", SIZES, *map(list, zip(*cold, strict=True))))
    unchanged, edited = [], []
    for size, root in mills.items():
        turns = [(timed(lambda root=root: stat_and_hash(root)), build(root)) for _ in range(TURNS)]
        name = f"nothing changed, {size:,} charges"
        unchanged.append(
            book.programs(name, turns, "stat of every input and file of the site", 2.0)
        )
        path, turns = charge_file(root, charge_ids(size)[size // 2]), []
        for turn in range(TURNS):
            change_a_weighing(path, 1 - 2 * (turn % 2))
            turns.append((child("-c", IMPORTS)[0], build(root)))
        name = f"one weighing changed, {size:,} charges"
        edited.append(book.programs(name, turns, "interpreter and imports", 1.5))
    for name, found in (("nothing changed", unchanged), ("one weighing changed", edited)):
        seconds, peaks = [one.path_s for one in found], [one.peak_mb for one in found]
        book.tell(Growth(f"{name}, charges", SIZES, seconds, peaks))
