"""Yard and store with New York's weather of 2013, and known properties of both."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.conftest import PROJECT

from kilnfolio.forecast import store, yard
from kilnfolio.forecast.outdoors import monthly, of_table, steady
from kilnfolio.forecast.yard import YARD_FACE
from kilnfolio.handbook.facts import read_facts
from kilnfolio.physics.drying import Board, SingleBoard
from kilnfolio.records.weather import read_weather

WEATHER = Path(__file__).parent.parent / "data" / "drying" / "new-york-2013.csv"

#: A nominal inch, as sawn green: 1 1/8 in [mm]. Common practice, no source.
INCH = 28.6
#: D₀ [m²/s], and the published days to 20 % in the yard, 1 in, best to worst season (FPL Technical
#: Note 233, from memory; the test allows two hundredths more, for poplar and basswood).
WOODS = {
    "oak": (1.2e-10, 70, 200),
    "maple": (1.9e-10, 50, 200),
    "poplar": (5e-10, 40, 150),
    "basswood": (6e-10, 40, 150),
}


@pytest.fixture(scope="module")
def new_york():
    return of_table(read_weather(WEATHER.read_bytes()))


@pytest.mark.parametrize("wood", WOODS)
def test_days_in_the_yard_are_near_the_published_ones(new_york, wood):
    diffusivity, fast, slow = WOODS[wood]
    found = yard.estimate(Board(INCH, 80.0, diffusivity), new_york)
    assert fast <= found.best[1]
    assert found.worst[1] <= 1.02 * slow
    assert found.best[0] in ("April", "May", "June", "July")
    assert found.worst[0] in ("September", "October", "November", "December")


#: Outdoor EMC at New York by month, Wood Handbook table 13-1, means of 30 years: from memory.
NEW_YORK = (12.2, 11.9, 11.5, 11.0, 11.5, 11.8, 11.8, 12.4, 12.6, 12.3, 12.5, 12.3)


def test_emc_of_new_york_by_month(new_york, record_property):
    """The handbook's row is only reported: 2013 was one year, and the row is from memory.

    November 2013 is 1.8 points below it, every other month within 1.1.
    """
    emc = new_york.monthly_emc()
    record_property("EMC less handbook", np.round(emc - NEW_YORK, 1).tolist())
    assert emc.shape == (12,)
    assert np.all((emc > 10) & (emc < 14.5))


def test_the_handbook_year_is_that_of_the_hours(new_york):
    """The facts that ship are the means of these hours: each month's EMC, and the same season."""
    facts = read_facts(PROJECT, "weather-new-york")
    temps, emcs = zip(*(row.numbers("temp", "emc") for row in facts.rows), strict=True)
    assert np.allclose(emcs, new_york.monthly_emc(), atol=0.051)
    by_month = monthly(temps, emcs, "hours by month")
    oak = Board(27.0, 80.0, WOODS["oak"][0])
    whole, months = yard.estimate(oak, new_york), yard.estimate(oak, by_month)
    assert np.allclose(whole.days, months.days, rtol=0.12)


def test_thicker_boards_and_lower_targets_take_longer(new_york):
    usual = yard.estimate(Board(27.0, 80.0, 2e-10), new_york)
    assert np.all(yard.estimate(Board(52.0, 80.0, 2e-10), new_york).days > usual.days)
    assert np.all(yard.estimate(Board(27.0, 80.0, 2e-10), new_york, 17.0).days > usual.days)
    with pytest.raises(ValueError, match="target_pct"):
        yard.estimate(Board(27.0, 15.0, 2e-10), new_york)


def test_a_board_at_its_emc_does_not_change():
    steady = monthly([20.0] * 12, [9.0] * 12)
    found = store.estimate(Board(27.0, 9.0, 2e-10), steady, 3, 200.0)
    np.testing.assert_allclose(found.mean_pct, 9.0, atol=1e-6)
    assert found.inside_until(8.0, 10.0) is None


def test_store_in_a_shed_warmed_and_wrapped(new_york):
    """7 % into an open shed in January: 9 % after about 30 days on stickers (trial, New York)."""
    dry = Board(27.0, 7.0, 1.5e-10)
    shed = store.estimate(dry, new_york, 1)
    assert shed.inside_until(5.0, 9.0) == pytest.approx(30, abs=10)
    warm = store.estimate(dry, new_york.warmed(5.6), 1)
    assert warm.mean_pct[100] < shed.mean_pct[100]
    wrapped = store.estimate(dry, new_york, 1, packed="wrapped")
    assert wrapped.mean_pct[30 * 6] < shed.mean_pct[30 * 6]
    assert np.all(shed.low_pct <= shed.mean_pct + 1e-12)
    assert np.all(shed.mean_pct <= shed.high_pct + 1e-12)


def test_a_year_may_start_in_any_month(new_york):
    turned = new_york.from_month(7)
    assert turned.temp_c[:100].mean() > new_york.temp_c[:100].mean() + 10
    np.testing.assert_allclose(np.sort(turned.emc_pct), np.sort(new_york.emc_pct))


@pytest.mark.parametrize("packed", store.PACKED)
def test_a_stored_board_by_modes_agrees_with_the_board_model(new_york, packed):
    """A year of daily means by modes, and by the cells in steps of 4 h: within 0.2 point."""
    dry, days = Board(27.0, 7.0, 1.5e-10), 365
    found = store.estimate(dry, new_york, 4, days, packed)
    piece = SingleBoard(replace(dry, face_m_s=6e-8 * YARD_FACE * store.PACKED[packed]))
    year = new_york.from_month(4).by_day()
    means = []
    for day in range(days):
        piece.advance(24.0, float(year.temp_c[day]), float(year.emc_pct[day]))
        means.append(piece.mean)
    assert np.abs(found.mean_pct - means).max() < 0.2


def test_steady_air_needs_no_steps_and_ends_at_its_emc():
    kept = steady(18.0, 45.0)
    found = store.estimate(Board(27.0, 11.0, 2e-10), kept, 1, 730.0)
    assert found.mean_pct[-1] == pytest.approx(kept.emc_pct[0], abs=0.3)
    assert np.all(np.diff(found.mean_pct) <= 1e-12)


@pytest.mark.parametrize("days", [1.0, 19.0, 20.0, 21.0, 365.0, 730.0])
def test_steady_air_is_gone_through_at_once_as_day_by_day(days):
    board, air = Board(27.0, 14.0, 2e-10), steady(18.0, 45.0)
    unsteady = replace(air, emc_pct=air.emc_pct + 1e-7 * (np.arange(air.emc_pct.size) % 2))
    at_once, by_day = (store.estimates(board, one, 3, days) for one in (air, unsteady))
    for one, other in zip(at_once, by_day, strict=True):
        assert one.mean_pct.size == days
        np.testing.assert_allclose(one.mean_pct, other.mean_pct, rtol=0, atol=1e-6)


def test_bad_inputs_are_refused(new_york):
    dry = Board(27.0, 7.0, 1.5e-10)
    with pytest.raises(ValueError, match="packed"):
        store.estimate(dry, new_york, 1, packed="in the rain")
    with pytest.raises(ValueError, match="month"):
        store.estimate(replace(dry), new_york, 13)
    with pytest.raises(ValueError, match="12 months"):
        monthly([1.0], [2.0])
