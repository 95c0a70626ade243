"""Reviewing a charge costs no more than a quarter over reading its log.

A charge of 4,000 rows and 12 channels. Run it alone: sh builder/run test tests/bench -s

Reading is done by `read_log`: times, units, missing values and every row accounted for. What bare
pandas takes to split the same file into columns is timed beside it and printed, the floor no reader
goes below; the review stands at about four times that floor, and is not held to it.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
from tests.review.inline import STARTED, ZONE, clean_channels, make_folder

from kilnfolio.records.log import read_log
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.review.air import SWITCHES
from kilnfolio.review.findings import run_checks
from kilnfolio.review.review import build_case

ROWS, MINUTES = 4000, 3.75


def quickest(*works: Callable[[], object], times: int = 40) -> list[float]:
    """Return the least processor time of each [s], run in turn to meet the same weather."""
    found: list[list[float]] = [[] for _ in works]
    for _ in range(times):
        for work, seconds in zip(works, found, strict=True):
            begun = time.process_time()
            work()
            seconds.append(time.process_time() - begun)
    return [min(seconds) for seconds in found]


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
            "time": {"heading": "time", "format": "%Y-%m-%d %H:%M:%S", "clock": "local"},
            "interval_minutes": MINUTES,
            "columns": [
                {"heading": name, "channel": name, "unit": unit_of(name)} for name in table
            ],
        }
    )


def test_review_of_a_long_charge(tmp_path: Path) -> None:
    path = tmp_path / "kiln.csv"
    profile, folder = write_export(path), make_folder()
    log = read_log(path, "kiln.csv", profile, ZONE)
    assert (len(log.times), len(log.channels)) == (ROWS, 12)
    located = folder.charges["26-001"]
    bare, reading, reviewing = quickest(
        lambda: pd.read_csv(path),
        lambda: read_log(path, "kiln.csv", profile, ZONE),
        lambda: run_checks(build_case(folder, located, log)),
    )
    tracemalloc.start()
    run_checks(build_case(folder, located, log))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    sys.stdout.write(
        f"\nreview {reviewing * 1000:.1f} ms, {peak / 1e6:.1f} MB at most; read_log "
        f"{reading * 1000:.1f} ms (review {reviewing / reading:.2f} of it); bare pandas "
        f"{bare * 1000:.1f} ms (review {reviewing / bare:.2f} of it)\n"
    )
    assert reviewing <= 1.25 * reading, f"{reviewing * 1000:.1f} ms against {reading * 1000:.1f} ms"
