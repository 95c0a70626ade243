"""A seal under changing rules: what changed is reported plainly, and nothing else is excused."""

import json
import shutil

import pytest
from tests.archive import sealing
from tests.archive.test_audit import mend_manifests
from tests.trust.sealing import seal_lot_again

from kilnfolio.archive.audit import audit
from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.archive.places import dossier_path
from kilnfolio.archive.seal import state
from kilnfolio.cli import main
from kilnfolio.review import review, versions
from kilnfolio.review.versions import RulesChange

#: The current rules, and the number of the next version.
CURRENT = versions.CHANGES
NOW, NEXT = CURRENT[-1].version, CURRENT[-1].version + 1


def later_rules(monkeypatch, *places: str, record: frozenset[str] = frozenset()) -> None:
    """Add one more version of the rules, with other wording for the psychrometer."""
    monkeypatch.setattr(
        versions,
        "CHANGES",
        (*CURRENT, RulesChange(NEXT, "The psychrometer is worded anew.", places, record)),
    )
    monkeypatch.setattr(review, "PSYCHROMETER", "worded anew")


def kinds(report) -> list[tuple[str, str]]:
    return [(d.kind, d.where.partition(".json")[2]) for d in report.all_differences]


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    return sealing.sealed_mill(tmp_path_factory.mktemp("sealed"))


@pytest.fixture
def root(sealed, tmp_path):
    return shutil.copytree(sealed, tmp_path / "mill")


def test_the_same_rules_excuse_no_difference_not_even_a_word(root, monkeypatch):
    monkeypatch.setattr(review, "PSYCHROMETER", "worded anew")
    assert kinds(audit(root)) == [("value-differs", "/rules/psychrometer")]


def test_another_package_version_with_the_same_rules_is_only_noted(root, monkeypatch):
    monkeypatch.setattr(review, "__version__", "99.0")
    report = audit(root)
    assert report.outcome == "identical, key not confirmed"
    assert [note.kind for note in report.folders[0].seals[0].notes] == ["version-differs"]
    assert state(root, "C1").word == "sealed"


def test_a_declared_change_of_rules_keeps_the_seal_valid_and_the_figure_unconfirmed(
    root, monkeypatch, capsys
):
    sealed = (root / dossier_path("C1", 1)).read_bytes()
    later_rules(monkeypatch, "/rules/psychrometer")
    found = state(root, "C1")
    assert (found.word, found.differences) == ("sealed", ())
    assert (root / dossier_path("C1", 1)).read_bytes() == sealed
    assert main(["audit", str(root)]) == 4
    text = capsys.readouterr().out
    # not the wording of a clean audit: the figure was not confirmed, and the report says how to
    # confirm it
    assert "identical" not in text
    assert "incomplete: nothing differs, but 1 figure of 1 charge not confirmed" in text
    assert f"rules {NEXT}: The psychrometer is worded anew." in text
    assert "given differently: value-differs" in text
    assert "audit with that version too" in text.replace("\n", " ")


def test_a_change_of_rules_excuses_no_other_place(root, monkeypatch):
    later_rules(monkeypatch, "/log/air/*/emc_pct")
    assert kinds(audit(root)) == [("value-differs", "/rules/psychrometer")]


def test_what_later_rules_add_is_reported_as_new_and_not_as_a_difference(root, monkeypatch):
    """The reverse case: the sealed dossier lacks what is computed now."""
    path = root / dossier_path("C1", 1)
    before = json.loads(path.read_bytes())
    del before["control_rule"]
    _seal_as(root, before)
    later_rules(monkeypatch, "/control_rule", "/rules/psychrometer")
    [seal] = audit(root).folders[0].seals
    assert [d.where.partition(".json")[2] for d in seal.new] == ["/control_rule"]
    assert seal.verdict == (
        f"sealed under rules {NOW}, computed again under rules {NEXT}: 1 figure or finding differs, "
        "1 is new"
    )


