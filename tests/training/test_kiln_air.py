"""The vented kiln of the bench in weather: balances by hand, and what weather does to a charge.

The humidity ratios and the heat of vaporization are those of ASHRAE Fundamentals, chapter 1, as read
from its psychrometric chart and table 3 (from memory).
"""

from __future__ import annotations

import pytest
from tests.reviewed import demo_mill

from kilnfolio.physics import air, water
from kilnfolio.training import kiln_air
from kilnfolio.training.bench import bench_data
from kilnfolio.training.kiln_air import Outdoors, exchange, outdoors
from kilnfolio.training.simulation import STEP_H, Run

KILN = {"heating": 60.0, "walls": 0.1, "vents": 0.5, "leak": 0.02, "spray": 0.005}
"""In kW, kW/K, m³/s, m³/s and kg/s."""


@pytest.fixture(scope="module")
def loads():
    return bench_data(demo_mill())["scenarios"]


def spell(temp: float, humidity: float, swing: float = 0.0, from_hour: float = 0.0):
    vapour = float(air.vapour_pressure(temp, humidity))
    return {"from_hour": from_hour, "temperature": temp, "vapour": vapour, "swing": swing}


def in_weather(load, temp: float, humidity: float, **kiln):
    return load | {"weather": [spell(temp, humidity)], "kiln": KILN | kiln}


def held(scenario, dry: float, depression: float, hours: float = 48, seed: int = 3) -> Run:
    run = Run(scenario, seed)
    run.set_air(dry, depression)
    run.wait(hours)
    return run


# --- the air outdoors -----------------------------------------------------------------------------


def test_outdoor_air_is_that_of_the_chart():
    """30 °C and 80 % hold 21.6 g/kg, 0 °C and 100 % 3.8 g/kg (the chart)."""
    assert outdoors([spell(30, 80)], 0).ratio == pytest.approx(0.0216, abs=0.0003)
    assert outdoors([spell(0, 100)], 0).ratio == pytest.approx(0.00379, abs=0.0001)


def test_it_is_warmest_at_three_and_the_night_keeps_the_vapour_it_can():
    """A charge starts at eight in the morning: three o'clock is hour 7, and three at night 19."""
    day = [outdoors([spell(20, 60, swing=10)], hour) for hour in range(24)]
    assert max(day, key=lambda one: one.temp) == day[7]
    assert (day[7].temp, day[19].temp) == (pytest.approx(25), pytest.approx(15))
    assert day[7].ratio == pytest.approx(day[19].ratio)
    assert day[19].humidity > day[7].humidity
    damp = [outdoors([spell(20, 95, swing=20)], hour) for hour in (7, 19)]
    assert damp[1].humidity == pytest.approx(100.0)
    assert damp[1].ratio < damp[0].ratio, "dew has fallen"


def test_spells_follow_each_other():
    weather = [spell(20, 60), spell(5, 80, from_hour=48)]
    assert outdoors(weather, 47.9).temp == pytest.approx(20)
    assert outdoors(weather, 48).temp == pytest.approx(5)


# --- the two balances, by hand --------------------------------------------------------------------

DRY_DAY = Outdoors(10.0, 50.0, 0.004, 1.2)


def test_vents_open_as_far_as_the_water_asks():
    """0.012 kg/s into air that takes 0.030 kg/kg more: 0.4 kg/s of dry air."""
    made = exchange(KILN, DRY_DAY, 0.034, 0.012)
    assert (made.flow, made.spray, made.ratio, made.limit) == (pytest.approx(0.4), 0, 0.034, "")


def test_open_vents_leave_the_air_too_moist_when_the_wood_gives_more():
    """0.5 m³/s of 1.2 kg/m³ carry 0.6 kg/s: 0.012 kg/s raise its ratio by 0.020."""
    made = exchange(KILN, DRY_DAY, 0.014, 0.012)
    assert (made.flow, made.limit) == (pytest.approx(0.6), "vents")
    assert made.ratio == pytest.approx(0.004 + 0.020)


