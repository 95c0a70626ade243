"""Charges made from plans: repeatable, physical, and with only their own fault."""

import datetime as dt
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo import scenario
from demo.faults import EXPECTED
from demo.instruments import transposed
from demo.library import Library, read_library
from demo.simulate import clean, make_charge
from demo.yamltext import Line, dump
from demo.year import CHARGES, LOTS
from kilnfolio.records.log import read_log
from kilnfolio.records.logger import LoggerProfile
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml

PROJECT = Path(__file__).resolve().parents[2]
PLANS = {plan.id: plan for plan in CHARGES}


@pytest.fixture(scope="module")
def library() -> Library:
    return read_library(PROJECT / "schedules")


@pytest.fixture(scope="module")
def cherry(library):
    return make_charge(PLANS["HB-25-043"], library)


def test_the_same_plan_and_seed_give_the_same_bytes(library):
    first, second, other = (make_charge(PLANS["HB-25-048"], library, seed) for seed in (7, 7, 8))
    assert dump(first.record) == dump(second.record)
    assert first.files == second.files
    assert first.files != other.files


def _masses(charge) -> np.ndarray:
    return np.array(
        [
            [int(mass.split()[0]) for mass in done["masses"].values()]
            for done in charge.record["weighings"]
        ]
    )


def test_boards_lose_water_until_they_are_conditioned(cherry):
    """Until equalizing the air is always drier than the wood, so no board may gain."""
    start = cherry.record["equalizing"]["start"]
    drying = [done["at"] < start for done in cherry.record["weighings"]]
    masses = _masses(cherry)[drying]
    assert (np.diff(masses, axis=0) <= 2).all(), "two grams is the scale's own scatter"
    final = _masses(cherry)[-2:]
    assert (final[1] > final[0]).all(), "conditioning puts water back"


def _log(charge, tmp_path: Path):
    ((name, raw),) = charge.files.items()
    (tmp_path / name).write_bytes(raw)
    record = scenario.LOGGERS[charge.record["log"][0]["profile"]]
    profile = validate(parse_yaml(dump(record).encode(), "profile"), LoggerProfile).record
    return read_log(tmp_path / name, name, profile, scenario.ZONE), profile


@pytest.mark.parametrize("plan", ["HB-25-043", "HB-26-008"], ids=["autumn", "spring"])
def test_the_clock_change_leaves_no_gap(plan, library, tmp_path, cherry):
    """Clocks changed on 2 November 2025 and 8 March 2026, tz database, America/Toronto."""
    charge = cherry if plan == "HB-25-043" else make_charge(PLANS[plan], library)
    log, profile = _log(charge, tmp_path)
    assert profile.time.clock == "local"
    assert set(np.diff(log.times).astype(int)) == {300}
    text = next(iter(charge.files.values())).decode("windows-1252")
    if plan == "HB-25-043":
        assert text.count("\n11/02/2025 01:30;") == 2
    else:
        assert "\n03/08/2026 02:" not in text
        assert "\n03/08/2026 03:00;" in text


def test_the_wet_bulb_is_never_above_the_dry_bulb(cherry, tmp_path):
    log, _ = _log(cherry, tmp_path)
    excess = log.channels["wet-bulb"] - log.channels["dry-bulb"]
    assert np.nanmax(excess) <= 0.2


def test_the_operator_steps_at_the_triggers(cherry, library):
    """A step is made only once the sheet's controlling MC has reached its trigger."""
    assert max(_early_by(cherry, library)) <= 0.0


def test_steps_are_a_day_apart(cherry):
    times = [
        dt.datetime.fromisoformat(change["at"]).replace(tzinfo=scenario.ZONE)
        for change in cherry.record["step_changes"]
    ]
    hours = np.diff([time.timestamp() for time in times]) / 3600.0
    assert (hours >= 24.0).all()


def test_equalizing_waits_for_the_boards(cherry):
    """Begun with the driest at target - 2, ended with the wettest at the target (Wengert)."""
    start, end = (cherry.record["equalizing"][key] for key in ("start", "end"))
    before = [done for done in cherry.record["weighings"] if done["at"] <= start][-1]
    after = [done for done in cherry.record["weighings"] if done["at"] <= end][-1]
    assert min(before["stated_mc"].values()) == pytest.approx(6.0, abs=0.5)
    assert max(after["stated_mc"].values()) <= 8.0


