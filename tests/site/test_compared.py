"""Charges and schedules beside each other: pages and `kilnfolio compare`."""

import json
import re

import numpy as np
import pytest
from tests.minimal import minimal_log, minimal_mill, minimal_records

from kilnfolio.charts.overlay import STYLES
from kilnfolio.cli import main
from kilnfolio.records.folder import open_mill
from kilnfolio.review.reviews import charge_dossier
from kilnfolio.site.context import mill_context
from kilnfolio.site.overlays import MOST, charge_overlay
from kilnfolio.site.page_kinds import MILL

SECOND = "content/charges/2026/C2/"
MILDER = {"what": "milder", "why": "checks in the first load", "depression_change": "-2 K"}


def second_charge():
    """Return a copy of the minimal charge in which the boards weigh a little less."""
    record = minimal_records()["charge"]
    record |= {"id": "C2", "energy": "9000 kWh"}
    record["meter_readings"] = [
        {"at": "2026-06-01T08:00", "reading": "51000 kWh"},
        {"at": "2026-06-03T08:00", "reading": "55 MWh"},
        {"at": "2026-06-07T08:00", "reading": "60000 kWh"},
    ]
    for weighing in record["weighings"][1:]:
        weighing["masses"] = {tag: f"{int(m[:4]) - 6} g" for tag, m in weighing["masses"].items()}
    return record


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    return minimal_mill(
        tmp_path_factory.mktemp("two"),
        files={SECOND + "charge.yaml": second_charge(), SECOND + "bulbs.csv": minimal_log()},
        schedule={"modifications": [MILDER], "target_mc": "12 %"},
        charge={"stock": [{**minimal_records()["charge"]["stock"][0]}], "energy": "12000 kWh"},
    )


def pages(root, kind):
    context = mill_context(open_mill(root).graph)
    return {name: MILL[kind].pages(context, name)[0] for name in MILL[kind].names(context)}


