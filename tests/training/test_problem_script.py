"""New numbers in the browser: the script makes the same problem as Python for every kind and seed.

``KILNFOLIO_PROBLEMS=200`` compares that many seeds of every kind; by default 3. The formulas of both
are compared with other sources in `test_practice`, and in the tests of `physics`.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
from pathlib import Path

import pytest
import scipy.stats
from tests.reviewed import demo_mill
from tests.training.test_simulation import _PAGE, ASSETS

from kilnfolio.review.limits import LimitTable
from kilnfolio.training import problem_script
from kilnfolio.training.expected import expected
from kilnfolio.training.kinds import by_topic
from kilnfolio.training.problem import KINDS, make_problem
from kilnfolio.training.problem_script import problem_data
from kilnfolio.training.random_numbers import seed_of

by_topic()
SEEDS = int(os.environ.get("KILNFOLIO_PROBLEMS", "3"))
SCRIPTS = ("wood.js", "air.js", "calculators.js", "problems.js")
needs_node = pytest.mark.skipif(shutil.which("node") is None, reason="no node to run the script")


def in_node(tmp_path: Path, last: str, **given: object) -> object:
    """Return what the last line of a script prints as JSON."""
    values = [f"const {name} = {json.dumps(value)};" for name, value in given.items()]
    parts = [_PAGE, *((ASSETS / name).read_text("utf-8") for name in SCRIPTS), *values, last]
    file = tmp_path / "problems.js"
    file.write_text("\n".join(parts), "utf-8")
    done = subprocess.run(["node", str(file)], capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


@pytest.fixture(params=[False, True], ids=["metric", "customary"])
def regional(request, monkeypatch):
    """Let the mill's region put US customary units first, or not."""
    from kilnfolio.rendering.regional import PLAIN, regional_format

    own = regional_format(demo_mill().mill.record)
    assert own.customary_first
    chosen = own if request.param else PLAIN
    monkeypatch.setattr(problem_script, "regional_format", lambda _mill: chosen)
    return chosen


@needs_node
def test_the_script_makes_the_same_problem(tmp_path, regional):
    """The question, the figures put in, the working, each answer, its tolerance and mistakes."""
    mill, limits = demo_mill(), LimitTable(demo_mill().limits.record)
    chance = random.Random(f"problems {regional.customary_first}")
    cases = [(slug, chance.randrange(2**30)) for slug in KINDS for _ in range(SEEDS)]
    cases.append(("volume-of-a-pack", 920170772))  # 1643.5 board feet, on the edge of rounding
    made = in_node(
        tmp_path,
        "const P = kilnfolio.makeProblems(D);"
        "console.log(JSON.stringify(C.map(([slug, seed]) => P.make(slug, seed))));",
        D=problem_data(mill),
        C=cases,
    )
    for (slug, seed), theirs in zip(cases, made, strict=True):
        mine = make_problem(KINDS[slug], seed, limits, regional)
        assert theirs["steps"] == mine.steps, (slug, seed)
        assert theirs["ask"] == mine.ask, (slug, seed)
        assert theirs["answer"] == mine.answer, (slug, seed)
        asked = expected(mine)
        assert [one["label"] for one in theirs["typed"]] == [one.label for one in asked]
        for one, other in zip(asked, theirs["typed"], strict=True):
            assert other["unit"] == one.unit
            figures = [one.value, one.tolerance, *(wrong for wrong, _ in one.wrong)]
            theirs_ = [other["value"], other["near"], *(wrong for wrong, _ in other["wrong"])]
            assert theirs_ == pytest.approx(figures, rel=1e-8, abs=1e-9), (slug, seed)
            assert [said for _, said in other["wrong"]] == [said for _, said in one.wrong]
            assert {
                word: pytest.approx([unit.factor, unit.offset]) for word, unit in one.units.items()
            } == other["units"]


@needs_node
def test_quantiles_of_the_script_are_those_of_scipy(tmp_path):
    """Student's t by scipy; the tolerance factor of 10 readings, 95/95, is 3.393 (ISO 16269-6)."""
    asked = [[0.0, 1.0, n, 95.0] for n in (2, 3, 12, 61, 400)]
    found = in_node(
        tmp_path,
        "const D = {...G, calculators: []}; const S = kilnfolio.makeCalculators(D);"
        "const P = kilnfolio.problemFormulas(S, D.constants);"
        "console.log(JSON.stringify([C.map(([mean, sd, readings, confidence]) =>"
        " P.confidence_interval({mean, sd, readings, confidence})[1]),"
        " P.tolerance_limits({mean: 0, sd: 1, readings: 10, share: 95, confidence: 95})[1],"
        " P.mean_for_share_below({limit: 0, sd: 1, share: 97.5})]));",
        G=problem_data(demo_mill()),
        C=asked,
    )
    assert found[0] == pytest.approx(
        [scipy.stats.t.ppf(0.975, n - 1) / n**0.5 for _, _, n, _ in asked], rel=1e-9
    )
    assert found[1] == pytest.approx(3.393, abs=0.0006)
    assert found[2] == pytest.approx(-scipy.stats.norm.ppf(0.975), rel=1e-9)


def test_seeds_come_from_a_published_hash():
    """FNV-1a, 32 bits: test vectors of its authors, from memory."""
    assert seed_of("") == 0x811C9DC5
    assert seed_of("a") == 0xE40C292C
    assert seed_of("foobar") == 0xBF9CF968


def test_the_data_of_the_page_holds_no_answer():
    """What differs from one set of numbers to another cannot be in it."""
    limits = LimitTable(demo_mill().limits.record)
    data = problem_data(demo_mill())
    words = json.dumps(data["kinds"], ensure_ascii=False)
    for kind in KINDS.values():
        for one in expected(make_problem(kind, 0, limits)):
            assert str(one.value) not in words or one.value == round(one.value), kind.slug


def test_no_drawn_number_lies_where_its_problem_means_nothing():
    """No answer is zero as printed, full or refused; wet bulbs are above freezing."""
    limits = LimitTable(demo_mill().limits.record)
    for kind in KINDS.values():
        for seed in range(10 * SEEDS):
            problem = make_problem(kind, seed, limits)
            for name, result in problem.board.results.items():
                printed = float(result.quantity.entered.split()[0])
                formula = problem.board.formulas[name].name
                if formula not in ("longest_run_above", "difference", "share_shown"):
                    assert printed > 0, (kind.slug, seed, name)
                if formula == "difference":
                    assert printed != 0 or kind.slug in NEAR_ZERO, (kind.slug, seed, name)
                if formula in ("relative_humidity", "relative_humidity_for_emc"):
                    assert 10 < printed < 99.5, (kind.slug, seed)
                if formula == "wet_bulb":
                    assert printed > 5, (kind.slug, seed)


#: Problems whose point is a comparison that may come out even.
NEAR_ZERO = {"is-the-step-due", "probe-margin"}
