"""The charge run for practice: known properties, and the script that follows it step by step.

``KILNFOLIO_RUNS=1000`` compares that many random runs of the script with Python; by default 15.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
from collections.abc import Iterator, Sequence

import pytest
from tests.conftest import PROJECT
from tests.reviewed import demo_mill

from kilnfolio.records.problems import RecordProblems
from kilnfolio.training.bench import bench_data
from kilnfolio.training.random_numbers import RandomNumbers
from kilnfolio.training.scenario import SCENARIOS, read_scenarios
from kilnfolio.training.simulation import Decision, Run, replay

ASSETS = PROJECT / "builder/kilnfolio/site/assets"
RUNS = int(os.environ.get("KILNFOLIO_RUNS", "15"))
_PAGE = """const window = globalThis;
window.matchMedia = () => ({ matches: false });
window.document = { addEventListener() {}, readyState: "loading", querySelector() { return null; },
                    getElementById() { return null; }, documentElement: { lang: "en" } };
"""
_RUN = """
const sums = kilnfolio.makeCalculators({ constants: D.constants });
const air = { relativeHumidity: sums.relativeHumidity, wetBulb: sums.wetBulb,
              standard: D.standard_pressure_pa };
const bench = kilnfolio.makeChargeRun(D, air, sums);
console.log(JSON.stringify(C.map(([name, seed, decisions]) => {
  const run = bench.replay(D.scenarios[name], seed, decisions);
  return [run.outcome(), run.weighings.map((one) => one.mcs), bench.stepsEarlier(decisions)];
})));
"""


@pytest.fixture(scope="module")
def data():
    return bench_data(demo_mill())


@pytest.fixture(scope="module")
def oak(data):
    return data["scenarios"]["first-oak-27mm"]


def random_decisions(chance: random.Random) -> list[dict]:
    made: list[dict] = []
    for _ in range(chance.randint(2, 12)):
        made.append(
            chance.choice(
                [
                    {
                        "do": "set",
                        "dry_bulb": round(chance.uniform(35, 80), 1),
                        "depression": round(chance.uniform(0.5, 25), 1),
                    },
                    {"do": "wick"},
                    {"do": "weigh"},
                ]
            )
        )
        made.append({"do": "wait", "hours": 2.0 * chance.randint(1, 24)})
    return [*made, {"do": "weigh"}]


@pytest.mark.skipif(shutil.which("node") is None, reason="no node to run the script")
def test_the_script_gives_the_same_figures(data, tmp_path):
    chance = random.Random(18)
    cases = [
        (chance.choice(list(data["scenarios"])), chance.randrange(2**32), random_decisions(chance))
        for _ in range(RUNS)
    ]
    parts = [
        _PAGE,
        *(
            (ASSETS / name).read_text("utf-8")
            for name in ("wood.js", "air.js", "calculators.js", "charge-run.js")
        ),
        f"const D = {json.dumps(data)}, C = {json.dumps(cases)};",
        _RUN,
    ]
    script = tmp_path / "runs.js"
    script.write_text("\n".join(parts), "utf-8")
    done = subprocess.run(["node", str(script)], capture_output=True, text=True, check=True)
    for (name, seed, decisions), (outcome, weighings, earlier) in zip(
        cases, json.loads(done.stdout), strict=True
    ):
        run = replay(data["scenarios"][name], seed, decisions)
        for key, value in vars(run.outcome()).items():
            assert outcome[key] == pytest.approx(value, rel=1e-9, abs=1e-9), (name, seed, key)
        for mine, theirs in zip(run.weighings, weighings, strict=True):
            assert theirs == pytest.approx(mine.mcs, abs=1e-9)
        assert earlier == [dict(one) for one in steps_earlier(decisions)]


def test_random_numbers_follow_the_published_sequence():
    """mulberry32 (T. Ettinger, public domain), seed 1: recalled; and it fills the unit interval."""
    numbers = RandomNumbers(1)
    first = [numbers.share() for _ in range(20_000)]
    assert first[0] == pytest.approx(0.6270739405881613, abs=1e-12)
    assert all(0.0 <= one < 1.0 for one in first)
    assert sum(first) / len(first) == pytest.approx(0.5, abs=0.01)


def run_days(scenario, days, *, wick=True, dry=43.5, depression=2.2, seed=3) -> Run:
    run = Run(scenario, seed)
    run.set_air(dry, depression)
    for _ in range(days):
        run.wait(24)
        if wick:
            run.change_wick()
    return run


def test_harsher_air_dries_faster_and_strains_more(oak):
    mild, harsh = run_days(oak, 8), run_days(oak, 8, depression=8.0)
    assert harsh.outcome().mean < mild.outcome().mean
    assert harsh.outcome().peak_gradient > mild.outcome().peak_gradient


def test_a_neglected_wick_makes_the_air_drier_than_it_reads(oak):
    kept, left = run_days(oak, 20), run_days(oak, 20, wick=False)
    assert left.log[-1][3] < kept.log[-1][3] - 1.0  # the true EMC
    assert left.log[-1][2] == pytest.approx(kept.log[-1][2], abs=0.3)  # the wet bulb as read
    assert left.outcome().peak_gradient > kept.outcome().peak_gradient


def test_no_board_falls_below_the_emc_or_rises_above_its_start(oak):
    run = run_days(oak, 30, dry=60.0, depression=15.0)
    lowest = min(emc for _, _, _, emc in run.log)
    assert run.profile.min() >= lowest - 1e-6
    assert run.profile.max() <= run.board.start().max() + 1e-9


def test_the_same_seed_gives_the_same_charge_and_another_a_different_one(oak):
    assert run_days(oak, 3).outcome() == run_days(oak, 3).outcome()
    assert run_days(oak, 3).outcome() != run_days(oak, 3, seed=4).outcome()


def test_steps_a_day_earlier_keep_the_first_and_the_length():
    decisions = [
        {"do": "set", "dry_bulb": 43.5, "depression": 2.2},
        {"do": "wait", "hours": 72.0},
        {"do": "set", "dry_bulb": 50.0, "depression": 5.0},
        {"do": "wait", "hours": 24.0},
    ]
    assert steps_earlier(decisions) == [
        decisions[0],
        {"do": "wait", "hours": 48.0},
        decisions[2],
        {"do": "wait", "hours": 48.0},
    ]


def test_an_unknown_decision_is_refused(oak):
    with pytest.raises(ValueError, match="do must be set, wick, weigh or wait; received 'open'"):
        replay(oak, 1, [{"do": "open"}])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("species: quercus-rubra", "species: quercus-rubr"), "its sheet must give a density"),
        (("boards: 20", "boards: 2"), "boards"),
        (("invented: true", "invented: false"), "invented"),
        (("thickness: 27 mm", "thickness: 27 %"), "thickness"),
    ],
)
def test_a_mistake_in_a_scenario_is_reported_at_its_place(tmp_path, change, said):
    text = (PROJECT / SCENARIOS / "first-oak-27mm.yaml").read_text("utf-8")
    assert change[0] in text
    target = tmp_path / SCENARIOS / "mine.yaml"
    target.parent.mkdir(parents=True)
    target.write_text(text.replace(*change), "utf-8")
    species = {name: one.record for name, one in demo_mill().species.items()}
    with pytest.raises(RecordProblems) as refused:
        read_scenarios(tmp_path, species)
    assert any(
        said in str(problem) and "mine.yaml:" in str(problem) for problem in refused.value.problems
    )


def steps_earlier(decisions: Sequence[Decision], hours: float = 24.0) -> list[Decision]:
    """Return the same decisions with every change of air after the first a day earlier.

    Changes that would fall before the first stay where the first is.
    """
    at, timed = 0.0, []
    for decision in decisions:
        if decision["do"] == "wait":
            at += decision["hours"]
        else:
            timed.append((at, decision))
    first = next((hour for hour, decision in timed if decision["do"] == "set"), 0.0)
    moved = [
        (max(first, hour - hours) if decision["do"] == "set" and hour > first else hour, decision)
        for hour, decision in timed
    ]
    return list(_in_order(moved, at))


def _in_order(timed: Sequence[tuple[float, Decision]], end: float) -> Iterator[Decision]:
    at = 0.0
    for hour, decision in sorted(timed, key=lambda one: one[0]):
        if hour > at:
            yield {"do": "wait", "hours": hour - at}
            at = hour
        yield decision
    if end > at:
        yield {"do": "wait", "hours": end - at}
