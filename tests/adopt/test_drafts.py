"""Records just begun by `new`: the mill around them is built as usual, and nothing depends on them."""

import json
import re

import pytest
import yaml
from tests.minimal import FILES, minimal_mill
from tests.reviewed import reviewed_mill

from kilnfolio.adopt.records import TEMPLATES, begin
from kilnfolio.cli import main
from kilnfolio.pipeline.build import build_site
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.model import TO_FILL
from kilnfolio.records.problems import RecordProblems

#: What is known of each when it is begun; the rest is marked as missing.
KNOWN = {
    "kiln": {"name": "Kiln with no other name"},
    "charge": {"kiln": "k2"},
    "lot": {"product": "Boards for the canary"},
    "order": {"customer": "Customer of the canary"},
    "schedule": {"title": "Schedule of the canary", "species": "quercus-rubra"},
    "species": {"trade_name": "Wood of the canary"},
}
IDS = {
    "charge": "C2",
    "kiln": "k2",
    "lot": "L2",
    "order": "O2",
    "schedule": "red-oak-8-4",
    "species": "quercus-petraea",
}


def begun_mill(folder):
    """Return the minimal mill with one new record of each kind, the charge in the new kiln."""
    root = minimal_mill(folder)
    for kind, known in KNOWN.items():
        begin(root, kind, IDS[kind], known)
    return root


def pages(site, edition):
    return {
        path.relative_to(site / edition).as_posix(): path.read_text("utf-8")
        for path in (site / edition).rglob("*.html")
    }


def test_whatever_new_writes_may_stay_half_filled():
    draftable = {kind.name for kind in RECORD_KINDS.values() if kind.draft}
    assert draftable == set(TEMPLATES) == set(KNOWN)


def test_half_filled_records_stop_nothing_and_are_listed(tmp_path):
    root = begun_mill(tmp_path / "mill")
    reviewed = reviewed_mill(root)
    assert list(reviewed.dossiers) == ["C1"]
    assert list(reviewed.lots) == ["L1"]
    assert sorted(reviewed.folder.drafts) == [
        "kiln k2",
        "lot L2",
        "order O2",
        "schedule red-oak-8-4",
        "species quercus-petraea",
    ]
    assert reviewed.open_reviews["C2"].waits == ("kiln k2",)
    build_site(root, tmp_path / "site", pdfs=False)
    made = pages(tmp_path / "site", "mill")
    for page, name, key in (
        ("kilns/index.html", "Kiln k2", "capacity"),
        ("lots/index.html", "Lot L2", "thickness"),
        ("plan.html", "Order O2", "due"),
        ("schedules/index.html", "Schedule red-oak-8-4", "thickness"),
        ("species/index.html", "Species quercus-petraea", "region"),
    ):
        for listed in (made[page], made["index.html"]):
            assert f"{name}. " in listed
            assert f"<code>{key}</code>" in listed
    assert "content/kilns/k2.yaml:8" in made["index.html"]
    assert "To be filled in first: kiln k2." in made["charges/C2.html"]
    for own in (
        "kilns/k2.html",
        "lots/L2.html",
        "schedules/red-oak-8-4.html",
        "species/quercus-petraea.html",
    ):
        assert own not in made
    assert not [
        name
        for name, text in pages(tmp_path / "site", "customer").items()
        if "canary" in text or "L2" in text
    ]


def test_an_incremental_build_lists_drafts_until_they_are_filled_in(tmp_path):
    root = minimal_mill(tmp_path / "mill")
    site = tmp_path / "site"
    build_site(root, site, pdfs=False)
    begin(root, "kiln", "k2", {"name": "Kiln 2", "kind": "steam", "hottest": "80 °C"})
    build_site(root, site, pdfs=False)
    assert "Kiln k2. " in pages(site, "mill")["kilns/index.html"]
    path = root / "content/kilns/k2.yaml"
    path.write_text(path.read_text("utf-8").replace(TO_FILL, "40 m³"), "utf-8")
    build_site(root, site, pdfs=False)
    made = pages(site, "mill")
    assert "Being filled in" not in made["kilns/index.html"] + made["index.html"]
    assert "Kiln 2" in made["kilns/k2.html"]


def test_check_lists_what_is_still_to_be_filled_in(tmp_path, capsys):
    root = begun_mill(tmp_path)
    assert main(["check", str(root)]) == 1  # the minimal mill's usual two questions
    said = capsys.readouterr().out
    said = re.sub(r"[ \n]+", " ", said)
    assert (
        "kiln k2: 1 no data no data record-complete: Still to fill in: kind, capacity, "
        "hottest, in content/kilns/k2.yaml." in said
    )
    assert "unloaded. To be filled in first: kiln k2." in said
    assert main(["check", str(root), "--format", "json"]) == 1
    (found, *_) = json.loads(capsys.readouterr().out)["findings"]["lot L2"]
    assert found["check"] == "record-complete"


