"""How a sealed record stands, as pages print it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from kilnfolio.archive.as_sealed import folder_as_sealed, sealed_dossier
from kilnfolio.archive.entries import Entry, SealEntry
from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering import routes
from kilnfolio.rendering.seal_words import grouped, words_of
from kilnfolio.review.dossier import Dossier, Outcome


@dataclass(frozen=True)
class SealLine:
    """One entry of the ledger."""

    number: int
    """Its place in the ledger."""
    digits: str
    """First 16 hex digits of what it sealed."""
    digest: str
    """All 64."""
    at: dt.datetime
    by: str
    reason: str
    """Why it was amended; empty for a first seal."""
    key: str
    """The public key it is signed with."""
    page: str = ""
    """The page of what it sealed, where another took its place."""

    @property
    def grouped(self) -> str:
        """The digits in fours."""
        return grouped(self.digits)

    @property
    def words(self) -> str:
        """The digits as words."""
        return " ".join(words_of(self.digits))


@dataclass(frozen=True)
class SealView:
    """The entries of a charge or lot, oldest first; none where it is not sealed."""

    lines: tuple[SealLine, ...] = ()
    demo: bool = False
    """Sealed with the demonstration key, which proves nothing."""
    notes: tuple[str, ...] = ()
    """What today's limits would say otherwise."""
    broken: str = ""
    """Which of its own files are not as sealed; the page then shows what was sealed."""

    @property
    def last(self) -> SealLine | None:
        """The entry that holds."""
        return self.lines[-1] if self.lines else None

    @property
    def superseded(self) -> tuple[SealLine, ...]:
        """Entries whose place another took, the newest first."""
        return self.lines[-2::-1] if len(self.lines) > 1 else ()

    @property
    def word(self) -> str:
        """unsealed, sealed or amended."""
        return ("unsealed", "sealed", "amended")[min(len(self.lines), 2)]

    @property
    def look(self) -> Outcome:
        """The shape and colour its word is printed in."""
        return "pass" if self.lines else "no data"


@dataclass(frozen=True)
class Superseded:
    """A sealed state of a charge whose place another took, read from the files it was sealed on."""

    folder: MillFolder
    dossier: Dossier
    line: SealLine
    by: SealLine
    """The entry that took its place."""


def seal_view(
    entries: tuple[SealEntry, ...],
    demo: frozenset[str],
    notes: tuple[str, ...] = (),
    charge: str = "",
    broken: str = "",
) -> SealView:
    """Return the entries of a charge or lot as pages print them.

    Parameters
    ----------
    entries : tuple of Entry or LotEntry
        Oldest first.
    demo : frozenset of str
        Public keys that are the demonstration's.
    notes : tuple of str
        What today's limits would say otherwise.
    charge : str, optional
        Its number, where the states that were amended since have pages.
    broken : str, optional
        Which of its own files are not as sealed.
    """
    lines = []
    for ordinal, entry in enumerate(entries, 1):
        old = bool(charge) and ordinal < len(entries)
        lines.append(_line(entry, routes.superseded(charge, ordinal) if old else ""))
    return SealView(
        tuple(lines), any(entry.public_key in demo for entry in entries[-1:]), notes, broken
    )


def _line(entry: SealEntry, page: str = "") -> SealLine:
    digest = entry.dossier if isinstance(entry, Entry) else entry.record
    return SealLine(
        entry.number,
        entry.seal,
        digest,
        entry.at,
        entry.by,
        entry.reason or "",
        entry.public_key,
        page,
    )


def superseded_states(root: Path, entries: tuple[Entry, ...]) -> Iterator[Superseded]:
    """Yield each sealed state of a charge that was amended since, as it was sealed."""
    lines = [
        _line(entry, routes.superseded(entry.charge, ordinal))
        for ordinal, entry in enumerate(entries, 1)
    ]
    for place in range(len(entries) - 2, -1, -1):
        folder = folder_as_sealed(root, entries[place])
        yield Superseded(
            folder,
            sealed_dossier(root, entries[place], place + 1, folder),
            lines[place],
            lines[place + 1],
        )
