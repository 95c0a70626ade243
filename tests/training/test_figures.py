"""The bench's figures of a board in a log and the air of a stack; the script follows them.

``KILNFOLIO_RUNS=1000`` compares that many random settings of the script with Python; by default 15.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess

import pytest
from tests.training.test_simulation import _PAGE, ASSETS

from kilnfolio.charts.cut import board_shape
from kilnfolio.physics import airflow
from kilnfolio.physics.shrinkage import shrunk_place
from kilnfolio.rendering.regional import PLAIN, RegionalFormat
from kilnfolio.training.bench import bench_constants, stack_air, stack_load
from kilnfolio.training.knobs import KNOBS, UNITS

RUNS = int(os.environ.get("KILNFOLIO_RUNS", "15"))
#: Red oak, northern, green to oven-dry: Wood Handbook, FPL-GTR-282, table 4-3.
OAK = (4.0, 8.6)
LOAD = stack_load(PLAIN)
CUSTOMARY = RegionalFormat(customary_first=True)
#: By definition: one of ours in the US customary unit, and what 0 is. International foot and pound of
#: 1959: 0.3048 m and 0.45359237 kg; °F = 1.8 °C + 32.
IN_CUSTOMARY = {
    "temperature": ("°F", 33.8, 32.0),
    "difference": ("°F", 1.8, 0.0),
    "thickness": ("in", 1 / 25.4, 0.0),
    "length": ("ft", 1 / 0.3048, 0.0),
    "speed": ("ft/min", 60 / 0.3048, 0.0),
    "flow": ("ft³/min", 60 / 0.3048**3, 0.0),
    "mass": ("lb", 1 / 0.45359237, 0.0),
    "daily-water": ("lb/day", 1 / 0.45359237, 0.0),
}


def test_a_quarter_sawn_board_shrinks_radially_and_a_flat_sawn_one_tangentially():
    width, thickness, cup = board_shape(200.0, 0.0, 150.0, 25.0, OAK)
    assert (width, thickness) == (pytest.approx(4.0, abs=0.05), pytest.approx(8.6, abs=0.1))
    assert cup == pytest.approx(0.0, abs=0.05)
    width, thickness, cup = board_shape(0.0, 400.0, 60.0, 25.0, OAK)
    assert (width, thickness) == (pytest.approx(8.6, abs=0.1), pytest.approx(4.0, abs=0.05))


def test_a_flat_sawn_board_cups_more_the_nearer_it_is_to_the_heart():
    """Wood Handbook, figure 4-3, and every textbook: hollow on the side of the bark."""
    cups = [board_shape(0.0, y, 200.0, 27.0, OAK)[2] for y in (60.0, 120.0, 250.0)]
    assert cups[0] > cups[1] > cups[2] > 0
    below = board_shape(0.0, -120.0, 200.0, 27.0, OAK)[2]
    assert below == pytest.approx(cups[1]), "the same under the pith as over it"


def test_boards_do_not_cup_if_both_directions_shrink_alike():
    assert board_shape(0.0, 60.0, 200.0, 27.0, (6.0, 6.0)) == pytest.approx((6.0, 6.0, 0.0))
    assert shrunk_place(12.0, -34.0, 0.0, 0.0) == pytest.approx((12.0, -34.0))


def test_the_air_passes_through_the_open_share_of_the_load():
    """By hand: 10 m by 3 m of layers, stickers as thick as boards: half of 30 m² is open."""
    assert airflow.gap_speed(30.0, 10.0, 3.0, 25.0, 25.0) == pytest.approx(2.0)
    assert airflow.gap_speed(30.0, 10.0, 3.0, 25.0, 25.0, 50.0) == pytest.approx(1.0)


def test_the_temperature_drop_is_the_heat_that_evaporates_the_water():
    """By hand: 864 kg a day are 0.01 kg/s; at 30 °C wet bulb 2430 kJ/kg (steam tables): 24.3 kW.

    10 m³/s of air at 50 °C contain about 10.6 kg/s of dry air, 1.05 kJ/K each: 11.1 kW/K.
    """
    assert airflow.drop_across(864.0, 10.0, 50.0, 30.0) == pytest.approx(24.3 / 11.1, rel=0.03)
    assert airflow.drop_across(1e6, 1.0, 50.0, 45.0) == pytest.approx(5.0), "then it is saturated"
    half = stack_air({**LOAD, "flow": LOAD["flow"] / 2})
    assert half["drop"] == pytest.approx(2 * stack_air(LOAD)["drop"], rel=1e-6)
    assert half["leaving"] > half["entering"]


def test_every_amount_of_the_bench_is_in_the_unit_of_its_region():
    same = {of for of, (metric, customary) in UNITS.items() if metric == customary}
    assert set(UNITS) - same == set(IN_CUSTOMARY)
    for of, (unit, one, zero) in IN_CUSTOMARY.items():
        metric, customary = UNITS[of]
        assert (metric.times, metric.plus, customary.unit) == (1.0, 0.0, unit)
        assert customary.times + customary.plus == pytest.approx(one, rel=1e-9)
        assert customary.plus == zero


@pytest.mark.parametrize("name", KNOBS)
def test_a_slider_offers_round_numbers_in_both_systems_over_nearly_the_same_range(name):
    knob = KNOBS[name]
    for reach in (knob.metric, knob.customary):
        assert reach.least <= reach.value <= reach.most
        steps = (reach.value - reach.least) / reach.step
        assert steps == pytest.approx(round(steps)), "it starts at one of its steps"
        assert 10 <= (reach.most - reach.least) / reach.step < 1000 or reach.step >= 0.125
    unit = UNITS[knob.of][1]
    ends = [(end - unit.plus) / unit.times for end in (knob.customary.least, knob.customary.most)]
    width = knob.metric.most - knob.metric.least
    assert ends == pytest.approx([knob.metric.least, knob.metric.most], abs=0.12 * width)
    assert knob.first(CUSTOMARY) == pytest.approx(knob.first(PLAIN), abs=0.12 * width)


_RUN = """
const sums = kilnfolio.makeCalculators({ constants: D.constants });
const figures = kilnfolio.makeFigures(D, sums, D.standard_pressure_pa);
console.log(JSON.stringify(C.map(([board, shrinkages, load]) =>
  [figures.boardShape(...board, shrinkages), figures.stackAir(load)])));