def test_a_finding_left_out_of_a_dossier_is_not_excused_as_new(root, monkeypatch):
    """A finding left out of a sealed dossier cannot be passed off as that of a new check."""
    later_rules(monkeypatch, "/findings/a-new-check*", "/rules/psychrometer")
    before = json.loads((root / dossier_path("C1", 1)).read_bytes())
    gone = before["findings"].pop()
    _seal_as(root, before)
    assert kinds(audit(root)) == [("value-added", f"/findings/{gone['check']}")]


@pytest.mark.parametrize("version", [0, NEXT, "1", None])
def test_an_unknown_version_of_the_rules_confirms_nothing(root, version):
    """Neither a future version nor an invented one excuses a forged figure."""
    before = json.loads((root / dossier_path("C1", 1)).read_bytes())
    before["rules"]["version"] = version
    before["target_mc_pct"] = 11.0
    _seal_as(root, before)
    found = kinds(audit(root))
    assert ("rules-unknown", "/rules/version") in found
    assert ("number-differs", "/target_mc_pct") in found


def test_an_old_version_of_the_rules_cannot_hide_a_forged_figure(root, monkeypatch):
    before = json.loads((root / dossier_path("C1", 1)).read_bytes())
    before["survey"]["mean_pct"] = 8.0
    _seal_as(root, before)
    later_rules(monkeypatch, "/rules/psychrometer")
    assert kinds(audit(root)) == [("number-differs", "/survey/mean_pct")]


def test_a_bag_sealed_under_earlier_rules_can_be_made_and_audited(root, tmp_path, monkeypatch):
    later_rules(monkeypatch, "/rules/psychrometer")
    bag = sealing.bag_of(root, tmp_path / "bags")
    report = audit(bag)
    assert report.holds, report.all_differences
    assert len(report.unconfirmed) == 1
    assert f"version {NOW}" in (bag / "README.txt").read_text()
    sealing.change(bag / "data" / sealing.CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    mend_manifests(bag)
    assert ("file-changed", f"data/{sealing.CHARGE}") in {
        (d.kind, d.where) for d in audit(bag).all_differences
    }


def test_a_lot_is_sealed_with_the_figures_its_charge_was_sealed_with(root, monkeypatch):
    later_rules(monkeypatch, "/rules/psychrometer")
    assert seal_lot_again(root).charges[0].dossier == sha256(
        (root / dossier_path("C1", 1)).read_bytes()
    )


def test_a_changed_raw_file_is_reported_under_any_rules(root, monkeypatch):
    later_rules(monkeypatch, "/")
    sealing.change(root / sealing.CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    found = state(root, "C1")
    assert found.word == "changed"
    assert (sealing.CHARGE, "file-changed") in {(d.where, d.kind) for d in found.differences}


@pytest.mark.parametrize(
    ("pattern", "place", "covered"),
    [
        ("/rules/psychrometer", "/rules/psychrometer", True),
        ("/rules", "/rules/psychrometer", True),
        ("/log/air/*/emc_pct", "/log/air/12/emc_pct", True),
        ("/log/air/*/emc_pct", "/log/air/12/dry_bulb_c", False),
        ("/log/*/emc_pct", "/log/air/12/emc_pct", False),
        ("/findings/flat-trace*", "/findings/flat-trace core-1/value", True),
        ("/log/air/12/emc_pct", "/log/air", False),
    ],
)
def test_what_a_place_covers(pattern, place, covered):
    assert RulesChange(2, "x", (pattern,)).covers(place) is covered


def _seal_as(root, dossier) -> None:
    """Seal a made-up dossier, as the holder of the mill's key could."""
    data = canonical(dossier)
    (root / dossier_path("C1", 1)).write_bytes(data)
    [line] = sealing.lines_of(root)
    sealing.write_lines(root, [sealing.sign_again(line, sealing.key(), dossier=sha256(data))])
