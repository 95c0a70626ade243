"""Sealing, amending, and whether a charge is still as it was sealed."""

import datetime as dt
import json
from itertools import pairwise

import pytest
from tests.archive import sealing
from tests.archive.sealing import verify_ledger
from tests.minimal import FILES, minimal_mill
from tests.reviewed import reviewed_mill

from kilnfolio.archive.adding import SealRefusedError
from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.keys import UnusableKeyError
from kilnfolio.archive.places import KEPT, LEDGER, dossier_path
from kilnfolio.archive.seal import seal, state

#: The Merkle tree hash of nothing (RFC 9162, 2.1.1): SHA-256 of the empty string.
EMPTY = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def waive(*checks):
    return [
        {
            "check": check,
            "reason": "Looked at and accepted.",
            "by": "A. N. Other",
            "at": "2026-06-08T09:00",
        }
        for check in checks
    ]


def test_a_seal_contains_what_it_seals(tmp_path):
    minimal_mill(tmp_path)
    dossier, entry = sealing.review(tmp_path), sealing.seal_charge(tmp_path)
    stored = (tmp_path / dossier_path("C1", 1)).read_bytes()
    assert stored == canonical(dossier)
    assert entry.dossier == sha256(stored)
    assert (entry.number, entry.kind, entry.amends, entry.before) == (1, "seal", None, EMPTY)
    assert {file.path for file in entry.inputs} == {file.path for file in dossier.inputs}
    for file in entry.files:
        raw = (tmp_path / file.path).read_bytes()
        assert (file.sha256, file.size) == (sha256(raw), len(raw))
        assert (tmp_path / KEPT / file.sha256).read_bytes() == raw
    assert FILES["sources"] in {file.path for file in entry.supporting}
    assert verify_ledger(tmp_path) == ()


def test_a_ledger_line_is_canonical_json_and_chained(tmp_path):
    sealing.two_charges(tmp_path)
    first = sealing.seal_charge(tmp_path)
    second = sealing.seal_charge(tmp_path, "C2")
    lines = sealing.lines_of(tmp_path)
    assert [json.loads(line) for line in lines] == [
        json.loads(e.model_dump_json()) for e in (first, second)
    ]
    assert all(canonical(json.loads(line)) == line for line in lines)
    # RFC 9162, 2.1.1: the hash of a tree of one leaf is SHA-256 of a zero byte and the leaf
    assert second.before == sha256(b"\0" + lines[0])


