"""Building mills of growing size: cold, with nothing changed, and with one weighing changed.

KILNFOLIO_BENCH_CHARGES names the sizes, "10,100" where it is absent; "10,1000,10000" takes hours on
two processors. Builds are without PDFs, which have benchmarks of their own.
"""

import hashlib
import os
import re
import statistics

import pytest
from tests.bench.harness import Growth, Result, child, processor, timed
from tests.bench.mills import charge_file, charge_ids, make_mill

SIZES = [int(size) for size in os.environ.get("KILNFOLIO_BENCH_CHARGES", "10,100").split(",")]


def build(root):
    return child("-m", "kilnfolio", "build", root, "--without-pdf", "--workers", 1)


def stat_and_hash(root):
    """Stat every input and read the one that changed: no build can do less."""
    for folder, _, names in os.walk(root / "content"):
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
    imports = "import kilnfolio.pipeline.build, kilnfolio.pipeline.plan"
    for size, root in mills.items():
        again, floors = [build(root) for _ in range(3)], []
        floors = [timed(lambda root=root: stat_and_hash(root), processor) for _ in range(3)]
        unchanged.append(tuple(map(statistics.median, zip(*again, strict=True))))
        floor = statistics.median(floors)
        book.tell(
            Result(
                f"nothing changed, {size:,} charges",
                "stat of every input",
                floor,
                unchanged[-1][0],
                unchanged[-1][0] / floor,
                2.0,
                unchanged[-1][1],
            )
        )
        path = charge_file(root, charge_ids(size)[size // 2])
        turns = []
        for grams in (1, -1, 1):
            change_a_weighing(path, grams)
            turns.append((child("-c", imports)[0], *build(root)))
        edited.append((statistics.median(t for _, t, _ in turns), turns[-1][2]))
        book.tell(
            Result(
                f"one weighing changed, {size:,} charges",
                "interpreter and imports",
                statistics.median(low for low, _, _ in turns),
                edited[-1][0],
                statistics.median(high / low for low, high, _ in turns),
                1.5,
                edited[-1][1],
            )
        )
    book.tell(Growth("nothing changed, charges", SIZES, *map(list, zip(*unchanged, strict=True))))
    book.tell(Growth("one weighing changed, charges", SIZES, *map(list, zip(*edited, strict=True))))
