"""Reviewing a charge costs little more than parsing its CSV.

A charge of 4,000 rows and 12 channels. Run it alone: sh builder/run test tests/bench -s

The floor of the whole is `pandas.read_csv` without arguments and one write of the dossier's bytes.
*Parsing* is what anybody must do who wants the numbers: pandas reads the file into columns, its
times by their format, and puts them from the mill's clock on UTC. No unit is looked at, no row
accounted for, nothing refused. *Reading* is `read_log`, which does all that.
*Review* is everything the checks look at and all the checks, on the log as read. *The dossier* is
the review with everything written down: workings, rounded series, summaries; the digests of the
files are not in it. Factors that are kept from one survey to the next are forgotten before each.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tests.bench.harness import Book
from tests.review.inline import STARTED, ZONE, clean_channels, make_folder

from kilnfolio.archive.canonical import canonical
from kilnfolio.physics import survey
from kilnfolio.records.log import Log, read_log
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.review.air import SWITCHES
from kilnfolio.review.review import build_case, dossier_of
from kilnfolio.review.running import run_checks

ROWS, MINUTES = 4000, 3.75
FORMAT = "%Y-%m-%d %H:%M:%S"


def quickest(*works: Callable[[], object], rounds: int = 12, times: int = 8) -> list[float]:
    """Return the least processor time of each [s], run alternately under the same conditions."""
    found: list[list[float]] = [[] for _ in works]
    for _ in range(rounds):
        for work, seconds in zip(works, found, strict=True):
            for _ in range(times):
                begun = time.process_time()
                work()
                seconds.append(time.process_time() - begun)
    return [min(seconds) for seconds in found]


def parse(path: Path) -> pd.DataFrame:
    """Return the file as pandas reads it, its times on UTC."""
    table = pd.read_csv(path, parse_dates=["time"], date_format=FORMAT)
    table["time"] = table["time"].dt.tz_localize(ZONE, ambiguous="infer").dt.tz_convert("UTC")
    return table


def most_memory(work: Callable[[], object]) -> float:
    """Return the peak memory that Python held during a call [MB]."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def unit_of(channel: str) -> str:
    if channel in SWITCHES:
        return "on/off"
    return "%" if channel == "relative-humidity" else "°C"


def write_export(path: Path) -> LoggerProfile:
    """Write a noisy export of twelve channels, and return the profile that reads it."""
    hours, clean = clean_channels()
    chance = np.random.default_rng(1)
    when = np.linspace(0, hours[-1], ROWS)
    channels = {name: np.interp(when, hours, values) for name, values in clean.items()}
    channels |= {f"core-{n}": channels["core-1"] - 0.1 * n for n in (3, 4)}
    table = {
        name: values.round()
        if name in SWITCHES
        else (values + chance.normal(0, 0.1, ROWS)).round(1)
        for name, values in channels.items()
    }
    start = STARTED.replace(tzinfo=None)
    stamps = pd.date_range(start, periods=ROWS, freq=f"{round(60 * MINUTES)}s")
    pd.DataFrame({"time": stamps, **table}).to_csv(path, index=False)
    return LoggerProfile.model_validate(
        {
            "format": 1,
            "id": "bench",
            "title": "bench",
            "delimiter": ",",
            "decimal": ".",
            "time": {"heading": "time", "format": FORMAT, "clock": "local"},
            "interval_minutes": MINUTES,
            "columns": [
                {"heading": name, "channel": name, "unit": unit_of(name)} for name in table
            ],
        }
    )


def test_review_of_a_long_charge(
    book: Book, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "kiln.csv"
    profile, folder = write_export(path), make_folder()
    log = read_log(path, "kiln.csv", profile, ZONE)
    assert (len(log.times), len(log.channels)) == (ROWS, 12)
    located = folder.charges["26-001"]

    def read() -> Log:
        return read_log(path, "kiln.csv", profile, ZONE)

    def review(read_already: Log = log) -> object:
        return run_checks(build_case(folder, located, read_already))

    # the charge is only in memory, so there is no file to digest
    monkeypatch.setattr("kilnfolio.review.review._inputs", lambda *_: ())

    def dossier() -> object:
        survey._one_two_sided_factor.cache_clear()
        return dossier_of(folder, build_case(folder, located, log))

    def whole() -> None:
        survey._one_two_sided_factor.cache_clear()
        made = dossier_of(folder, build_case(folder, located, read()))
        (tmp_path / "dossier").write_bytes(canonical(made.model_dump(mode="json")))

    def floor() -> None:
        pd.read_csv(path)
        (tmp_path / "floor").write_bytes(raw)

    whole()
    raw = (tmp_path / "dossier").read_bytes()
    book.against(
        "one charge, read, reviewed and its dossier written",
        lambda: [whole() for _ in range(8)],
        "bare read_csv, and write",
        lambda: [floor() for _ in range(8)],
        2.0,
    )
    parsing, reading, reviewing, both, written = quickest(
        lambda: parse(path), read, review, lambda: review(read()), dossier
    )
    sys.stdout.write(
        f"\nparsing {parsing * 1000:.1f} ms, {most_memory(lambda: parse(path)):.1f} MB at most; "
        f"reading {reading * 1000:.1f} ms ({reading / parsing:.2f} of parsing), "
        f"{most_memory(read):.1f} MB; review {reviewing * 1000:.1f} ms "
        f"({reviewing / parsing:.2f} of parsing), {most_memory(review):.1f} MB; "
        f"reading and review {both * 1000:.1f} ms ({both / parsing:.2f} of parsing); "
        f"the dossier {written * 1000:.1f} ms ({written / parsing:.2f} of parsing)\n"
    )
