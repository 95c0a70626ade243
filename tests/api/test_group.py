"""A group of mills: lines in, one site out, and nothing of a mill's secrets."""

import datetime as dt
import json
import re

import numpy as np
import pytest
from scipy import stats
from tests.fuzz.damage import JSON, damaged
from tests.fuzz.watch import watch
from tests.minimal import minimal_log, minimal_mill, minimal_records
from tests.site_reading import dead_links, read_edition

from kilnfolio.api.group import (
    LEAST,
    LinesRefusedError,
    every_quarter,
    mean_of,
    read_lines,
    same_schedules,
)
from kilnfolio.api.group_control import group_control
from kilnfolio.cli import main
from kilnfolio.rendering.safety import SAFETY

SECOND = "content/charges/2026/C2/"


def mill_of(root, name, **changes):
    charge = minimal_records()["charge"] | {"id": "C2", "energy": "9000 kWh"}
    return minimal_mill(
        root,
        mill={"name": name},
        lot={"customer": {"name": f"Customer of {name}"}},
        files={SECOND + "charge.yaml": charge, SECOND + "bulbs.csv": minimal_log()},
        **changes,
    )


@pytest.fixture(scope="module")
def lines(tmp_path_factory):
    root = tmp_path_factory.mktemp("group")
    made = []
    for name, changes in (
        ("North Mill", {}),
        ("South Mill", {"schedule": {"notes": "Our own notes."}}),
    ):
        folder = mill_of(root / name, name, **changes)
        made.append(root / f"{name}.json")
        words = ["export", str(folder), "--format", "lines", "--out", str(made[-1])]
        assert main(words) == 0
    return made


@pytest.fixture(scope="module")
def site(lines, tmp_path_factory):
    out = tmp_path_factory.mktemp("made") / "site"
    assert main(["group", *map(str, lines), "--out", str(out), "--name", "Two mills"]) == 0
    return out


def test_lines_say_what_they_hold_and_hold_no_customer(lines):
    found = json.loads(lines[0].read_text("utf-8"))
    assert found["edition"] == "auditor"
    assert set(found["holds"]["charges"]) == set(found["charges"][0])
    assert "customer" not in found["holds"]["lots"]
    assert "Customer of" not in lines[0].read_text("utf-8")


def test_lines_of_the_mill_edition_say_so(tmp_path):
    folder, out = mill_of(tmp_path / "mill", "North Mill"), tmp_path / "lines.json"
    words = ["export", str(folder), "--format", "lines", "--edition", "mill", "--out", str(out)]
    assert main(words) == 0
    found = json.loads(out.read_text("utf-8"))
    assert found["edition"] == "mill"
    assert found["lots"][0]["customer"] == "Customer of North Mill"


def test_the_site_has_one_register_and_the_same_schedule_across_mills(site):
    register = (site / "charges/2026.html").read_text("utf-8")
    assert register.count(">C1<") == register.count(">C2<") == 2
    schedules = (site / "schedules.html").read_text("utf-8")
    assert "Red oak 4/4, air-dried" in schedules
    assert "The steps are the same at all of these mills." in schedules
    assert "too few to tell" in schedules


def test_every_page_has_the_safety_wording_and_no_dead_link(site):
    pages = list(site.rglob("*.html"))
    # mills, charges and a year of them, by mill (2) and by wood (1), schedules, trends with two
    # mills' charts, library
    assert len(pages) == 11
    for page in pages:
        html = page.read_text("utf-8")
        assert SAFETY.split(".", maxsplit=1)[0] in html
    assert dead_links(site, read_edition(site)) == []


def test_the_same_lines_give_the_same_bytes(lines, site, tmp_path):
    out = tmp_path / "again"
    assert main(["group", *map(str, lines[::-1]), "--out", str(out), "--name", "Two mills"]) == 0
    for file in site.rglob("*"):
        if file.is_file():
            assert file.read_bytes() == (out / file.relative_to(site)).read_bytes(), file


