"""The lot's record in the ledger: what a label binds."""

import datetime as dt
import json

import pytest
from tests.archive.yard import (
    CHARGE,
    SEALED_AT,
    amend_charge,
    change,
    kinds,
    lines_of,
    sealed_mill,
    sign_again,
    write_lines,
)
from tests.archive.yard import key as a_key
from tests.minimal import minimal_mill

from kilnfolio.archive.adding import SealRefusedError
from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.archive.ledger import lot_record_path, read_ledger
from kilnfolio.archive.lots import lot_state, seal_lot
from kilnfolio.archive.seal import state
from kilnfolio.pipeline import review_folder
from kilnfolio.review import versions
from kilnfolio.review.versions import RulesChange

RECORD = canonical({"kilnfolio": "1", "rules": 1, "lot": "L1", "mean": "12.1 %",
                    "statement": "Keeps it."})
FACTS = frozenset({"lot", "mean"})
LATER = SEALED_AT + dt.timedelta(hours=1)


def enter(root, record=RECORD, reason=None, *, at=LATER, keys=None):
    reviewed = review_folder(root)
    charges = {name: state(root, name, found) for name, found in reviewed.dossiers.items()}
    return seal_lot(root, reviewed.lots["L1"], record, charges, "A. N. Other", keys or a_key(), at,
                    reason)


def changed(**values):
    return canonical({**json.loads(RECORD), **values})


@pytest.fixture
def root(tmp_path):
    return sealed_mill(tmp_path)


def test_label_digits_are_those_of_the_record(root):
    entry = enter(root)
    assert entry.seal == sha256(RECORD)[:16]
    assert entry.charges[0].dossier == read_ledger(root).of("C1")[-1].dossier
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


def test_a_lot_is_sealed_once_and_amended_only_when_it_changed(root):
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


def test_an_amended_charge_lets_its_lot_be_sealed_anew(root):
    enter(root)
    change(root / CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    amend_charge(root, "The scale was read again")
    entry = enter(root, reason="Its charge was amended", at=LATER + dt.timedelta(days=2))
    assert entry.charges[0].dossier == read_ledger(root).of("C1")[-1].dossier


def test_words_of_another_version_leave_the_sealed_record_standing(root):
    enter(root)
    reworded = changed(kilnfolio="2", statement="The order is kept.")
    found = lot_state(root, "L1", reworded, read_ledger(root), FACTS)
    assert (found.word, found.record) == ("sealed", RECORD)
    assert "this version gives statement otherwise" in found.notes[0]


@pytest.mark.parametrize(("values", "named"), [
    ({"statement": "The order is kept."}, "/statement"),  # by the same version: a change
    ({"kilnfolio": "2", "mean": "11.0 %"}, "/mean")])  # a fact, by any version
def test_a_moved_fact_breaks_the_seal(root, values, named):
    enter(root)
    found = lot_state(root, "L1", changed(**values), read_ledger(root), FACTS)
    assert found.word == "changed"
    assert any(difference.where.endswith(named) for difference in found.differences)


def test_a_fact_that_later_rules_say_they_move_leaves_the_sealed_record_standing(root, monkeypatch):
    enter(root)
    newer = changed(rules=2, mean="12.2 %")
    monkeypatch.setattr(versions, "CHANGES", (
        RulesChange(1, "x"), RulesChange(2, "The mean is rounded anew.", (), frozenset({"mean"}))))
    found = lot_state(root, "L1", newer, read_ledger(root), FACTS)
    assert (found.word, found.record) == ("sealed", RECORD)
    other = changed(rules=2, mean="12.2 %", lot="L2")
    assert lot_state(root, "L1", other, read_ledger(root), FACTS).word == "changed"


def test_a_record_changed_on_the_disk_is_named(root):
    enter(root)
    (root / lot_record_path("L1", 1)).write_bytes(changed(mean="9 %"))
    assert kinds(read_ledger(root).differences) == {"lot-record-changed"}
    (root / lot_record_path("L1", 1)).unlink()
    assert kinds(read_ledger(root).differences) == {"lot-record-missing"}


def test_a_lot_that_names_a_seal_nobody_made_is_named(root):
    enter(root)
    lines = lines_of(root)
    charges = [{"charge": "C1", "dossier": "0" * 64}]
    write_lines(root, [*lines[:-1], sign_again(lines[-1], a_key(), charges=charges)])
    assert kinds(read_ledger(root).differences) == {"lot-rests-on-nothing"}


@pytest.mark.parametrize("seal", [0, 1])
def test_a_dropped_entry_is_named(root, seal):
    enter(root)
    enter(root, changed(mean="12.3 %"), "A reading was mended")
    lines = lines_of(root)
    del lines[seal]
    write_lines(root, lines)
    assert {"entry-missing", "chain-broken"} <= kinds(read_ledger(root).differences)


def test_a_lot_entry_signed_with_another_key_is_named(root):
    enter(root)
    lines = lines_of(root)
    write_lines(root, [*lines[:-1], sign_again(lines[-1], a_key(2))])
    assert kinds(read_ledger(root).differences) == {"entry-key-unknown"}
