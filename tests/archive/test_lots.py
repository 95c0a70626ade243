"""The lot's record in the ledger: what a label binds."""

import datetime as dt
import json

import pytest
from tests.archive.sealing import (
    CHARGE,
    NOTICE,
    SEALED_AT,
    amend_charge,
    bag_of,
    change,
    kinds,
    lines_of,
    sealed_mill,
    sign_again,
    write_lines,
)
from tests.archive.sealing import key as a_key
from tests.minimal import FILES, minimal_mill
from tests.reviewed import reviewed_mill
from tests.trust.sealing import labelled_mill

from kilnfolio.archive.adding import SealRefusedError
from kilnfolio.archive.audit import audit
from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.lots import lot_state, seal_lot
from kilnfolio.archive.places import KEPT, lot_record_path
from kilnfolio.archive.remaking import Remakers
from kilnfolio.archive.seal import state
from kilnfolio.site.lot_again import lot_record_again

RECORD = canonical(
    {"kilnfolio": "1", "rules": 1, "lot": "L1", "mean": "12.1 %", "statement": "Keeps it."}
)
LATER = SEALED_AT + dt.timedelta(hours=1)


def enter(root, record=RECORD, reason=None, *, at=LATER, keys=None):
    reviewed = reviewed_mill(root)
    charges = {name: state(root, name) for name in reviewed.dossiers}
    return seal_lot(
        reviewed.folder,
        reviewed.lots["L1"],
        record,
        charges,
        "A. N. Other",
        keys or a_key(),
        at,
        reason,
    )


def changed(**values):
    return canonical({**json.loads(RECORD), **values})


@pytest.fixture
def root(tmp_path):
    return sealed_mill(tmp_path)


def test_label_digits_are_those_of_the_record(root):
    entry = enter(root)
    assert entry.seal == sha256(RECORD)[:32]
    assert entry.charges[0].dossier == read_ledger(root).of_charge("C1")[-1].dossier
    assert (root / lot_record_path("L1", 1)).read_bytes() == RECORD
    assert read_ledger(root).differences == ()
    assert read_ledger(root).of_lot("L1") == (entry,)


def test_a_lot_of_an_unsealed_charge_is_refused(tmp_path):
    minimal_mill(tmp_path)
    with pytest.raises(SealRefusedError, match="charge C1 is not sealed; seal it first"):
        enter(tmp_path)


def test_a_lot_of_a_changed_charge_is_refused(root):
    change(root / CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    with pytest.raises(SealRefusedError, match="charge C1 is not as it was sealed; amend it first"):
        enter(root)


def test_a_lot_is_sealed_once_and_amended_only_if_it_changed(root):
    with pytest.raises(SealRefusedError, match="nothing to amend"):
        enter(root, reason="why not")
    enter(root)
    with pytest.raises(SealRefusedError, match=r"sealed already, by A\. N\. Other"):
        enter(root)
    with pytest.raises(SealRefusedError, match="as it was sealed"):
        enter(root, reason="nothing changed")
    entry = enter(root, changed(mean="12.3 %"), "A reading was mended")
    assert (entry.kind, entry.amends) == ("lot-amendment", 2)
    assert read_ledger(root).differences == ()


def test_after_its_charge_is_amended_a_lot_can_be_sealed_again(root):
    enter(root)
    change(root / CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    amend_charge(root, "The scale was read again")
    entry = enter(root, reason="Its charge was amended", at=LATER + dt.timedelta(days=2))
    assert entry.charges[0].dossier == read_ledger(root).of_charge("C1")[-1].dossier


def test_the_sealed_record_is_published_whatever_is_computed_today(root):
    enter(root)
    found = lot_state(root, "L1", read_ledger(root))
    assert (found.word, found.record, found.differences) == ("sealed", RECORD, ())


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("pieces: 220", "pieces: 221", "changed"),
        ("lowest: 10 %", "lowest: 9 %", "changed"),
        ("id: L1", "# a comment\nid: L1", "sealed"),
        ("id: L1", "notes: Stays in the mill.\nid: L1", "sealed"),
        ("id: L1", "shipped: 2026-06-10T08:00\nid: L1", "sealed"),
        ("pieces: 220", "pieces: [", "changed"),
    ],
)
def test_only_a_change_that_the_customer_reads_counts_for_a_lot(root, old, new, word):
    enter(root)
    change(root / FILES["lot"], old, new)
    found = lot_state(root, "L1", read_ledger(root))
    assert found.word == word
    assert [d.where for d in found.differences] == ([FILES["lot"]] if word == "changed" else [])


def test_the_audit_of_a_mill_names_what_is_behind_a_lot_and_not_as_sealed(root):
    entry = enter(root)
    [own] = [file for file in entry.files if entry.is_own(file.path)]
    copy = KEPT / own.sha256

    def found():
        report = audit(root, again=Remakers(notice=NOTICE))
        return [(one.kind, one.where) for one in report.all_differences]

    assert found() == []
    raw = (root / copy).read_bytes()
    (root / copy).write_bytes(raw + b"#")
    assert found() == [("kept-file-missing", copy.as_posix())]
    (root / copy).write_bytes(raw)
    change(root / FILES["lot"], "pieces: 220", "pieces: 221")
    assert found() == [("file-changed", FILES["lot"])]
    (root / FILES["lot"]).unlink()
    assert found() == [("file-missing", FILES["lot"])]


