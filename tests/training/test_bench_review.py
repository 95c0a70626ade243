"""The review on the bench's page: the script finds what the mill's checks find in the saved record.

``KILNFOLIO_RUNS=200`` compares that many random charges; by default 5. More are not compared: each takes a second.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
from collections import Counter

import pytest
from tests.reviewed import demo_mill
from tests.training.test_practice_record import run_by_the_sheet
from tests.training.test_simulation import _PAGE, ASSETS, random_decisions

from kilnfolio.records.checking import checked_mill
from kilnfolio.review.findings import CHECKS
from kilnfolio.review.review import review_charge
from kilnfolio.training.bench import bench_data
from kilnfolio.training.bench_review import LEFT_TO_CHECK, REVIEWED
from kilnfolio.training.practice_record import NAME, SavedRun, practice_records

RUNS = min(int(os.environ.get("KILNFOLIO_RUNS", "5")), 200)
_SCRIPTS = ("wood.js", "air.js", "calculators.js", "charge-run.js", "charge-review.js")
_REVIEW = """
const sums = kilnfolio.makeCalculators({ constants: D.constants });
const air = { relativeHumidity: sums.relativeHumidity, wetBulb: sums.wetBulb,
              vapourPressureOfBulbs: sums.vapourPressureOfBulbs,
              standard: D.standard_pressure_pa };
const bench = kilnfolio.makeChargeRun(D, air, sums);
const { review } = kilnfolio.makeChargeReview(D, bench, { air, wood: sums });
console.log(JSON.stringify(C.map(([name, seed, decisions]) =>
  review(D.scenarios[name], seed, decisions))));
"""


def decided(chance: random.Random, data) -> tuple[str, int, list[dict]]:
    """Return a load, a seed and what is done: at random, or by the sheet with some steps early."""
    name = chance.choice(list(data["scenarios"]))
    if chance.random() < 0.4:
        done = run_by_the_sheet(data["scenarios"][name], early=chance.choice((0.0, 0.0, 2.0, 8.0)))
        if chance.random() < 0.5:  # the wick is forgotten
            done = [one for one in done if one["do"] != "wick"]
        return name, 1, done
    done = random_decisions(chance)
    steps = data["scenarios"][name]["steps"]
    for one in done:
        if one["do"] == "set" and chance.random() < 0.6:
            one |= {key: chance.choice(steps)[key] for key in ("dry_bulb", "depression")}
    return name, chance.randrange(2**32), done


@pytest.mark.skipif(shutil.which("node") is None, reason="no node to run the script")
def test_the_page_finds_what_the_checks_find(tmp_path):
    """The same findings in the same words and order, check by check."""
    mill = demo_mill()
    data = bench_data(mill)
    chance = random.Random(26)
    cases = [decided(chance, data) for _ in range(RUNS)]
    parts = [
        _PAGE,
        *((ASSETS / name).read_text("utf-8") for name in _SCRIPTS),
        f"const D = {json.dumps(data)}, C = {json.dumps(cases)};",
        _REVIEW,
    ]
    script = tmp_path / "review.js"
    script.write_text("\n".join(parts), "utf-8")
    done = subprocess.run(["node", str(script)], capture_output=True, text=True, check=True)
    seen: Counter[tuple[str, str]] = Counter()
    for number, ((name, seed, decisions), theirs) in enumerate(
        zip(cases, json.loads(done.stdout), strict=True)
    ):
        record = {"format": 1, "what": "charge run for practice", "scenario": name}
        saved = SavedRun.model_validate(record | {"seed": seed, "decisions": decisions})
        root = tmp_path / str(number)
        for path, words in practice_records(mill, saved).items():
            (root / path).parent.mkdir(parents=True, exist_ok=True)
            (root / path).write_text(words, "utf-8")
        findings = review_charge(checked_mill(root), NAME).findings
        mine = [(one.check, one.outcome, one.message) for one in findings if one.check in REVIEWED]
        found = [(one["check"], one["outcome"], one["message"]) for one in theirs]
        assert sorted(found) == sorted(mine), (name, seed, decisions)
        seen.update((check, outcome) for check, outcome, _ in found)
        for one in findings:
            if one.check not in REVIEWED:
                assert one.outcome == "not applicable" or one.check in LEFT_TO_CHECK, one
    assert seen["step-timing", "question"]
    assert seen["daily-loss", "fail"] + seen["daily-loss", "question"]
    assert seen["too-hot-while-wet", "fail"]


def test_every_check_named_exists():
    assert set(REVIEWED) | set(LEFT_TO_CHECK) <= set(CHECKS)
    assert not set(REVIEWED) & set(LEFT_TO_CHECK)
