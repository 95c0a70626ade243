"""``take``: put entry files of phones and exports of loggers into the records.

Files may come in any order, from any number of devices and more than once: what the record already
has is skipped, contradictions are reported, and existing values are never changed. Nothing is taken
from a file that is incomplete.
"""

from __future__ import annotations

import codecs
import datetime as dt
import json
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from kilnfolio.adopt.entry.apply import apply
from kilnfolio.adopt.entry.codes import scan
from kilnfolio.adopt.entry.entries import MAX_BYTES, EntryFile
from kilnfolio.adopt.entry.times import ahead_of, span
from kilnfolio.adopt.logs import attach, profile_of, zone_of
from kilnfolio.adopt.record_file import ChargeFile
from kilnfolio.archive.canonical import read_json
from kilnfolio.records.log import read_log
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.yaml_source import read_yaml
from kilnfolio.runtime.files import TooLargeError, open_regular, read_whole

#: Endings of the files that `take` reads in a folder.
_ENDINGS = (".json", ".csv", ".txt", ".log")
#: Seconds between two looks at a watched folder.
_POLL = 1.0


@dataclass
class Taken:
    """The result of taking files.

    Attributes
    ----------
    new, same : int
        Number of entries written, and of those the records already had.
    left : list of str
        Entries and files that were not taken, one sentence each.
    lines : list of str
        What was taken, one sentence for each file.
    """

    new: int = 0
    same: int = 0
    left: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)


def take(
    root: Path, paths: Sequence[Path], now: dt.datetime, ahead: dt.timedelta = dt.timedelta()
) -> Taken:
    """Put entry files and exports into the records.

    Parameters
    ----------
    root : Path
        The mill folder.
    paths : sequence of Path
        Files and folders of them.
    now : datetime
        The current time.
    ahead : timedelta
        How far the devices' clocks are ahead; subtracted from every time.
    """
    taken, zone = Taken(), zone_of(root)
    for path in files_of(paths):
        try:
            if _is_json(path):
                _take_raw(root, _entry_bytes(path), path.name, zone, now, ahead, taken)
            else:
                taken.lines.append(f"{path.name}: {_take_export(root, path)}")
        except RecordProblems as error:
            taken.left += [str(problem) for problem in error.problems]
        except OSError as error:
            taken.left.append(f"{path.name}: {(error.strerror or str(error)).lower()}")
    return taken


def take_codes(
    root: Path, pictures: Sequence[Path], now: dt.datetime, ahead: dt.timedelta = dt.timedelta()
) -> Taken:
    """Put entry files shown as QR codes in pictures into the records.

    Parameters
    ----------
    root, now, ahead
        As for `take`.
    pictures : sequence of Path
        Pictures of the codes of kiln-side pages, in any order.
    """
    taken, zone = Taken(), zone_of(root)
    files, problems = scan(pictures)
    taken.left += map(str, problems)
    for name, raw in files:
        try:
            _take_raw(root, raw, name, zone, now, ahead, taken)
        except RecordProblems as error:
            taken.left += [str(problem) for problem in error.problems]
    return taken


def _take_raw(
    root: Path,
    raw: bytes,
    name: str,
    zone: ZoneInfo,
    now: dt.datetime,
    ahead: dt.timedelta,
    taken: Taken,
) -> None:
    take_entries(root, read_entries(raw, name, zone), name, zone, now, ahead, taken)


def files_of(paths: Sequence[Path]) -> list[Path]:
    """Return the files named, and those in the folders named."""
    found: list[Path] = []
    for path in paths:
        found += (
            sorted(
                one
                for one in path.iterdir()
                if one.is_file() and one.suffix.lower() in _ENDINGS and not one.name.startswith(".")
            )
            if path.is_dir()
            else [path]
        )
    return found