"""


@pytest.mark.skipif(shutil.which("node") is None, reason="no node to run the script")
def test_the_script_gives_the_same_figures(tmp_path):
    chance = random.Random(4)
    cases = [
        (
            (chance.uniform(-150, 150), chance.uniform(30, 200), chance.uniform(50, 250), 27.0),
            (chance.uniform(0, 8), chance.uniform(0, 14)),
            LOAD
            | {
                "flow": chance.uniform(2, 60),
                "bypass": chance.uniform(0, 70),
                "sticker": chance.uniform(10, 40),
                "width": chance.uniform(1.2, 6),
                "loss": chance.uniform(0.2, 20),
                "depression": chance.uniform(0.5, 20),
            },
        )
        for _ in range(RUNS)
    ]
    script = tmp_path / "figures.js"
    parts = [
        (ASSETS / name).read_text("utf-8")
        for name in ("wood.js", "air.js", "calculators.js", "bench-figures.js")
    ]
    data = f"const D = {json.dumps(bench_constants())}, C = {json.dumps(cases)};"
    script.write_text("\n".join([_PAGE, *parts, data, _RUN]), "utf-8")
    done = subprocess.run(["node", str(script)], capture_output=True, text=True, check=True)
    for (board, shrinkages, load), (shape, air) in zip(cases, json.loads(done.stdout), strict=True):
        assert list(shape.values()) == pytest.approx(board_shape(*board, shrinkages), abs=1e-9)
        assert air == pytest.approx(stack_air(load), rel=1e-9)