def test_other_steps_are_told_apart(lines, tmp_path):
    changed = mill_of(
        tmp_path / "mill",
        "West Mill",
        schedule=lambda one: one["steps"][0].update(depression="8 K"),
    )
    out = tmp_path / "west.json"
    assert main(["export", str(changed), "--format", "lines", "--out", str(out)]) == 0
    (found,) = same_schedules(read_lines([*lines, out]))
    assert not found.same_steps
    assert [one.mill for one in found.results] == ["North Mill", "South Mill", "West Mill"]
    energy = found.results[0].energy
    assert energy.mean == 225  # 9,000 kWh over 40 m³; the other charge was not metered
    assert (energy.n, energy.half) == (1, None)


def test_the_library_names_what_differs(lines, tmp_path):
    changed = mill_of(
        tmp_path / "mill",
        "West Mill",
        schedule=lambda one: one["steps"][0].update(depression="8 K"),
    )
    out, site = tmp_path / "west.json", tmp_path / "site"
    assert main(["export", str(changed), "--format", "lines", "--out", str(out)]) == 0
    assert main(["group", str(lines[0]), str(out), "--out", str(site)]) == 0
    page = (site / "library.html").read_text("utf-8")
    assert re.search(r"West Mill, step 1: [^;<]*depression 8 K[^;<]*; at North Mill: [^<]*", page)
    assert "West Mill, step 2" not in page
    old = json.loads(out.read_text("utf-8"))
    for one in old["schedules"]:
        del one["written"]  # as lines were before
    out.write_text(json.dumps(old), "utf-8")
    assert main(["group", str(lines[0]), str(out), "--out", str(site)]) == 0
    assert "too old to say how" in (site / "library.html").read_text("utf-8")


def dried(lines, rng, shift=0.0, kilns=2, count=40):
    """Return lines with many charges; the last third of the first kiln's is off by a shift."""
    (one,) = read_lines([lines])
    first = one.charges[0]
    charges = []
    for number in range(count * kilns):
        kiln, off = number % kilns, rng.normal(0.0, 0.4)
        if kiln == 0 and number > 2 * count * kilns / 3:
            off += shift
        at = first.ended + dt.timedelta(days=3 * number)
        charges.append(
            first.model_copy(
                update={
                    "charge": f"G{number}",
                    "kiln": f"k{kiln}",
                    "started": at - dt.timedelta(days=6),
                    "ended": at,
                    "final_mean_mc_pct": first.target_mc_pct + off,
                    "final_sd_mc_pct": float(np.exp(rng.normal(0.0, 0.2))),
                    "energy_kwh": 9000.0 * float(np.exp(rng.normal(0.0, 0.1))),
                }
            )
        )
    return one.model_copy(update={"charges": charges})


def test_a_planted_shift_stands_out_at_its_mill_alone(lines):
    rng = np.random.default_rng(5)
    north, south = dried(lines[0], rng), dried(lines[1], rng, shift=2.0)
    control, looks = group_control([north, south])
    assert looks == 2 * (2 * 3 + 2)  # of each mill: two kilns by three measures, a timber by two
    assert [one.mill for one in control] == ["North Mill", "South Mill"]
    assert control[0].found == []
    assert {(stream.name, line.name) for stream, line in control[1].found} >= {
        ("k0", "Final mean less target")
    }
    (signal, *_) = next(line.signals for stream, line in control[1].found if stream.name == "k0")
    assert signal.shift
    assert 50 <= int(signal.charge[1:]) <= 58  # planted from the 54th on
    assert signal.target.startswith("charges/20")


def test_charts_of_a_mill_are_those_of_its_own_charges(lines):
    """What stands at one mill moves no dot of another's; only the limits widen."""
    rng = np.random.default_rng(6)
    north, south = dried(lines[0], rng), dried(lines[1], rng, shift=3.0)
    (alone,), few = group_control([north])
    (beside, _), more = group_control([north, south])
    assert more == 2 * few
    for one, other in zip(alone.streams, beside.streams, strict=True):
        assert one.values == other.values
        for narrow, wide in zip(one.lines, other.lines, strict=True):
            assert narrow.trend.limits.width < wide.trend.limits.width


