"""The output of `check` for other programs: JSON, SARIF 2.1.0 (OASIS) and JUnit XML."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.etree import ElementTree as ET

from kilnfolio import __version__
from kilnfolio.records.problems import Problem
from kilnfolio.review.dossier import Finding
from kilnfolio.review.findings import CHECKS

#: Version of the JSON that `check --format json` prints; raise it when a key changes its meaning.
JSON_VERSION = 1
_SARIF = "https://json.schemastore.org/sarif-2.1.0.json"
_LEVELS = {"fail": "error", "question": "warning"}

Found = Mapping[str, Sequence[Finding]]


def as_json(found: Found, problems: Sequence[Problem] = ()) -> dict[str, object]:
    """Return findings by charge and lot, or the problems that prevented reading the records."""
    return {
        "version": JSON_VERSION,
        "kilnfolio": __version__,
        "problems": [_problem(problem) for problem in problems],
        "findings": {
            name: [finding.model_dump(mode="json") for finding in findings]
            for name, findings in found.items()
        },
    }


def _problem(problem: Problem) -> dict[str, object]:
    place = problem.place
    return {
        "file": place.file,
        "line": place.line,
        "column": place.column,
        "what": problem.what,
        "why": problem.why,
        "instead": problem.instead,
    }


def as_sarif(found: Found, problems: Sequence[Problem] = ()) -> dict[str, object]:
    """Return a SARIF log: each failure and question, and each problem of a record.

    Code hosts and editors show SARIF beside the lines concerned.
    """
    results = [
        {
            "ruleId": finding.check,
            "level": _LEVELS[finding.outcome],
            "message": {"text": f"{name}: {finding.message}"},
            "locations": [_location(spot.file, spot.line, spot.column) for spot in finding.where],
        }
        for name, findings in found.items()
        for finding in findings
        if finding.outcome in _LEVELS
    ]
    results += [
        {
            "ruleId": "record",
            "level": "error",
            "message": {"text": _sentence(problem)},
            "locations": [_location(problem.place.file, problem.place.line, problem.place.column)],
        }
        for problem in problems
    ]
    rules = _rules(found, {str(result["ruleId"]) for result in results})
    return {
        "$schema": _SARIF,
        "version": "2.1.0",
        "runs": [
            {
                "tool": {"driver": {"name": "kilnfolio", "version": __version__, "rules": rules}},
                "columnKind": "unicodeCodePoints",
                "results": results,
            }
        ],
    }


def _rules(found: Found, said: set[str]) -> list[dict[str, object]]:
    """Return the rules that results name."""
    rules: list[dict[str, object]] = [
        {
            "id": slug,
            "name": check.title,
            "shortDescription": {"text": check.title},
            "fullDescription": {"text": check.reason},
        }
        for slug, check in CHECKS.items()
        if slug in said
    ]
    own = {one.check: one.title for findings in found.values() for one in findings if one.title}
    rules += [
        {
            "id": slug,
            "name": title,
            "shortDescription": {"text": title},
            "fullDescription": {"text": "The mill's own check."},
        }
        for slug, title in own.items()
        if slug in said
    ]
    rules += [
        {"id": slug, "shortDescription": {"text": words}}
        for slug, words in (
            ("record", "A record cannot be read"),
            ("as-sealed", "A sealed record has changed"),
        )
        if slug in said
    ]
    return rules


def _location(file: str, line: int, column: int) -> dict[str, object]:
    return {
        "physicalLocation": {
            "artifactLocation": {"uri": file},
            "region": {"startLine": line, "startColumn": column},
        }
    }


def _sentence(problem: Problem) -> str:
    return str(problem).removeprefix(f"{problem.place}: ")


def as_junit(found: Found, problems: Sequence[Problem] = ()) -> str:
    """Return a JUnit report: a suite for each charge or lot, a case for each finding."""
    root = ET.Element("testsuites", name="kilnfolio")
    for name, findings in found.items():
        suite = ET.SubElement(
            root,
            "testsuite",
            name=name,
            tests=str(len(findings)),
            failures=str(sum(one.outcome in _LEVELS for one in findings)),
            skipped=str(sum(_is_skipped(one) for one in findings)),
        )
        for finding in findings:
            case = ET.SubElement(suite, "testcase", classname=name, name=finding.check)
            if finding.outcome in _LEVELS:
                ET.SubElement(case, "failure", type=finding.outcome, message=finding.message)
            elif _is_skipped(finding):
                ET.SubElement(case, "skipped", message=finding.message)
    if problems:
        suite = ET.SubElement(
            root, "testsuite", name="records", tests=str(len(problems)), errors=str(len(problems))
        )
        for problem in problems:
            case = ET.SubElement(suite, "testcase", classname="records", name=str(problem.place))
            ET.SubElement(case, "error", type="record", message=_sentence(problem))
    ET.indent(root)
    return '<?xml version="1.0" encoding="utf-8"?>\n' + ET.tostring(root, encoding="unicode")


def _is_skipped(finding: Finding) -> bool:
    return finding.outcome in ("no data", "not applicable")
