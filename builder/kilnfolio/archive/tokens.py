"""Addresses of lots that cannot be guessed.

A lot's page is reached by whoever holds the pack, and by nobody who merely knows how the mill
numbers its lots. The key never enters a site; without it the addresses of other lots cannot be had
from one's own.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from pathlib import Path

from kilnfolio.archive.durable import write_secret

#: The least key taken [bytes]: as long as the digest (RFC 2104, section 3).
KEY_BYTES = hashlib.sha256().digest_size
#: Length of a token [characters]: 32 of base32 carry 160 bits, more than the 128 asked for.
TOKEN_LENGTH = 32
#: Keeps this use of the key apart from any other.
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


#: Where a mill keeps the key of its lots' addresses, relative to the mill folder.
KEY_FILE = Path("keys/lot-addresses.key")
#: Where that of an invented mill is kept; everybody has it, so its addresses can be guessed.
DEMO_KEY_FILE = Path("content/demo-keys/lot-addresses.key")
#: What a build says where the mill has no key.
NO_KEY = (
    f"no customer edition: {KEY_FILE} is missing, and without it the address of a lot could be "
    "guessed; make it with 'kilnfolio new keys' and keep a copy in the mill's safe")


def make_token_key(path: Path) -> None:
    """Make a new key, readable by its owner alone.

    Raises
    ------
    FileExistsError
        There is one already: with another, every label in the yard would lead nowhere.
    """
    write_secret(path, f"{secrets.token_hex(KEY_BYTES)}\n".encode("ascii"))


def replace_token_key(root: Path) -> Path:
    """Move the key aside, where it goes on serving labels already printed, and make a new one.

    Returns
    -------
    Path
        Where the old key is now.

    Raises
    ------
    FileNotFoundError
        There is no key to replace.
    """
    path = root / KEY_FILE
    number = len(_older(root)) + 1
    old = path.with_name(f"{path.stem}.{number}{path.suffix}")
    path.rename(old)
    try:
        make_token_key(path)
    except BaseException:
        old.rename(path)
        raise
    return old


def _older(root: Path) -> list[Path]:
    """Return the keys that were replaced, the newest first, as in ``lot-addresses.2.key``."""
    found = (root / KEY_FILE).parent.glob(f"{KEY_FILE.stem}.*{KEY_FILE.suffix}")
    numbered = [(path.suffixes[0].lstrip("."), path) for path in found]
    return [path for number, path in sorted(((int(n), p) for n, p in numbered if n.isdigit()),
                                            reverse=True)]


def read_token_keys(root: Path, *, invented: bool) -> tuple[bytes, ...]:
    """Return the mill's key, and after it those it replaced, the newest first.

    The demonstration key of an invented mill serves where there is no other.

    Raises
    ------
    ValueError
        As for `read_token_key`.
    """
    now = read_token_key(root, invented=invented)
    return () if now is None else (now, *(_read(path) for path in _older(root)))


def read_token_key(root: Path, *, invented: bool) -> bytes | None:
    """Return the mill's key, or the demonstration key of an invented mill; None without either.

    Raises
    ------
    ValueError
        The file does not hold 64 hex digits or more, lines that begin with '#' left aside.
    """
    for name in (KEY_FILE, *((DEMO_KEY_FILE,) if invented else ())):
        path = root / name
        if path.is_file():
            return _read(path)
    return None


def _read(path: Path) -> bytes:
    lines = path.read_text("utf-8").splitlines()
    try:
        key = bytes.fromhex("".join(line for line in lines if not line.startswith("#")))
    except ValueError:
        key = b""
    if len(key) < KEY_BYTES:
        raise ValueError(f"{path}: it must hold {2 * KEY_BYTES} hex digits or more")
    return key
