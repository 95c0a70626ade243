"""The demonstration mill sealed with its demonstration key, and the charges kept as witnesses."""

import json
import shutil
from pathlib import Path

import pytest
from tests.conftest import PROJECT, WHOLE
from tests.cut import cut_of
from tests.reviewed import reviewed_mill

from demo.seals import WITNESSES, keep_witnesses, seal_mill
from kilnfolio.archive.audit import audit
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.keyring import KEYRING
from kilnfolio.archive.places import LEDGER, dossier_path
from kilnfolio.review import review
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.versions import CHANGES, rules_version

#: The message when figures changed: make a new version of the rules or, before a release, seal
#: again.
RENEW = (
    "figures, findings or words of a dossier moved: add a RulesChange in review/versions.py, "
    "and seal the demonstration again: PYTHONPATH=builder sh builder/run python -m demo.seals "
    ". --witness tests/data/rules"
)
WITNESSED = PROJECT / "tests/data/rules"


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    """Seal the demonstration; by default two refused charges, the corrected one and the witnesses."""
    root = tmp_path_factory.mktemp("demo-mill")
    if WHOLE:
        for name in ("content", "schedules"):
            shutil.copytree(PROJECT / name, root / name)
    else:
        cut_of(PROJECT, root, {"HB-25-053", "HB-26-019", "HB-26-034", *WITNESSES})
    return root, seal_mill(root)


@pytest.fixture(scope="module")
def reviewed(sealed):
    return reviewed_mill(sealed[0])


def files_below(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_charges_that_fail_a_check_stay_unsealed_and_the_rest_are_sealed(sealed, reviewed):
    done, dossiers = sealed[1], reviewed.dossiers
    refused = {
        name
        for name, dossier in dossiers.items()
        if any(finding.outcome == "fail" for finding in dossier.findings)
    }
    assert refused
    assert {
        line.split()[1].rstrip(":") for line in done.left if line.startswith("charge")
    } == refused
    assert {
        line.removeprefix("charge ") for line in done.sealed if line.startswith("charge")
    } == set(dossiers) - refused
    assert any(line.startswith("lot ") for line in done.sealed)


def test_a_corrected_charge_and_its_lot_are_amended(sealed, reviewed):
    """The first seal has the reading as typed; the amendment has it as corrected."""
    root, done = sealed
    [charge] = [line.removeprefix("charge ") for line in done.amended if line.startswith("charge")]
    [lot] = [line.removeprefix("lot ") for line in done.amended if line.startswith("lot")]
    [correction] = reviewed.folder.charges[charge].record.corrections
    number = int(correction.field.split(".")[2])
    first, second = (
        json.loads((root / dossier_path(charge, ordinal)).read_bytes()) for ordinal in (1, 2)
    )
    assert f"{first['survey']['readings'][number]} %" == correction.old
    assert f"{second['survey']['readings'][number]} %" == correction.new
    ledger = read_ledger(root)
    assert ledger.of_charge(charge)[-1].reason == correction.reason
    before, after = ledger.of_lot(lot)
    assert before.record != after.record


def test_nothing_is_sealed_before_the_record_was_closed(sealed, reviewed):
    for entry in read_ledger(sealed[0]).entries:
        if entry.kind == "seal":
            record = reviewed.folder.charges[entry.charge].record
            assert entry.at > record.survey.at, entry.charge
            assert all(entry.at.date() > signature.on for signature in record.signatures)


def test_only_an_invented_mills_ledger_may_be_rewritten(tmp_path):
    from tests.minimal import minimal_mill

    root = minimal_mill(tmp_path, mill={"invented": False})
    with pytest.raises(ValueError, match="not marked as invented"):
        seal_mill(root)


# --- what comes with the project ------------------------------------------------------------------


def test_the_demonstrations_ledger_is_what_the_command_makes(sealed):
    made, kept = files_below((sealed[0] / LEDGER).parent), files_below((PROJECT / LEDGER).parent)
    if WHOLE:
        assert sorted(made) == sorted(kept), RENEW
    else:
        for name in ("ledger.jsonl", "heads.jsonl", "keys.yaml"):
            del made[name]  # they tell of every seal
        assert len(made) > 3
    assert [name for name in made if made[name] != kept[name]] == [], RENEW


def test_the_demonstration_passes_an_audit_that_recomputes_every_figure():
    report = audit(PROJECT)
    assert report.holds, (RENEW, report.all_differences[:3])
    assert len(report.folders[0].seals) > 10
    assert all(seal.numbers > 1000 for seal in report.folders[0].seals)


def test_the_demonstrations_key_is_marked_as_such():
    assert "demo: true" in (PROJECT / KEYRING).read_text("utf-8")


# --- the witnesses of each version of the rules ---------------------------------------------------


def test_every_version_of_the_rules_has_its_witnesses():
    assert {path.name for path in WITNESSED.iterdir()} == {str(c.version) for c in CHANGES}, RENEW
    for change in CHANGES:
        assert {
            path.name for path in (WITNESSED / str(change.version)).iterdir() if path.is_dir()
        } == set(WITNESSES)


@pytest.mark.parametrize("version", [change.version for change in CHANGES])
def test_a_bag_handed_over_under_each_version_is_still_confirmed(version):
    """This fails if bytes of a dossier change without a new version that says so."""
    report = audit(WITNESSED / str(version))
    assert report.holds, (RENEW, report.all_differences[:3])
    assert version < rules_version() or not report.unconfirmed, RENEW
    for folder in report.folders:
        assert all(seal.rules_sealed["version"] == version for seal in folder.seals)


@pytest.mark.parametrize("path", sorted(WITNESSED.glob("*/*/data/dossier.json")), ids=str)
def test_an_old_dossier_can_still_be_read(path):
    """A field is never removed or renamed, and a new one has a default."""
    assert Dossier.model_validate_json(path.read_bytes()).boards


def test_the_witnesses_reveal_a_changed_figure(monkeypatch):
    monkeypatch.setattr(review, "EMC_EQUATION", "another")
    assert not audit(WITNESSED / str(rules_version()) / WITNESSES[0]).holds


def test_witnesses_are_kept_of_this_version(sealed, tmp_path):
    made = keep_witnesses(sealed[0], tmp_path)
    for charge in WITNESSES:
        kept = WITNESSED / made.name / charge / "data/dossier.json"
        assert (made / charge / "data/dossier.json").read_bytes() == kept.read_bytes(), RENEW
