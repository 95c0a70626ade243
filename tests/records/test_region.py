"""A region's practice is data, and decides what a charge leaves open."""

import pytest
import yaml
from tests.conftest import PROJECT
from tests.minimal import DROP, minimal_mill
from tests.reviewed import reviewed_mill

from kilnfolio.records.region import regions

LIBRARY = yaml.load((PROJECT / "schedules/sources.yaml").read_text("utf-8"), yaml.CSafeLoader)[
    "publications"
]
#: MC of the three boards of the minimal mill by its oven-dry masses, at the last weighing [%].
LAST = {"S1": 12.28, "S2": 12.11, "S3": 11.94}


@pytest.mark.parametrize(
    ("region", "rule", "mc", "formula"),
    [
        (
            "North American",
            "wettest half",
            (LAST["S1"] + LAST["S2"]) / 2,
            "mean of the wettest half",
        ),
        ("British", "wettest board", LAST["S1"], "MC of the wettest board"),
        ("Australasian", "wettest board", LAST["S1"], "MC of the wettest board"),
        ("continental", "mean", sum(LAST.values()) / 3, "mean of all boards"),
    ],
)
def test_the_controlling_mc_follows_the_practice(tmp_path, region, rule, mc, formula):
    root = minimal_mill(tmp_path, mill={"practice": region})
    dossier = reviewed_mill(root).dossiers["C1"]
    assert dossier.control_rule == rule
    # masses of two kilograms are written to the gram: 0.05 point
    assert dossier.controlling[-1].mc_pct == pytest.approx(mc, abs=0.06)
    (working,) = [one for one in dossier.workings if one.name.startswith("Controlling MC")]
    assert formula in working.formula
    assert float(working.result.split("\u00a0")[0].split(" ")[0]) == pytest.approx(mc, abs=0.1)


def test_a_charge_that_says_otherwise_prevails(tmp_path):
    root = minimal_mill(tmp_path, mill={"practice": "British"}, charge={"control_rule": "mean"})
    assert reviewed_mill(root).dossiers["C1"].control_rule == "mean"


def test_an_open_charge_follows_the_practice_too(tmp_path):
    root = minimal_mill(
        tmp_path, mill={"practice": "British"}, charge={"ended": DROP, "unloaded": DROP}
    )
    assert reviewed_mill(root).open_reviews["C1"].dossier.control_rule == "wettest board"


def test_every_custom_states_its_source_and_status():
    for region in regions().values():
        for name in type(region).model_fields:
            if name == "words":
                continue
            custom = getattr(region, name)
            if custom.status == "read":
                assert custom.source.split(",")[0] in LIBRARY
        assert region.words.keys() == regions()["British"].words.keys()
