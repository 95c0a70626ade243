"""What `check` prints for other programs."""

import json
from xml.etree import ElementTree as ET

import pytest
from tests.minimal import FILES, minimal_mill

from kilnfolio.cli import main
from kilnfolio.cli.check import _print_findings
from kilnfolio.review.dossier import Finding


@pytest.fixture
def mill(tmp_path):
    return minimal_mill(tmp_path / "mill")


@pytest.fixture
def broken(mill):
    charge = next(mill.glob("content/charges/*/C1/charge.yaml"))
    charge.write_text(charge.read_text("utf-8").replace("kiln: k1", "kiln: k9"), "utf-8")
    return mill


def printed(capsys, root, form):
    code = main(["check", str(root), "--format", form])
    return code, capsys.readouterr().out


def test_text_counts_questions_and_says_what_no_answer_clears(capsys):
    light = Finding(check="mass-below-oven-dry", outcome="fail", message="Light.", id="light/S1")
    asked = [
        Finding(check="signed", outcome="question", message="Not signed.", id=f"signed/{n}")
        for n in range(2)
    ]
    _print_findings("C1", [light, *asked], str, everything=False)
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "C1: 1 fail, 2 questions"
    assert [line.strip() for line in lines[2::2]] == [
        "no answer clears it: only correcting the record does",
        "to answer it: signed/0",
        "to answer it: signed/1",
    ]


def test_json_carries_its_version(mill, capsys):
    code, text = printed(capsys, mill, "json")
    data = json.loads(text)
    assert data["version"] == 1
    assert data["problems"] == []
    raised = {finding["outcome"] for findings in data["findings"].values() for finding in findings}
    assert code == bool(raised & {"question", "fail"})


def test_every_format_lists_the_problems(broken, capsys):
    code, text = printed(capsys, broken, "json")
    assert code == 2
    (problem,) = json.loads(text)["problems"]
    code, text = printed(capsys, broken, "sarif")
    assert code == 2
    (result,) = json.loads(text)["runs"][0]["results"]
    region = result["locations"][0]["physicalLocation"]
    assert region["artifactLocation"]["uri"] == problem["file"]
    assert region["region"]["startLine"] == problem["line"]
    code, text = printed(capsys, broken, "junit")
    assert code == 2
    assert ET.fromstring(text).find("testsuite/testcase/error").get("message").startswith("kiln")


def test_sarif_has_the_properties_the_standard_requires(mill, capsys):
    """SARIF 2.1.0 (OASIS): required properties of the log, run, tool, driver, rule and result."""
    _, text = printed(capsys, mill, "sarif")
    log = json.loads(text)
    assert log["version"] == "2.1.0"
    (run,) = log["runs"]
    assert run["tool"]["driver"]["name"] == "kilnfolio"
    ids = [rule["id"] for rule in run["tool"]["driver"]["rules"]]
    assert len(set(ids)) == len(ids)
    assert run["results"]
    for result in run["results"]:
        assert result["message"]["text"]
        assert result["level"] in {"error", "warning"}
        assert result["ruleId"] in ids
        for location in result["locations"]:
            region = location["physicalLocation"]["region"]
            assert region["startLine"] >= 1
            assert region["startColumn"] >= 1


def test_junit_counts_match_its_cases(mill, capsys):
    _, text = printed(capsys, mill, "junit")
    suites = list(ET.fromstring(text))
    assert {suite.get("name") for suite in suites} == {"C1", "lot L1"}
    for suite in suites:
        assert len(suite) == int(suite.get("tests"))
        assert len(suite.findall("testcase/failure")) == int(suite.get("failures"))
        assert len(suite.findall("testcase/skipped")) == int(suite.get("skipped"))


@pytest.mark.parametrize(
    ("noun", "old", "new"),
    [
        ("kiln", "name:", r'name: "a\e]0;x\a\u202E\u2028b"' + "\nx:"),
        ("kiln", "name:", r'"k\e[2Jy": 1' + "\nname:"),
        ("charge", "kiln: k1", r'kiln: "k\e[2J"'),
        ("lot", "product:", r'"\0<a>&": "]]>"' + "\nproduct:"),
        ("lot", "format: 1", r'format: "\e[31m"'),
    ],
)
def test_no_control_character_of_a_record_reaches_a_terminal_or_a_report(
    mill, capsys, noun, old, new
):
    """A terminal would obey it, and XML 1.0 (section 2.2) may not contain it."""
    path = mill / FILES[noun]
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    for form in ("text", "json", "sarif", "junit"):
        words = ["check", str(mill), *([] if form == "text" else ["--format", form])]
        assert main(words) == 2
        said = capsys.readouterr()
        assert not [one for one in said.out + said.err if one != "\n" and not one.isprintable()]
        if form == "junit":
            assert ET.fromstring(said.out).find("testsuite/testcase/error") is not None
        elif form != "text":
            json.loads(said.out)
