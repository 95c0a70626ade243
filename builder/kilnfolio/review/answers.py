"""Answers: each finding that needs one has an id, and an answer names that id.

An id consists of the check, what it concerns and when it began, as in
``dry-bulb-overshoot/dry-bulb/2026-04-08T20:00``. A later event has another id and needs an answer
of its own. Not every fail can be answered: its check says which kinds of answer clear it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence

from kilnfolio.records.charge import Answer, Waiver
from kilnfolio.review.dossier import Finding

#: The check that reports problems with answers themselves.
EXPLAINED = "waivers-explained"
#: Takes a finding; returns the kinds of answer that clear it.
_Accepted = Callable[[Finding], Sequence[str]]


def with_ids(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return findings with an id for each breach; identical ids are numbered in order."""
    seen: Counter[str] = Counter()
    made = []
    for finding in findings:
        if finding.outcome in ("question", "fail") or finding.noted:
            name = finding_id(finding)
            seen[name] += 1
            again = f"/{seen[name]}" if seen[name] > 1 else ""
            made.append(finding.model_copy(update={"id": name + again}))
        else:
            made.append(finding)
    return tuple(made)


def finding_id(finding: Finding) -> str:
    """Return the id of a breach: its check, what it concerns and when it began."""
    subject = re.sub(r"[^\w.-]+", "-", finding.subject).strip("-")
    at = f"{finding.at:%Y-%m-%dT%H:%M}" if finding.at else ""
    return "/".join(filter(None, (finding.check, subject, at)))


def answered(
    findings: Sequence[Finding],
    answers: Iterable[Answer],
    waivers: Iterable[Waiver],
    accepted: _Accepted,
) -> tuple[Finding, ...]:
    """Return findings with their answers.

    Parameters
    ----------
    findings : sequence of Finding
        Findings with ids.
    answers : iterable of Answer
        Answers; each applies to the finding it names.
    waivers : iterable of Waiver
        The older form, which names a check. It answers what that check found up to the moment of
        signing, and nothing that began later.
    accepted : callable
        Returns the kinds of answer that clear a finding; other kinds have no effect.
    """
    by_id = {answer.finding: answer for answer in answers}
    by_check = {waiver.check: waiver for waiver in waivers}
    return tuple(
        _answered(finding, by_id.get(finding.id), by_check.get(finding.check), accepted(finding))
        for finding in findings
    )


def unmatched(findings: Sequence[Finding], answers: Iterable[Answer]) -> tuple[Finding, ...]:
    """Return a question for each answer that does not name a finding of its charge."""
    known = {finding.id for finding in findings if finding.id}
    checks = {finding.check for finding in findings}
    return tuple(
        Finding(
            check=EXPLAINED,
            outcome="question",
            id=f"{EXPLAINED}/{answer.finding}",
            message=f"An answer names '{answer.finding}', which is no finding of this charge.",
            subject=answer.finding,
        )
        for answer in answers
        if answer.finding not in known and answer.finding.split("/")[0] in checks
    )


def unaccepted(
    findings: Sequence[Finding], answers: Iterable[Answer], accepted: _Accepted
) -> tuple[Finding, ...]:
    """Return a question for each answer of a kind that does not clear its finding."""
    known = {finding.id: finding for finding in findings if finding.id}
    return tuple(
        Finding(
            check=EXPLAINED,
            outcome="question",
            id=f"{EXPLAINED}/{answer.finding}",
            message=f"The answer to '{answer.finding}' does not clear it: {only(kinds)}.",
            subject=answer.finding,
        )
        for answer in answers
        if (finding := known.get(answer.finding)) is not None
        and answer.kind not in (kinds := accepted(finding))
    )


def only(kinds: Sequence[str]) -> str:
    """Return in words which kinds of answer clear a finding."""
    return (
        f"only '{' or '.join(kinds)}' does, or correcting the record"
        if kinds
        else "only correcting the record does"
    )


def _answered(
    finding: Finding, answer: Answer | None, waiver: Waiver | None, kinds: Sequence[str]
) -> Finding:
    if finding.outcome not in ("question", "fail"):
        return finding
    if answer is not None and answer.kind in kinds:
        return finding.model_copy(
            update={
                "outcome": "answered",
                "answered_by": answer.by,
                "answer_kind": answer.kind,
                "answered_because": answer.reason,
            }
        )
    if (
        waiver is not None
        and "accepted because" in kinds
        and (finding.at is None or finding.at <= waiver.at)
    ):
        return finding.model_copy(
            update={
                "outcome": "answered",
                "answered_by": waiver.by,
                "answer_kind": "accepted because",
                "answered_because": waiver.reason,
            }
        )
    return finding
