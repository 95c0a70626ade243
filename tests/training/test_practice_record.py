"""A charge run on the bench as a record: `check` reads it like any other, and the checks find its
slips."""

from __future__ import annotations

import json

import pytest
from tests.conftest import PROJECT
from tests.reviewed import demo_mill

from kilnfolio.cli import main
from kilnfolio.records.checking import checked_mill
from kilnfolio.review.review import review_charge
from kilnfolio.training.bench import bench_data
from kilnfolio.training.simulation import Run, apply

LOAD = "white-maple-27mm"


@pytest.fixture(scope="module")
def scenario():
    return bench_data(demo_mill())["scenarios"][LOAD]


def run_by_the_sheet(scenario, *, early: float = 0.0) -> list[dict]:
    """Weigh each morning and follow the sheet; a careless operator steps this many points too
    early."""
    run, made, place, steps = Run(scenario, 1), [], 0, scenario["steps"]

    def do(**decision):
        apply(run, decision)
        made.append(decision)

    def set_air():
        step = steps[place]
        do(do="set", dry_bulb=step["dry_bulb"], depression=step["depression"])

    set_air()
    while run.hour < 24 * 30:
        do(do="wait", hours=24)
        if run.hour % 48 == 0:
            do(do="wick")
        do(do="weigh")
        now, mc = place, run.weighings[-1].controlling
        while steps[now]["until_mc"] is not None and mc <= steps[now]["until_mc"] + early:
            now += 1
        if now != place:
            place = now
            set_air()
        if mc <= scenario["target"]:
            break
    return made


def saved(path, done, **changes):
    what = {"format": 1, "what": "charge run for practice", "scenario": LOAD, "seed": 1}
    path.write_text(json.dumps(what | {"decisions": done} | changes), "utf-8")
    return path


def findings(tmp_path, decisions) -> dict[str, set[str]]:
    file, out = saved(tmp_path / "run.json", decisions), tmp_path / "record"
    assert main(["practice", str(file), str(PROJECT), "--out", str(out)]) in (0, 1)
    found: dict[str, set[str]] = {}
    for finding in review_charge(checked_mill(out), "bench").findings:
        found.setdefault(finding.check, set()).add(finding.outcome)
    return found


def test_a_good_charge_passes_and_its_record_can_be_read(tmp_path, scenario, capsys):
    found = findings(tmp_path, run_by_the_sheet(scenario))
    for check in ("step-timing", "gap-in-log", "dry-wick", "stuck-sensor"):
        assert found[check] <= {"pass"}, check
    capsys.readouterr()
    assert main(["check", str(tmp_path / "record")]) in (0, 1)
    assert "bench" in capsys.readouterr().out


def test_steps_made_early_are_found(tmp_path, scenario):
    found = findings(tmp_path, run_by_the_sheet(scenario, early=8.0))
    assert found["step-timing"] & {"question", "fail"}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"scenario": "nowhere"}, "there is no load 'nowhere'"),
        ({"decisions": []}, "decisions"),
        ({"decisions": [{"do": "sleep"}]}, "decisions.0"),
        ({"decisions": [{"do": "wait", "hours": -1}]}, "hours"),
        ({"decisions": [{"do": "weigh"}]}, "never run"),
        ({"format": 2}, "format"),
    ],
)
def test_a_file_that_is_not_the_benchs_is_refused_and_nothing_is_written(
    tmp_path, capsys, changes, said
):
    file = saved(tmp_path / "run.json", [{"do": "wait", "hours": 24}], **changes)
    assert main(["practice", str(file), str(PROJECT), "--out", str(tmp_path / "out")]) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_invalid_json_a_missing_file_and_an_existing_folder_are_refused(tmp_path, capsys):
    (tmp_path / "run.json").write_bytes(b"\xff{")
    for file in (tmp_path / "run.json", tmp_path / "absent.json"):
        assert main(["practice", str(file), str(PROJECT), "--out", str(tmp_path / "out")]) == 2
    file = saved(tmp_path / "run.json", [{"do": "wait", "hours": 24}])
    assert main(["practice", str(file), str(PROJECT), "--out", str(tmp_path)]) == 2
    assert "is there already" in capsys.readouterr().err