def test_a_charge_is_unsealed_then_sealed_then_amended(tmp_path):
    minimal_mill(tmp_path)
    assert state(tmp_path, "C1").word == "unsealed"
    sealing.seal_charge(tmp_path)
    assert state(tmp_path, "C1").word == "sealed"
    sealing.change(tmp_path / sealing.CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    changed = state(tmp_path, "C1")
    assert changed.word == "changed"
    sealing.amend_charge(tmp_path, "The mass was misread.")
    amended = state(tmp_path, "C1")
    assert (amended.word, len(amended.entries), amended.differences) == ("amended", 2, ())
    assert (amended.last.amends, amended.last.reason) == (1, "The mass was misread.")
    assert verify_ledger(tmp_path) == ()


def test_a_changed_number_is_reported_with_its_file(tmp_path):
    sealing.sealed_mill(tmp_path)
    sealing.change(tmp_path / sealing.CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    found = {d.where: d for d in state(tmp_path, "C1").differences}
    assert found[sealing.CHARGE].kind == "file-changed"
    place = f"{dossier_path('C1', 1)}/boards/S1/green_g"
    assert (found[place].sealed, found[place].found) == ("2410", "2411")
    # MC = 100 (m - m0)/m0 stays as the sections give it; m0 = m/1.205 changes with the mass.
    assert f"{dossier_path('C1', 1)}/boards/S1/oven_dry_g" in found
    assert not any("/boards/S2/" in where for where in found)


def test_a_changed_log_is_reported(tmp_path):
    sealing.sealed_mill(tmp_path)
    log = tmp_path / sealing.LOG
    log.write_bytes(log.read_bytes() + b"\n")  # a blank line changes no number
    found = state(tmp_path, "C1")
    assert found.word == "changed"
    assert [(d.kind, d.where) for d in found.differences] == [("file-changed", sealing.LOG)]


def test_no_charge_counts_as_sealed_under_an_invalid_ledger(tmp_path):
    sealing.sealed_mill(tmp_path)
    [line] = sealing.lines_of(tmp_path)
    sealing.write_lines(tmp_path, [sealing.change_entry(line, by="Somebody Else")])
    found = state(tmp_path, "C1")
    assert found.word == "changed"
    assert sealing.kinds(found.differences) == {"entry-edited"}


# --- what is refused ------------------------------------------------------------------------------


def refused_finding(charge):
    """State an MC that does not follow from the masses."""
    charge["weighings"][2]["stated_mc"] = {"S1": "50 %"}


def test_a_failed_check_prevents_sealing_until_it_is_answered(tmp_path):
    minimal_mill(tmp_path, charge=refused_finding)
    refused = [f.check for f in sealing.review(tmp_path).findings if f.outcome == "fail"]
    assert refused
    with pytest.raises(SealRefusedError, match=f"{refused[0]} fails and is not answered"):
        sealing.seal_charge(tmp_path)
    assert not (tmp_path / LEDGER).exists()

    def waived(charge):
        refused_finding(charge)
        charge["waivers"] = waive(*refused)

    minimal_mill(tmp_path, charge=waived)
    assert sealing.seal_charge(tmp_path).number == 1


def test_a_charge_is_sealed_only_once(tmp_path):
    sealing.sealed_mill(tmp_path)
    with pytest.raises(SealRefusedError, match=r"sealed already.*kilnfolio amend C1"):
        sealing.seal_charge(tmp_path)


def test_an_amendment_needs_a_seal_a_reason_and_a_change(tmp_path):
    minimal_mill(tmp_path)
    with pytest.raises(SealRefusedError, match="not sealed"):
        sealing.amend_charge(tmp_path, "No seal yet.")
    sealing.seal_charge(tmp_path)
    with pytest.raises(SealRefusedError, match="needs a reason"):
        sealing.amend_charge(tmp_path, "  ")
    with pytest.raises(SealRefusedError, match="nothing to amend"):
        sealing.amend_charge(tmp_path, "Nothing changed.")


def test_a_file_that_changed_after_its_review_is_not_sealed(tmp_path):
    minimal_mill(tmp_path)
    reviewed = reviewed_mill(tmp_path)
    log = tmp_path / sealing.LOG
    log.write_bytes(log.read_bytes() + b"\n")
    with pytest.raises(SealRefusedError, match=r"bulbs\.csv changed while it was being sealed"):
        seal(
            reviewed.folder,
            reviewed.dossiers["C1"],
            "A. N. Other",
            sealing.key(),
            sealing.SEALED_AT,
        )
    assert read_ledger(tmp_path).entries == ()


@pytest.mark.parametrize("by", ["", " ", "x" * 121])
def test_an_empty_name_is_refused(tmp_path, by):
    minimal_mill(tmp_path)
    reviewed = reviewed_mill(tmp_path)
    with pytest.raises(SealRefusedError, match=r"^by "):
        seal(reviewed.folder, reviewed.dossiers["C1"], by, sealing.key(), sealing.SEALED_AT)
    assert not (tmp_path / LEDGER).exists()


def test_a_time_before_the_last_entry_is_refused(tmp_path):
    sealing.two_charges(tmp_path)
    sealing.seal_charge(tmp_path)
    with pytest.raises(SealRefusedError, match="check the clock"):
        sealing.seal_charge(tmp_path, "C2", at=sealing.SEALED_AT - dt.timedelta(seconds=1))


def test_a_time_without_a_zone_is_refused(tmp_path):
    minimal_mill(tmp_path)
    with pytest.raises(ValueError, match="zone"):
        sealing.seal_charge(tmp_path, at=dt.datetime(2026, 6, 8))  # noqa: DTZ001


def test_a_key_that_is_not_the_mills_does_not_seal(tmp_path):
    sealing.two_charges(tmp_path)
    sealing.seal_charge(tmp_path)
    with pytest.raises(UnusableKeyError, match="not listed"):
        sealing.seal_charge(tmp_path, "C2", keys=sealing.key(2))
    assert len(read_ledger(tmp_path).entries) == 1


def test_nothing_is_added_to_an_invalid_ledger(tmp_path):
    sealing.two_charges(tmp_path)
    sealing.seal_charge(tmp_path)
    [line] = sealing.lines_of(tmp_path)
    sealing.write_lines(tmp_path, [sealing.change_entry(line, by="Somebody Else")])
    with pytest.raises(SealRefusedError, match=r"does not hold(.|\n)*entry 1 \(C1\)"):
        sealing.seal_charge(tmp_path, "C2")


def test_amendments_keep_every_version(tmp_path):
    sealing.sealed_mill(tmp_path)
    masses = ["2410 g", "2411 g", "2412 g", "2413 g"]
    for day, (old, new) in enumerate(pairwise(masses), 1):
        sealing.change(tmp_path / sealing.CHARGE, f"green_mass: {old}", f"green_mass: {new}")
        sealing.amend_charge(tmp_path, f"Weighed again, {new}.", days=day)
    entries = read_ledger(tmp_path).of_charge("C1")
    assert [(e.number, e.kind, e.amends) for e in entries] == [
        (1, "seal", None),
        (2, "amendment", 1),
        (3, "amendment", 2),
        (4, "amendment", 3),
    ]
    for ordinal, (entry, mass) in enumerate(zip(entries, (2410, 2411, 2412, 2413), strict=True), 1):
        kept = json.loads((tmp_path / dossier_path("C1", ordinal)).read_bytes())
        assert kept["boards"][0]["green_g"] == mass
        record = next(file for file in entry.inputs if file.path == sealing.CHARGE)
        assert f"green_mass: {mass} g" in (tmp_path / KEPT / record.sha256).read_text()
    assert verify_ledger(tmp_path) == ()


def test_a_difference_goes_to_json_and_back():
    difference = Difference(kind="number-differs", where="/a/b", what="no", sealed="1", found="2")
    assert Difference.model_validate_json(difference.model_dump_json()) == difference
