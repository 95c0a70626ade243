"""Which keys may sign an entry: those that the mill lists, or those that an auditor trusts."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from kilnfolio.archive.entries import AnyEntry, KeyRevocation, KeyRotation
from kilnfolio.archive.keyring import KEYRING, Keyring
from kilnfolio.runtime.files import read_text
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class TrustedKey:
    """A public key of the mill that was obtained by another route than its files."""

    public_key: str
    """64 hex digits."""
    last_day: dt.date | None = None
    """The last day on which it is trusted; None while it is in use."""


_LINE = re.compile(r"([0-9A-Fa-f]{64})(?:\s+until\s+(\d{4}-\d{2}-\d{2}))?")


def read_trust(path: Path) -> tuple[TrustedKey, ...]:
    """Return the keys listed in a file, one per line, as ``KEY`` or ``KEY until 2026-10-31``.

    Raises
    ------
    ValueError
        A line is something else; blank lines and those that begin with ``#`` are ignored.
    """
    found = []
    for row, line in enumerate(read_text(path).splitlines(), 1):
        text = line.strip()
        if not text or text.startswith("#"):
            continue
        found.append(trusted_key(text, f"{path}:{row}: "))
    if not found:
        raise ValueError(f"{path}: it lists no key")
    return tuple(found)


def trusted_key(text: str, where: str = "") -> TrustedKey:
    """Return the key in a text such as ``KEY`` or ``KEY until 2026-10-31``.

    Raises
    ------
    ValueError
        The text is something else.
    """
    match = _LINE.fullmatch(text.strip())
    try:
        if match:
            return TrustedKey(
                match[1].lower(), dt.date.fromisoformat(match[2]) if match[2] else None
            )
    except ValueError:
        pass
    raise ValueError(
        f"{where}'{text}' is not a public key. Write its 64 hex digits, and after a "
        "key that is no longer used its last day: until 2026-10-31"
    )


class KnownKeys:
    """The keys of a ledger, and what is known about each.

    Parameters
    ----------
    keyring : Keyring, optional
        The mill's own list.
    entries : sequence of AnyEntry
        The entries of the ledger, or those available.
    trusted : sequence of TrustedKey
        Keys obtained by another route; if given, no other key is accepted.
    """

    def __init__(
        self,
        keyring: Keyring | None,
        entries: Sequence[AnyEntry],
        trusted: Sequence[TrustedKey] = (),
    ):
        self._keyring = keyring
        self._trusted = {key.public_key: key for key in trusted}
        self._replaced = {
            entry.public_key: entry for entry in entries if isinstance(entry, KeyRotation)
        }
        self._introduced = {entry.new_key for entry in entries if isinstance(entry, KeyRotation)}
        self._revoked = {
            entry.revoked: entry for entry in entries if isinstance(entry, KeyRevocation)
        }

    def problems(self, entry: AnyEntry) -> Iterator[tuple[str, str]]:
        """Yield why an entry's key is not acceptable: a kind of difference, and a clause."""
        key, day = entry.public_key, entry.at.date()
        yield from self.outside(key, day)
        if self._keyring is not None and key not in self._introduced:
            listed = self._keyring.find(key)
            if listed is None:
                yield (
                    "entry-key-unknown",
                    f"is signed by a key that {KEYRING.as_posix()} does not list",
                )
            elif not listed.since <= day <= (listed.until or dt.date.max):
                yield (
                    "entry-key-out-of-date",
                    f"is signed on {day} by a key listed from "
                    f"{listed.since} to {listed.until or 'now'}",
                )
        yield from self.ended(key, day, entry.number)

    def ended(self, key: str, day: dt.date, number: int) -> Iterator[tuple[str, str]]:
        """Yield whether a key had been replaced or revoked by this day or entry."""
        replaced, revoked = self._replaced.get(key), self._revoked.get(key)
        if replaced and number > replaced.number:
            yield (
                "entry-key-replaced",
                f"is signed by a key that was replaced before, by entry {replaced.number}",
            )
        if revoked and (day > revoked.last_day or number > revoked.number):
            yield (
                "entry-key-revoked",
                f"is signed by a key that entry {revoked.number} revoked; "
                f"its last day was {revoked.last_day}",
            )

    def outside(self, key: str, day: dt.date) -> Iterator[tuple[str, str]]:
        """Yield why the auditor does not trust a key; nothing if no trusted keys were given."""
        if not self._trusted:
            return
        trusted = self._trusted.get(key)
        if trusted is None:
            yield "entry-key-not-trusted", "is signed by a key that is not one you gave"
        elif trusted.last_day and day > trusted.last_day:
            yield (
                "entry-key-past-its-last-day",
                f"is signed on {day} by a key that you trust to {trusted.last_day}",
            )
