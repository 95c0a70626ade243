"""Changes records on disk: validates first, replaces atomically, and keeps what undo needs."""

from __future__ import annotations

import datetime as dt
import json
import os
import re
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import field
from functools import cached_property
from pathlib import Path as FilePath

from kilnfolio.adopt.nearby import charge_file, charge_problems
from kilnfolio.adopt.record_text import Path, RecordText
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder, open_mill
from kilnfolio.records.problems import Place, Problem, RecordProblems, cannot_read
from kilnfolio.records.yaml_source import MAX_BYTES
from kilnfolio.runtime.files import read_file, write_whole
from kilnfolio.runtime.values import dataclass

#: The folder in the mill folder that holds what undo needs.
STATE = FilePath(".kilnfolio")
#: How many changes can be undone; older ones are forgotten.
_KEPT = 500
#: The name of a file that holds one change.
_NAME = re.compile(r"\d{6}(\.undone)?\.json")
_BOM = b"\xef\xbb\xbf"


@dataclass
class ChargeFile:
    """A charge's record, opened for a change.

    Attributes
    ----------
    root : FilePath
        The mill folder.
    name : str
        The record's path in the mill folder.
    before : bytes
        The file as it was read.
    record : RecordText
        The text to edit.
    """

    root: FilePath
    name: str
    before: bytes
    record: RecordText
    _line_break: str = "\n"
    _read: str = field(default="", init=False)

    def __post_init__(self) -> None:
        self._read = self.record.text

    @classmethod
    def open(cls, root: FilePath, charge: str) -> ChargeFile:
        """Open the record of a charge.

        Raises
        ------
        RecordProblems
            There is no such charge, or its file cannot be read.
        """
        path = charge_file(root, charge)
        name = path.relative_to(root).as_posix()
        try:
            before = read_file(path)
        except OSError as error:
            raise RecordProblems([cannot_read(name, error)]) from None
        return cls.of(root, name, before)

    @classmethod
    def of(cls, root: FilePath, name: str, before: bytes) -> ChargeFile:
        """Open a record from its bytes."""
        text = decoded(before, name)
        breaks = "\r\n" if text.count("\r\n") * 2 > text.count("\n") else "\n"
        record = RecordText(text.replace("\r\n", "\n"), name, list(Charge.model_fields))
        if not isinstance(record.value, dict):
            raise RecordProblems(
                [
                    Problem(
                        Place(name),
                        "this file holds no record",
                        "a record is lines of 'key: value'",
                        "Restore it from your backup",
                    )
                ]
            )
        return cls(root, name, before, record, breaks)

    def insert(self, path: Path, index: int, item: object) -> None:
        """Insert an item into a list, and adjust the paths of corrections to later items."""
        self.record.insert(path, index, item)
        start = ".".join(map(str, path))
        for number, one in enumerate(self.record.at(("corrections",)) or []):
            field = str(one.get("field", "")) if isinstance(one, dict) else ""
            found = re.fullmatch(rf"{re.escape(start)}\.(\d+)((?:\..*)?)", field)
            if (
                found
                and int(found[1]) >= index
                and isinstance(self.record.at((*path, int(found[1]) + 1)), dict)
            ):
                self.record.put(
                    ("corrections", number, "field"), f"{start}.{int(found[1]) + 1}{found[2]}"
                )

    @property
    def changed(self) -> bool:
        """Whether the text was edited."""
        return self.record.text != self._read

    @property
    def after(self) -> bytes:
        """The bytes to be written."""
        if not self.changed:
            return self.before
        text = self.record.text.replace("\n", self._line_break)
        return (_BOM if self.before.startswith(_BOM) else b"") + text.encode()

    @cached_property
    def _mill(self) -> MillFolder:
        """The mill, which reads the records that the charge names only once during the edit."""
        return open_mill(self.root)

    @cached_property
    def problems(self) -> tuple[Problem, ...]:
        """The problems of the record as it was read; see `nearby.charge_problems`."""
        return charge_problems(self._mill, self.name, self._read)

    def check(self) -> None:
        """Validate the edited record.

        Raises
        ------
        RecordProblems
            The edit introduced problems.
        """
        if len(self.after) > MAX_BYTES:
            raise RecordProblems(
                [
                    Problem(
                        Place(self.name),
                        f"the record would have {len(self.after):,} bytes",
                        f"a record may have at most {MAX_BYTES:,}",
                        "Keep long series in the logger's own file",
                    )
                ]
            )
        known = {(one.what, one.why) for one in self.problems}
        if wrong := [
            one
            for one in charge_problems(self._mill, self.name, self.record.text)
            if (one.what, one.why) not in known
        ]:
            raise RecordProblems(wrong)

    def save(self, words: str) -> None:
        """Validate the record and replace the file; `words` describe the change."""
        self.check()
        if self.changed:
            replace_files(self.root, {self.name: self.after}, {self.name: self.before}, words)