@pytest.mark.parametrize(
    ("kind", "slip"),
    [
        ("kiln", ("hottest: …", "hottest: 85")),
        ("kiln", ("kind: …", "kind: steem")),
        ("lot", ("charge: …", "charge: C7")),
        ("lot", ("rule: band", "rule: bend")),
        ("schedule", ("- quercus-rubra", "- quercus-rubro")),
        ("species", ("region", "regoin")),
        ("kiln", ("id: k2", "id: k3")),
    ],
    ids=str,
)
def test_what_is_filled_in_must_still_be_correct(tmp_path, kind, slip):
    root = minimal_mill(tmp_path)
    path = root / begin(root, kind, IDS[kind], KNOWN[kind]).file
    text = path.read_text("utf-8").replace("[quercus-rubra]", "\n    - quercus-rubra")
    assert slip[0] in text
    path.write_text(text.replace(*slip), "utf-8")
    with pytest.raises(RecordProblems) as caught:
        reviewed_mill(root)
    assert {problem.place.file for problem in caught.value.problems} == {
        path.relative_to(root).as_posix()
    }
    assert not any(problem.absent for problem in caught.value.problems)


def test_a_record_without_a_mark_counts_as_finished(tmp_path):
    """What it lacks is then a mistake."""
    root = minimal_mill(tmp_path, lot=lambda lot: lot.pop("product"))
    with pytest.raises(RecordProblems, match="the key 'product' is missing"):
        reviewed_mill(root)


@pytest.mark.parametrize(
    ("noun", "key", "told"),
    [
        (
            "kiln",
            "capacity",
            "kiln 'k1': its record, content/kilns/k1.yaml, is still to be filled in",
        ),
        ("schedule", "title", "schedule 'red-oak-4-4': its record"),
        ("species", "region", "species 'quercus-rubra': its record"),
    ],
)
def test_a_finished_record_cannot_refer_to_a_draft(tmp_path, noun, key, told):
    root = minimal_mill(tmp_path, **{noun: {key: TO_FILL}})
    with pytest.raises(RecordProblems) as caught:
        reviewed_mill(root)
    assert told in str(caught.value)
    assert f"{key} is still to be filled in: it holds" in str(caught.value)
    with pytest.raises(RecordProblems) as built:
        build_site(root, tmp_path / "site", pdfs=False)
    assert set(built.value.problems) == set(caught.value.problems)


def test_the_folder_of_earlier_revisions_takes_no_drafts(tmp_path):
    root = minimal_mill(tmp_path)
    record = yaml.load((root / FILES["schedule"]).read_text("utf-8"), yaml.CSafeLoader)
    earlier = root / "schedules/superseded/red-oak-4-4/1.yaml"
    earlier.parent.mkdir(parents=True)
    earlier.write_text(yaml.safe_dump(record | {"title": TO_FILL}, allow_unicode=True), "utf-8")
    with pytest.raises(RecordProblems, match="title is still to be filled in"):
        reviewed_mill(root)


def test_a_draft_lot_cannot_be_sealed_nor_a_sealed_lot_reopened_unnoticed(tmp_path, capsys):
    root = begun_mill(tmp_path)
    assert main(["seal", "L2", str(root), "--by", "A. N. Other", "--new-key"]) == 1
    assert (
        "L2 cannot be sealed before it is filled in (content/lots/L2.yaml): species, "
        in capsys.readouterr().err
    )
    assert main(["labels", "L2", "--folder", str(root), "--out", str(tmp_path / "l.pdf")]) == 1
    assert "lot L2 is not complete: 'kilnfolio check' names what is" in capsys.readouterr().err
    for number in ("C1", "L1"):
        new_key = ["--new-key"] if number == "C1" else []
        assert main(["seal", number, str(root), "--by", "A. N. Other", *new_key]) == 0
    path = root / FILES["lot"]
    path.write_text(path.read_text("utf-8") + f"notes: {TO_FILL}\n", "utf-8")
    assert main(["check", str(root)]) == 1
    assert "lot L1: 1 fail" in (said := capsys.readouterr().out)
    assert "content/lots/L1.yaml: it does not say what was sealed" in said
    assert main(["build", str(root), "--without-pdf"]) == 1
    assert "content/lots/L1.yaml: it does not say what was sealed" in capsys.readouterr().err
    assert (root / "site/mill/lots/L1.html").exists()