def test_the_transposed_mass_changes_one_figure_only(library):
    plan = PLANS["HB-26-019"]
    slipped = make_charge(plan, library)
    dry = {
        board["id"]: int(board["stated_oven_dry_mass"].split()[0])
        for board in slipped.record["boards"]
    }
    wrong = [
        (done["at"], name, said)
        for done in slipped.record["weighings"]
        for name, said in done["stated_mc"].items()
        if abs(100 * (int(done["masses"][name].split()[0]) / dry[name] - 1) - said) > 0.06
    ]
    assert [(name, said) for _, name, said in wrong] == [
        (slipped.planted["board"], slipped.planted["written_pct"])
    ]
    assert slipped.planted["right_pct"] - slipped.planted["written_pct"] == pytest.approx(1.0)


def test_one_core_stays_half_a_kelvin_too_cold(library, tmp_path):
    log, _ = _log(make_charge(PLANS["HB-26-006"], library), tmp_path)
    highest = [float(np.nanmax(log.channels[f"core-{n}"])) for n in range(1, 5)]
    assert sorted(temp >= 56.0 for temp in highest) == [False, True, True, True]
    assert min(highest) == pytest.approx(55.5, abs=0.3)


def _early_by(charge, library) -> list[float]:
    steps, early = library.steps(charge.plan.schedule), []
    for change in charge.record["step_changes"][1:]:
        known = [done for done in charge.record["weighings"] if done["at"] <= change["at"]][-1]
        early.append(known["stated_controlling_mc"] - steps[change["step"] - 2].until_mc_pct)
    return early


def test_one_step_is_early_by_two_points_and_none_without_the_fault(library):
    plan = PLANS["HB-26-011"]
    early = sorted(_early_by(make_charge(plan, library), library))
    assert early[-1] == pytest.approx(2.0, abs=0.7)
    assert early[-2] <= 0.0
    assert max(_early_by(make_charge(clean(plan), library, seed=3), library)) <= 0.0


# --- the year as planned ------------------------------------------------------------------------


def test_each_fault_has_a_charge_of_its_own():
    planted = [plan.fault.kind for plan in CHARGES if plan.fault]
    assert sorted(planted) == sorted(EXPECTED)
    assert len(CHARGES) - len(planted) >= 6


def test_every_charge_goes_out_in_a_lot_and_no_pack_twice():
    assert {lot.charge for lot in LOTS} == set(PLANS)
    packs = [(lot.charge, pack) for lot in LOTS for pack in lot.packs]
    assert len(packs) == len(set(packs))


@pytest.mark.parametrize("kiln", scenario.KILNS)
def test_a_kiln_holds_one_charge_at_a_time(kiln):
    """By the records as written: the next is loaded after the last was unloaded."""
    spans = []
    for path in sorted((PROJECT / "content/charges").glob("*/*/charge.yaml")):
        record = parse_yaml(path.read_bytes(), path.name).value
        if record["kiln"] == kiln:
            spans.append((record["loaded"][:16], record["unloaded"][:16]))
    assert len(spans) >= 5
    spans.sort()
    assert all(before[1] <= after[0] for before, after in pairwise(spans))


# --- pieces ---------------------------------------------------------------------------------------


@given(st.integers(100, 99999), st.integers(1, 400))
def test_a_transposed_mass_has_the_same_digits_and_reads_low(mass, drop):
    wrong = transposed(mass, drop, 50.0)
    if wrong is not None:
        assert sorted(str(wrong).zfill(len(str(mass)))) == sorted(str(mass))
        assert 50 < wrong <= mass - drop


_TEXT = st.text(
    st.characters(
        codec="utf-8",
        exclude_categories=("Cc", "Cs", "Zl", "Zp"),
        exclude_characters="\ufeff\ufffe\uffff",
    ),
    min_size=1,
    max_size=40,
)


@given(_TEXT.map(str.strip).filter(bool))
def test_text_survives_yaml_in_both_styles(text):
    written = dump({"text": text, "row": Line(text=text)})
    assert parse_yaml(written.encode(), "x").value == {"text": text, "row": {"text": text}}


@given(_TEXT.map(lambda text: " ".join(text.split())).filter(bool), st.integers(2, 40))
def test_long_text_is_folded_and_comes_back_whole(text, times):
    sentence = " ".join([text] * times)
    assert parse_yaml(dump({"notes": sentence}).encode(), "x").value == {"notes": sentence}
