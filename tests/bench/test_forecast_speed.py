"""A forecast against its goal of two seconds, and against the number of charges on record.

The goal is the design's: one charge from ten earlier ones, learning included, under 2 s of the
processor. The charges are the invented check charges of tests/data/drying.
"""

from dataclasses import replace

from tests.bench.harness import Growth, Result, child, processor, timed
from tests.bench.mills import charge_ids, make_mill
from tests.forecast.check_charges import group

from kilnfolio.forecast.charge import forecast, learn_for

GOAL_S = 2.0
SIZES = (100, 1000)

#: Reads every charge, as a build does first; then forecasts the open ones, and says what that took.
FORECAST = """
import sys, time
from pathlib import Path
from kilnfolio.forecast.mill import open_forecasts
from kilnfolio.records.folder import open_mill
folder = open_mill(Path(sys.argv[1]))
read = [folder.charges[number] for number in folder.charges]
begun = time.process_time()
found = open_forecasts(folder)
assert [number for number in found if found[number] is not None] == [sys.argv[2]]
Path(sys.argv[3]).write_text(str(time.process_time() - begun))
"""


def test_one_charge_from_ten_earlier_ones(book):
    earlier = [one.run for one in group("oak", "B", "earlier")[:10]]
    [one, *_] = [one.run for one in group("oak", "B", "test")]
    assert len(earlier) == 10
    seconds = []
    for turn in range(4):  # other numbers each time, so that no result is cached
        runs = [replace(run, charge=f"{run.charge}-{turn}") for run in earlier]
        seconds.append(
            timed(
                lambda runs=runs: forecast(one, learn_for("oak", 27.0, runs), 336.0).end, processor
            )
        )
    took = sorted(seconds[1:])[1]
    book.tell(
        Result("a forecast from ten earlier charges", "the goal", GOAL_S, took, took / GOAL_S, 1.0)
    )


def test_more_charges_on_record(book, tmp_path):
    seconds, peaks = [], []
    for size in SIZES:
        mill = make_mill(tmp_path / str(size), size, lots_each=1)
        newest = charge_ids(size)[-1]
        path = next(mill.glob(f"content/charges/*/{newest}/charge.yaml"))
        kept = [
            line
            for line in path.read_text("utf-8").splitlines(keepends=True)
            if not line.startswith(("ended:", "unloaded:"))
        ]
        path.write_text("".join(kept), "utf-8")
        _, peak = child("-c", FORECAST, mill, newest, tmp_path / "seconds")
        seconds.append(float((tmp_path / "seconds").read_text()))
        peaks.append(peak)
    book.tell(Growth("the open charge of a mill forecast", list(SIZES), seconds, peaks))