def decoded(raw: bytes, name: str) -> str:
    """Return a record's text.

    Raises
    ------
    RecordProblems
        It is not UTF-8.
    """
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise RecordProblems(
            [
                Problem(
                    Place(name, raw[: error.start].count(b"\n") + 1),
                    "a byte is not UTF-8",
                    "records are read as UTF-8 text",
                    "Save the file again with the encoding UTF-8",
                )
            ]
        ) from None


# --- writing --------------------------------------------------------------------------------------


def replace_files(
    root: FilePath,
    after: Mapping[str, bytes | None],
    before: Mapping[str, bytes | None],
    words: str,
) -> None:
    """Keep what files hold for undo, and replace each of them atomically.

    Parameters
    ----------
    root : FilePath
        The mill folder.
    after : mapping of str to bytes or None
        New content by path in the folder; None deletes a file.
    before : mapping of str to bytes or None
        What the caller read; None if there was no file.
    words : str
        A description of the change, for `history`.

    Raises
    ------
    RecordProblems
        Somebody else changed a file meanwhile; nothing is written.
    """
    with lock(root):
        _need_unchanged(root, before)
        # kept first, so that a full disk leaves the records as they are
        kept = _keep(
            root,
            {
                "what": words,
                "at": f"{dt.datetime.now().astimezone():%Y-%m-%dT%H:%M:%S%z}",
                "files": {name: [_text(before[name]), _text(after[name])] for name in after},
            },
        )
        try:
            _write_all(root, after, before)
        except BaseException:
            kept.unlink()
            raise
        _forget_oldest(root)


def _need_unchanged(root: FilePath, before: Mapping[str, bytes | None]) -> None:
    """Refuse to overwrite a file that somebody else changed since it was read."""
    for name, held in before.items():
        if _held(root / name) != held:
            raise RecordProblems(
                [
                    Problem(
                        Place(name),
                        "the file was changed while this command ran",
                        "the change would be lost",
                        "Give the command again",
                    )
                ]
            )


def _write_all(
    root: FilePath, after: Mapping[str, bytes | None], before: Mapping[str, bytes | None]
) -> None:
    done: list[str] = []
    try:
        for name, data in after.items():
            replace_file(root / name, data)
            done.append(name)
    except BaseException:
        for name in reversed(done):
            replace_file(root / name, before[name])
        raise


def replace_file(path: FilePath, data: bytes | None) -> None:
    """Replace a file atomically: it is never half-written, even after a power cut."""
    if data is None:
        path.unlink()
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, data)


#: The mills whose lock this thread holds.
_locked = threading.local()


@contextmanager
def lock(root: FilePath) -> Iterator[None]:
    """Let one command at a time write into a mill's records; the lock is reentrant."""
    held: set[FilePath] = vars(_locked).setdefault("mills", set())
    mill = root.resolve()
    if mill in held:
        yield
        return
    with _lock(root):
        held.add(mill)
        try:
            yield
        finally:
            held.discard(mill)


