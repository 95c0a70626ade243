"""A build with nothing to do says so without looking further, and anything else makes it look."""

import os
import shutil
import subprocess
import sys

import pytest
from tests.pipeline.test_changes import build, copied
from tests.test_start import HEAVY

from kilnfolio.cli import main
from kilnfolio.graph.states import STAGING
from kilnfolio.pipeline import at_rest
from kilnfolio.pipeline.at_rest import built_at_rest
from kilnfolio.pipeline.built import STORE

CHARGE = "content/charges/2026/C1/charge.yaml"
PAGE = "site/mill/index.html"
NOTE = f"site/{STAGING}/at-rest.txt"


@pytest.fixture
def mill(built, tmp_path):
    """A copy of a mill that was built once."""
    return copied(built, tmp_path / "mill")


def at_rest_in(root, *, pdfs=False):
    return built_at_rest(root, root / "site", pdfs=pdfs)


def written_anew(path):
    """Write the same bytes with the same times, as an attacker or a copying program may."""
    state = path.stat()
    path.write_bytes(path.read_bytes())
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))


def swapped(root):
    shutil.copytree(root / "site/mill", root / "site/other")
    shutil.rmtree(root / "site/mill")
    (root / "site/other").rename(root / "site/mill")


CHANGES = {
    "an input changed": lambda root: written_anew(root / CHARGE),
    "an input added": lambda root: (root / "content/species.txt").write_text(""),
    "an input lost": lambda root: (root / CHARGE).unlink(),
    "inputs gone": lambda root: shutil.rmtree(root / "content"),
    "a page changed": lambda root: written_anew(root / PAGE),
    "a page added": lambda root: (root / "site/customer/mine.html").write_text(""),
    "a page lost": lambda root: (root / PAGE).unlink(),
    "a page replaced by a link": lambda root: (
        (root / PAGE).rename(root / "page"),
        (root / PAGE).symlink_to(root / "page"),
    ),
    "an edition lost": lambda root: shutil.rmtree(root / "site/auditor"),
    "an edition copied": swapped,
    "a name in two lines": lambda root: (root / "site/mill/a\nb").write_text(""),
    "the store lost": lambda root: (root / "site" / STORE).unlink(),
    "the note lost": lambda root: (root / NOTE).unlink(),
    "the note empty": lambda root: (root / NOTE).write_text(""),
    "the note cut short": lambda root: (root / NOTE).write_bytes((root / NOTE).read_bytes()[:-99]),
    "the note a folder": lambda root: ((root / NOTE).unlink(), (root / NOTE).mkdir()),
}


@pytest.mark.parametrize("change", CHANGES)
def test_whatever_is_changed_lost_or_added_is_noticed(mill, change):
    assert at_rest_in(mill)
    CHANGES[change](mill)
    assert at_rest_in(mill) is None


def test_what_is_asked_for_and_what_this_computer_allows_count(mill, monkeypatch):
    assert at_rest_in(mill)
    assert at_rest_in(mill, pdfs=True) is None
    for name, value in (("SOURCE_DATE_EPOCH", "1"), ("KILNFOLIO_ALLOW_CODE", "a" * 64)):
        with monkeypatch.context() as patched:
            patched.setenv(name, value)
            assert at_rest_in(mill) is None
    monkeypatch.setattr(at_rest, "code_stamps", lambda: (("cli/build.py", 1, 1),))
    assert at_rest_in(mill) is None


def test_after_every_build_the_site_is_at_rest(mill):
    for _ in range(2):
        (mill / CHARGE).write_text((mill / CHARGE).read_text() + "# as before\n")
        report = build(mill)
        assert at_rest_in(mill) == (report.pages, report.pdfs)
    (mill / CHARGE).write_text((mill / CHARGE).read_text() + "notes: a word more\n")
    report = build(mill)
    assert report.made
    assert at_rest_in(mill) == (report.pages, report.pdfs)


def test_a_warning_is_repeated_until_its_cause_is_gone(mill, capsys):
    strange = mill / "site/mill/mine.html"
    strange.write_text("")
    for _ in range(2):
        assert main(["build", str(mill), "--without-pdf", "--workers", "1", "--strict"]) == 1
        assert "mine.html" in capsys.readouterr().err
    strange.unlink()
    assert main(["build", str(mill), "--without-pdf", "--workers", "1", "--strict"]) == 0
    assert at_rest_in(mill)


def test_a_build_says_the_same_whether_it_looks_further_or_not(mill, capsys):
    words = ["build", str(mill), "--without-pdf", "--workers", "1"]
    assert main(words) == 0
    said = capsys.readouterr()
    (mill / NOTE).unlink()
    assert main(words) == 0
    assert capsys.readouterr() == said
    assert said.out.startswith("up to date: ")
    assert main([*words, "--quiet"]) == 0
    assert capsys.readouterr() == ("", "")


def test_a_build_with_nothing_to_do_imports_no_library(mill):
    program = """
import sys
from kilnfolio.cli import main
assert main(sys.argv[1:]) == 0
print(*sys.modules, sep="\\n", file=sys.stderr)
"""
    words = ["build", str(mill), "--without-pdf", "--workers", "1"]
    run = subprocess.run([sys.executable, "-c", program, *words], capture_output=True, text=True)
    loaded = set(run.stderr.split())
    assert {"kilnfolio.pipeline.at_rest"} <= loaded, run.stderr
    assert not {name.partition(".")[0] for name in loaded} & {*HEAVY, "sqlite3", "dataclasses"}
