"""The demonstration mill's year: what is planted is found, and nothing else is raised.

``tests/data/demo-truth.yaml`` is written by the simulation that made the records; it says what
really happened in each charge, which the records do not.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
import yaml
from tests.reviewed import demo_mill

from kilnfolio.records.folder import MillFolder
from kilnfolio.review.dossier import Dossier, Finding, LotDossier
from kilnfolio.review.review import review_charge, review_lot

PROJECT = Path(__file__).resolve().parents[2]
TRUTH: dict[str, Any] = yaml.load(
    (PROJECT / "tests/data/demo-truth.yaml").read_text("utf-8"), yaml.CSafeLoader
)["charges"]
FAULTY = [name for name, truth in TRUTH.items() if not truth["clean"]]


@pytest.fixture(scope="module")
def mill() -> MillFolder:
    return demo_mill()


@pytest.fixture(scope="module")
def charges(mill: MillFolder) -> dict[str, Dossier]:
    return {name: review_charge(mill, name) for name in mill.charges}


@pytest.fixture(scope="module")
def lots(mill: MillFolder, charges: dict[str, Dossier]) -> dict[str, LotDossier]:
    return {name: review_lot(mill, name, charges) for name in mill.lots}


#: Lots that the invented mill offers for an order they do not meet, and the check that stops each.
HELD = {"HBL-26-017": "lot-moisture"}


def raised(name: str, charges: dict[str, Dossier], lots: dict[str, LotDossier]) -> list[Finding]:
    """Return what asks for an answer about a charge, in its own review and in its lots'."""
    findings = [
        *charges[name].findings,
        *(
            finding
            for lot in lots.values()
            if name in lot.charges and lot.lot not in HELD
            for finding in lot.findings
        ),
    ]
    return [f for f in findings if f.outcome in ("question", "fail")]


def test_the_truth_file_covers_every_charge(mill: MillFolder) -> None:
    assert set(TRUTH) == set(mill.charges)
    assert len(FAULTY) >= 5


@pytest.mark.parametrize("name", TRUTH)
def test_findings_are_the_planted_faults_and_what_follows_from_them(
    name: str, charges: dict[str, Dossier], lots: dict[str, LotDossier]
) -> None:
    truth = TRUTH[name]
    expected = {*truth.get("must", ()), *truth.get("entails", ())}
    assert {f.check for f in raised(name, charges, lots)} == expected


@pytest.mark.parametrize("name", FAULTY)
def test_findings_name_the_planted_fault(
    name: str, charges: dict[str, Dossier], lots: dict[str, LotDossier]
) -> None:
    """The finding names the board, probe, step or number given in the truth file."""
    truth = TRUTH[name]
    said = [f for f in raised(name, charges, lots) if f.check in truth["must"]]
    planted = truth["planted"]
    for key in ("board", "probe"):
        if key in planted:
            assert {f.subject for f in said} == {planted[key]}
    numbers = {"step": "step {}", "readings": "{} readings", "written_pct": "not {} %"}
    for key, words in numbers.items():
        if key in planted:
            assert all(words.format(planted[key]) in f.message for f in said)
    assert all(f.where for f in said)


@pytest.mark.parametrize(
    "name", [name for name in FAULTY if "at" in TRUTH[name].get("planted", {})]
)
def test_a_finding_says_when_its_fault_began(
    name: str, mill: MillFolder, charges: dict[str, Dossier], lots: dict[str, LotDossier]
) -> None:
    """Not earlier, and no later than the next round: boards and bulbs are read each day."""
    truth = TRUTH[name]
    planted = dt.datetime.fromisoformat(truth["planted"]["at"])
    planted = planted.replace(tzinfo=mill.mill.record.zone)
    said = [f.at for f in raised(name, charges, lots) if f.check in truth["must"] and f.at]
    assert said
    assert dt.timedelta() <= min(said) - planted <= dt.timedelta(hours=36)


def test_findings_point_at_lines_that_exist(
    mill: MillFolder, charges: dict[str, Dossier], lots: dict[str, LotDossier]
) -> None:
    for name in FAULTY:
        for finding in raised(name, charges, lots):
            for spot in finding.where:
                lines = (mill.root / spot.file).read_bytes().count(b"\n")
                assert 1 <= spot.line <= lines


def test_a_slip_is_found_on_its_line(
    mill: MillFolder, charges: dict[str, Dossier], lots: dict[str, LotDossier]
) -> None:
    name = next(name for name in FAULTY if TRUTH[name]["fault"] == "arithmetic slip")
    (finding,) = raised(name, charges, lots)
    line = (
        (mill.root / finding.where[0].file)
        .read_text("utf-8")
        .splitlines()[finding.where[0].line - 1]
    )
    planted = TRUTH[name]["planted"]
    assert f"{planted['board']}: {planted['written_pct']}" in line


def test_every_clean_lot_meets_its_order(lots: dict[str, LotDossier]) -> None:
    """The invented mill ships what was ordered; lots with a doubtful record are left out."""
    for lot in (one for one in lots.values() if one.lot not in HELD):
        doubtful = any(
            not TRUTH[name]["clean"]
            and any(check in ("stated-mc", "equalizing-end") for check in TRUTH[name]["must"])
            for name in lot.charges
        )
        assert lot.judgement.met is (None if doubtful else True), lot.lot


@pytest.mark.parametrize("name", HELD)
def test_a_lot_kept_at_the_mill_fails_only_its_order(
    name: str, lots: dict[str, LotDossier]
) -> None:
    failed = [one.check for one in lots[name].findings if one.outcome in ("question", "fail")]
    assert (lots[name].judgement.met, failed) == (False, [HELD[name]])


def test_heat_treatment_is_stated_only_if_every_probe_was_hot_enough(
    mill: MillFolder, lots: dict[str, LotDossier]
) -> None:
    for name, lot in lots.items():
        if not mill.lots[name].record.heat_treatment_stated:
            assert lot.heat_treated is None
        else:
            assert lot.heat_treated is not any(
                TRUTH[charge].get("fault") == "cold core" for charge in lot.charges
            )
