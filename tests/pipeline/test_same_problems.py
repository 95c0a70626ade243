"""One reading of the mill: check, build, preview and seal report the same problems in one run."""

from __future__ import annotations

import json
import re
import shutil

import pytest
from tests.minimal import FILES, minimal_mill

from kilnfolio.adopt.preview import preview_of
from kilnfolio.cli import main
from kilnfolio.pipeline.build import build_site
from kilnfolio.records.problems import RecordProblems


def edit(root, name, old, new):
    path = root / name
    text = path.read_text("utf-8")
    assert old in text, (name, old)
    path.write_text(text.replace(old, new, 1), "utf-8")


def copy(root, name, to):
    (root / to).parent.mkdir(parents=True, exist_ok=True)
    shutil.copy(root / name, root / to)


def _species_and_kiln(root):
    edit(root, FILES["species"], "kind: hardwood", "kind: hardwod")
    edit(root, FILES["charge"], "kiln: k1", "kiln: k9")


def _superseded(root):
    copy(root, FILES["schedule"], "schedules/superseded/red-oak-4-4/3.yaml")


def _limit(root):
    path = root / FILES["limits"]
    text = path.read_text("utf-8")
    path.write_text(re.sub(r"value: [\d.]+", "value: plenty", text, count=1), "utf-8")


def _half_written(root):
    path = root / FILES["charge"]
    text = path.read_text("utf-8")
    path.write_text(text[: text.index("weighings:")] + 'weighings:\n  - at: "2026-06-0', "utf-8")


#: What is planted, and the files in which problems must be reported.
MISTAKES = {
    "a bad species and a charge that names an unknown kiln": (
        _species_and_kiln,
        {FILES["species"], FILES["charge"]},
    ),
    "a lot copied under another name": (
        lambda root: copy(root, FILES["lot"], "content/lots/L9.yaml"),
        {"content/lots/L9.yaml"},
    ),
    "the same id twice": (
        lambda root: copy(root, FILES["charge"], "content/charges/2025/C1/charge.yaml"),
        {FILES["charge"]},
    ),
    "a stray file": (
        lambda root: copy(root, FILES["lot"], "content/lots/2026/L9.yaml"),
        {"content/lots/2026/L9.yaml"},
    ),
    "a superseded revision under a wrong number": (
        _superseded,
        {"schedules/superseded/red-oak-4-4/3.yaml"},
    ),
    "a lot of an unknown charge": (
        lambda root: edit(root, FILES["lot"], "charge: C1", "charge: C7"),
        {FILES["lot"]},
    ),
    "a logger profile that does not fit the export": (
        lambda root: edit(root, FILES["logger"], "heading: time", "heading: clock"),
        set(),
    ),
    "a broken limit": (_limit, {FILES["limits"]}),
    "a charge half written": (_half_written, {FILES["charge"]}),
}


def told_by_check(root, capsys):
    assert main(["check", str(root), "--format", "json"]) == 2
    found = json.loads(capsys.readouterr().out)["problems"]
    return {(one["file"], one["line"], one["column"], one["what"], one["why"]) for one in found}


def _flat(problems):
    return {
        (one.place.file, one.place.line, one.place.column, one.what, one.why) for one in problems
    }


def told_by_build(root):
    with pytest.raises(RecordProblems) as raised:
        build_site(root, root / "site", workers=1, pdfs=False)
    return _flat(raised.value.problems)


def told_by_preview(root):
    with preview_of(root) as preview:
        preview.refresh()
        return _flat(preview.problems)


def told_by_seal(root, capsys):
    assert main(["seal", "C1", str(root), "--by", "A. N. Other", "--new-key"]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert not (root / "content/ledger/ledger.jsonl").exists()
    return lines[:-1]


@pytest.mark.parametrize("mistake", MISTAKES)
def test_four_commands_report_the_same_problems(tmp_path, capsys, mistake):
    root = minimal_mill(tmp_path)
    plant, files = MISTAKES[mistake]
    plant(root)
    found = told_by_check(root, capsys)
    assert found
    assert files <= {one[0] for one in found}
    assert told_by_build(root) == found
    assert told_by_preview(root) == found
    assert main(["check", str(root)]) == 2
    printed = capsys.readouterr().err.splitlines()[:-1]
    assert len(printed) == len(found)
    assert told_by_seal(root, capsys) == printed


def test_four_commands_report_the_same_of_all_mistakes_at_once(tmp_path, capsys):
    root = minimal_mill(tmp_path)
    for name in (
        "a lot copied under another name",
        "a stray file",
        "a lot of an unknown charge",
        "a superseded revision under a wrong number",
        "a bad species and a charge that names an unknown kiln",
    ):
        MISTAKES[name][0](root)
    found = told_by_check(root, capsys)
    assert len({one[0] for one in found}) >= 6
    assert told_by_build(root) == found
    assert told_by_preview(root) == found