def _is_json(path: Path) -> bool:
    if path.suffix.lower() == ".json":
        return True
    with open_regular(path) as file:
        return file.read(64).lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{")


# --- entry files ----------------------------------------------------------------------------------


def _entry_bytes(path: Path) -> bytes:
    try:
        return read_whole(path, MAX_BYTES)
    except TooLargeError as error:
        raise _too_large(path.name, error.size) from None


def _too_large(name: str, size: int) -> RecordProblems:
    return _refused(
        name,
        f"the file has {size:,} bytes",
        f"at most {MAX_BYTES:,} are read",
        "Hand over the entries in several files",
    )


def read_entries(raw: bytes, name: str, zone: ZoneInfo) -> EntryFile:
    """Read an entry file.

    Raises
    ------
    RecordProblems
        It is too large, incomplete, or does not match the schema.
    """
    if len(raw) > MAX_BYTES:
        raise _too_large(name, len(raw))
    try:
        value = read_json(raw.removeprefix(codecs.BOM_UTF8))
    except ValueError as error:
        at = getattr(error, "pos", None)
        cut = (
            isinstance(error, json.JSONDecodeError)
            and at is not None
            and at >= len(raw) - 4
            and raw.lstrip()[:1] == b"{"
        )
        raise _refused(
            name,
            "the file is incomplete" if cut else "this is not an entry file",
            "it was cut off on the way" if cut else str(error).lower()[:80],
            "Hand it over again from the device, which keeps it",
        ) from None
    try:
        return EntryFile.model_validate(value, context={"zone": zone})
    except ValidationError as error:
        raise RecordProblems([_problem(name, one) for one in error.errors()[:20]]) from None


def _problem(name: str, error: Any) -> Problem:
    context = error.get("ctx") or {}
    where = ".".join(map(str, error["loc"]))
    if error["type"] == "union_tag_invalid":
        return Problem(
            Place(name),
            f"{where}.kind '{str(context.get('tag'))[:60]}'",
            f"an entry is one of {str(context.get('expected_tags')).replace(chr(39), '')}",
            "Bring the kiln-side page on the device up to date, and hand over again",
        )
    return Problem(
        Place(name),
        f"{where} '{str(context.get('entered', error.get('input')))[:60]}'",
        context.get("why", error["msg"].lower()),
        context.get("instead", "The schema is schemas/entries.json"),
    )


def take_entries(
    root: Path,
    entries: EntryFile,
    name: str,
    zone: ZoneInfo,
    now: dt.datetime,
    ahead: dt.timedelta,
    taken: Taken,
) -> None:
    """Put the entries of a file into their charge's record; add the results to `taken`.

    Raises
    ------
    RecordProblems
        There is no such charge, or its record cannot be read.
    """
    file = ChargeFile.open(root, entries.charge)
    new = same = 0
    for number, entry in enumerate(sorted(entries.entries, key=_time_of)):
        moved = _clock_corrected(entry, ahead)
        if (early := ahead_of(moved, now)) is not None:
            taken.left.append(
                f"{name}: {_words(moved)} lies {span(early)} ahead of this "
                "computer's clock; set the device's clock right, and take the file "
                "with --clock-ahead MINUTES, by how much it was ahead"
            )
            continue
        before = file.record.text
        problem, outcome = "", None
        try:
            outcome = apply(file, moved, entries.by, zone)
            if outcome.outcome == "new":
                file.check()
        except RecordProblems as error:
            problem = "; ".join(map(str, error.problems))
        if problem or outcome is None or outcome.outcome == "conflict":
            file.record.restore(before)
            taken.left.append(
                f"{name}, entry {number + 1}: {problem or (outcome and outcome.words)}"
            )
        elif outcome.outcome == "new":
            new += 1
        else:
            same += 1
    if new:
        file.save(f"{new} entries of {name}, by {entries.by}")
    taken.new += new
    taken.same += same
    taken.lines.append(f"{name}: {new} new for charge {entries.charge}, {same} there already")


def _time_of(entry: Any) -> dt.datetime:
    moment: dt.datetime = next(
        getattr(entry, key)
        for key in ("at", "start", "ended")
        if getattr(entry, key, None) is not None
    )
    return moment


def _clock_corrected(entry: Any, ahead: dt.timedelta) -> Any:
    """Return an entry with its time corrected for the device's clock."""
    if not ahead:
        return entry
    return entry.model_copy(
        update={
            key: moment - ahead
            for key in ("at", "start", "end", "ended", "unloaded")
            if (moment := getattr(entry, key, None)) is not None
        }
    )


def _words(entry: Any) -> str:
    return f"{entry.kind} of {_time_of(entry):%Y-%m-%d %H:%M}"


def _refused(name: str, what: str, why: str, instead: str) -> RecordProblems:
    return RecordProblems([Problem(Place(name), what, why, instead)])


# --- exports --------------------------------------------------------------------------------------


def _take_export(root: Path, path: Path) -> str:
    """Attach an export to the one open charge whose profile reads it; return a sentence."""
    fitting, why = [], ""
    for charge, profile, started in _open_logs(root):
        try:
            log = read_log(path, path.name, profile_of(root, profile), zone_of(root))
        except RecordProblems as error:
            why = str(error.problems[0])
            continue
        if log.times[-1].astype("datetime64[s]").astype(int) >= started.timestamp():
            fitting.append((charge, profile))
    if len(fitting) == 1:
        charge, profile = fitting[0]
        return attach(root, path, profile, charge)
    raise _refused(
        path.name,
        "this export fits no open charge"
        if not fitting
        else f"{len(fitting)} open charges could have it: "
        + ", ".join(charge for charge, _ in fitting),
        why or "none has a logger profile that reads it",
        "Say which charge it belongs to: kilnfolio import log FILE --kiln KILN --charge CHARGE",
    )


def _open_logs(root: Path) -> Iterator[tuple[str, str, dt.datetime]]:
    """Yield each open charge with the profile of its log and when heating began."""
    zone = zone_of(root)
    for path in sorted(root.glob("content/charges/*/*/charge.yaml")):
        value = read_yaml(path, path.relative_to(root).as_posix()).value
        if not isinstance(value, dict) or str(value.get("ended", "…")) not in ("…", "None"):
            continue
        profiles = {one["profile"] for one in value.get("log") or [] if isinstance(one, dict)}
        if len(profiles) == 1 and value.get("started"):
            started = dt.datetime.fromisoformat(str(value["started"]))
            yield (
                path.parent.name,
                profiles.pop(),
                started if started.tzinfo else started.replace(tzinfo=zone),
            )


# --- watching -------------------------------------------------------------------------------------


def watch(
    root: Path,
    folder: Path,
    ahead: dt.timedelta,
    say: Callable[[str], None],
    rounds: int | None = None,
) -> None:
    """Take the files of a folder as they arrive, until stopped.

    Parameters
    ----------
    root, folder : Path
        The mill folder, and the folder to watch.
    ahead : timedelta
        As for `take`.
    say : callable
        Prints a line.
    rounds : int, optional
        How many times to look; without end by default.
    """
    seen: dict[Path, tuple[int, int]] = {}
    done: dict[Path, tuple[int, int]] = {}
    while rounds is None or rounds > 0:
        rounds = None if rounds is None else rounds - 1
        for path in files_of([folder]):
            stat = path.stat()
            mark = (stat.st_size, stat.st_mtime_ns)
            if done.get(path) != mark and seen.get(path) == mark:  # it has stopped growing
                done[path] = mark
                report(take(root, [path], dt.datetime.now(dt.UTC), ahead), say)
            seen[path] = mark
        time.sleep(_POLL)


def report(taken: Taken, say: Callable[[str], None]) -> int:
    """Print the results; return the exit code: 1 if something was not taken."""
    for line in taken.lines:
        say(line)
    for line in taken.left:
        say(f"not taken: {line}")
    return 1 if taken.left else 0
