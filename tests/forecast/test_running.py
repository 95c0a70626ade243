"""Forecasts of the demonstration's running charges (invented) against what the simulation did next.

The simulation ran on to their end; the records stop before it, and nothing that the program reads
contains the rest (`tests/data/demo-truth.yaml`, written by ``python -m demo``).
"""

import datetime as dt

import pytest
import yaml
from tests.conftest import PROJECT

from kilnfolio.forecast.mill import open_forecast
from kilnfolio.forecast.open_what_if import open_what_if_of
from kilnfolio.records.folder import open_mill

TRUTH = yaml.load((PROJECT / "tests/data/demo-truth.yaml").read_text("utf-8"), yaml.CSafeLoader)[
    "running"
]
ROUND = dt.timedelta(hours=24)


@pytest.fixture(scope="module")
def mill():
    return open_mill(PROJECT)


def local(moment, mill):
    return dt.datetime.fromisoformat(str(moment)).replace(tzinfo=mill.mill.record.zone)


def test_every_running_charge_has_an_entry_in_the_truth_file(mill):
    assert set(TRUTH) == set(mill.open_charges)
    assert len(TRUTH) >= 2


@pytest.mark.parametrize("number", TRUTH)
def test_what_happened_next_is_inside_the_95_percent_band(mill, number):
    """The end, and each step: its MC was reached within the day before the weighing at which it was
    set."""
    found = open_forecast(mill.graph, number)
    ended = local(TRUTH[number]["ended"], mill)
    assert found.as_of < ended
    assert found.unload.low95 <= ended <= found.unload.high95
    steps = [one for one in found.steps if one.due is not None]
    assert steps
    for one in steps:
        taken = local(TRUTH[number]["steps"][one.step], mill)
        assert one.due.low95 <= taken
        assert taken - ROUND <= one.due.high95


def test_a_north_american_mill_gets_what_if_in_round_fahrenheit(mill):
    words = [one.effect.what for one in open_what_if_of(mill, "HB-26-042").effects]
    assert "No step hotter than 150 °F (66 °C)" in words
    assert not any("65 °C" in one for one in words)
