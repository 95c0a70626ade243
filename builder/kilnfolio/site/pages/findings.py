"""What the checks said, as charge and lot pages print it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from kilnfolio.review import figures
from kilnfolio.review.answers import only
from kilnfolio.review.dossier import Finding, Outcome
from kilnfolio.review.findings import ANSWERS, CHECKS, answers_taken
from kilnfolio.site.context import check_address


@dataclass(frozen=True)
class FindingLine:
    """One finding."""

    word: str
    """The outcome, or note."""
    title: str
    target: str
    """The check's page; empty where this version has no such check."""
    message: str
    numbers: str
    """What was found against what is allowed."""
    where: tuple[str, ...]
    """``file:line``."""
    answer: str


@dataclass(frozen=True)
class FindingGroups:
    """Findings by what they ask of a reader."""

    open: list[FindingLine]
    """Failures, then questions."""
    answered: list[FindingLine]
    noted: list[FindingLine]
    no_data: list[FindingLine]
    not_applicable: list[FindingLine]
    passed: list[FindingLine]


def finding_groups(findings: Iterable[Finding]) -> FindingGroups:
    """Return findings by what they ask of a reader, in the order of the catalogue within each."""
    order = {slug: place for place, slug in enumerate(CHECKS)}
    lines = [
        (finding, _line(finding))
        for finding in sorted(findings, key=lambda f: order.get(f.check, len(order)))
    ]

    def having(*outcomes: Outcome, noted: bool = False) -> list[FindingLine]:
        return [
            line
            for outcome in outcomes
            for finding, line in lines
            if finding.outcome == outcome and finding.noted == noted
        ]

    return FindingGroups(
        having("fail", "question"),
        having("answered"),
        having("pass", noted=True),
        having("no data"),
        having("not applicable"),
        having("pass"),
    )


def title_of(finding: Finding) -> str:
    """Return what the check of a finding is called; of a check no longer there, its slug."""
    check = CHECKS.get(finding.check)
    return check.title if check else finding.check.replace("-", " ").capitalize()


def _line(finding: Finding) -> FindingLine:
    check = CHECKS.get(finding.check)
    kinds = answers_taken(finding)
    answer = (
        f"{finding.answer_kind.capitalize()}: {finding.answered_because} ({finding.answered_by})"
        if finding.answered_by
        else ""
        if kinds == ANSWERS
        else f"No other answer clears it: {only(kinds)}."
        if kinds
        else f"No answer clears it: {only(kinds)}."
    )
    return FindingLine(
        finding.word,
        title_of(finding),
        check_address(finding.check) if check else "",
        finding.message,
        _numbers(finding),
        tuple(f"{spot.file}:{spot.line}" for spot in finding.where),
        answer,
    )


def _numbers(finding: Finding) -> str:
    if finding.value is None:
        return ""
    found = f"found {_plain(finding.value, finding.unit)}"
    return (
        found if finding.limit is None else f"{found}, limit {_plain(finding.limit, finding.unit)}"
    )


def _plain(value: float, unit: str) -> str:
    decimals = len(f"{value:.2f}".rstrip("0").partition(".")[2])
    return figures.measure(value, unit, decimals)
