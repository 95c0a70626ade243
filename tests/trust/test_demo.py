"""The demonstration mill sealed with its demonstration key, in a copy."""

import shutil

import pytest
from tests.conftest import PROJECT

from demo.seals import seal_mill
from kilnfolio.archive.audit import audit
from kilnfolio.archive.ledger import LEDGER, read_ledger
from kilnfolio.pipeline import review_folder
from kilnfolio.sealing import sealed_state

RENEW = "renew it: in builder/, python -m demo.seals .."


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    root = tmp_path_factory.mktemp("demo-mill")
    for name in ("content", "schedules"):
        shutil.copytree(PROJECT / name, root / name)
    return root, *seal_mill(root)


def test_what_the_checks_refuse_is_left_unsealed_and_the_rest_is_sealed(sealed):
    root, done, left = sealed
    dossiers = review_folder(root).dossiers
    refused = {name for name, dossier in dossiers.items()
               if any(finding.outcome == "refused" for finding in dossier.findings)}
    assert refused
    assert {line.split()[1].rstrip(":") for line in left if line.startswith("charge")} == refused
    assert {line.removeprefix("charge ") for line in done if line.startswith("charge")} == \
        set(dossiers) - refused
    assert any(line.startswith("lot ") for line in done)


def test_the_ledger_holds_and_every_figure_is_computed_again(sealed):
    report = audit(sealed[0])
    assert report.holds, report.all_differences[:3]
    assert len(report.folders[0].seals) > 10


def test_sealing_again_gives_the_same_bytes(sealed):
    root = sealed[0]
    before = (root / LEDGER).read_bytes()
    seal_mill(root)
    assert (root / LEDGER).read_bytes() == before


def test_only_an_invented_mills_ledger_is_written_anew(tmp_path):
    from tests.minimal import minimal_mill

    root = minimal_mill(tmp_path, mill={"invented": False})
    with pytest.raises(ValueError, match="not marked as invented"):
        seal_mill(root)


def test_the_ledger_that_comes_with_the_demonstration_holds():
    if not (PROJECT / LEDGER).exists():
        pytest.skip("the demonstration comes without a ledger")
    assert read_ledger(PROJECT).differences == (), RENEW
    reviewed = review_folder(PROJECT)
    broken = sealed_state(reviewed.folder, reviewed.dossiers, reviewed.lots, {}).findings()
    assert broken == {}, RENEW
