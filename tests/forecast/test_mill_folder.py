"""The guide's script makes a mill folder of older charges, and the command forecasts from it.

The charges are the invented check charges of tests/data/drying; targets as in test_forecast.
"""

import datetime as dt
import json
import os
import re
import runpy

import numpy as np
import pytest
from tests.conftest import PROJECT
from tests.forecast.check_charges import DATA, check_charges, group

from kilnfolio.cli import main

GUIDE = PROJECT / "builder/kilnfolio/guide/18-look-a-week-ahead.md"
WHOLE = os.environ.get("KILNFOLIO_FORECAST") == "whole"


@pytest.fixture(scope="module")
def script(tmp_path_factory):
    path = tmp_path_factory.mktemp("script") / "older_charges.py"
    found = re.search(r"^```python\n(.*?)^```$", GUIDE.read_text("utf-8"), re.DOTALL | re.MULTILINE)
    path.write_text(found[1], "utf-8")
    return path


def mill_of(folder, script, names):
    """Make a new mill with these charges, the last one to be forecast; return when each began."""
    assert (
        main(
            [
                "new",
                "mill",
                str(folder),
                "--name",
                "Alder Brook Timber",
                "--place",
                "Alder Brook, New Brunswick",
                "--country",
                "Canada",
                "--time-zone",
                "America/Moncton",
                "--altitude",
                "30 m",
                "--practice",
                "North American",
                "--email",
                "records@alder-brook.example",
                "--kiln",
                "Kiln 1, steam, 42 m³, 90 °C",
            ]
        )
        == 0
    )
    module = runpy.run_path(str(script))
    module["main"](DATA, folder, names)
    first, apart = module["FIRST_DAY"], dt.timedelta(days=module["DAYS_APART"])
    return {name: first + i * apart for i, name in enumerate(names)}


def forecast_of(capsys, folder, charge, as_of):
    capsys.readouterr()
    code = main(
        ["forecast", charge, str(folder), "--as-of", f"{as_of:%Y-%m-%dT%H:%M}", "--format", "json"]
    )
    out = capsys.readouterr()
    assert code == 0, out.err
    return json.loads(out.out)


def hour(moment, start):
    naive = dt.datetime.fromisoformat(moment).astimezone(dt.timezone(dt.timedelta(hours=-4)))
    local = start.replace(tzinfo=dt.timezone(dt.timedelta(hours=-4)))
    return (naive - local).total_seconds() / 3600


def test_forecasts_from_a_folder_of_older_charges(tmp_path, script, capsys):
    errors, held, steps = [], [], []
    tests = group("oak", "B", "test")[: None if WHOLE else 1]
    earlier = [one.run.charge for one in group("oak", "B", "earlier")]
    for one in tests:
        folder = tmp_path / one.run.charge
        name = one.run.charge
        start = mill_of(folder, script, [*earlier[:8], name])[name]
        for share in (0.25, 0.5, 0.75):
            weighed = one.run.weighings.until(share * one.end).hours[-1]
            found = forecast_of(capsys, folder, name, start + dt.timedelta(hours=float(weighed)))
            assert list(found) == ["as_of", "steps", "end", "boards", "learnt_from", "method"]
            assert found["learnt_from"] == earlier[:8]
            # summer time may shift a time by an hour
            end = hour(found["end"]["median"], start)
            errors.append(100 * abs(end - one.end) / one.end)
            held.append(
                hour(found["end"]["low95"], start) - 1
                <= one.end
                <= hour(found["end"]["high95"], start) + 1
            )
            for step in found["steps"][:1]:
                actual = one.crossings[step["step"] - 2]
                steps.append(abs(hour(step["due"]["median"], start) - actual) / 24)
    assert np.median(errors) <= 6.5
    assert np.mean(held) >= 0.85
    assert np.median(steps) <= 0.6


def test_nothing_recorded_later_is_used(tmp_path, script, capsys):
    names = [one.run.charge for one in group("maple", "A", "earlier")[:4]]
    start = mill_of(tmp_path, script, names)[names[-1]]
    as_of = start + dt.timedelta(hours=120)
    before = forecast_of(capsys, tmp_path, names[-1], as_of)
    record = next(tmp_path.glob(f"content/charges/*/{names[-1]}/charge.yaml"))
    lines = record.read_text("utf-8").splitlines(keepends=True)
    kept = [
        line
        for line in lines
        if not (found := re.search(r"at: (\S+),", line))
        or dt.datetime.fromisoformat(found[1]) <= as_of
    ]
    assert len(kept) < len(lines)
    record.write_text("".join(kept), "utf-8")
    log = record.with_name(f"{names[-1]}.csv")
    log.write_text("".join(log.read_text("utf-8").splitlines(keepends=True)[:31]), "utf-8")
    assert forecast_of(capsys, tmp_path, names[-1], as_of) == before
    assert set(before["learnt_from"]) == set(names[:-1])


def test_a_charge_that_cannot_be_forecast_is_explained(tmp_path, script, capsys):
    name = next(iter(check_charges()))
    start = mill_of(tmp_path, script, [name])[name]
    early = f"{start - dt.timedelta(days=1):%Y-%m-%dT%H:%M}"
    for words, code, said in (
        (["forecast", name, str(tmp_path), "--as-of", early], 1, "no weighing"),
        (["forecast", name, str(tmp_path), "--as-of", "soon"], 2, "not a date and time"),
        (["forecast", "A-oak-earlier-99", str(tmp_path)], 2, "there is no charge"),
    ):
        capsys.readouterr()
        assert main(words) == code
        assert said in capsys.readouterr().err
    middle = f"{start + dt.timedelta(days=8):%Y-%m-%dT%H:%M}"
    for words, code, said in (
        (["what-if", name, str(tmp_path), "--as-of", "soon"], 2, "not a date and time"),
        (["what-if", name, str(tmp_path), "--step", "3"], 2, "say with --earlier"),
        (["what-if", name, str(tmp_path), "--at-most", "60"], 2, "--at-most 60"),
        (["what-if", name, str(tmp_path), "--depression", "9"], 2, "0.2 to 3"),
        (["effect", "older-oak", "older-ok", str(tmp_path)], 2, "did you mean 'older-oak'"),
    ):
        capsys.readouterr()
        assert main(words) == code, words
        assert said in capsys.readouterr().err
    words = ["what-if", name, str(tmp_path), "--as-of", middle, "--earlier", "5"]
    assert main([*words, "--format", "json"]) == 0
    [change] = json.loads(capsys.readouterr().out)["changes"]
    assert change["days_ratio"] < 1.0 < change["peak_gradient_ratio"]
    assert change["words"].startswith("at least about")
    assert main(["forecast", name, str(tmp_path)]) == 0
    text = capsys.readouterr().out
    assert "sample boards decide" in text
    assert "red-oak formula" in text
