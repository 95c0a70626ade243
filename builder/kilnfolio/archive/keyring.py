"""The public keys a mill has sealed with, and when: ``content/ledger/keys.yaml``.

The audit reports a seal by a key that is not listed. A key is replaced by giving the old one a last
day and adding the new one; old seals keep their key. Since the list comes from the mill, an auditor
compares it with a key obtained from the mill by another route.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from kilnfolio.archive.durable import write_whole
from kilnfolio.archive.keys import Keys, UnusableKeyError
from kilnfolio.records.model import Day, Name, Record
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import read_yaml
from kilnfolio.runtime.files import read_text

KEYRING = Path("content/ledger/keys.yaml")

#: 32 bytes in lower-case hex: a public key or a SHA-256. Only one spelling is accepted, so that a
#: change of case is noticed.
Hex32 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class ListedKey(Record):
    """One public key."""

    public_key: Hex32
    """The key, 64 hex digits."""
    since: Day
    """The first day it seals."""
    until: Day | None = None
    """The last day it seals."""
    demo: bool = False
    """A demonstration key, which proves nothing."""
    note: Name | None = None
    """Where it is kept, why it was replaced."""


class Keyring(Record):
    """``content/ledger/keys.yaml``."""

    format: Literal[1]
    """The record format."""
    keys: list[ListedKey]
    """The mill's public keys."""

    def find(self, public: str) -> ListedKey | None:
        """Return the entry of a public key."""
        return next((key for key in self.keys if key.public_key == public), None)


def read_keyring(root: Path) -> Keyring | None:
    """Return the public keys of a mill; None if none are listed yet.

    Raises
    ------
    RecordProblems
        The list cannot be read.
    """
    path = root / KEYRING
    if not path.exists():
        return None
    return validate(read_yaml(path, KEYRING.as_posix()), Keyring).record


def list_key(root: Path, keys: Keys, day: dt.date) -> None:
    """Begin a mill's list with its first key; refuse a key that is not listed.

    Raises
    ------
    UnusableKeyError
        The list does not contain this key, or not for this date.
    """
    keyring = read_keyring(root)
    if keyring is None:
        write_whole(root / KEYRING, (_HEADING + _lines(keys, day)).encode())
        return
    listed = keyring.find(keys.public)
    if listed is None:
        raise UnusableKeyError(
            f"{keys.path}: its public key is not listed in {KEYRING}. A key is replaced "
            "with: kilnfolio ledger rotate-key --by NAME --reason '…'"
        )
    if day < listed.since or (listed.until is not None and day > listed.until):
        raise UnusableKeyError(
            f"{keys.path}: by {KEYRING} this key does not seal on {day}. Use "
            "the key of that day, or mend the list"
        )


def replace_listed(root: Path, old: str, new: Keys, day: dt.date) -> None:
    """Give a key its last day in the list and add its replacement, unless that is already done."""
    keyring = read_keyring(root)
    if keyring is None or keyring.find(new.public):
        return
    text = read_text(root / KEYRING)
    listed = f'  - public_key: "{old}"\n'
    if listed in text:
        text = text.replace(listed, f"{listed}    until: {day.isoformat()}\n")
    write_whole(root / KEYRING, (text.rstrip("\n") + "\n" + _lines(new, day)).encode())


_HEADING = """\
# The public keys this mill seals with. Give an auditor the key another way too: by telephone,
# on paper. 'kilnfolio ledger rotate-key' replaces a key; never remove one that has sealed.
format: 1
keys:
"""


def _lines(keys: Keys, day: dt.date) -> str:
    lines = f'  - public_key: "{keys.public}"\n    since: {day.isoformat()}\n'
    return lines + (
        "    demo: true\n    note: Demonstration key; it proves nothing\n" if keys.demo else ""
    )
