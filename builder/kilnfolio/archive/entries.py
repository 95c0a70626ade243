"""The entries of a ledger: the fields of each kind, and the bytes that its signature covers.

An entry is one line of canonical JSON (RFC 8785). Its signature (Ed25519) covers the canonical JSON
of the entry without the key ``signature``.
"""

from __future__ import annotations

import re
from pathlib import PurePosixPath
from typing import Annotated, Any, Literal, TypeVar

from pydantic import AfterValidator, AwareDatetime, ConfigDict, Field, TypeAdapter

from kilnfolio.archive.canonical import canonical
from kilnfolio.archive.keyring import Hex32
from kilnfolio.records.model import Day, Name, Number, Text
from kilnfolio.review.dossier import Input, Part

#: The format of new entries. Entries of format 1 can still be read.
FORMAT = 2
#: An Ed25519 signature in lower-case hex.
Hex64 = Annotated[str, Field(pattern=r"^[0-9a-f]{128}$")]
_Count = Annotated[int, Field(ge=1)]


def safe_path(name: str) -> str:
    """Return a path that stays inside the folder it is joined to.

    Raises
    ------
    ValueError
        It is absolute, leads out of the folder, or depends on the system.
    """
    path = PurePosixPath(name)
    if (
        not name
        or path.is_absolute()
        or ".." in path.parts
        or path.as_posix() != name
        or re.search(r"[\\\x00-\x1f:]", name)
    ):
        raise ValueError(f"'{name}' is not a plain path inside the folder")
    return name


class SealedFile(Input):
    """A file as it was sealed."""

    path: Annotated[str, AfterValidator(safe_path)]
    """Path relative to the mill folder."""
    sha256: Hex32
    """Digest of its bytes, in hex."""


# --- contents of an entry -------------------------------------------------------------------------


class _Drafted(Part):
    """The fields of every entry before it has its place in the ledger."""

    by: Name
    """Who made it."""
    at: AwareDatetime
    """When, to the second."""

    @property
    def files(self) -> tuple[SealedFile, ...]:
        """The files of which the ledger keeps copies for this entry."""
        return ()


class Draft(_Drafted):
    """A charge sealed, or amended."""

    kind: Literal["seal", "amendment"]
    """The first seal of a charge, or a later one with its reason."""
    charge: Number
    """Charge number."""
    dossier: Hex32
    """SHA-256 of the canonical dossier."""
    inputs: tuple[SealedFile, ...]
    """The files from which the dossier was computed."""
    supporting: tuple[SealedFile, ...] = ()
    """Files needed to read the inputs, such as the list of publications they cite."""
    reason: Text | None = None
    """Why it was amended."""

    @property
    def files(self) -> tuple[SealedFile, ...]:
        """The inputs, then the supporting files."""
        return (*self.inputs, *self.supporting)

    def is_own(self, path: str) -> bool:
        """Return whether a file is beside the charge's record and shared with no other charge."""
        records = [
            file.path for file in self.inputs if file.path.endswith(f"/{self.charge}/charge.yaml")
        ]
        return any(path.startswith(record.removesuffix("charge.yaml")) for record in records)


class SealedCharge(Part):
    """A charge that a lot was drawn from, as sealed."""

    charge: Number
    """Charge number."""
    dossier: Hex32
    """SHA-256 of its sealed dossier."""


class LotDraft(_Drafted):
    """A lot's record sealed, or amended."""

    kind: Literal["lot-seal", "lot-amendment"]
    """The first seal of a lot's record, or a later one with its reason."""
    lot: Number
    """Lot number."""
    record: Hex32
    """SHA-256 of the canonical record that its customer reads."""
    charges: tuple[SealedCharge, ...]
    """The sealed charges it was drawn from."""
    inputs: tuple[SealedFile, ...] = ()
    """The files behind its record besides the dossiers; none in format 1."""
    reason: Text | None = None
    """Why it was amended."""

    @property
    def files(self) -> tuple[SealedFile, ...]:
        """The files behind its record."""
        return self.inputs

    def is_own(self, path: str) -> bool:
        """Return whether a file is the lot's own record."""
        return path.endswith(f"/lots/{self.lot}.yaml")


# --- its place in the ledger ----------------------------------------------------------------------


class _Placed(Part):
    """The fields of an entry's place in the ledger."""

    format: Literal[1, 2]
    """The format of the entry."""
    number: _Count
    """Place in the ledger, from 1."""
    before: Hex32
    """Digest of what precedes it. Format 1: the SHA-256 of the line before, without its end; zeros
    for
    the first. Format 2: the Merkle tree hash of all entries before it (RFC 9162)."""
    public_key: Hex32
    """The key that signed it."""
    signature: Hex64
    """Ed25519 over the canonical entry without this key."""