def test_no_venting_makes_air_drier_than_outdoors():
    assert exchange(KILN, DRY_DAY, 0.002, 0.0).ratio == pytest.approx(DRY_DAY.ratio)


def test_the_spray_makes_up_for_the_leak_as_far_as_it_can():
    """The leak of 0.024 kg/s takes 0.030 kg/kg away: 0.00072 kg/s; the wood gives 0.0002."""
    made = exchange(KILN, DRY_DAY, 0.034, 0.0002)
    assert (made.spray, made.limit) == (pytest.approx(0.00052), "")
    weak = exchange(KILN | {"spray": 0.0001}, DRY_DAY, 0.034, 0.0002)
    assert weak.limit == "spray"
    assert weak.ratio == pytest.approx(0.004 + 0.0003 / 0.024)


def test_the_heat_is_walls_air_and_evaporation():
    """By hand, 50 K above outdoors: walls 5 kW; 0.4 kg/s of air of 1.013 kJ/(kg K): 20.3 kW;
    0.012 kg/s at 2358 kJ/kg (steam tables, 60 °C): 28.3 kW; no change of temperature."""
    made = exchange(KILN, DRY_DAY, 0.034, 0.012)
    used = kiln_air.heat_used(KILN, DRY_DAY, 9000.0, (60.0, 60.0), made, 0.012, 1.0)
    assert used == pytest.approx(5.0 + 20.3 + 28.3, rel=0.01)
    most = kiln_air.hottest(KILN | {"heating": used}, DRY_DAY, 9000.0, 60.0, 0.4, 0.012, 7200.0)
    assert most == pytest.approx(60.0, abs=1e-9), "that heat holds that temperature"


# --- a charge in weather --------------------------------------------------------------------------


def test_a_kiln_without_limits_runs_as_if_there_were_no_weather(loads):
    load = loads["first-oak-27mm"]
    strong = in_weather(load, 12, 60, heating=1e5, vents=1e3, leak=1e-6, spray=1e3)
    with_weather, without = held(strong, 43.5, 4.0), held(load, 43.5, 4.0)
    assert with_weather.log[-1][:3] == pytest.approx(without.log[-1][:3], abs=1e-6)
    assert with_weather.outcome().mean == pytest.approx(without.outcome().mean, abs=1e-6)


def test_moist_weather_keeps_a_cool_kiln_moister_than_set_and_a_hot_one_less(loads):
    """Venting never brings the dew point below that outdoors."""
    humid = in_weather(loads["white-maple-27mm"], 28, 88, vents=0.2)
    cool, hot = held(humid, 32.0, 9.0), held(humid, 60.0, 9.0)
    assert cool.limits == {"vents"}
    assert cool.depression < 6.0
    assert cool._ratio() > outdoors(humid["weather"], cool.hour).ratio
    assert hot.depression == pytest.approx(9.0, abs=0.1)
    dry_season = held(in_weather(loads["white-maple-27mm"], 28, 30, vents=0.2), 32.0, 9.0)
    assert dry_season.depression > cool.depression + 1.0
    assert dry_season.outcome().mean < cool.outcome().mean


def test_the_vapour_balance_closes_where_the_vents_are_at_their_limit(loads):
    """What the wood lost in the last step is what the exchanged air carried away, within 5 %: the air is taken
    from a straight line between two trials."""
    humid = in_weather(loads["white-maple-27mm"], 28, 88, vents=0.2)
    run = held(humid, 38.0, 12.0)
    outside = outdoors(humid["weather"], run.hour - 0.5 * STEP_H)
    carried = run._flow * (run._ratio() - outside.ratio)
    assert run.limits == {"vents"}
    assert carried == pytest.approx(run._loss, rel=0.05)


