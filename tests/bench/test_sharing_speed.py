"""A cold build, whole, by one, two and four processes, and what four processors would take.

KILNFOLIO_BENCH_SHARED names the number of charges, 100 where it is absent. Time is that of the clock
on the wall, so nothing else may run; processor time says how much of the work was handed out. Where
there are two processors, four processes show what two more cost to set up; how long they would take
on four processors follows from that and from Amdahl's law.
"""

import json
import os
import statistics
import subprocess
import sys

from tests.bench.harness import Result
from tests.bench.mills import make_mill
from tests.conftest import PROCESSORS

CHARGES, TURNS = int(os.environ.get("KILNFOLIO_BENCH_SHARED", "100")), 3

#: A build as the command runs it; prints its time, and the processor time of its processes.
BUILD = """
import gc, json, resource, sys, time
from multiprocessing import forkserver
from pathlib import Path

began = time.perf_counter()
from kilnfolio.pipeline.build import build_site
from kilnfolio.runtime.garbage import collect_rarely

if __name__ == "__main__":
    collect_rarely()
    root, workers = Path(sys.argv[1]), int(sys.argv[2])
    build_site(root, Path(sys.argv[3]), workers=workers, pdfs=False)
    took = time.perf_counter() - began
    forkserver._forkserver._stop()  # waited for, it and its workers count among the children
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(json.dumps([took, time.process_time(), used.ru_utime + used.ru_stime]))
"""


def build(program, root, workers, out):
    """Return the elapsed time, the processor time here, and that of the workers [s]."""
    said = subprocess.run(
        [sys.executable, program, root, str(workers), out],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    return json.loads(said)


def serial_share(one, two):
    """Return the share of the work that no second process shortens, by Amdahl's law."""
    return 2 * two / one - 1


def test_a_cold_build_in_several_processes(book, tmp_path):
    root, program = make_mill(tmp_path / "mill", charges=CHARGES), tmp_path / "build.py"
    program.write_text(BUILD)
    turns = [
        # each into a folder of its own: files are made more slowly where thousands were just deleted
        {count: build(program, root, count, tmp_path / f"{turn}-{count}") for count in (1, 2, 4)}
        for turn in range(TURNS)
    ]
    one, two, four = (statistics.median(turn[count][0] for turn in turns) for count in (1, 2, 4))
    here, there = (statistics.median(turn[2][n] for turn in turns) for n in (1, 2))
    alone = statistics.median(turn[1][1] for turn in turns)
    share = serial_share(one, two)
    name, floor = f"cold build, {CHARGES:,} charges", "one process"
    book.tell(
        Result(f"{name}, two processes", floor, one, two, one / two, 1.8, more=True, turns=TURNS)
    )
    crowded = f"{name}, four processes on {PROCESSORS} processors"
    book.tell(Result(crowded, "two processes", two, four, four / two, 1.1, turns=TURNS))
    fitted = one * (share + (1 - share) / 4) + max(0.0, four - two)
    apart = f"{name}, four processes on four, by a serial share of {100 * share:.0f} %"
    book.tell(Result(apart, floor, one, fitted, one / fitted, 3.0, more=True, turns=TURNS))
    handed = f"{name}, processor time, {100 * there / (here + there):.0f} % of it of workers"
    book.tell(Result(handed, floor, alone, here + there, (here + there) / alone, 1.1, turns=TURNS))