class _Amending(_Placed):
    amends: _Count | None
    """Number of the entry that this one replaces."""


class Entry(_Amending, Draft):
    """One line of the ledger that seals a charge."""

    @property
    def seal(self) -> str:
        """The first 16 hex digits of the dossier's digest."""
        return self.dossier[:16]

    @property
    def subject(self) -> str:
        """What it seals, in words."""
        return str(self.charge)


class LotEntry(_Amending, LotDraft):
    """One line of the ledger that seals the record of a lot."""

    @property
    def seal(self) -> str:
        """The first 32 hex digits of the record's digest (128 bits), as printed on labels."""
        return self.record[:32]

    @property
    def subject(self) -> str:
        """What it seals, in words."""
        return f"lot {self.lot}"


# --- entries about the ledger itself --------------------------------------------------------------


class KeyRotation(_Placed, _Drafted):
    """A replacement of the mill's key; both the old and the new key sign the entry."""

    kind: Literal["key-rotation"]
    """What the entry is."""
    new_key: Hex32
    """The public key that seals from now on."""
    new_signature: Hex64
    """Ed25519 by the new key over the canonical entry without both signatures."""
    reason: Text
    """Why the key was replaced."""

    @property
    def subject(self) -> str:
        """What it is about, in words."""
        return "key replaced"


class KeyRevocation(_Placed, _Drafted):
    """A key that is no longer trusted, with the last day on which it was."""

    kind: Literal["key-revocation"]
    """What the entry is."""
    revoked: Hex32
    """The public key."""
    last_day: Day
    """The last day on which its seals are trusted."""
    reason: Text
    """Why, as in 'lost with the office laptop'."""

    @property
    def subject(self) -> str:
        """What it is about, in words."""
        return "key revoked"


class ClockCorrection(_Placed, _Drafted):
    """Entries that a wrong clock dated later than this entry."""

    kind: Literal["clock-correction"]
    """What the entry is."""
    wrong: tuple[_Count, ...]
    """The numbers of the entries whose time is wrong."""
    reason: Text
    """What was wrong with the clock."""

    @property
    def subject(self) -> str:
        """What it is about, in words."""
        return "clock corrected"


class Head(Part):
    """The state of a ledger: the number of its entries, and one digest of them all."""

    size: _Count
    """Number of entries."""
    root: Hex32
    """Their Merkle tree hash (RFC 9162)."""

    @property
    def text(self) -> bytes:
        """The canonical JSON of size and root: what a witness signs or a time stamp covers."""
        return canonical({"root": self.root, "size": self.size})


class WitnessEntry(_Placed, _Drafted):
    """A state of the ledger that somebody outside the mill has confirmed."""

    kind: Literal["witness"]
    """What the entry is."""
    head: Head
    """The state confirmed."""
    witness: Name
    """Who confirmed it: a person or a time-stamping service."""
    witness_key: Hex32 | None = None
    """The witness's public key, for a countersignature."""
    witness_signature: Hex64 | None = None
    """Ed25519 by that key over the canonical JSON of the head's size and root."""
    token: str | None = None
    """An RFC 3161 time-stamp token over the same bytes, in base64."""

    @property
    def subject(self) -> str:
        """What it is about, in words."""
        return f"witness {self.witness}"


SealEntry = Entry | LotEntry
AnyEntry = Entry | LotEntry | KeyRotation | KeyRevocation | ClockCorrection | WitnessEntry
E = TypeVar("E", Entry, LotEntry, KeyRotation, KeyRevocation, ClockCorrection, WitnessEntry)
_ENTRY: TypeAdapter[AnyEntry] = TypeAdapter(
    Annotated[AnyEntry, Field(discriminator="kind")], config=ConfigDict(defer_build=True)
)


def read_entry(value: Any) -> AnyEntry:
    """Return the entry in a line of a ledger.

    Raises
    ------
    ValidationError
        It is not an entry.
    """
    return _ENTRY.validate_python(value)


def line_of(entry: _Placed) -> bytes:
    """Return an entry as its line in the ledger, without the line end."""
    return canonical(entry.model_dump(mode="json", exclude_unset=True))


def signed_bytes(entry: _Placed) -> bytes:
    """Return the bytes that the signature of an entry covers."""
    return canonical(entry.model_dump(mode="json", exclude_unset=True, exclude={"signature"}))


def endorsed_bytes(entry: KeyRotation) -> bytes:
    """Return the bytes that the new key of a rotation signs."""
    return canonical(
        entry.model_dump(mode="json", exclude_unset=True, exclude={"signature", "new_signature"})
    )
