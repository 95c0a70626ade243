"""The steps that every command for an entry at the kiln shares."""

from __future__ import annotations

import datetime as dt
import difflib
import getpass
import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter, ValidationError

from kilnfolio.adopt.entry import messages
from kilnfolio.adopt.entry.apply import apply
from kilnfolio.adopt.entry.completing import open_numbers
from kilnfolio.adopt.entry.doubts import entry_doubts
from kilnfolio.adopt.entry.entries import Entry, FinishEntry, WeighingEntry
from kilnfolio.adopt.entry.times import ahead_of, moment, span
from kilnfolio.adopt.nearby import open_beside
from kilnfolio.adopt.record_file import STATE, ChargeFile, replace_file
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.model import TO_FILL
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.rendering.regional import RegionalFormat, regional_format
from kilnfolio.review.kiln_state import KilnState, kiln_state
from kilnfolio.review.limits import LimitTable, charge_limits
from kilnfolio.review.round_check import examine_round
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass

Ask = Callable[[str], str]
_ENTRY: TypeAdapter[Any] = TypeAdapter(Entry)
#: The environment variable that names the person if a command does not.
PERSON = "KILNFOLIO_BY"


@dataclass(frozen=True)
class Terminal:
    """How a command talks to a person, and what it may assume.

    Attributes
    ----------
    say : callable
        Prints a line.
    ask : callable, optional
        Asks a person a question; None if there is nobody to ask.
    now : datetime
        The current time.
    yes : bool
        Accept values that look wrong.
    dry_run : bool
        Show the change and write nothing.
    """

    say: Callable[[str], None]
    ask: Ask | None
    now: dt.datetime
    yes: bool = False
    dry_run: bool = False


@dataclass
class TaskContext:
    """A charge opened for an entry, with the records it depends on."""

    root: Path
    file: ChargeFile
    folder: MillFolder
    charge: Charge | None

    @classmethod
    def open(cls, root: Path, number: str | None) -> TaskContext:
        """Open a charge by its number, or the only one that is open.

        Raises
        ------
        RecordProblems
            It cannot be read, or no number is given and not exactly one charge is open.
        """
        file = ChargeFile.open(root, number or only_open(root))
        number = (root / file.name).parent.name
        folder = open_beside(root, number)
        opened = folder.open_charges.get(number)
        located = opened.so_far if opened else folder.charges[number]
        return cls(root, file, folder, located.record if located else None)

    @property
    def zone(self) -> ZoneInfo:
        """The mill's zone."""
        return self.folder.mill.record.zone

    @property
    def regional(self) -> RegionalFormat:
        """The units and words of the mill's region."""
        return regional_format(self.folder.mill.record)

    @property
    def number(self) -> str:
        """The charge's number."""
        return (self.root / self.file.name).parent.name

    def limits(self) -> LimitTable:
        """Return the mill's limits as they apply to the charge."""
        assert self.charge is not None
        return charge_limits(self.folder, self.charge)

    def state(self) -> KilnState | None:
        """Return the state of the charge; None if the record holds too little to tell.

        Raises
        ------
        RecordProblems
            See `refuse_ambiguous_masses`.
        """
        self.refuse_ambiguous_masses()
        known = (
            self.charge
            and self.charge.kiln in self.folder.kilns
            and self.charge.schedule in self.folder.schedules
            and all(one.species in self.folder.species for one in self.charge.stock)
        )
        return kiln_state(self.folder, self.charge) if known and self.charge else None

    def refuse_ambiguous_masses(self) -> None:
        """Raise if nobody can tell which board, or which round, a mass belongs to.

        Raises
        ------
        RecordProblems
            Two boards have one tag, or two rounds one time; the message says where.
        """
        if self.charge is None:
            return
        tags = [board.id for board in self.charge.boards]
        times = [weighing.at for weighing in self.charge.weighings]
        if len(set(tags)) < len(tags) or len(set(times)) < len(times):
            raise RecordProblems(self.file.problems)

    def need_state(self) -> KilnState:
        """Return the state of the charge.

        Raises
        ------
        RecordProblems
            The record holds too little to tell; the message names what is missing. See also
            `refuse_ambiguous_masses`.
        """
        state = self.state()
        if state is None:
            lacks = [one for opened in self.folder.open_charges.values() for one in opened.to_fill]
            raise RecordProblems(
                lacks
                or [
                    Problem(
                        Place(self.file.name),
                        "the record of this charge holds too little",
                        "its kiln, schedule and timber must be known",
                        "Fill them in first",
                    )
                ]
            )
        return state


