"""No false alarm: clean charges of the simulation, whatever chance does, raise no finding.

Few by default, because each is a whole charge. More when asked for:
KILNFOLIO_SEEDS=200 sh builder/run test tests/review/test_seeds.py
tries 200 seeds, each with the next plan of the demonstration mill's year, its fault taken out.
"""

from __future__ import annotations

import dataclasses
import os
from pathlib import Path

import pytest

from demo.library import Library, read_library
from demo.plans import ChargePlan
from demo.recording import lot_record
from demo.simulate import MadeCharge, clean, make_charge
from demo.yamltext import dump
from demo.year import CHARGES, LOTS
from kilnfolio.records.charge import Charge
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.lot import Lot
from kilnfolio.records.model import validate
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.review.dossier import Finding
from kilnfolio.review.review import review_charge, review_lot

PROJECT = Path(__file__).resolve().parents[2]
SEEDS = int(os.environ.get("KILNFOLIO_SEEDS", "0"))
FIRST = int(os.environ.get("KILNFOLIO_SEEDS_FROM", "0"))
#: The plans that are quick to simulate.
QUICK = ("HB-25-048", "HB-26-015", "HB-26-027")


def chosen() -> list[tuple[str, int]]:
    """Return plans with seeds: every plan in turn where many are asked for, else the quick ones."""
    if not SEEDS:
        return [(name, seed) for seed, name in enumerate(QUICK, start=1)]
    names = [plan.id for plan in CHARGES]
    return [(names[seed % len(names)], seed) for seed in range(FIRST, FIRST + SEEDS)]


@pytest.fixture(scope="module")
def library() -> Library:
    return read_library(PROJECT / "schedules")


@pytest.fixture(scope="module")
def mill() -> MillFolder:
    return checked_mill(PROJECT)


def with_charge(mill: MillFolder, made: MadeCharge, home: Path) -> MillFolder:
    """Return the mill with one charge made anew, its files under another root, and its lots."""
    zone, name = mill.mill.record.zone, made.plan.id
    located = mill.charges[name]
    folder = home / Path(located.file).parent
    folder.mkdir(parents=True)
    text = dump(made.record).encode()
    (home / located.file).write_bytes(text)
    for file, raw in made.files.items():
        (folder / file).write_bytes(raw)
    for kind in ("schedules", "content/kilns", "content/loggers", "content/mill.yaml"):
        (home / kind).parent.mkdir(parents=True, exist_ok=True)
        (home / kind).symlink_to(mill.root / kind)
    lots = {
        plan.id: validate(
            parse_yaml(dump(lot_record(plan, made)).encode(), mill.lots[plan.id].file),
            Lot,
            zone=zone,
        )
        for plan in LOTS
        if plan.charge == name
    }
    charge = validate(parse_yaml(text, located.file), Charge, zone=zone)
    return dataclasses.replace(
        mill, root=home, charges={**mill.charges, name: charge}, lots={**mill.lots, **lots}
    )


def raised(folder: MillFolder, plan: ChargePlan) -> list[Finding]:
    """Return what asks for an answer in the review of a charge and of its lots."""
    dossier = review_charge(folder, plan.id)
    lots = [
        review_lot(folder, lot.id, {plan.id: dossier}) for lot in LOTS if lot.charge == plan.id
    ]
    findings = [*dossier.findings, *(finding for lot in lots for finding in lot.findings)]
    return [f for f in findings if f.outcome in ("question", "fail")]


@pytest.mark.parametrize(("name", "seed"), chosen())
def test_a_clean_charge_raises_nothing(
    name: str, seed: int, library: Library, mill: MillFolder, tmp_path: Path
) -> None:
    plan = clean(next(plan for plan in CHARGES if plan.id == name))
    made = make_charge(plan, library, seed)
    found = raised(with_charge(mill, made, tmp_path), plan)
    assert [f"{f.check}: {f.message}" for f in found] == []
