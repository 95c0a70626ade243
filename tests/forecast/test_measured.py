"""The figures that pages print are as good as the design demands, and are those the command
computes.

The limits are those of the model's design, from a trial on charges of the same three models.
``KILNFOLIO_FORECAST=whole`` measures again, in about two minutes, and compares with the file.
"""

import os

import pytest
import yaml
from tests.forecast import measure

from kilnfolio.forecast.evaluation import SHARES
from kilnfolio.forecast.measured import measured

WHOLE = os.environ.get("KILNFOLIO_FORECAST") == "whole"


def test_false_alarms_are_as_rare_as_required():
    found = measured().warnings
    assert found.weighings >= 10_000
    assert found.weighings_named / found.weighings <= 0.0012
    assert found.charges_named / found.charges <= 0.11
    assert found.others_weighings_named / found.others_weighings <= 0.0012
    assert found.others_named / found.others <= 0.11


@pytest.mark.parametrize(
    ("words", "least"),
    [
        ("wrong by 2", 34),
        ("wrong by 4", 61),
        ("wrong by 8", 85),
        ("less than 4 points apart", 29),
        ("4 to 10 points apart", 87),  # 88 in the trial: 54.6 of the 62 planted here
        ("more than 10 points apart", 96),  # all in the trial; one of the 31 planted here is missed
        ("1.3 times", 8),
        ("1.6 times", 38),
    ],
)
def test_planted_faults_are_found_as_often_as_required(words, least):
    (fault,) = [one for one in measured().warnings.faults if words in one.words]
    assert fault.found <= fault.planted
    assert fault.share_pct >= least


def test_enough_of_each_fault_was_planted():
    by_gap = [one.planted for one in measured().warnings.faults if "swapped" in one.words]
    others = [one.planted for one in measured().warnings.faults if "swapped" not in one.words]
    assert sum(by_gap) >= 200
    assert min(others) >= 200


def test_the_error_of_the_end_is_within_the_requirement():
    """Median error and cover of both bands from 25, 50 and 75 % of the time."""
    rows = measured().forecasts
    assert tuple(row.share for row in rows) == SHARES
    for row, error, low, high in zip(
        rows, (7.0, 6.5, 5.5), (75, 72, 70), (95, 90, 90), strict=True
    ):
        assert row.median_error <= error
        assert row.median_error < row.line
        assert row.median_error < row.exponential
        assert low <= 100 * row.in80 / row.charges <= high
        assert 100 * row.in95 / row.charges >= 93
    loads = measured().loads
    assert 0.7 <= loads.in80 / loads.charges <= 0.92
    assert loads.in95 / loads.charges >= 0.9


@pytest.mark.skipif(not WHOLE, reason="KILNFOLIO_FORECAST=whole measures again")
def test_the_file_contains_what_its_command_measures():
    assert yaml.load(measure.OUT.read_text("utf-8"), yaml.CSafeLoader) == measure.measured()
