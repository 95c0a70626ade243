"""EMC against Wood Handbook table 4-2 and three other published sources."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnfolio.physics import air, sorption
from kilnfolio.physics.sorption import (
    EMC_TEMP_RANGE_C,
    emc_uncertainty,
    equilibrium_moisture_content,
    relative_humidity_for_emc,
)

TEMPS = st.floats(*EMC_TEMP_RANGE_C)


def test_wood_handbook_table_4_2(reference):
    table = reference("emc_table.csv").where(table="WH 4-2", provenance="read")
    temps = (table["temp_f"] - 32.0) / 1.8
    found = equilibrium_moisture_content(temps, table["rh_pct"])
    # The handbook prints one decimal from the equation; mean difference 0.025, worst 0.056.
    np.testing.assert_allclose(found, table["emc_pct"], atol=0.06)
    assert np.mean(np.abs(found - table["emc_pct"])) < 0.03
    assert len(table) > 150


def test_hot_rows_from_memory_agree_with_the_fahrenheit_equation(reference):
    """Rows of 210 °F and more are from memory; the handbook's own °F equation backs them up."""
    table = reference("emc_table.csv").where(table="WH 4-2", provenance="memory")
    found = equilibrium_moisture_content((table["temp_f"] - 32.0) / 1.8, table["rh_pct"])
    np.testing.assert_allclose(found, table["emc_hhF_pct"], atol=0.07)
    # 230 °F is remembered poorly, up to 0.21 off.
    np.testing.assert_allclose(found, table["emc_pct"], atol=0.25)


def test_fahrenheit_form_of_the_equation():
    """Wood Handbook eq. 4-5 with its own coefficients for °F."""
    f, h = np.meshgrid(np.arange(30.0, 251.0, 10.0), np.arange(0.05, 0.96, 0.05))
    w = 330 + 0.452 * f + 0.00415 * f**2
    k = 0.791 + 4.63e-4 * f - 8.44e-7 * f**2
    k1 = 6.34 + 7.75e-4 * f - 9.35e-5 * f**2
    k2 = 1.09 + 2.84e-2 * f - 9.04e-5 * f**2
    kh = k * h
    water = kh / (1 - kh) + (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2)
    found = equilibrium_moisture_content((f - 32) / 1.8, 100 * h)
    np.testing.assert_allclose(found, 1800 / w * water, atol=0.07)


def test_swedish_table_at_20_degrees(reference):
    """TraGuiden, whole percents: 0.55 at most, at 75 % RH."""
    rows = [r for r in reference("emc_table.csv").rows if r["table"].startswith("TraGuiden")]
    for row in rows:
        found = equilibrium_moisture_content(float(row["temp_c"]), float(row["rh_pct"]))
        assert found == pytest.approx(float(row["emc_pct"]), abs=0.56), row
    assert rows


def test_korean_schedule_with_printed_rh_and_emc(reference):
    """J. Korean Wood Sci. Technol. 47(5), 557, table 3: another EMC source, lower by up to 0.56."""
    table = reference("assembled_schedules.csv").filled("rh_pub_pct", "emc_pub_pct")
    found = equilibrium_moisture_content(table["dry_bulb_c"], table["rh_pub_pct"])
    np.testing.assert_allclose(found, table["emc_pub_pct"], atol=0.57)
    assert np.mean(found - table["emc_pub_pct"]) == pytest.approx(0.22, abs=0.05)


def test_oak_schedule_set_points(reference):
    """OSU Research Paper 27: bulbs read; 110 °F less 4 °F starts Oregon white oak at EMC 17.7."""
    schedule = "Oregon white oak 4/4 (OSU RP27)"
    table = reference("assembled_schedules.csv").where(schedule=schedule)
    dry, wet = ((table[c] - 32.0) / 1.8 for c in ("dry_bulb_f", "wet_bulb_f"))
    for method, column in (
        ("thermodynamic", "emc_hh_pct"),
        ("weather-bureau", "emc_hh_at_ferrel_rh"),
    ):
        humidity = air.relative_humidity(dry, wet, method=method)
        found = equilibrium_moisture_content(dry, humidity)
        np.testing.assert_allclose(found, table[column], atol=0.02)
    start = equilibrium_moisture_content(dry[0], air.relative_humidity(dry[0], wet[0]))
    assert start == pytest.approx(17.7, abs=0.05)


@given(TEMPS, st.floats(0, 100), st.floats(0, 100))
def test_emc_rises_with_humidity(temp, first, second):
    low, high = sorted((first, second))
    at_low, at_high = equilibrium_moisture_content(temp, [low, high])
    assert 0.0 <= at_low <= at_high
    if high - low > 1e-3:
        assert at_low < at_high


@given(TEMPS)
def test_emc_in_dry_air_is_zero(temp):
    assert equilibrium_moisture_content(temp, 0.0) == 0.0