def test_a_leak_in_frost_dries_the_first_step_more_than_in_summer(loads):
    leaky = {"leak": 0.06, "spray": 0.0005}
    winter = held(in_weather(loads["first-oak-27mm"], -12, 80, **leaky), 43.5, 2.2, 24 * 8)
    summer = held(in_weather(loads["first-oak-27mm"], 26, 75, **leaky), 43.5, 2.2, 24 * 8)
    assert winter.limits == {"spray"}
    assert winter.log[-1][3] < summer.log[-1][3] - 1.0  # the EMC
    assert winter.outcome().peak_gradient > summer.outcome().peak_gradient


def test_cold_weather_costs_heat_and_no_weather_costs_less_than_the_least_heat(loads):
    used = {}
    for temp in (-15.0, 25.0):
        run = held(in_weather(loads["first-oak-27mm"], temp, 70), 50.0, 8.0, 24 * 6)
        end = run.outcome()
        used[temp] = end.energy_kwh / end.water_kg
        least = water.least_heat(
            6.0, loads["first-oak-27mm"]["basic_density"], run.initial_mean, end.mean, 20.0, 50.0
        )
        assert end.energy_kwh > least
    assert used[-15.0] > 1.2 * used[25.0]


def test_a_weak_heating_does_not_reach_the_dry_bulb(loads):
    weak = held(in_weather(loads["first-oak-27mm"], -10, 80, heating=8.0), 70.0, 15.0, 96)
    assert "heating" in weak.limits
    assert weak.dry < 65.0
    assert held(in_weather(loads["first-oak-27mm"], -10, 80), 70.0, 15.0, 96).dry > 69.0


def test_no_kiln_here_cools_and_none_boils(loads):
    warm = held(in_weather(loads["first-oak-27mm"], 32, 60), 20.0, 2.0)
    assert warm.dry == pytest.approx(32.0, abs=0.1)
    assert held(loads["first-oak-27mm"], 110.0, 0.3).dry > 109.0


# --- who is rated better --------------------------------------------------------------------------


def by_the_sheet(scenario, seed: int, watch=None, early: float = 0.0) -> Run:
    """Weigh each morning, change the wick every other day, open half a point above the target.

    `watch` may change the air asked for by what the kiln does; `early` steps that many points early.
    """
    run, steps, place = Run(scenario, seed), scenario["steps"], 0
    run.set_air(steps[0]["dry_bulb"], steps[0]["depression"])
    while run.hour < 24 * scenario["longest_days"]:
        run.wait(24)
        if not early and run.hour % 48 == 0:
            run.change_wick()
        mc = run.weigh().controlling
        if mc <= scenario["target"] + 0.5:
            break
        while steps[place]["until_mc"] is not None and mc <= steps[place]["until_mc"] + early:
            place += 1
        asked = (steps[place]["dry_bulb"], steps[place]["depression"])
        run.set_air(*(watch(run, mc, *asked) if watch else asked))
    return run


def cooler_while_too_dry(run: Run, mc: float, dry: float, depression: float):
    """Where the spray cannot hold the humidity of a wet charge, lower the dry bulb until it can."""
    if mc <= 30.0:
        return dry, depression
    cooler = run.set_dry - 3.0 if "spray" in run.limits else run.set_dry + 1.0
    return min(max(cooler, 32.0), dry), depression


@pytest.mark.parametrize("seed", [1, 3])
def test_in_a_hard_winter_watching_the_kiln_is_rated_above_setting_the_sheet(loads, seed):
    load = loads["oak-hard-january"]
    watched = by_the_sheet(load, seed, cooler_while_too_dry).outcome()
    blind = by_the_sheet(load, seed).outcome()
    assert watched.rating > blind.rating + 5
    assert watched.checked < blind.checked


def test_in_a_humid_july_the_sheet_is_rated_above_stepping_early(loads):
    load = loads["maple-humid-july"]
    good, careless = by_the_sheet(load, 1).outcome(), by_the_sheet(load, 1, early=15.0).outcome()
    assert good.rating > careless.rating + 10
    assert good.checked < careless.checked
