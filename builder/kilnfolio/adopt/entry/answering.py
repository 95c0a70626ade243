"""``answer``: a signed answer to one finding, written into the charge's record."""

from __future__ import annotations

import datetime as dt
import difflib

from kilnfolio.adopt.entry.commands import TaskContext, Terminal
from kilnfolio.adopt.entry.times import written
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.review.answers import only
from kilnfolio.review.dossier import Finding
from kilnfolio.review.findings import accepted_answers
from kilnfolio.review.reviews import dossiers, open_reviews


def answer(
    task: TaskContext,
    finding: str,
    kind: str,
    reason: str,
    by: str,
    now: dt.datetime,
    terminal: Terminal,
) -> int:
    """Write an answer to a finding; return the exit code.

    Raises
    ------
    RecordProblems
        The charge has no such finding, it is already answered, or an answer of that kind does not
        clear it; nothing is written.
    """
    found = _finding(task, finding)
    terminal.say(f"{task.number}: {found.message}")
    kinds = accepted_answers(found)
    if kind not in kinds:
        raise _refused(
            f"'{finding}'",
            f"'{kind}' does not clear it: {only(kinds)}",
            "See the page of its check",
        )
    answers = task.file.record.at(("answers",)) or []
    if any(isinstance(one, dict) and one.get("finding") == finding for one in answers):
        raise _refused(f"'{finding}'", "it is answered already", "See answers in the record")
    task.file.insert(
        ("answers",),
        len(answers),
        {
            "finding": finding,
            "kind": kind,
            "reason": reason,
            "by": by,
            "at": written(now.replace(second=0, microsecond=0), task.zone),
        },
    )
    task.file.check()
    terminal.say(f"  {kind}: {reason} ({by})")
    if terminal.dry_run:
        terminal.say("nothing was written; without --dry-run it would have been")
        return 0
    task.file.save(f"answer to {finding}")
    terminal.say(f"written into {task.file.name}; 'kilnfolio undo' takes it back")
    if task.number in task.folder.charges:
        terminal.say(f"charge {task.number} is complete: if it is sealed, 'kilnfolio amend' it")
    return 0


def _finding(task: TaskContext, identity: str) -> Finding:
    reviewed = (
        dossiers(task.folder)[task.number]
        if task.number in task.folder.charges
        else open_reviews(task.folder)[task.number]
    )
    findings = reviewed.findings
    known = {one.id: one for one in findings if one.id}
    if identity in known:
        return known[identity]
    near = difflib.get_close_matches(identity, known, 1, 0.3)
    raise _refused(
        f"'{identity}'",
        "the charge has no such finding",
        f"Did you mean '{near[0]}'?"
        if near
        else f"'kilnfolio check --charge {task.number}' prints them",
    )


def _refused(what: str, why: str, instead: str) -> RecordProblems:
    return RecordProblems([Problem(Place("answer"), what, why, instead)])
