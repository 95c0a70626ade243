"""Days on record: the same as counted from the records' own times; the newest quarter waits."""

from __future__ import annotations

import datetime as dt
from statistics import median

import yaml
from tests.conftest import PROJECT
from tests.reviewed import demo_mill

from kilnfolio.forecast.recorded import all_recorded_days


def _own_count():
    """Return the days of the charges begun before the newest quarter, read from the files."""
    found = {}
    for path in sorted(PROJECT.glob("content/charges/*/*/charge.yaml")):
        record = yaml.load(path.read_text("utf-8"), yaml.CSafeLoader)
        if str(record.get("ended", "…")) == "…":  # still running
            continue
        began, ended = (
            moment if isinstance(moment, dt.datetime) else dt.datetime.fromisoformat(str(moment))
            for moment in (record["started"], record["ended"])
        )
        found[record["id"]] = (began, (ended - began).total_seconds() / 86_400, record["stock"][0])
    newest = max((began.year, (began.month - 1) // 3) for began, _, _ in found.values())
    counted = {}
    for began, days, stock in found.values():
        if (began.year, (began.month - 1) // 3) < newest:
            key = stock["species"], str(stock["thickness"]), stock["start"]
            counted.setdefault(key, []).append(days)
    return counted


def test_days_are_those_of_the_records_by_timber_and_thickness():
    counted = _own_count()
    assert len(counted) > 10
    rows = all_recorded_days(demo_mill().graph)
    assert {(one.species, one.thickness.entered, one.start) for one in rows} == set(counted)
    for one in rows:
        own = sorted(counted[one.species, one.thickness.entered, one.start])
        # clocks go forward and back once a year, so local times may differ by an hour
        assert all(abs(a - b) < 0.05 for a, b in zip(one.own_days, own, strict=True)), one
        assert abs(one.median - median(own)) < 0.05


def test_air_dried_timber_is_forecast_as_such():
    """8/4 oak goes in air-dried, though its schedule is written for green timber."""
    (one,) = [one for one in all_recorded_days(demo_mill().graph) if one.start == "air-dried"]
    assert (one.species, one.thickness.entered) == ("quercus-rubra", "8/4")
    assert one.forecast.low80 < one.own_days[0] < one.forecast.high80


def test_the_formula_is_slower_for_thicker_oak_and_none_for_a_timed_schedule():
    rows = {
        (one.species, one.thickness.entered): one for one in all_recorded_days(demo_mill().graph)
    }
    assert rows["quercus-rubra", "4/4"].formula < rows["quercus-rubra", "5/4"].formula
    assert rows["picea-mariana", "8/4"].formula is None