@contextmanager
def _lock(root: FilePath) -> Iterator[None]:
    (root / STATE).mkdir(exist_ok=True)
    # a folder from elsewhere may have a link here, whose target must not be truncated
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    with os.fdopen(os.open(root / STATE / "lock", flags, 0o666), "r+b", 0) as file:
        try:
            import fcntl
        except ImportError:  # Windows relies on the comparison in `_need_unchanged` alone
            yield
            return
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def _text(data: bytes | None) -> str | None:
    return None if data is None else data.decode("utf-8", "surrogateescape")


def _bytes(text: str | None) -> bytes | None:
    return None if text is None else text.encode("utf-8", "surrogateescape")


# --- undo -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Kept:
    """A change that can be undone.

    Attributes
    ----------
    number : int
        Its number, counted from 1.
    what : str
        A description.
    at : str
        When it was made, with the offset of the computer's clock.
    files : mapping of str to (str or None, str or None)
        Each file's text before and after.
    undone : bool
        Whether it has been undone.
    """

    number: int
    what: str
    at: str
    files: Mapping[str, Sequence[str | None]]
    undone: bool = False


def _kept_files(root: FilePath) -> list[FilePath]:
    return sorted(
        path for path in (root / STATE / "undo").glob("*.json") if _NAME.fullmatch(path.name)
    )


def _keep(root: FilePath, entry: Mapping[str, object]) -> FilePath:
    """Keep a change so that it can be undone; return its file."""
    folder = root / STATE / "undo"
    folder.mkdir(exist_ok=True)
    files = _kept_files(root)
    path = folder / f"{int(files[-1].name[:6]) + 1 if files else 1:06}.json"
    replace_file(path, json.dumps(entry, ensure_ascii=True, indent=0).encode())
    return path


def _forget_oldest(root: FilePath) -> None:
    for old in _kept_files(root)[:-_KEPT]:
        old.unlink()


def history(root: FilePath) -> list[Kept]:
    """Return the changes that can be undone, oldest first; unreadable files are skipped."""
    return [kept for path in _kept_files(root) if (kept := _kept(root, path)) is not None]


def _kept(root: FilePath, path: FilePath) -> Kept | None:
    try:
        entry = json.loads(read_file(path))
        files = {str(name): (one[0], one[1]) for name, one in entry["files"].items()}
        undone = bool(entry.get("undone", _NAME.fullmatch(path.name)[1]))  # type: ignore[index]
        found = Kept(int(path.name[:6]), str(entry["what"]), str(entry["at"]), files, undone)
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return None
    texts = (text for pair in files.values() for text in pair)
    # a folder from elsewhere must not cause writes outside it
    inside = all((root / name).resolve().is_relative_to(root.resolve()) for name in files)
    return (
        found if inside and all(text is None or isinstance(text, str) for text in texts) else None
    )


def undo(root: FilePath) -> Kept:
    """Undo the last change that has not been undone; return it.

    Raises
    ------
    RecordProblems
        There is none, or a file has changed since.
    """
    with lock(root):
        for last in reversed(history(root)):
            before = {name: _bytes(one[0]) for name, one in last.files.items()}
            after = {name: _bytes(one[1]) for name, one in last.files.items()}
            now = {name: _held(root / name) for name in last.files}
            if last.undone or now == before:  # or never made, because of a power cut
                continue
            for name in last.files:
                if now[name] != after[name]:
                    raise RecordProblems(
                        [
                            Problem(
                                Place(name),
                                f"'{last.what}' of {last.at} cannot be undone",
                                "the file was changed since",
                                "Take the change out in an editor, or with 'kilnfolio correct'",
                            )
                        ]
                    )
            _write_all(root, before, after)
            # renaming needs no space, while writing might fail on a full disk
            kept = root / STATE / "undo" / f"{last.number:06}.json"
            kept.rename(kept.with_suffix(".undone.json"))
            return last
    raise RecordProblems(
        [
            Problem(
                Place("undo"),
                "there is nothing to undo",
                "no command has changed a record of this mill",
                "",
            )
        ]
    )


def _held(path: FilePath) -> bytes | None:
    return read_file(path) if path.exists() else None