def compared(capsys, root, *names):
    capsys.readouterr()
    assert main(["compare", *names, "--folder", str(root), "--format", "json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_two_charges_of_a_kind_share_a_page_that_their_own_pages_link_to(two):
    found = pages(two, "compared-charges")
    assert list(found) == ["quercus-rubra-25mm"]
    page = found["quercus-rubra-25mm"].html
    assert 'href="../C1.html"' in page
    assert 'href="../C2.html"' in page
    species = pages(two, "species")["quercus-rubra"].html
    assert 'href="../charges/compared/quercus-rubra-25mm.html"' in species
    assert 'href="compared/quercus-rubra-25mm.html"' in pages(two, "charge")["C1"].html


def test_a_charge_alone_of_its_kind_is_compared_with_none(tmp_path):
    root = minimal_mill(tmp_path)
    assert pages(root, "compared-charges") == {}
    assert "compared/" not in pages(root, "charge")["C1"].html


def test_results_are_those_of_the_records(two, capsys):
    found = {row["name"]: row for row in compared(capsys, two, "C1", "C2")["results"]}
    assert (found["days"]["first"], found["days"]["second"]) == (6.0, 6.0)
    # 12,000 and 9,000 kWh over the 40 m³ of the record
    assert (found["energy"]["first"], found["energy"]["second"]) == (300, 225)
    readings = [12.1, 12.4, 11.8, 12.0, 12.6, 11.5, 12.2, 11.9, 12.3, 12.0, 11.7, 12.5]
    assert found["spread (SD)"]["first"] == pytest.approx(np.std(readings, ddof=1), abs=0.005)


def test_mc_between_weighings_lies_on_a_straight_line(two, capsys):
    course = {row["name"]: row for row in compared(capsys, two, "C1", "C2")["course"]}
    # the wettest half of three boards is S1 and S2; they are weighed once a day
    for day in range(1, 7):
        row = course[f"MC on day {day}"]
        assert row["second"] < row["first"]
        masses = minimal_records()["charge"]["weighings"][day]["masses"]
        oven_dry = {"S1": 2000.0, "S2": 2110.0}
        mcs = [100 * (int(masses[tag][:-2]) / dry - 1) for tag, dry in oven_dry.items()]
        assert row["first"] == pytest.approx(np.mean(mcs), abs=0.15)


def test_energy_by_day_is_the_meter_less_its_first_reading(two, capsys):
    course = {row["name"]: row for row in compared(capsys, two, "C1", "C2")["course"]}
    by_day = [course[f"energy to day {day}"] for day in range(7)]
    # 4,000 kWh in two days, then 5,000 kWh in four, over the 40 m³ of the record
    assert [row["second"] for row in by_day] == pytest.approx(
        [0, 50, 100, 131, 162, 194, 225], abs=0.6
    )
    assert [row["first"] for row in by_day] == [None] * 7  # only a total is on record
    assert main(["compare", "C1", "C2", "--folder", str(two)]) == 0
    said = capsys.readouterr().out
    assert "C1: only the total energy is on record" in said
    assert "C2: only" not in said


def test_least_heat_is_shared_out_to_its_last_kilowatt_hour(two):
    for number in ("C1", "C2"):
        dossier = charge_dossier(open_mill(two).graph, number)
        one = charge_overlay(open_mill(two).graph, number)
        heat = [kwh for _, kwh in one.least]
        assert heat == sorted(heat)
        assert heat[0] == 0.0
        assert one.least[-1] == (one.days, dossier.water.least_heat_kwh)


def test_a_page_says_which_energy_was_metered_by_day(two):
    (page,) = pages(two, "compared-charges").values()
    assert "3 readings" in page.html
    assert "the total only" in page.html
    assert "Energy, kWh/m³; thin: computed least heat" in page.html


@pytest.mark.parametrize(
    ("second", "says"),
    [
        (
            {"at": "2026-06-03T08:00", "reading": "50 MWh"},
            "it is below the one before it, 51000 kWh",
        ),
        ({"at": "2026-06-01T07:00", "reading": "52 MWh"}, "it is not after the reading before it"),
    ],
)
def test_a_meter_that_runs_back_is_refused_at_its_line(tmp_path, capsys, second, says):
    first = {"at": "2026-06-01T08:00", "reading": "51000 kWh"}
    root = minimal_mill(tmp_path, charge={"meter_readings": [first, second]})
    assert main(["check", str(root)]) == 2
    said = capsys.readouterr().err
    assert says in said
    assert re.search(r"^content/charges/2026/C1/charge\.yaml:\d+:\d+: ", said, re.MULTILINE)


def test_the_mills_change_of_a_published_schedule_is_shown_step_by_step(two):
    (page,) = pages(two, "compared-schedules").values()
    assert "Red oak 4/4, air-dried, as published" in page.html
    # 50 °C less 9 K is 105.8 °F; the modification leaves 7 K, 109.4 °F
    assert re.search(r"wet bulb 106\s°F [^;]*, now 109\s°F", page.html)
    assert "longer" in page.html  # milder air takes longer
    assert 'href="compared/red-oak-4-4.html"' in pages(two, "schedule")["red-oak-4-4"].html


def test_a_schedule_against_itself_is_no_change(two, capsys):
    found = compared(capsys, two, "red-oak-4-4", "red-oak-4-4")
    assert found["steps"] == {}
    assert found["also"] == []
    effect = found["effect"]
    assert (effect["days_ratio"], effect["peak_gradient_ratio"]) == (1.0, 1.0)
    assert effect["heat_ratio"] == [1.0, 1.0]


@pytest.mark.parametrize(
    ("names", "says"),
    [
        (["C1", "C9"], "no complete charge and no schedule 'C9'"),
        (["C1", "red-oak-4-4"], "not of one kind"),
        (["C1", "C2", "C3"], "name two charges"),
    ],
)
def test_what_cannot_be_compared_is_refused(two, capsys, names, says):
    assert main(["compare", *names, "--folder", str(two)]) == 2
    assert says in capsys.readouterr().err


def test_every_charge_of_an_overlay_has_a_style_of_its_own():
    assert MOST <= STYLES
