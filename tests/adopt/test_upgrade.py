"""Older record formats: read as they are, rewritten on demand, and left alone if sealed."""

import re

import pytest
from tests.minimal import FILES, minimal_mill
from tests.reviewed import reviewed_mill

from kilnfolio.cli import main
from kilnfolio.records.problems import RecordProblems


def as_draft(charge):
    """Write a charge in the draft format: other keys, another word, a correction by old names."""
    charge["format"] = 0
    charge["sample_boards"] = charge.pop("boards")
    charge["final_mc"] = charge.pop("target_mc")
    charge["control_rule"] = "half"
    for weighing in charge["weighings"]:
        weighing["when"] = weighing.pop("at")
    charge["corrections"] = [
        {
            "field": "sample_boards.S1.green_mass",
            "old": "2401 g",
            "new": "2410 g",
            "reason": "misread",
            "by": "A. N. Other",
            "at": "2026-06-02T08:00",
        }
    ]


def corrected(charge):
    charge["control_rule"] = "wettest half"
    charge["corrections"] = [
        {
            "field": "boards.S1.green_mass",
            "old": "2401 g",
            "new": "2410 g",
            "reason": "misread",
            "by": "A. N. Other",
            "at": "2026-06-02T08:00",
        }
    ]


def draft_mill(mill):
    mill["format"] = 0
    mill["height"] = mill.pop("altitude")


def draft_lot(lot):
    lot["format"] = 0
    lot["order"]["final_mc"] = lot["order"].pop("target_mc")


@pytest.fixture
def draft(tmp_path):
    return minimal_mill(tmp_path / "draft", charge=as_draft, mill=draft_mill, lot=draft_lot)


def records(root):
    folder = reviewed_mill(root).folder
    return folder.charges["C1"].record, folder.mill.record, folder.lots["L1"].record


def outcomes(root):
    return {
        finding.check: (finding.outcome, finding.message)
        for finding in reviewed_mill(root).dossiers["C1"].findings
    }


def test_a_record_in_the_old_format_means_the_same_as_in_the_new(draft, tmp_path):
    today = minimal_mill(tmp_path / "today", charge=corrected)
    assert records(draft) == records(today)
    assert outcomes(draft) == outcomes(today)
    assert outcomes(draft)["corrections-kept"][0] == "pass"


def test_a_problem_in_an_old_format_record_is_reported_at_its_place(draft):
    path = draft / FILES["charge"]
    text = path.read_text("utf-8").replace("green_mass: 2410 g", "green_mass: 2410")
    path.write_text(text, "utf-8")
    line = text.split("\n").index("  green_mass: 2410") + 1
    with pytest.raises(RecordProblems) as caught:
        reviewed_mill(draft)
    assert [str(problem.place) for problem in caught.value.problems] == [
        f"{FILES['charge']}:{line}:15"
    ]


@pytest.mark.parametrize("kind", ["charge", "mill", "lot"])
def test_the_old_key_is_unknown_in_the_new_format(tmp_path, kind):
    change = {"charge": as_draft, "mill": draft_mill, "lot": draft_lot}[kind]

    def late(record):
        change(record)
        record["format"] = 1

    with pytest.raises(RecordProblems, match="is not known here"):
        reviewed_mill(minimal_mill(tmp_path, **{kind: late}))


def test_upgrade_shows_the_difference_and_writes_nothing(draft, capsys):
    before = {path: path.read_bytes() for path in sorted(draft.rglob("*.yaml"))}
    assert main(["upgrade", str(draft)]) == 1
    said = capsys.readouterr().out
    assert f"--- a/{FILES['mill']}\n+++ b/{FILES['mill']}\n" in said
    assert "-height: 310 m\n" in said
    assert "+altitude: 310 m\n" in said
    assert "-control_rule: half\n" in said
    assert "+control_rule: wettest half\n" in said
    assert "-- field: sample_boards.S1.green_mass\n" in said
    assert "3 records would be rewritten in format 1; nothing was written" in said
    assert before == {path: path.read_bytes() for path in sorted(draft.rglob("*.yaml"))}


def test_upgrade_rewrites_records_and_keeps_their_content(draft, capsys):
    path = draft / FILES["charge"]
    path.write_text("# the June load\n" + path.read_text("utf-8"), "utf-8")
    before = {name: (draft / FILES[name]).read_bytes() for name in ("charge", "mill", "lot")}
    read = records(draft)
    assert main(["upgrade", str(draft), "--write"]) == 0
    assert records(draft) == read
    text = path.read_text("utf-8")
    assert text.startswith("# the June load\nformat: 1\n")
    assert "sample_boards" not in text
    assert len(text.splitlines()) == len(before["charge"].splitlines())
    for name, raw in before.items():
        assert (draft / "before-format-1" / FILES[name]).read_bytes() == raw
    capsys.readouterr()
    assert main(["upgrade", str(draft), "--write"]) == 0
    assert "every record that may be changed is of format 1" in capsys.readouterr().out


def test_an_upgrade_that_fails_leaves_every_record_as_it_was(draft, monkeypatch, capsys):
    before = {path: path.read_bytes() for path in sorted((draft / "content").rglob("*.yaml"))}
    from kilnfolio.adopt import upgrade

    whole, done = upgrade.write_whole, []

    def full(path, data, mode=0o644):
        if "before-format" not in str(path) and b"format: 1" in data:
            done.append(path)
            if len(done) == 2:
                raise OSError(28, "No space left on device", str(path))
        whole(path, data, mode)

    monkeypatch.setattr(upgrade, "write_whole", full)
    assert main(["upgrade", str(draft), "--write"]) == 2
    assert "no space left on device" in capsys.readouterr().err
    assert before == {
        path: path.read_bytes() for path in sorted((draft / "content").rglob("*.yaml"))
    }


def test_a_sealed_charge_is_not_rewritten_and_its_seal_holds(draft, capsys):
    assert main(["seal", "C1", str(draft), "--by", "A. N. Other", "--new-key"]) == 0
    before = (draft / FILES["charge"]).read_bytes()
    assert main(["upgrade", str(draft), "--write"]) == 0
    said = capsys.readouterr().out
    assert f"{FILES['charge']}: format 0, and sealed: it is not rewritten" in said
    assert "2 records rewritten" in said
    assert (draft / FILES["charge"]).read_bytes() == before
    assert main(["audit", str(draft)]) == 3
    assert main(["check", str(draft)]) == 1
    assert "as-sealed" not in capsys.readouterr().out


def test_quoted_keys_and_one_line_records_are_upgraded(tmp_path):
    def draft_in_quotes(record):
        as_draft(record)
        del record["ended"], record["unloaded"]

    root = minimal_mill(tmp_path, charge=draft_in_quotes)
    path = root / FILES["charge"]
    text = path.read_text("utf-8").replace("control_rule: half", "control_rule: 'half'")
    text = re.sub(r"(?m)^final_mc:", '"final_mc":', text)
    path.write_text(text, "utf-8")
    assert main(["upgrade", str(root), "--write"]) == 0
    new = path.read_text("utf-8")
    assert "control_rule: 'wettest half'\n" in new
    assert '"target_mc": 12 %' in new
    assert reviewed_mill(root).open_reviews["C1"].charge.so_far.record.target_mc.value == 12.0
