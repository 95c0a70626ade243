"""Checks run on a case: their findings, with ids and answers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from kilnfolio.records.charge import Answer, Waiver
from kilnfolio.records.log import as_datetime
from kilnfolio.review.answers import EXPLAINED, answered, unaccepted, unmatched, with_ids
from kilnfolio.review.dossier import Finding, Outcome, Spot
from kilnfolio.review.findings import (
    CHECKS,
    NO_OWN_CODE,
    AnyCase,
    Breach,
    Case,
    Check,
    LotCase,
    NoData,
    NotApplicable,
    OwnCode,
    Pass,
    Publication,
    accepted_answers,
    in_order,
    is_own,
)
from kilnfolio.review.limits import NoLimit


def run_checks(
    case: AnyCase, answers: Iterable[Answer] = (), waivers: Iterable[Waiver] = ()
) -> tuple[Finding, ...]:
    """Return the findings of every check of a case, with the answers to them."""
    own = case.own if isinstance(case, Case) else NO_OWN_CODE
    found = [finding for check in checks_for(case) for finding in run_on(check, case).findings()]
    return settled(found, own, answers, waivers)


def checks_for(case: AnyCase) -> list[Check]:
    """Return the checks that examine a case, in the order of their findings."""
    of = {Case: "charge", LotCase: "lot", Publication: "publication"}[type(case)]
    own = case.own if isinstance(case, Case) else NO_OWN_CODE
    known = (*CHECKS.values(), *(own.checks.values() if own else ()))
    return in_order(one for one in known if one.of == of)


def run_on(check: Check, case: AnyCase) -> CheckRun:
    """Return what a check yields for a case."""
    zone = None if isinstance(case, Publication) else case.zone
    return run_check(check, partial(check.run, case), zone)


def settled(
    found: Iterable[Finding],
    own: OwnCode | None,
    answers: Iterable[Answer] = (),
    waivers: Iterable[Waiver] = (),
) -> tuple[Finding, ...]:
    """Return the findings of all checks of a case with their ids and the answers to them."""
    findings = with_ids(list(found))
    answers = tuple(one for one in answers if own is not None or not is_own(one.finding))
    waivers = tuple(waivers)
    if not answers and not waivers:
        return findings
    wrong = (*unmatched(findings, answers), *unaccepted(findings, answers, accepted_answers))
    if wrong:
        findings = (
            *(one for one in findings if one.check != EXPLAINED or one.outcome != "pass"),
            *wrong,
        )
    return answered(findings, answers, waivers, accepted_answers)


class CheckRun(NamedTuple):
    """What a check yielded for one case."""

    check: Check
    breaches: Sequence[Breach]
    sentence: str
    """What it found in order."""
    absent: Exception | None
    """Why it could not look, if it said so."""
    zone: ZoneInfo | None

    @property
    def verdict(self) -> object:
        """What outcomes, ids and answers follow from."""
        if not self.breaches:
            return _absence(self.absent) if self.absent else "pass"
        return [(one.severity or self.check.severity, one.subject, one.at) for one in self.breaches]

    def findings(self) -> Iterator[Finding]:
        """Yield its findings, not yet numbered nor answered."""
        check, absent = self.check, self.absent
        if self.breaches:
            yield from (_finding(check, breach, self.zone) for breach in self.breaches)
            return
        yield Finding(
            check=check.slug,
            title=_own_title(check),
            outcome=_absence(absent) if absent else "pass",
            message=_sentence(str(absent)) if absent else self.sentence,
        )


def run_check(
    check: Check, said: Callable[[], Iterable[Breach | Pass]], zone: ZoneInfo | None = None
) -> CheckRun:
    """Return what a check yields."""
    breaches, sentence, absent = [], check.passes, None
    try:
        for one in said():
            if isinstance(one, Breach):
                breaches.append(one)
            else:
                sentence = one.sentence
    except (NoData, NotApplicable, NoLimit) as error:
        absent = error.with_traceback(None)  # which would keep the case until garbage is collected
    return CheckRun(check, breaches, sentence, absent, zone)


def _absence(error: Exception) -> Literal["not applicable", "no data"]:
    return "not applicable" if isinstance(error, NotApplicable) else "no data"


def _finding(check: Check, breach: Breach, zone: ZoneInfo | None) -> Finding:
    severity, at = breach.severity or check.severity, breach.at
    outcome: Outcome = "pass" if severity == "note" else severity
    if isinstance(at, np.datetime64):
        at = as_datetime(at, zone) if zone is not None else None
    return Finding(
        check=check.slug,
        title=_own_title(check),
        outcome=outcome,
        noted=severity == "note",
        message=breach.message,
        where=tuple(Spot(file=p.file, line=p.line, column=p.column) for p in breach.places),
        subject=breach.subject,
        value=_rounded(breach.value),
        limit=_rounded(breach.limit),
        unit=breach.unit,
        at=at,
    )


def _own_title(check: Check) -> str:
    """Return the title that goes into the record: only that of a check not known elsewhere."""
    return check.title if is_own(check.slug) else ""


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(float(value), 3)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")