def test_steady_groups_are_seldom_told_that_something_changed(lines):
    """At 5 % for each group, 20 steady ones rarely hold more than three false signals (1.6 %)."""
    rng, told = np.random.default_rng(7), 0
    for _ in range(20):
        control, _ = group_control([dried(lines[0], rng), dried(lines[1], rng)])
        told += any(one.found for one in control)
    assert told <= 3


def test_a_folder_gives_what_its_lines_give(lines, site, tmp_path, capsys):
    folders = [path.parent / path.stem for path in lines]
    before = {path: path.read_bytes() for path in folders[0].rglob("*") if path.is_file()}
    out = tmp_path / "site"
    assert main(["group", *map(str, folders), "--out", str(out), "--name", "Two mills"]) == 0
    for file in site.rglob("*"):
        if file.is_file():
            assert file.read_bytes() == (out / file.relative_to(site)).read_bytes(), file
    assert before == {path: path.read_bytes() for path in folders[0].rglob("*") if path.is_file()}
    assert main(["group", str(folders[0]), str(tmp_path), "--out", str(tmp_path / "no")]) == 2
    assert "is no mill folder" in capsys.readouterr().err
    record = folders[1] / SECOND / "charge.yaml"
    whole = record.read_text("utf-8")
    record.write_text(whole + "boards: 3\n", "utf-8")
    try:
        assert main(["group", *map(str, folders), "--out", str(tmp_path / "no")]) == 2
        assert "'kilnfolio check " in capsys.readouterr().err
    finally:
        record.write_text(whole, "utf-8")
    assert not (tmp_path / "no").exists()


def test_a_mean_has_the_interval_of_students_t():
    values = np.random.default_rng(2).normal(20, 3, 12)
    low, high = stats.t.interval(0.95, 11, values.mean(), stats.sem(values))
    found = mean_of(list(values))
    assert found.mean - found.half == pytest.approx(low)
    assert found.mean + found.half == pytest.approx(high)
    assert mean_of(list(values[: LEAST - 1])).half is None


def test_what_holds_no_lines_is_refused(lines, tmp_path, capsys):
    other = tmp_path / "other.json"
    other.write_text('{"tables": {}}')
    assert main(["group", str(other), "--out", str(tmp_path / "out")]) == 2
    assert "holds no lines of a mill" in capsys.readouterr().err
    assert main(["group", str(lines[0]), str(lines[0]), "--out", str(tmp_path / "out")]) == 2
    assert "both of North Mill" in capsys.readouterr().err
    assert main(["group", str(lines[0]), "--out", str(tmp_path)]) == 2
    assert "holds other files" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("days", "Infinity"),
        ("final_sd_mc_pct", "1e300"),
        ("started", '"2026-06-01T08:00:00"'),
        ("ended", '"0001-01-01T00:00:00+00:00"'),
    ],
)
def test_a_figure_that_no_mill_has_is_refused(key, value, lines, tmp_path):
    """One mill's lines ended the command for the whole group, as a fault of ours."""
    written = json.loads(lines[0].read_text("utf-8"))
    written["charges"][0][key] = "HERE"
    path = tmp_path / "hostile.json"
    path.write_text(json.dumps(written).replace('"HERE"', value), "utf-8")
    assert main(["group", str(path), str(lines[1]), "--out", str(tmp_path / "out")]) == 2
    assert not (tmp_path / "out").exists()


def test_damaged_lines(lines, tmp_path):
    path = tmp_path / "damaged.json"

    def give(data):
        path.write_bytes(data)
        try:
            read_lines([path])
        except LinesRefusedError:
            return "refused"
        return "read"

    watch("lines", damaged([lines[0].read_bytes()], JSON), give)


def test_quarters_without_charges_keep_their_place():
    assert every_quarter("2024 Q3", "2025 Q2") == ["2024 Q3", "2024 Q4", "2025 Q1", "2025 Q2"]
    assert every_quarter("2025 Q2", "2025 Q2") == ["2025 Q2"]
    assert len(every_quarter("2016 Q1", "2026 Q4")) == 11 * 4
