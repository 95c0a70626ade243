"""Tables of older charges go into a mill folder by commands, and it forecasts from them.

The charges are the invented check charges of tests/data/drying; targets as in test_forecast.
"""

import csv
import datetime as dt
import json
import os
import re
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from tests.forecast.check_charges import DATA, check_charges, group

from kilnfolio.cli import main
from kilnfolio.forecast.charge import forecast, learn_for

#: When the first of some charges begins, and how far apart they are.
ZONE = ZoneInfo("America/Moncton")
FIRST, APART = dt.datetime(2025, 1, 6, 8, tzinfo=ZONE), dt.timedelta(days=70)
SPECIES = {"oak": "quercus-rubra", "maple": "acer-saccharum"}
WHOLE = os.environ.get("KILNFOLIO_FORECAST") == "whole"


def table(name, folder, charges):
    """The rows of some charges of a table, as a file."""
    with (DATA / name).open(encoding="utf-8") as file:
        heading, *rows = csv.reader(file)
    path = folder / name
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([heading, *(row for row in rows if row[0] in charges)])
    return str(path)


def steps_of(wood):
    """The steps of a wood as options of ``new schedule``; each ends where the next begins."""
    with (DATA / "schedules.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["wood"] == wood]
    until = [row["when_controlling_mc_at_or_below_pct"] + " %" for row in rows[1:]] + ["final"]
    return [
        word
        for row, end in zip(rows, until, strict=True)
        for word in ("--step", f"{row['dry_bulb_c']} °C, {row['depression_c']} K, {end}")
    ]


def mill_of(folder, names):
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
                "0 m",
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
    home = str(folder)
    weighings, air = (table(name, folder, names) for name in ("weighings.csv", "air.csv"))
    wood = check_charges()[names[0]].run.wood
    words = ["--title", "Older charges", "--species", SPECIES[wood], "--thickness", "27 mm"]
    assert main(["new", "schedule", "older", home, *words, *steps_of(wood)]) == 0
    starts = {}
    for i, name in enumerate(names):
        start = starts[name] = FIRST + i * APART
        words = ["--schedule", "older", "--volume", "30 m³", "--target-mc", "8 %"]
        words += ["--loaded", f"{start:%Y-%m-%dT06:00}", "--started", f"{start:%Y-%m-%dT%H:%M}"]
        assert main(["new", "charge", name, home, *words]) == 0
        assert main(["import", "mc", weighings, home, "--charge", name, "--yes"]) == 0
        assert main(["import", "air", air, home, "--charge", name, "--yes"]) == 0
    return starts


def forecast_of(capsys, folder, charge, as_of):
    capsys.readouterr()
    code = main(
        [
            "forecast",
            charge,
            str(folder),
            "--as-of",
            as_of.isoformat("T", "minutes"),
            "--format",
            "json",
        ]
    )
    out = capsys.readouterr()
    assert code == 0, out.err
    return json.loads(out.out)


def after(start, hours):
    """The moment some hours after another, whatever the clocks do between."""
    return (start.astimezone(dt.UTC) + dt.timedelta(hours=float(hours))).astimezone(ZONE)


def hour(moment, start):
    return (dt.datetime.fromisoformat(moment) - start).total_seconds() / 3600


def test_forecasts_from_a_folder_of_older_charges(tmp_path, capsys):
    errors, held, steps = [], [], []
    tests = group("oak", "B", "test")[: None if WHOLE else 1]
    earlier = [one.run.charge for one in group("oak", "B", "earlier")][: 8 if WHOLE else 4]
    for one in tests:
        folder = tmp_path / one.run.charge
        name = one.run.charge
        start = mill_of(folder, [*earlier, name])[name]
        for share in (0.25, 0.5, 0.75):
            weighed = one.run.weighings.until(share * one.end).hours[-1]
            found = forecast_of(capsys, folder, name, after(start, weighed))
            assert list(found) == ["as_of", "steps", "end", "boards", "learnt_from", "method"]
            assert found["learnt_from"] == earlier
            end = hour(found["end"]["median"], start)
            errors.append(100 * abs(end - one.end) / one.end)
            held.append(
                hour(found["end"]["low95"], start) <= one.end <= hour(found["end"]["high95"], start)
            )
            for step in found["steps"][:1]:
                actual = one.crossings[step["step"] - 2]
                steps.append(abs(hour(step["due"]["median"], start) - actual) / 24)
    assert np.median(errors) <= 6.5
    assert np.mean(held) >= 0.85
    assert np.median(steps) <= 0.6


def test_the_folder_forecasts_as_the_measurements_do(tmp_path, capsys):
    """The commands lose nothing: the forecast is the one made from the same tables directly."""
    earlier = [one.run for one in group("oak", "A", "earlier")[:3]]
    one = group("oak", "A", "test")[0].run
    start = mill_of(tmp_path, [*(run.charge for run in earlier), one.charge])[one.charge]
    found = forecast_of(capsys, tmp_path, one.charge, after(start, 14 * 24))
    direct = forecast(one, learn_for("oak", 27.0, earlier), 14 * 24.0)
    for due, other in (
        (found["end"], direct.end),
        *zip(
            (step["due"] for step in found["steps"]),
            (step.due for step in direct.steps),
            strict=True,
        ),
    ):
        for key, moment in due.items():
            hours = (getattr(other, key) - one.started).total_seconds() / 3600
            assert hour(moment, start) == pytest.approx(hours, abs=1 / 60), key


def test_nothing_recorded_later_is_used(tmp_path, capsys):
    names = [one.run.charge for one in group("maple", "A", "earlier")[:4]]
    start = mill_of(tmp_path, names)[names[-1]]
    as_of = after(start, 120)
    before = forecast_of(capsys, tmp_path, names[-1], as_of)
    record = next(tmp_path.glob(f"content/charges/*/{names[-1]}/charge.yaml"))
    lines = record.read_text("utf-8").splitlines(keepends=True)
    kept, late = [], False
    for line in lines:
        if found := re.match(r"  - at: (\S+)", line):
            late = dt.datetime.fromisoformat(found[1]).replace(tzinfo=ZONE) > as_of
        elif not line.startswith("    "):  # no more of that round
            late = False
        kept += [] if late else [line]
    assert len(kept) < len(lines)
    record.write_text("".join(kept), "utf-8")
    log = record.with_name("air.csv")
    log.write_text("".join(log.read_text("utf-8").splitlines(keepends=True)[:31]), "utf-8")
    assert forecast_of(capsys, tmp_path, names[-1], as_of) == before
    assert set(before["learnt_from"]) == set(names[:-1])


def test_a_charge_that_cannot_be_forecast_is_explained(tmp_path, capsys):
    name = next(iter(check_charges()))
    start = mill_of(tmp_path, [name])[name]
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
        (["effect", "older", "oldr", str(tmp_path)], 2, "did you mean 'older'"),
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
