"""The seals of a record as pages print them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

from kilnfolio.archive.as_sealed import folder_as_sealed, sealed_dossier
from kilnfolio.archive.entries import Entry, SealEntry
from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering import routes
from kilnfolio.rendering.seal_words import grouped, words_of
from kilnfolio.review.dossier import Dossier, Outcome
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class SealLine:
    """One entry of the ledger."""

    number: int
    """Its number in the ledger."""
    digits: str
    """First 16 hex digits of `digest`."""
    digest: str
    """Digest of what it sealed: 64 hex digits."""
    at: dt.datetime
    by: str
    reason: str
    """Why it was amended; empty for a first seal."""
    key: str
    """The public key that verifies its signature."""
    page: str = ""
    """The page of the state it sealed, if a later entry replaced it."""

    @property
    def grouped(self) -> str:
        """The digits in groups of four."""
        return grouped(self.digits)

    @property
    def words(self) -> str:
        """The digits as words."""
        return " ".join(words_of(self.digits))


@dataclass(frozen=True)
class SealView:
    """The entries of a charge or lot, oldest first; none if it is not sealed."""

    lines: tuple[SealLine, ...] = ()
    demo: bool = False
    """True if sealed with the demonstration key, which proves nothing."""
    notes: tuple[str, ...] = ()
    """Findings that would differ under today's limits."""
    broken: str = ""
    """Its own files that are no longer as sealed; the page still shows what was sealed."""

    @property
    def last(self) -> SealLine | None:
        """The entry in force."""
        return self.lines[-1] if self.lines else None

    @property
    def superseded(self) -> tuple[SealLine, ...]:
        """Entries that a later one replaced, newest first."""
        return self.lines[-2::-1] if len(self.lines) > 1 else ()

    @property
    def word(self) -> str:
        """unsealed, sealed or amended."""
        return ("unsealed", "sealed", "amended")[min(len(self.lines), 2)]

    @property
    def look(self) -> Outcome:
        """The outcome whose shape and colour `word` is printed in."""
        return "pass" if self.lines else "no data"


@dataclass(frozen=True)
class Superseded:
    """A replaced sealed state of a charge, read from the files it was sealed on."""

    folder: MillFolder
    dossier: Dossier
    line: SealLine
    by: SealLine
    """The entry that replaced it."""


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
        Findings that would differ under today's limits.
    charge : str, optional
        The charge's number, if its amended states have pages.
    broken : str, optional
        Its own files that are no longer as sealed.
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
    """Yield each sealed state of a charge that has since been amended, as it was sealed."""
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
