"""``upgrade``: rewrite records of an older format in the current one, after showing the changes."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from pathlib import Path, PurePosixPath
from zoneinfo import ZoneInfo

from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.durable import write_whole
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.formats import FORMAT, format_of, upgraded, words_of_changes
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import Document, parse_yaml, read_yaml
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass

#: Where the original files are kept.
KEPT = "before-format-{}"


@dataclass(frozen=True)
class Upgrade:
    """A record of an older format.

    Attributes
    ----------
    file : str
        Its path in the mill folder.
    written : int
        Its format.
    kind : str
        The kind of record.
    before, after : str
        Its text now, and in the current format.
    sealed : bool
        Whether it is sealed, and therefore not rewritten.
    """

    file: str
    written: int
    kind: str
    before: str
    after: str
    sealed: bool

    @property
    def diff(self) -> str:
        """The changes as a unified diff."""
        return "".join(
            difflib.unified_diff(
                self.before.splitlines(keepends=True),
                self.after.splitlines(keepends=True),
                f"a/{self.file}",
                f"b/{self.file}",
                n=1,
            )
        )


def upgrades(root: Path) -> list[Upgrade]:
    """Return the records of a mill folder that have an older format.

    Raises
    ------
    RecordProblems
        The folder cannot be read, or a record would change its meaning.
    """
    zone = checked_mill(root).mill.record.zone
    ledger = read_ledger(root)
    found = []
    for kind in RECORD_KINDS.values():
        for path in sorted(path for pattern in kind.globs for path in root.glob(pattern)):
            name = path.relative_to(root).as_posix()
            document = read_yaml(path, name)
            written = format_of(document)
            if not 0 <= written < FORMAT:
                continue
            before = read_file(path).decode("utf-8-sig")
            after = upgraded(before, kind.name)
            _refuse_other_meaning(document, after, kind.name, zone)
            sealed = kind.name == "charge" and bool(
                ledger.of_charge(PurePosixPath(name).parent.name)
            )
            found.append(Upgrade(name, written, kind.name, before, after, sealed))
    return found


def _refuse_other_meaning(document: Document, after: str, kind: str, zone: ZoneInfo) -> None:
    """Refuse a new text that does not parse to the same record."""
    new = parse_yaml(after.encode(), document.file)
    if _read(document, kind, zone) != _read(new, kind, zone):
        changes = "; ".join(words_of_changes(format_of(document), kind))
        raise RecordProblems(
            [
                Problem(
                    Place(document.file),
                    "this record cannot be upgraded for you",
                    "its new text would change its meaning",
                    f"Change it by hand: {changes}",
                )
            ]
        )


def _read(document: Document, kind: str, zone: ZoneInfo) -> object:
    """Return the record of a document; for an open charge, the problems that make it incomplete."""
    try:
        return validate(document, RECORD_KINDS[kind].model, zone=zone).record
    except RecordProblems as error:
        return [(problem.what, problem.why) for problem in error.problems]


def upgrade(root: Path, found: list[Upgrade]) -> str:
    """Rewrite records in the current format, all or none, and keep the originals.

    Returns
    -------
    str
        The folder of the originals, as a path in the mill folder.

    Raises
    ------
    RecordProblems
        The folder for the originals already exists.
    OSError
        A file could not be written; every record is as it was.
    """
    kept = KEPT.format(FORMAT)
    if (root / kept).exists():
        raise RecordProblems(
            [
                Problem(
                    Place(kept),
                    "this folder already exists",
                    "it keeps the records as they were before an upgrade",
                    "Move it to a safe place, then upgrade",
                )
            ]
        )
    for one in found:
        write_whole(root / kept / one.file, read_file(root / one.file))
    written: list[Upgrade] = []
    try:
        for one in found:
            write_whole(root / one.file, one.after.encode())
            written.append(one)
    except BaseException:
        for one in written:
            write_whole(root / one.file, read_file(root / kept / one.file))
        raise
    return kept


def run(root: Path, *, write: bool, say: Callable[[str], None]) -> bool:
    """Show what an upgrade changes, and do it if asked to.

    Returns
    -------
    bool
        Whether there are still records of an older format that could be upgraded.

    Raises
    ------
    RecordProblems
        As in `upgrades` and `upgrade`.
    """
    found = upgrades(root)
    sealed, free = ([one for one in found if one.sealed == whether] for whether in (True, False))
    for one in sealed:
        say(
            f"{one.file}: format {one.written}, and sealed: it is not rewritten, can still be read, and its seal holds"
        )
    for one in free:
        say(one.diff.rstrip("\n"))
    if not free:
        say(f"every record that may be changed is of format {FORMAT}")
        return False
    if not write:
        say(
            f"{len(free)} records would be rewritten in format {FORMAT}; nothing was written. To "
            "write them: add --write"
        )
        return True
    say(
        f"{len(free)} records rewritten in format {FORMAT}; the originals are in "
        f"{root / upgrade(root, free)}"
    )
    return False
