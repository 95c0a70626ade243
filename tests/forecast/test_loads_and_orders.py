"""Loads before they go in, what they cost, and orders against their due days."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from tests.forecast.check_charges import group, plan

from kilnfolio.forecast.energy import ENOUGH, Amount, energy_for
from kilnfolio.forecast.green_load import (
    AIR_DRIED_PCT,
    Days,
    Load,
    basis_for,
    forecast_load,
    forecast_loads,
    typical_start,
)
from kilnfolio.forecast.inputs import PlannedStep
from kilnfolio.forecast.plan import TURNAROUND, UnplannedOrder, later, place_orders, standing
from kilnfolio.forecast.result import Due

NOON = dt.datetime(2026, 10, 15, 12, tzinfo=dt.UTC)


def at(day, apart=0.0):
    """A time so many days ahead, its 80 % band so many days to either side."""
    middle = NOON + dt.timedelta(days=day)
    half = dt.timedelta(days=apart)
    return Due(middle - 2 * half, middle - half, middle, middle + half, middle + 2 * half)


def days(likely, apart=0.0):
    return Days(likely - 2 * apart, likely - apart, likely, likely + apart, likely + 2 * apart)


def forecast_after(load, earlier):
    """The forecast of a load by what these charges teach."""
    return forecast_load(load, basis_for(load.wood, load.thickness_mm, earlier))


def test_the_bands_cover_unseen_charges():
    """Each test charge against the forecast made before it started."""
    in80, in95 = [], []
    for wood, model in (("oak", "A"), ("maple", "B"), ("oak", "C")):
        earlier = [one.run for one in group(wood, model, "earlier")][:8]
        found = forecast_after(Load(wood, 27.0, plan(wood)), earlier)
        assert found.origin == "own"
        assert set(found.learnt_from) == {run.charge for run in earlier}
        for one in group(wood, model, "test"):
            end = one.end / 24.0
            in80.append(found.days.low80 <= end <= found.days.high80)
            in95.append(found.days.low95 <= end <= found.days.high95)
    assert 0.6 <= np.mean(in80) <= 0.97  # 30 charges: a cover of 80 % is known to about 15 points
    assert np.mean(in95) >= 0.85


def test_a_wetter_or_thicker_load_takes_longer():
    earlier = [one.run for one in group("maple", "A", "earlier")[:2]]
    usual = Load("maple", 27.0, plan("maple"))
    first = forecast_after(usual, earlier)
    assert first.origin == "relative"
    assert first.days.low95 < first.days.low80 < first.days.median
    assert first.days.median < first.days.high80 < first.days.high95
    thick = forecast_after(replace(usual, thickness_mm=52.0), earlier)
    assert thick.days.median > 1.5 * first.days.median
    dry = forecast_after(replace(usual, start="air-dried"), earlier)
    assert dry.start_pct == AIR_DRIED_PCT
    assert dry.days.median < first.days.median
    assert np.all(typical_start(earlier, "air-dried") == AIR_DRIED_PCT)


def test_a_timed_schedule_takes_its_hours():
    steps = tuple(PlannedStep(60.0, 8.0, hours=hours) for hours in (24.0, 36.0))
    found = forecast_after(Load("oak", 27.0, steps), [])
    assert found.origin == "clock"
    assert found.days == Days(2.5, 2.5, 2.5, 2.5, 2.5)


def test_loads_forecast_together_are_as_each_by_itself():
    earlier = [one.run for one in group("maple", "A", "earlier")[:4]]
    usual = Load("maple", 27.0, plan("maple"))
    clock = replace(usual, steps=(PlannedStep(60.0, 8.0, hours=48.0),))
    damp = replace(usual, steps=(PlannedStep(43.0, 14.0, 8.0),))  # never at its target
    loads = [
        (load, basis_for(load.wood, load.thickness_mm, known))
        for load, known in (
            (usual, earlier),
            (clock, earlier),
            (damp, earlier),
            (replace(usual, thickness_mm=52.0), earlier),
            (replace(usual, start="air-dried"), []),
        )
    ]
    together = forecast_loads(loads)
    assert together == [forecast_load(load, basis) for load, basis in loads]
    assert [one is None for one in together] == [False, False, True, False, False]


def test_energy_is_estimated_from_days_and_kiln():
    """Equal charges: kWh = days times the daily use, and the band is that of the days alone."""
    found = energy_for(Days(8, 9, 10, 12, 14), [500.0] * 4)
    assert found.low80 == pytest.approx(4500.0)
    assert found.median == pytest.approx(5000.0)
    assert found.high80 == pytest.approx(6000.0)
    assert found.times(0.1) == Amount(*(0.1 * getattr(found, n) for n in vars(found)))
    wider = energy_for(Days(8, 9, 10, 12, 14), [300.0, 500.0, 800.0])
    assert wider.high80 / wider.low80 > found.high80 / found.low80
    assert energy_for(days(10), [500.0] * (ENOUGH - 1)) is None


def test_an_order_goes_into_the_kiln_that_dries_it_first():
    free = {"k1": at(5), "k2": at(1)}
    order = UnplannedOrder(
        "A", dt.date(2026, 11, 20), ("oak",), 10.0, {"k1": days(10), "k2": days(20)}
    )
    (bar,) = place_orders([order], free, {"k1": 40.0, "k2": 40.0})
    assert (bar.kiln, bar.orders, bar.started) == ("k1", ("A",), at(5).median)
    assert bar.done.median == at(15).median


def test_orders_of_the_same_stock_share_a_charge_while_they_fit():
    free = {"k1": at(0)}
    orders = [
        UnplannedOrder("A", dt.date(2026, 11, 1), ("oak", 25.0), 25.0, {"k1": days(10, 1)}),
        UnplannedOrder("B", dt.date(2026, 11, 2), ("oak", 25.0), 10.0, {"k1": days(10, 1)}),
        UnplannedOrder("C", dt.date(2026, 11, 3), ("oak", 25.0), 10.0, {"k1": days(10, 1)}),
    ]
    first, second = place_orders(orders, free, {"k1": 40.0})
    assert first.orders == ("A", "B")
    assert second.orders == ("C",)
    assert second.started == first.done.median + TURNAROUND
    # the second waits for the first, then dries: its band is wider
    assert second.done.high80 - second.done.median > first.done.high80 - first.done.median


def test_an_order_that_no_kiln_can_dry_is_in_none():
    assert (
        place_orders([UnplannedOrder("A", dt.date(2026, 11, 1), (), None, {})], {"k1": at(0)}, {})
        == []
    )


def test_the_band_decides_whether_an_order_is_in_time():
    done = at(10, 2.0)  # likely 25 October, 80 % from the 23rd to the 27th
    said = {day: standing(done, dt.date(2026, 10, day)) for day in (22, 24, 26, 27)}
    assert said == {22: "late", 24: "likely late", 26: "likely in time", 27: "in time"}
    assert standing(later(done, dt.timedelta(days=5)), dt.date(2026, 10, 26)) == "late"