def only_open(root: Path) -> str:
    """Return the number of the only charge that is open.

    Raises
    ------
    RecordProblems
        None is open, or several are.
    """
    opened = open_numbers(root)
    if len(opened) == 1:
        return opened[0]
    raise RecordProblems(
        [
            Problem(
                Place("charge"),
                "no charge is named",
                f"{len(opened) or 'none'} "
                + ("are open: " + ", ".join(opened) if opened else "is open"),
                f"Name one, as in 'kilnfolio weigh {opened[0] if opened else '26-014'} S1=3.978'",
            )
        ]
    )


def person(root: Path, given: str | None) -> str:
    """Return who makes an entry: the given name, the environment's, or the last one given.

    A given name is remembered in the mill folder for later commands.
    """
    kept = root / STATE / "person"
    if given:
        kept.parent.mkdir(exist_ok=True)
        replace_file(kept, given.encode())
        return given
    if named := os.environ.get(PERSON):
        return named
    with suppress(OSError, UnicodeDecodeError):
        if last := read_file(kept).decode().strip():
            return last
    return getpass.getuser()


def entry_of(**values: Any) -> Any:
    """Return an entry made from a command's arguments.

    Raises
    ------
    RecordProblems
        A value is not valid.
    """
    try:
        return _ENTRY.validate_python({key: one for key, one in values.items() if one is not None})
    except ValidationError as error:
        raise RecordProblems([_problem(one) for one in error.errors()]) from None


def _problem(error: Any) -> Problem:
    context = error.get("ctx") or {}
    where = ".".join(str(part) for part in error["loc"][1:])
    if error["type"] == "literal_error":
        near = difflib.get_close_matches(
            str(error["input"]), re.findall("'(.+?)'", context["expected"]), 1
        )
        return Problem(
            Place("entry"),
            f"{where} '{error['input']}'",
            f"it is one of {context['expected']}",
            f"Did you mean '{near[0]}'?" if near else "Write one of these",
        )
    if error["type"] == "string_too_short":
        return Problem(Place("entry"), where, "it is empty", "Say it in words")
    return Problem(
        Place("entry"),
        f"{where} '{context.get('entered', error.get('input'))}'",
        context.get("why", error["msg"].lower()),
        context.get("instead", ""),
    )


def enter(task: TaskContext, entry: Any, by: str, terminal: Terminal) -> int:
    """Show an entry, put it into the record and write the record; return the exit code.

    Returns
    -------
    int
        0 if the record has it now; 1 if it looks wrong and nobody confirmed it.

    Raises
    ------
    RecordProblems
        The record contradicts it, could not be read afterwards, or does not tell its boards or
        rounds apart; nothing is written.
    """
    lines, doubts = _shown(task, entry)
    if (early := ahead_of(entry, terminal.now)) is not None:
        doubts = [f"that is {span(early)} from now: is the date right?", *doubts]
    applied = apply(task.file, entry, by, task.zone)
    terminal.say(f"{task.number}, by {entry.by or by}: {applied.words}")
    for line in lines:
        terminal.say(line)
    for doubt in doubts:
        terminal.say(f"  ? {doubt}")
    if applied.outcome == "conflict":
        raise RecordProblems(
            [
                Problem(
                    Place(task.file.name),
                    applied.words,
                    "an entry never changes existing values",
                    f"If the record is wrong: kilnfolio correct {task.number} …",
                )
            ]
        )
    if applied.outcome == "same":
        terminal.say(f"  the record has it already: {applied.words}")
        return 0
    task.file.check()
    if terminal.dry_run:
        terminal.say("nothing was written; without --dry-run it would have been")
        return 0
    if doubts and not terminal.yes:
        if terminal.ask is None:
            terminal.say("nothing was written; if this is right, give the command again with --yes")
            return 1
        if terminal.ask("  Write it all the same? [y/N]: ").strip().lower() not in ("y", "yes"):
            terminal.say("nothing was written")
            return 1
    task.file.save(applied.words)
    terminal.say(f"written into {task.file.name}; 'kilnfolio undo' takes it back")
    if task.number in task.folder.charges:
        terminal.say(f"charge {task.number} is complete: if it is sealed, 'kilnfolio amend' it")
    return 0


