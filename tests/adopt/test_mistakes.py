"""Mistakes people really make: each is reported at its place, in a sentence one can act on."""

import re

import pytest
import yaml
from tests.conftest import PROJECT
from tests.minimal import FILES, minimal_mill
from tests.reviewed import reviewed_mill

from kilnfolio.records.problems import RecordProblems

MISTAKES = yaml.load((PROJECT / "tests/data/mistakes.yaml").read_text("utf-8"), yaml.CSafeLoader)


def told(root):
    """Return the messages about a mill: its problems, or else its open questions."""
    try:
        reviewed = reviewed_mill(root)
    except RecordProblems as error:
        return [str(problem) for problem in error.problems]
    return [
        f"{finding.outcome} {finding.check}: {finding.message}"
        + (f" [{finding.where[0].file}:{finding.where[0].line}]" if finding.where else "")
        for dossier in [*reviewed.dossiers.values(), *reviewed.lots.values()]
        for finding in dossier.findings
        if finding.outcome in ("question", "fail")
    ]


@pytest.fixture(scope="module")
def told_anyway(tmp_path_factory):
    return told(minimal_mill(tmp_path_factory.mktemp("minimal")))


def test_there_are_a_hundred_different_mistakes():
    assert len({(one["in"], one.get("for"), one["write"]) for one in MISTAKES}) >= 100


def test_each_message_was_judged_by_what_the_person_does_next():
    judged = {one["mistake"]: one.get("acts", "") for one in MISTAKES}
    assert [name for name, acts in judged.items() if not acts or acts.startswith("weak")] == []


@pytest.mark.parametrize("one", MISTAKES, ids=lambda one: one["mistake"])
def test_the_mistake_is_reported(tmp_path, told_anyway, one):
    root = minimal_mill(tmp_path)
    path = root / FILES[one["in"]]
    text = path.read_text("utf-8")
    old = one.get("for")
    assert old is None or old in text
    path.write_text(
        one["write"]
        if old is None
        else text.replace(old, one["write"], -1 if one["in"] == "log" else 1),
        "utf-8",
    )
    said = [sentence for sentence in told(root) if sentence not in told_anyway]
    assert said == one["says"]
    named = {
        found[1]
        for sentence in said
        if (found := re.search(r"((?:content|schedules)/[\w./-]+?):\d+", sentence))
    }
    assert FILES[one["in"]] in named or "bulbs" in str(named) or one["in"] == "schedule"
