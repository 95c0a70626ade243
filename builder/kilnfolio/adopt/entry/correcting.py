"""``correct``: change a value in a record, and keep the old one, the reason and the name."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence

from kilnfolio.adopt.entry.commands import TaskContext, Terminal
from kilnfolio.adopt.entry.times import moment, written
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import open_mill
from kilnfolio.records.model import localize
from kilnfolio.records.open_charge import OpenCharge
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.review.boards import Weighed, board_histories
from kilnfolio.review.checks.record_keeping import path_of

#: A mass in a round, as in S3@07:10 or S3@2026-03-03T07:10.
_OF_ROUND = re.compile(r"(.+)@(.+)")


def correct(
    task: TaskContext,
    field: str,
    new: str,
    reason: str,
    by: str,
    now: dt.datetime,
    terminal: Terminal,
) -> int:
    """Change a value and keep the old one; return the exit code.

    Raises
    ------
    RecordProblems
        There is no such value, the new one is the same or not valid, or the record does not tell
        its boards or rounds apart; nothing is written.
    """
    record = task.file.record
    named = (
        _of_round(task, found[1], found[2], now) if (found := _OF_ROUND.fullmatch(field)) else field
    )
    path = path_of(record.value, named)
    if path is None or not path:
        raise _refused(
            f"'{field}'",
            "the record has nothing there",
            "Write BOARD@TIME for a mass, or a path such as boards.S3.green_mass",
        )
    old = record.at(path)
    if isinstance(old, (dict, list)) or old is None:
        raise _refused(
            f"'{field}'",
            "it is not one value",
            "Name a value below it, as in "
            f"{named}.{next(iter(old)) if isinstance(old, dict) and old else 0}",
        )
    if str(old).split() == new.split():
        raise _refused(f"'{field}'", f"it says {old} already", "There is nothing to correct")
    record.put(path, _in_type_of(old, new))
    task.file.insert(
        ("corrections",),
        len(record.at(("corrections",)) or []),
        {
            "field": named,
            "old": str(old),
            "new": new,
            "reason": reason,
            "by": by,
            "at": written(now.replace(microsecond=0, second=0), task.zone),
        },
    )
    task.file.check()
    terminal.say(f"{task.number}, by {by}: {named} from {old} to {new}, because: {reason}")
    for line in _mass_lines(task, path):
        terminal.say(line)
    if terminal.dry_run:
        terminal.say("nothing was written; without --dry-run it would have been")
        return 0
    task.file.save(f"correction of {named} from {old} to {new}")
    terminal.say(f"written into {task.file.name}; 'kilnfolio undo' takes it back")
    if task.number in task.folder.charges:
        terminal.say(f"charge {task.number} is complete: if it is sealed, 'kilnfolio amend' it")
    return 0


def _in_type_of(old: object, new: str) -> object:
    """Return the new value in the type of the old one: a number stays a number."""
    return int(new) if isinstance(old, int) and re.fullmatch(r"[+-]?\d+", new) else new


def _of_round(task: TaskContext, board: str, at: str, now: dt.datetime) -> str:
    """Return the path of a mass, given its board and the time of its round."""
    wanted = moment(at, task.zone, now, "the time behind '@'")
    lists = {key: task.file.record.at((key,)) or [] for key in ("weighings", "mc_rounds")}
    held = ""
    for key, inner in (("weighings", "masses"), ("mc_rounds", "mc")):
        for one in lists[key]:
            stands = dt.datetime.fromisoformat(str(one.get("at")).replace(" ", "T"))
            stands = stands if stands.tzinfo else localize(stands, task.zone, one.get("at"))
            if stands == wanted and board in one.get(inner, {}):
                return f"{key}.{one['at']}.{inner}.{board}"
            if stands == wanted:
                held = ", ".join(one.get(inner, {}))
    if held:
        raise _refused(f"'{board}@{at}'", f"board {board} is not in that round", f"It has {held}")
    rounds = lists["weighings"] or lists["mc_rounds"]
    raise _refused(
        f"'{board}@{at}'",
        "there is no round of that time",
        f"The last is of {rounds[-1].get('at')}" if rounds else "No round is on record",
    )


def _refused(what: str, why: str, instead: str) -> RecordProblems:
    return RecordProblems([Problem(Place("correct"), what, why, instead)])


def _mass_lines(task: TaskContext, path: tuple[str | int, ...]) -> Iterator[str]:
    """Yield what a corrected mass makes of a board's MC, and of the rounds beside it."""
    if not (len(path) == 4 and path[0] == "weighings" and path[2] == "masses" and task.charge):
        return
    task.refuse_ambiguous_masses()
    proposed = open_mill(task.root, proposed={task.file.name: task.file.after})
    read = proposed.located_charge(task.number)
    located = read.so_far if isinstance(read, OpenCharge) else read
    if located is None:
        return
    tag, at = str(path[3]), located.record.weighings[int(path[1])].at
    before, after = _points(task.charge, tag), _points(located.record, tag)
    for one in after:
        old = next((point for point in before if point.at == one.at), None)
        if one.at != at and (old is None or old.daily_loss_pct == one.daily_loss_pct):
            continue
        loss = "" if one.daily_loss_pct is None else f", {one.daily_loss_pct:.1f} points a day"
        was = f" (was {old.mc_pct:.1f} %)" if old and one.at == at else ""
        yield f"  {tag} at {one.at:%Y-%m-%d %H:%M}: {one.mc_pct:.1f} %{was}{loss}"
        if one.daily_loss_pct is not None and one.daily_loss_pct < 0.0:
            yield f"  ? {tag} gained"


def _points(charge: Charge, tag: str) -> Sequence[Weighed]:
    return next((one.points for one in board_histories(charge) if one.board.id == tag), ())
