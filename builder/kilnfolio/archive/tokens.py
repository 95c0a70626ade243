"""Unguessable addresses of lots.

A lot's page can be reached by anyone who holds the pack, but not by somebody who merely knows how
the mill numbers its lots. The key never enters a site; without it, the address of one lot does not
reveal those of others.
"""

from __future__ import annotations

import base64
import errno
import hashlib
import hmac
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import field
from pathlib import Path

from kilnfolio.archive.durable import write_secret, write_whole
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.runtime.files import read_text
from kilnfolio.runtime.values import dataclass

#: Shortest key accepted [bytes]: the length of the digest (RFC 2104, section 3).
KEY_BYTES = hashlib.sha256().digest_size
#: Length of a token [characters]: 32 in base32 carry 160 bits, more than the 128 required.
TOKEN_LENGTH = 32
#: Separates this use of the key from any other.
_PURPOSE = b"kilnfolio lot address 1\x00"


def lot_token(lot_id: str, key: bytes) -> str:
    """Return the token of a lot's address.

    Parameters
    ----------
    lot_id : str
        The lot's number.
    key : bytes
        The mill's secret, 32 bytes or more.

    Returns
    -------
    str
        32 characters of base32 in lower case, 160 bits of HMAC-SHA-256 (RFC 2104).

    Raises
    ------
    ValueError
        The key is too short or the lot's number is empty.
    """
    if len(key) < KEY_BYTES:
        raise ValueError(f"key must have {KEY_BYTES} bytes or more; it has {len(key)}")
    if not lot_id:
        raise ValueError("lot_id is empty")
    digest = hmac.new(key, _PURPOSE + lot_id.encode("utf-8"), hashlib.sha256).digest()
    return base64.b32encode(digest).decode("ascii").lower()[:TOKEN_LENGTH]


#: Path of the key for lots' addresses in a mill folder.
KEY_FILE = Path("keys/lot-addresses.key")
#: Path of an invented mill's key; everybody has it, so its addresses can be guessed.
DEMO_KEY_FILE = Path("content/demo-keys/lot-addresses.key")
#: The lots whose earlier addresses were withdrawn, each with the number of the last key concerned.
WITHDRAWN_FILE = Path("keys/withdrawn-addresses.txt")
_WITHDRAWN_HEAD = """\
# Lots whose addresses under replaced keys lead to their records no more: the number of the last key
# that is meant, and the lot. Written by 'kilnfolio new keys --withdraw LOT'.
"""
#: The warning of a build if the mill has no key.
NO_KEY = (
    f"no customer edition: {KEY_FILE} is missing, and without it the address of a lot could be "
    "guessed; make it with 'kilnfolio new keys' and keep a copy in the mill's safe"
)


def make_token_key(path: Path) -> None:
    """Make a new key, readable only by its owner.

    Raises
    ------
    FileExistsError
        There is one already; with a new one, every label in the yard would lead nowhere.
    """
    write_secret(path, f"{secrets.token_hex(KEY_BYTES)}\n".encode("ascii"))


def replace_token_key(root: Path) -> Path:
    """Move the key aside, where it still serves labels already printed, and make a new one.

    Returns
    -------
    Path
        The new path of the old key.

    Raises
    ------
    FileNotFoundError
        There is no key to replace.
    RecordProblems
        The file holds no key, so no label can have been made with it.
    """
    path = root / KEY_FILE
    _read(root, path)
    number = next((number for number, _ in _older(root)), 0) + 1
    old = path.with_name(f"{path.stem}.{number}{path.suffix}")
    path.rename(old)
    try:
        make_token_key(path)
    except BaseException:
        old.rename(path)
        raise
    return old