def _shown(task: TaskContext, entry: Any) -> tuple[Sequence[str], list[str]]:
    """Return the lines shown before an entry is written, and what looks wrong in it."""
    state = task.state()
    if state is None:
        return [], []
    if isinstance(entry, WeighingEntry):
        look = examine_round(
            state, {tag: mass.value for tag, mass in entry.masses.items()}, entry.at
        )
        lines = (
            list(messages.round_lines(state, look, task.regional))
            if entry.masses
            else [f"  {tag:<4} {mc.entered}" for tag, mc in entry.mc.items()]
        )
        return lines, [doubt.words for doubt in look.doubts]
    return list(messages.state_lines(state, task.regional)), [
        *entry_doubts(state, entry, task.limits()),
        *_still_open(task, entry),
    ]


def _still_open(task: TaskContext, entry: Any) -> Iterator[str]:
    if not isinstance(entry, FinishEntry):
        return
    for name in ("equalizing", "conditioning"):
        stands = task.file.record.at((name,))
        if isinstance(stands, dict) and str(stands.get("end")) in (TO_FILL, "None"):
            yield f"{name} has not ended: kilnfolio {_VERBS[name]} {task.number} end"


# --- entries from the words of each command -------------------------------------------------------


def weighing(
    task: TaskContext, pairs: Sequence[str], at: str | None, unit: str | None, now: dt.datetime
) -> Any:
    """Return a round from words such as ``S1=3.978`` or, for a hand meter, ``S1=24%``."""
    if not pairs:
        raise RecordProblems(
            [
                Problem(
                    Place("weigh"),
                    "no mass is given",
                    "a round has the mass of at least one board",
                    "Write each as BOARD=MASS, as in S1=3.978",
                )
            ]
        )
    masses, mc = {}, {}
    units = {board.tag: board.unit for board in state.boards} if (state := task.state()) else {}
    for pair in pairs:
        tag, equals, value = pair.partition("=")
        tag, value = tag.strip(), value.strip()
        if not equals or not tag or not value:
            raise RecordProblems(
                [
                    Problem(
                        Place("weigh"),
                        f"'{pair}'",
                        "a mass is written as BOARD=MASS",
                        "Write it as in S1=3.978",
                    )
                ]
            )
        if tag in masses or tag in mc:
            raise RecordProblems(
                [
                    Problem(
                        Place("weigh"),
                        f"board '{tag}'",
                        "it is named twice",
                        "Give each board once",
                    )
                ]
            )
        if value.count(",") == 1 and "." not in value:  # typed, it is the decimal separator
            value = value.replace(",", ".")
        if value.endswith("%"):
            mc[tag] = value
        else:
            masses[tag] = _with_unit(value, unit or units.get(tag) or _most_common(units))
    return entry_of(kind="weighing", at=moment(at, task.zone, now), masses=masses, mc=mc)


def _most_common(units: Mapping[str, str]) -> str | None:
    found = list(units.values())
    return max(set(found), key=found.count) if found else None


def _with_unit(value: str, unit: str | None) -> str:
    """Return a mass with a unit."""
    bare = not re.search(r"[^\d.eE+-]", value)
    if bare and unit is None:
        raise RecordProblems(
            [
                Problem(
                    Place("weigh"),
                    f"'{value}'",
                    "it has no unit, and no board of the charge has one",
                    "Give it with --unit kg",
                )
            ]
        )
    return f"{value} {unit}" if bare else " ".join(value.split())


def step(
    task: TaskContext, number: int | None, at: str | None, reason: str | None, now: dt.datetime
) -> Any:
    """Return the entry of a step that was set, by default the next one."""
    state = task.need_state()
    return entry_of(
        kind="step",
        at=moment(at, task.zone, now),
        step=number or (state.step or 0) + 1,
        reason=reason,
    )


