"""``sign``: add a signature (name and date) to the record of a charge that has ended."""

from __future__ import annotations

import datetime as dt

from kilnfolio.adopt.entry.commands import TaskContext, Terminal
from kilnfolio.records.problems import Place, Problem, RecordProblems


def sign(task: TaskContext, by: str, role: str | None, now: dt.datetime, terminal: Terminal) -> int:
    """Sign the record of a charge; return the exit code.

    Raises
    ------
    RecordProblems
        The charge has not ended; nothing is written.
    """
    if task.number not in task.folder.charges:
        raise RecordProblems(
            [
                Problem(
                    Place(task.file.name),
                    f"charge {task.number} is not complete",
                    "only a finished record can be signed",
                    "'kilnfolio check' names what is missing",
                )
            ]
        )
    signatures = task.file.record.at(("signatures",)) or []
    if any(isinstance(one, dict) and one.get("by") == by for one in signatures):
        terminal.say(f"{by} has signed charge {task.number} already")
        return 0
    day = now.astimezone(task.zone).date()
    task.file.insert(
        ("signatures",),
        len(signatures),
        {"by": by, "on": day.isoformat()} | ({"role": role} if role else {}),
    )
    task.file.check()
    terminal.say(f"{task.number}: signed by {by} on {day}")
    if terminal.dry_run:
        terminal.say("nothing was written; without --dry-run it would have been")
        return 0
    task.file.save(f"signature of {by}")
    terminal.say(f"written into {task.file.name}; 'kilnfolio undo' takes it back")
    return 0