@dataclass(frozen=True)
class AddressKeys:
    """The keys behind the addresses of a mill's lots.

    Attributes
    ----------
    in_use : bytes or None
        The key for new labels; None if the mill has none.
    replaced : tuple of (int, bytes)
        Earlier keys, newest first, numbered in the order in which they were replaced.
    withdrawn : mapping of str to int
        By lot, the number of the last replaced key whose address no longer leads to the record.
    """

    in_use: bytes | None
    replaced: tuple[tuple[int, bytes], ...] = ()
    withdrawn: Mapping[str, int] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return self.in_use is not None

    def live_tokens(self, lot: str) -> tuple[str, ...]:
        """Return the tokens that lead to a lot's record, starting with that of new labels."""
        if self.in_use is None:
            return ()
        gone = self.withdrawn.get(lot, 0)
        return (
            lot_token(lot, self.in_use),
            *(lot_token(lot, key) for number, key in self.replaced if number > gone),
        )

    def withdrawn_tokens(self, lot: str) -> tuple[str, ...]:
        """Return the withdrawn tokens of a lot, newest first."""
        gone = self.withdrawn.get(lot, 0) if self.in_use is not None else 0
        return tuple(lot_token(lot, key) for number, key in self.replaced if number <= gone)


def read_address_keys(root: Path, *, invented: bool) -> AddressKeys:
    """Return the mill's keys; the demonstration key if an invented mill has no other.

    Raises
    ------
    RecordProblems
        As in `read_token_key`; or a line of the withdrawn addresses is not a number and a lot.
    """
    now = read_token_key(root, invented=invented)
    if now is None:
        return AddressKeys(None)
    return AddressKeys(
        now, tuple((number, _read(root, path)) for number, path in _older(root)), _withdrawn(root)
    )


def withdraw(root: Path, lots: Sequence[str]) -> int:
    """Record that addresses of lots under replaced keys no longer lead to their records.

    Returns
    -------
    int
        The number of replaced keys.

    Raises
    ------
    FileNotFoundError
        No key was replaced, so there are no other addresses than those in use.
    """
    older = _older(root)
    if not older:
        raise FileNotFoundError(
            errno.ENOENT,
            "no key of addresses was replaced yet; first give "
            "kilnfolio new keys --replace-addresses",
            str(root / KEY_FILE),
        )
    known = _withdrawn(root) | dict.fromkeys(lots, older[0][0])
    text = _WITHDRAWN_HEAD + "".join(f"{number} {lot}\n" for lot, number in sorted(known.items()))
    write_whole(root / WITHDRAWN_FILE, text.encode())
    return len(older)


def _withdrawn(root: Path) -> dict[str, int]:
    path = root / WITHDRAWN_FILE
    lines = read_text(path).splitlines() if path.exists() else []
    found = {}
    for number, line in enumerate(lines, 1):
        if line.strip() and not line.startswith("#"):
            last, _, lot = line.strip().partition(" ")
            if not last.isdecimal() or not lot:
                raise RecordProblems(
                    [
                        Problem(
                            Place(WITHDRAWN_FILE.as_posix(), number),
                            f"'{line}'",
                            "it must hold the number of a replaced key, and a lot",
                            "Write it as in '1 L-26-014'",
                        )
                    ]
                )
            found[lot.strip()] = int(last)
    return found


def _older(root: Path) -> list[tuple[int, Path]]:
    """Return the replaced keys, newest first, from files such as ``lot-addresses.2.key``."""
    found = (root / KEY_FILE).parent.glob(f"{KEY_FILE.stem}.*{KEY_FILE.suffix}")
    numbered = [(path.suffixes[0].lstrip("."), path) for path in found]
    return sorted(((int(n), p) for n, p in numbered if n.isdecimal()), reverse=True)


def read_token_key(root: Path, *, invented: bool) -> bytes | None:
    """Return the mill's key, or the demonstration key of an invented mill; None without either.

    Raises
    ------
    RecordProblems
        The file does not hold 64 or more hex digits, apart from lines that begin with '#'.
    """
    for name in (KEY_FILE, *((DEMO_KEY_FILE,) if invented else ())):
        path = root / name
        if path.exists():
            return _read(root, path)
    return None


def _read(root: Path, path: Path) -> bytes:
    try:
        lines = read_text(path).splitlines()
        key = bytes.fromhex("".join(line for line in lines if not line.startswith("#")))
    except ValueError:
        key = b""
    if len(key) < KEY_BYTES:
        raise RecordProblems(
            [
                Problem(
                    Place(path.relative_to(root).as_posix()),
                    "it is no key of addresses",
                    f"a key has {2 * KEY_BYTES} hex digits or more",
                    "Bring back the copy from the safe: with another key, printed labels lead nowhere",
                )
            ]
        )
    return key