def stop(
    task: TaskContext, cause: str | None, start: str | None, end: str | None, now: dt.datetime
) -> Any:
    """Return the entry of a stop: its begin, its end, or both."""
    running = next(
        (
            one
            for one in reversed(task.file.record.at(("stops",)) or [])
            if isinstance(one, dict) and str(one.get("end")) in (TO_FILL, "None")
        ),
        None,
    )
    if cause is None and running is None:
        raise RecordProblems(
            [
                Problem(
                    Place("stop"),
                    "no cause is given",
                    "there is no open stop to end",
                    f"Say why: kilnfolio stop {task.number} 'power cut' --from 03:10",
                )
            ]
        )
    if cause is None and running is not None:
        return entry_of(
            kind="stop",
            start=_recorded_time(task, running["start"]),
            cause=running["cause"],
            end=moment(end, task.zone, now, "--to"),
        )
    return entry_of(
        kind="stop",
        start=moment(start, task.zone, now, "--from"),
        cause=cause,
        end=moment(end, task.zone, now, "--to") if end else None,
    )


def _recorded_time(task: TaskContext, text: object) -> dt.datetime:
    return moment(str(text), task.zone, dt.datetime.now(dt.UTC))


def stage(
    task: TaskContext,
    name: str,
    what: str,
    at: str | None,
    dry_bulb: str | None,
    emc: str | None,
    now: dt.datetime,
) -> Any:
    """Return the entry of equalizing or conditioning that began or ended."""
    stands = task.file.record.at((name,))
    if what == "end":
        if not isinstance(stands, dict):
            raise RecordProblems(
                [
                    Problem(
                        Place(name),
                        f"{name} has not begun",
                        "so it cannot end",
                        f"First: kilnfolio {_VERBS[name]} {task.number} begin",
                    )
                ]
            )
        return entry_of(
            kind="stage",
            stage=name,
            start=_recorded_time(task, stands["start"]),
            end=moment(at, task.zone, now),
            dry_bulb=stands["dry_bulb"],
            emc=stands["emc"],
        )
    asked = stage_air(task, name) if dry_bulb is None or emc is None else ("", "")
    return entry_of(
        kind="stage",
        stage=name,
        start=moment(at, task.zone, now),
        dry_bulb=dry_bulb or asked[0],
        emc=emc or asked[1],
    )


_VERBS = {"equalizing": "equalize", "conditioning": "condition"}


def stage_air(task: TaskContext, name: str) -> tuple[str, str]:
    """Return the dry bulb and EMC of equalizing or conditioning, from the schedule or the rule."""
    from kilnfolio.physics.rules import conditioning_emc, equalizing_emc

    state, charge = task.need_state(), task.charge
    assert charge is not None
    schedule = task.folder.schedules[charge.schedule].record
    planned = getattr(schedule, name)
    if (
        planned
        and planned.emc
        and schedule.target_mc
        and schedule.target_mc.value == charge.target_mc.value
    ):
        return planned.dry_bulb.entered, planned.emc.entered
    limits = task.limits()
    target = charge.target_mc.value
    emc = (
        float(equalizing_emc(target, limits.value("equalizing-below-target")))
        if name == "equalizing"
        else float(conditioning_emc(target, limits.value("conditioning-above-target")))
    )
    air = state.air or state.steps[-1]
    dry_bulb = task.regional.reading(air.dry_bulb_c).replace("\N{NO-BREAK SPACE}", " ")
    return dry_bulb, f"{emc:g} %"


def finish(task: TaskContext, ended: str | None, unloaded: str | None, now: dt.datetime) -> Any:
    """Return the entry of the end of a charge."""
    stands = task.file.record.at(("ended",))
    if ended is None and unloaded and stands not in (None, TO_FILL):
        first = _recorded_time(task, stands)
    else:
        first = moment(ended, task.zone, now, "--ended")
    return entry_of(
        kind="finish",
        ended=first,
        unloaded=moment(unloaded, task.zone, now, "--unloaded") if unloaded else None,
    )