def test_lots_of_an_amended_charge_are_out_of_date_until_they_are_amended(root):
    enter(root)
    change(root / CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    amend_charge(root, "The scale was read again")
    found = lot_state(root, "L1", read_ledger(root))
    assert kinds(found.differences) == {"charge-amended"}
    enter(root, reason="Its charge was amended", at=LATER + dt.timedelta(days=2))
    assert lot_state(root, "L1", read_ledger(root)).word == "amended"


def test_a_record_changed_on_the_disk_is_reported(root):
    enter(root)
    (root / lot_record_path("L1", 1)).write_bytes(changed(mean="9 %"))
    assert kinds(read_ledger(root).differences) == {"lot-record-changed"}
    (root / lot_record_path("L1", 1)).unlink()
    assert kinds(read_ledger(root).differences) == {"lot-record-missing"}


def test_a_lot_that_names_a_nonexistent_seal_is_reported(root):
    enter(root)
    lines = lines_of(root)
    charges = [{"charge": "C1", "dossier": "0" * 64}]
    write_lines(root, [*lines[:-1], sign_again(lines[-1], a_key(), charges=charges)])
    assert kinds(read_ledger(root).differences) == {"lot-rests-on-nothing"}


@pytest.mark.parametrize("seal", [0, 1])
def test_a_dropped_lot_entry_is_reported(root, seal):
    enter(root)
    enter(root, changed(mean="12.3 %"), "A reading was mended")
    lines = lines_of(root)
    del lines[seal]
    write_lines(root, lines)
    assert {"entry-missing", "chain-broken"} <= kinds(read_ledger(root).differences)


def test_a_lot_entry_signed_with_another_key_is_reported(root):
    enter(root)
    lines = lines_of(root)
    write_lines(root, [*lines[:-1], sign_again(lines[-1], a_key(2))])
    assert kinds(read_ledger(root).differences) == {"entry-key-unknown"}


# --- a lot's record recomputed --------------------------------------------------------------------


@pytest.fixture
def labelled(tmp_path):
    return labelled_mill(tmp_path / "mill")


def audit_lots(path):
    return audit(path, again=Remakers(lot=lot_record_again))


def test_a_sealed_lot_is_recomputed_from_what_is_sealed(labelled, tmp_path):
    for path in (labelled, bag_of(labelled, tmp_path / "bags")):
        report = audit_lots(path)
        assert report.holds, report.all_differences
        [lot] = report.folders[0].lots
        assert (lot.lot, lot.same) == ("L1", True)


def test_the_record_is_data_with_numbers(labelled):
    record = json.loads((labelled / lot_record_path("L1", 1)).read_bytes())
    # the readings of tests/minimal.py: twelve, their mean by hand
    readings = (12.1, 12.4, 11.8, 12.0, 12.6, 11.5, 12.2, 11.9, 12.3, 12.0, 11.7, 12.5)
    numbers = record["numbers"]
    assert numbers["readings"] == 12
    assert numbers["mean_mc_pct"] == pytest.approx(sum(readings) / 12, abs=0.01)
    assert (numbers["driest_mc_pct"], numbers["wettest_mc_pct"]) == (11.5, 12.6)
    assert (numbers["pieces"], numbers["volume_m3"]) == (220, 2.1)
    assert "customer" not in record["asked"]
    # UN/CEFACT Recommendation 20, from memory
    codes = {"mean_mc_pct": "P1", "volume_m3": "MTQ", "thickness_mm": "MMT", "pieces": "H87"}
    codes |= {"heat_core_c": "CEL", "heat_minutes": "MIN", "readings": "C62"}
    assert codes.items() <= record["units"].items()
    assert set(record["units"]) == set(numbers)
    assert sum(pack["volume_m3"] for pack in record["packs"]) == pytest.approx(2.1)
    assert all(str(pack["volume_m3"]) in pack["volume"] for pack in record["packs"])


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("mean", "8.0 %"),
        ("species", "Teak (Tectona grandis)"),
        ("statement", "Dry to 6 %."),
        ("heat_treatment", "The core was held at 56 °C for 30 minutes."),
        ("packs", [{"number": "P9", "pieces": 1, "volume": "1 m³"}]),
        ("verdict", "better than ordered"),
        ("claim", "FSC 100%"),
    ],
)
def test_a_false_fact_sealed_into_a_lot_with_the_mills_key_is_reported(
    labelled, tmp_path, key, value
):
    record = json.loads((labelled / lot_record_path("L1", 1)).read_bytes())
    forged = canonical({**record, key: value})
    reviewed = reviewed_mill(labelled)
    seal_lot(
        reviewed.folder,
        reviewed.lots["L1"],
        forged,
        {"C1": state(labelled, "C1")},
        "A. N. Other",
        a_key(),
        LATER + dt.timedelta(hours=2),
        "Put right.",
    )
    for path in (labelled, bag_of(labelled, tmp_path / "bags")):
        report = audit_lots(path)
        assert report.outcome == "differs"
        assert any(
            d.where.endswith(f"{lot_record_path('L1', 2)}/{key}") for d in report.all_differences
        ), report.all_differences


def test_an_unsupported_heat_treatment_claim_is_recorded_as_unsupported(tmp_path):
    labelled_mill(tmp_path, lot={"heat_treatment_stated": True})
    record = json.loads((tmp_path / lot_record_path("L1", 1)).read_bytes())
    assert record["heat_treatment"].startswith("Not supported by the mill's record")
    assert audit_lots(tmp_path).holds
