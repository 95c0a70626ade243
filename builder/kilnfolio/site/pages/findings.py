"""Findings as pages of charges and lots print them."""

from __future__ import annotations

from collections.abc import Iterable

from kilnfolio.review import figures
from kilnfolio.review.answers import only
from kilnfolio.review.dossier import Finding, Outcome
from kilnfolio.review.findings import ANSWERS, CHECKS, accepted_answers, is_own, title_of
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import check_address

#: Follows the title of a mill's own check.
OWN_MARK = " (the mill's own check)"


@dataclass(frozen=True)
class FindingLine:
    """One finding."""

    word: str
    """The outcome, or "note"."""
    title: str
    target: str
    """The check's page; empty if this version has no such check."""
    message: str
    numbers: str
    """The value found and the limit."""
    where: tuple[str, ...]
    """``file:line``."""
    answer: str


@dataclass(frozen=True)
class FindingGroups:
    """Findings grouped by what they require of a reader."""

    open: list[FindingLine]
    """Failures, then questions."""
    answered: list[FindingLine]
    noted: list[FindingLine]
    no_data: list[FindingLine]
    not_applicable: list[FindingLine]
    passed: list[FindingLine]


def finding_groups(findings: Iterable[Finding]) -> FindingGroups:
    """Return findings grouped by what they require of a reader, each group in catalogue order."""
    order = {slug: place for place, slug in enumerate(CHECKS)}
    lines = [
        (finding, _line(finding))
        for finding in sorted(findings, key=lambda f: order.get(f.check, len(order)))
    ]

    def with_outcomes(*outcomes: Outcome, noted: bool = False) -> list[FindingLine]:
        return [
            line
            for outcome in outcomes
            for finding, line in lines
            if finding.outcome == outcome and finding.noted == noted
        ]

    return FindingGroups(
        with_outcomes("fail", "question"),
        with_outcomes("answered"),
        with_outcomes("pass", noted=True),
        with_outcomes("no data"),
        with_outcomes("not applicable"),
        with_outcomes("pass"),
    )


def _line(finding: Finding) -> FindingLine:
    check = CHECKS.get(finding.check)
    kinds = accepted_answers(finding)
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
        title_of(finding) + (OWN_MARK if is_own(finding.check) else ""),
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
