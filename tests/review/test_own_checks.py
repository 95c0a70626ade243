"""A mill's own checks: run only where somebody allowed them, marked, sealed, and left out by an
auditor who has not agreed."""

import datetime as dt
import hashlib
import json
import re
import subprocess

import pytest
from tests.archive.sealing import SEALED_AT, amend, bag_of, write_key
from tests.archive.sealing import key as a_key
from tests.archive.test_audit import mend_manifests
from tests.conftest import PROJECT
from tests.minimal import minimal_mill
from tests.records.refusal import refused

from kilnfolio.archive.audit import audit
from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.archive.remaking import Remakers
from kilnfolio.archive.seal import seal
from kilnfolio.cli import main
from kilnfolio.handbook.svg import embedded
from kilnfolio.records.folder import open_mill
from kilnfolio.review.own_code import own_code
from kilnfolio.review.reviews import dossiers, review_all
from kilnfolio.runtime import allowed

PAGE = (PROJECT / "builder/kilnfolio/guide/23-checks-of-your-own.md").read_text("utf-8")
#: The check of the guide, with rows on the charge of the small mill.
[CODE] = re.findall(r"^```own-check\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)
CODE = CODE.replace("HB-26-003", "C1")
FILE = "content/checks/house.py"


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    """Let every test begin on a computer where nothing is allowed."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.delenv(allowed.VARIABLE, raising=False)
    return tmp_path


@pytest.fixture
def mill(tmp_path):
    return minimal_mill(tmp_path / "mill", files={FILE: CODE})


def own(findings):
    return [one for one in findings if one.check.startswith("own-")]


def test_nothing_runs_before_it_is_allowed(mill):
    [problem] = refused(review_all, open_mill(mill))
    assert "content/checks/house.py" in problem
    assert "kilnfolio allow" in problem
    assert main(["check", str(mill)]) == 2


def test_allowed_code_finds_what_it_looks_for(mill, capsys):
    assert main(["allow", str(mill), "--yes"]) == 0
    assert "own-energy-read; 2 rows tried" in capsys.readouterr().out
    dossier = dossiers(open_mill(mill))["C1"]
    [finding] = own(dossier.findings)
    assert (finding.outcome, finding.title) == ("question", "The meter was read")
    assert finding.where[0].file.endswith("charge.yaml")
    # the digest can be had by hand
    lines = subprocess.run(["sha256sum", FILE], cwd=mill, capture_output=True, check=True).stdout
    assert dossier.rules.own_code == hashlib.sha256(lines).hexdigest()
    assert FILE in {one.path for one in dossier.inputs}


def test_an_editor_is_told_whose_rule_it_is(mill, capsys):
    assert main(["allow", str(mill), "--yes"]) == 0
    capsys.readouterr()
    assert main(["check", str(mill), "--format", "sarif"]) == 1
    [run] = json.loads(capsys.readouterr().out)["runs"]
    rules = {rule["id"]: rule for rule in run["tool"]["driver"]["rules"]}
    assert {result["ruleId"] for result in run["results"]} <= set(rules)
    assert rules["own-energy-read"]["fullDescription"]["text"] == "The mill's own check."


def test_a_changed_byte_must_be_allowed_again(mill):
    assert main(["allow", str(mill), "--yes"]) == 0
    (mill / FILE).write_text(CODE + "#\n")
    [problem] = refused(review_all, open_mill(mill))
    assert "or it was changed since" in problem


def test_without_an_answer_nothing_is_allowed(mill):
    assert main(["allow", str(mill)]) == 2  # no terminal, no --yes
    assert not allowed.allowed_code()


def test_a_build_server_allows_a_digest_by_its_environment(mill, monkeypatch):
    lines = subprocess.run(["sha256sum", FILE], cwd=mill, capture_output=True, check=True).stdout
    monkeypatch.setenv(allowed.VARIABLE, hashlib.sha256(lines).hexdigest())
    assert own(dossiers(open_mill(mill))["C1"].findings)


@pytest.mark.parametrize(
    ("before", "after", "why"),
    [
        (
            '"own-energy-read",\n    title',
            '"energy-read",\n    title',
            "slug of a mill's own",
        ),
        ('claim="record"', 'claim="moisture"', 'claim="record"'),
        ("ROWS = {", "ROWS = {one:", "SyntaxError"),
        ("def energy_read", "two\n\n\ndef energy_read", "SyntaxError"),
        ("ROWS = {", "ROWS = two\nROWS = {", "NameError"),
        ('Row("C1", "pass", {"energy": "4210 kWh"}),', "", "both sides"),
        ('Row("C1", "question"', 'Row("C1", "fail"', "the check says question"),
        ('Row("C1", "question"', 'Row("C9", "question"', "no such charge"),
    ],
)
def test_code_that_is_not_in_order_is_refused_and_not_allowed(mill, capsys, before, after, why):
    text = CODE
    assert text.count(before) == 1
    (mill / FILE).write_text(text.replace(before, after))
    assert main(["allow", str(mill), "--yes"]) in (1, 2)
    told = capsys.readouterr().err
    assert why in told
    assert FILE in told
    assert not allowed.allowed_code()


def test_a_fault_in_a_check_names_its_line(mill, monkeypatch):
    (mill / FILE).write_text(CODE.replace("is None", "is None / 0"))
    lines = subprocess.run(["sha256sum", FILE], cwd=mill, capture_output=True, check=True).stdout
    monkeypatch.setenv(allowed.VARIABLE, hashlib.sha256(lines).hexdigest())
    [problem] = refused(review_all, open_mill(mill))
    assert "TypeError" in problem
    line = next(
        n for n, text in enumerate((mill / FILE).read_text().split("\n"), 1) if "None / 0" in text
    )
    assert f"{FILE}:{line}" in problem


# --- figures and exporters --------------------------------------------------------------------------

[PARTS] = re.findall(r"^```own-parts\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)


@pytest.fixture
def brought(mill):
    """The mill with the figure and the exporter of the guide besides its check."""
    (mill / "content/checks/parts.py").write_text(PARTS)
    assert main(["allow", str(mill), "--yes"]) == 0
    return mill


def test_a_figure_of_the_mills_own_is_drawn(brought):
    folder = open_mill(brought)
    part = own_code(folder.graph).figures["own-days"]
    dossier = dossiers(folder)["C1"]
    text = part.run(folder.charges["C1"].record, dossier)
    days = (dossier.ended - dossier.started).days
    assert f'width="{6 * days}"' in text
    assert f">{days} days<" in text
    svg, problems = embedded(text, "a figure", "own-days-")
    assert not problems
    assert "<rect" in svg


def test_a_figure_brings_nothing_that_runs():
    for bad in ("<script>x()</script>", '<image href="https://x.example/a.png"/>'):
        text = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><title>T</title>{bad}</svg>'
        )
        svg, problems = embedded(text, "a figure", "own-")
        assert problems
        assert not svg


def test_an_exporter_of_the_mills_own_writes(brought, tmp_path, capsys):
    out = tmp_path / "list.txt"
    words = ["export", str(brought), "--out", str(out), "--own"]
    assert main([*words, "own-list"]) == 0
    assert out.read_text() == "C1\n"
    assert main([*words, "own-list"]) == 2  # it is there already
    assert main([*words, "own-other"]) == 2
    assert "own-list" in capsys.readouterr().err


# --- sealed and audited -------------------------------------------------------------------------


@pytest.fixture
def sealed(mill):
    """The mill with its charge sealed, the finding of its own check in the record."""
    assert main(["allow", str(mill), "--yes"]) == 0
    write_key(mill)
    folder = open_mill(mill)
    seal(folder, dossiers(folder)["C1"], "A. N. Other", a_key(), SEALED_AT)
    return mill


def test_an_auditor_runs_it_only_on_consent(sealed, tmp_path):
    bag = bag_of(sealed, tmp_path / "bags")
    assert (bag / "data" / FILE).read_bytes() == (sealed / FILE).read_bytes()
    without = audit(bag)
    assert without.holds
    [left] = [one for one in without.all_open if one.kind == "own-checks-not-run"]
    assert "own-energy-read" in left.what
    assert without.outcome == "incomplete"
    agreed = audit(bag, again=Remakers(run_own=True))
    assert agreed.holds
    assert not [one for one in agreed.all_open if one.kind == "own-checks-not-run"]


def test_code_in_a_bag_does_not_run_unasked(sealed, tmp_path):
    bag, ran = bag_of(sealed, tmp_path / "bags"), tmp_path / "ran"
    (bag / "data" / FILE).write_text(f"open({str(ran)!r}, 'w')\n")
    mend_manifests(bag)
    report = audit(bag)
    assert not ran.exists()
    assert report.outcome == "differs"
    assert f"data/{FILE}" in {one.where for one in report.all_differences}


def test_a_digest_that_is_not_that_of_the_code_is_named(sealed, tmp_path):
    """Sealed with the mill's own key: a dossier that states other code than lies beside it."""
    folder = open_mill(sealed)
    dossier = dossiers(folder)["C1"]
    rules = dossier.rules.model_copy(update={"own_code": "0" * 64})
    amend(
        folder,
        dossier.model_copy(update={"rules": rules}),
        "A. N. Other",
        a_key(),
        SEALED_AT + dt.timedelta(days=1),
        "x",
    )
    for path in (sealed, bag_of(sealed, tmp_path / "bags")):
        report = audit(path)
        assert report.outcome == "differs"
        assert "own-code-differs" in {one.kind for one in report.all_differences}


def test_a_builtin_finding_cannot_hide_as_the_mills_own(sealed):
    """A question that this package asks is recomputed, whatever a dossier calls it."""
    path = sealed / "content/ledger/dossiers/C1-1.json"
    dossier = json.loads(path.read_bytes())
    taken = next(one for one in dossier["findings"] if not one["check"].startswith("own-"))
    taken["check"] = "own-nothing"
    path.write_bytes(canonical(dossier))
    report = audit(sealed)
    assert sha256(path.read_bytes())
    assert report.outcome == "differs"
    assert any(re.search(r"/findings/", one.where) for one in report.all_differences)