@given(st.floats(20, 119), st.floats(0.5, 10), st.floats(5, 100))
def test_warmer_air_of_the_same_humidity_has_a_lower_emc(temp, step, humidity):
    cool, warm = equilibrium_moisture_content([temp, temp + step], humidity)
    assert warm < cool


@given(TEMPS, st.floats(0, 100))
def test_humidity_for_emc_round_trip(temp, humidity):
    emc = equilibrium_moisture_content(temp, humidity)
    assert relative_humidity_for_emc(temp, emc) == pytest.approx(humidity, abs=1e-6)


def test_humidity_for_emc_over_the_whole_table(reference):
    table = reference("emc_table.csv").where(table="WH 4-2", provenance="read")
    temps = (table["temp_f"] - 32.0) / 1.8
    found = relative_humidity_for_emc(temps, table["emc_pct"])
    # 0.06 point of EMC over the smallest slope of the table, about 0.07 point per percent.
    np.testing.assert_allclose(found, table["rh_pct"], atol=0.9)


REFUSED = [
    (equilibrium_moisture_content, (140.0, 50.0), "temp_c must lie between -30 and 132.3 °C"),
    (equilibrium_moisture_content, (60.0, 120.0), "relative_humidity_pct.*0 and 100 %.*120"),
    (relative_humidity_for_emc, (20.0, 40.0), "emc_pct must lie between 0 and the EMC at 100 %"),
    (relative_humidity_for_emc, (20.0, -1.0), "emc_pct = -1"),
    (emc_uncertainty, (60.0, 50.0, -0.1, 0.5), "dry_bulb_error_k must lie between 0 and 10 K"),
    (emc_uncertainty, (60.0, 61.0, 0.1, 0.5), "wet_bulb_c must not be above dry_bulb_c"),
]


@pytest.mark.parametrize(("function", "arguments", "message"), REFUSED)
def test_errors_name_argument_value_and_range(function, arguments, message):
    with pytest.raises(ValueError, match=message):
        function(*arguments)


# --- uncertainty ---


def test_half_a_kelvin_on_the_wet_bulb_near_saturation():
    """At 43.3/41.1 °C half a kelvin moves EMC 17.7 to 16.5 or 19.2; the larger change counts."""
    assert emc_uncertainty(43.3, 41.1, 0.0, 0.5) == pytest.approx(19.2 - 17.7, abs=0.1)


def test_uncertainty_equals_the_slope_in_the_middle_of_the_range():
    """GUM 5.1.2 with derivatives taken numerically from the two published equations."""

    def emc(dry, wet):
        return equilibrium_moisture_content(dry, air.relative_humidity(dry, wet))

    step, dry_error, wet_error = 1e-4, 0.02, 0.03
    by_dry = (emc(60 + step, 50) - emc(60 - step, 50)) / (2 * step) * dry_error
    by_wet = (emc(60, 50 + step) - emc(60, 50 - step)) / (2 * step) * wet_error
    found = emc_uncertainty(60.0, 50.0, dry_error, wet_error)
    assert found == pytest.approx(np.hypot(by_dry, by_wet), rel=0.01)


def test_uncertainty_at_saturation_is_taken_on_the_dry_side():
    found = emc_uncertainty(50.0, 50.0, 0.0, 0.5)
    saturated = equilibrium_moisture_content(50.0, 100.0)
    moved = equilibrium_moisture_content(50.0, air.relative_humidity(50.0, 49.5))
    assert found == pytest.approx(saturated - moved, rel=1e-9)


def test_uncertainty_in_almost_dry_air_does_not_fail():
    wet = air.wet_bulb(80.0, 0.1)
    emc = equilibrium_moisture_content(80.0, 0.1)
    assert emc_uncertainty(80.0, wet, 0.5, 0.5) > emc  # the error may exceed the humidity itself


@given(st.floats(10, 95), st.floats(3, 100), st.floats(0, 2), st.floats(0, 2))
def test_uncertainty_is_never_negative_and_grows_with_the_errors(dry, humidity, small, more):
    wet = min(air.wet_bulb(dry, humidity), dry)
    less = emc_uncertainty(dry, wet, small, small)
    assert 0.0 <= less <= emc_uncertainty(dry, wet, small + more, small + more) + 1e-12
    assert emc_uncertainty(dry, wet, 0.0, 0.0) < 1e-9


def test_the_accepted_range_ends_where_the_equation_stops_making_sense():
    """Beyond the handbook's last row the curve turns back: the reason for the refusal."""
    humidities = np.linspace(0, 100, 2001)
    for temp in EMC_TEMP_RANGE_C:
        assert np.all(np.diff(equilibrium_moisture_content(temp, humidities)) > 0)
    assert np.any(np.diff(sorption._emc(135.0, humidities)) < 0)
