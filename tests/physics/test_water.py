"""Water and least heat, against the definition of MC, steam tables (CoolProp) and old wood data."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from kilnfolio.physics import moisture, sorption, water

CHARGE = (40.0, 560.0, 60.0, 10.0, 15.0, 60.0)  # an invented charge


def test_water_is_the_difference_of_two_masses():
    """The definition of MC, from the other side: mass of the charge before and after."""
    dry = 40.0 * 560.0
    expected = moisture.mass_at(dry, 60.0) - moisture.mass_at(dry, 10.0)
    assert water.water_removed(40.0, 560.0, 60.0, 10.0) == pytest.approx(expected, rel=1e-12)


def test_regain_is_negative():
    assert water.water_removed(1.0, 500.0, 8.0, 10.0) == pytest.approx(-10.0)


def test_heat_of_wet_timber_against_steam_tables(coolprop):
    """Above the FSP the water is free: enthalpies of IAPWS-95 from cold water to warm vapour."""
    start, kiln = 15.0, 60.0
    parts = water.least_heat_parts(1.0, 500.0, 80.0, 40.0, start, kiln)
    enthalpy = {
        name: coolprop.water("H", "T", temp + 273.15, "Q", quality, "Water") / 3.6e6
        for name, temp, quality in [("cold", start, 0), ("warm", kiln, 0), ("vapour", kiln, 1)]
    }
    assert parts.warming_water == pytest.approx(
        400.0 * (enthalpy["warm"] - enthalpy["cold"]), rel=2e-3
    )
    assert parts.evaporating == pytest.approx(
        200.0 * (enthalpy["vapour"] - enthalpy["warm"]), rel=2e-3
    )
    assert (parts.freeing, parts.melting) == (0.0, 0.0)


def test_dry_wood_against_dunlap():
    """Dunlap (USDA Forest Service Bulletin 110, 1912): 1.114 + 0.00486 t kJ/(kg K); from memory.

    The handbook's formula is a later fit to more data; they should agree within 5 % in a kiln.
    """
    expected, _ = quad(lambda t: 1.114 + 0.00486 * t, 20.0, 80.0)
    found = water.least_heat_parts(1.0, 500.0, 0.0, 0.0, 20.0, 80.0).warming_wood * 3600.0 / 500.0
    assert found == pytest.approx(expected, rel=0.05)


def test_heat_to_free_bound_water_is_near_the_heat_of_wetting():
    """Oven-dry wood gives out some 60 to 100 kJ/kg as it takes up all its bound water.

    From memory (Skaar, Wood-Water Relations, 1988); calorimeters find 60 to 85.
    """
    found = water.least_heat_parts(1.0, 500.0, 30.0, 0.0, 20.0, 20.0).freeing * 3600.0 / 500.0
    assert 60.0 < found < 105.0


def test_heat_to_free_bound_water_agrees_with_clausius_clapeyron():
    """The heat of sorption the handbook's EMC equation implies, R T² d(ln h)/dT at constant MC.

    Another way to the same quantity, and a rough one: it uses the derivative of a fit that is known
    to understate it. From 25 to 6 % MC the two should agree within a factor of two.
    """
    temp, step, gas_constant = 50.0, 1.0, 8.314462 / 18.01528e-3
    mcs = np.linspace(6.0, 25.0, 200)
    hot, cold = (
        np.log(sorption.relative_humidity_for_emc(temp + shift, mcs)) for shift in (step, -step)
    )
    heat = gas_constant * (temp + 273.15) ** 2 * (hot - cold) / (2 * step) / 1000.0
    expected = np.trapezoid(heat, mcs / 100.0)
    found = water.least_heat_parts(1.0, 500.0, 25.0, 6.0, temp, temp).freeing * 3600.0 / 500.0
    assert expected / 2 < found < expected * 2


def test_heat_to_free_bound_water_is_the_integral_of_its_differential():
    def differential(mc):
        return 0.4 * (2501.0 - 2.326 * 60.0) * (1.0 - mc / 30.0) ** 2 / 100.0

    expected, _ = quad(differential, 8.0, 30.0)
    found = water.least_heat_parts(1.0, 500.0, 45.0, 8.0, 60.0, 60.0).freeing * 3600.0 / 500.0
    assert found == pytest.approx(expected, rel=1e-9)


def test_frozen_timber_against_enthalpy_of_ice():
    """Ice at -20 °C to water at 0 °C: 333.4 + 20 × 2.03 kJ/kg (IAPWS-06, from memory)."""
    frozen = water.least_heat_parts(1.0, 500.0, 80.0, 10.0, -20.0, 60.0)
    thawed = water.least_heat_parts(1.0, 500.0, 80.0, 10.0, 0.0, 60.0)
    free, bound = 250.0, 150.0
    assert frozen.melting == pytest.approx(free * 333.4 / 3600.0, rel=1e-3)
    extra = (frozen.warming_water - thawed.warming_water) * 3600.0
    assert extra == pytest.approx(free * 20 * 2.03 + bound * 20 * 4.186, rel=0.02)


def test_least_heat_is_the_sum_of_its_parts_and_more_than_steam_alone():
    parts = water.least_heat_parts(*CHARGE)
    assert water.least_heat(*CHARGE) == pytest.approx(sum(parts), rel=1e-12)
    mass = water.water_removed(*CHARGE[:4])
    # 2 501 to 2 359 kJ/kg at 0 to 60 °C: drying needs at least this.
    assert water.least_heat(*CHARGE) > mass * 2359.0 / 3600.0


@given(st.floats(20, 100), st.floats(0, 1), st.floats(-30, 40), st.floats(41, 110))
def test_heat_grows_with_volume_water_and_temperature(mc, share, start, kiln):
    end = mc * share
    heat = water.least_heat(10.0, 500.0, mc, end, start, kiln)
    assert heat >= 0.0
    assert water.least_heat(20.0, 500.0, mc, end, start, kiln) == pytest.approx(2 * heat)
    assert water.least_heat(10.0, 500.0, mc, 0.5 * end, start, kiln) >= heat
    assert water.least_heat(10.0, 500.0, mc, end, start - 1.0, kiln) > heat


REFUSED = [
    (water.water_removed, (1.0, 0.56, 60, 10), "basic_density_kg_m3 must lie between 80 and 1300"),
    (water.water_removed, (0.0, 560.0, 60, 10), "volume_m3 must lie above 0"),
    (water.least_heat, (1, 560, 10, 60, 15, 60), "mc_to_pct must not be above mc_from_pct"),
    (water.least_heat, (1, 560, 60, 10, 70, 60), "kiln_temp_c must not be below start_temp_c"),
    (water.least_heat, (1, 560, 60, 10, 15, 160), "kiln_temp_c must lie between 0 and 150 °C"),
]


@pytest.mark.parametrize(("function", "arguments", "message"), REFUSED)
def test_errors_name_argument_value_and_range(function, arguments, message):
    with pytest.raises(ValueError, match=message):
        function(*arguments)


def test_timber_weighs_its_dry_wood_and_its_water():
    """The definitions: a load less its dry wood is the water that drying to 0 % would remove."""
    load = water.timber_mass(40.0, 560.0, 60.0)
    assert load - 40.0 * 560.0 == pytest.approx(water.water_removed(40.0, 560.0, 60.0, 0.0))
    assert water.timber_mass(1.0, 500.0, [0.0, 100.0]) == pytest.approx([500.0, 1000.0])


def test_free_and_bound_water():
    """Wood Handbook, ch. 4: the cavity empties before the wall, at the fibre saturation point."""
    assert water.split_water(76.0) == (46.0, 30.0)
    assert water.split_water(18.0) == (0.0, 18.0)
    assert water.split_water(28.0, 27.0) == (1.0, 27.0)


@given(st.floats(min_value=0, max_value=300), st.floats(min_value=15, max_value=45))
def test_the_two_waters_add_up(mc, fsp):
    free, bound = water.split_water(mc, fsp)
    assert free + bound == pytest.approx(mc, abs=1e-12)
    assert 0.0 <= bound <= fsp
    assert free >= 0.0
