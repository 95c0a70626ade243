"""The practice problems printed in the handbook: each answer computed here as the reader would.

The answers were worked out by hand to the digits shown, so the tolerance is half the last digit.
The eighth (equalize an order of 8 % from a driest board of 6 %) is a rule of the schedule, and is
checked with the schedules.
"""

import numpy as np
import pytest

from kilnfolio.physics import air, heat, meters, moisture, sorption, survey, water


def test_1_two_sections():
    mcs = moisture.moisture_content([214.6, 198.3], [121.5, 113.6])
    np.testing.assert_allclose(mcs, [76.6, 74.6], atol=0.05)
    assert np.mean(mcs) == pytest.approx(75.6, abs=0.05)


def test_2_sample_board():
    dry = moisture.oven_dry_mass(4.862, 75.6)
    assert dry == pytest.approx(2.769, abs=5e-4)
    np.testing.assert_allclose(
        moisture.moisture_content([3.978, 3.402], dry), [43.7, 22.9], atol=0.051
    )


def test_3_controlling_boards():
    mcs = [62.4, 58.1, 55.0, 51.7, 49.9, 46.2]
    assert moisture.controlling_moisture_content(mcs) == pytest.approx(58.5, abs=0.05)
    assert np.mean(mcs) == pytest.approx(53.9, abs=0.05)


def test_4_drying_rate():
    assert moisture.drying_rate(43.7, 41.0, 18.0) == pytest.approx(3.6, abs=0.05)


def test_5_two_bulbs():
    humidity = air.relative_humidity(60.0, 50.0)
    assert humidity == pytest.approx(58.6, abs=0.05)
    emc = sorption.equilibrium_moisture_content(60.0, humidity)
    assert emc == pytest.approx(8.9, abs=0.05)


def test_6_wick_that_reads_half_a_kelvin_high():
    shown, true = sorption.equilibrium_moisture_content(
        43.3, air.relative_humidity(43.3, [41.6, 41.1])
    )
    assert (shown, true) == pytest.approx((19.2, 17.7), abs=0.05)


def test_7_resistance_meter_on_warm_wood():
    assert meters.reading_at_calibration(14.0, 45.0) == pytest.approx(11.8, abs=0.05)


def test_9_thirty_readings():
    interval = survey.confidence_interval(12.2, 0.86, 30)
    assert interval == pytest.approx((11.9, 12.5), abs=0.05)
    assert survey.share_shown(30, 0, 0.95) == pytest.approx(0.905, abs=5e-4)


def test_10_mean_to_dry_to():
    assert survey.mean_for_share_below(19.0, 3.0, 0.95) == pytest.approx(14.1, abs=0.05)


def test_11_core_temperatures():
    temps = [55.2, 56.1, 56.4, 56.8, 56.9, 55.9, 56.3]
    assert heat.longest_run_above(np.arange(0, 35, 5), temps, 56.0) == 15.0


def test_12_water_in_a_cubic_metre():
    assert water.water_removed(1.0, 560.0, 60.0, 10.0) == pytest.approx(280.0, abs=0.5)
