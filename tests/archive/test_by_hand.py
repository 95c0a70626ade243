"""The commands in a bag's README, run as printed with the tools they name."""

import re
import shutil
import subprocess

import pytest
from tests.archive import sealing
from tests.trust.sealing import amended_mill

from kilnfolio.archive.bag import write_bag

pytestmark = pytest.mark.skipif(
    not all(map(shutil.which, ("sh", "sha256sum", "jq", "openssl", "xxd"))),
    reason="jq, openssl, xxd or sha256sum is not installed",
)


@pytest.fixture(scope="module")
def bag(tmp_path_factory):
    """The bag of an amended charge with its lots, and another charge's entry in between."""
    root = amended_mill(tmp_path_factory.mktemp("mill"))
    return write_bag(root, "C1", tmp_path_factory.mktemp("bags"), notice=sealing.NOTICE)


def commands(bag) -> str:
    text = (bag / "README.txt").read_text("utf-8")
    part = text[text.index("Checking that nothing was changed") : text.index("Rules used")]
    return "\n".join(re.findall(r"^  (.*)$", part, re.M))


def run(bag) -> subprocess.CompletedProcess[str]:
    script = commands(bag)
    return subprocess.run(["sh", "-c", script], cwd=bag, capture_output=True, text=True)


def test_the_commands_confirm_an_intact_bag(bag):
    done = run(bag)
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert lines.count("Signature Verified Successfully") == 2
    digests = [line for line in lines if re.fullmatch(r"[0-9a-f]{64}", line)]
    assert len(digests) == 4
    assert digests[0] == digests[1]
    assert digests[2] == digests[3]


@pytest.mark.parametrize(
    ("path", "old", "new"),
    [
        ("data/dossier.json", b'"C1"', b'"C2"'),
        (f"data/{sealing.CHARGE}", b"2410 g", b"2411 g"),
        ("data/content/ledger/entries.jsonl", b"A. N. Other", b"A. N. Error"),
        ("data/content/ledger/proof.json", b'"size":4', b'"size":5'),
    ],
)
def test_the_commands_report_a_change(bag, tmp_path, path, old, new):
    copy = shutil.copytree(bag, tmp_path / "C1")
    raw = (copy / path).read_bytes()
    assert old in raw
    (copy / path).write_bytes(raw.replace(old, new))
    whole, changed = run(bag), run(copy)
    assert changed.stdout != whole.stdout or changed.stderr
    assert "FAILED" in changed.stdout


def test_the_bag_contains_what_each_check_asks(bag):
    text = (bag / "README.txt").read_text("utf-8")
    assert "The checks, in words" in text
    assert "review/versions.py" in text
    dossier = (bag / "data/dossier.json").read_text()
    for slug in set(re.findall(r'"check":"([a-z-]+)"', dossier)):
        assert f"  {slug}: " in text
