"""The key with which a mill seals.

It is one Ed25519 key in a PEM file (PKCS #8) that only its owner may read. It stays at the mill:
never in a site, never under version control. An invented mill may use the demonstration key that
comes with it, which everybody has and which therefore proves nothing; the file says so.

References
----------
.. [1] RFC 8032, Edwards-Curve Digital Signature Algorithm (EdDSA), 2017.
.. [2] RFC 8410, Algorithm Identifiers for Ed25519 ..., 2018: the PEM form.
"""

from __future__ import annotations

import os
import stat
from dataclasses import field
from pathlib import Path

from kilnfolio.archive.durable import write_secret
from kilnfolio.records.mill import Mill
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import read_yaml
from kilnfolio.runtime.files import read_file, sync_folder
from kilnfolio.runtime.values import dataclass

TYPE_CHECKING = False  # commands that neither sign nor verify do not load the cryptography
if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

KEY_FILE = "seal-key.pem"
#: Where a mill's key is kept, relative to the mill folder.
MILL_KEYS = Path("keys")
#: Where the key of an invented mill is kept.
DEMO_KEYS = Path("content/demo-keys")

_ABOUT = """\
The key this mill seals its records with. Keep it here, copy it only to the mill's own safe,
and never publish it: anyone who has it can sign in the mill's name.
"""
_ABOUT_DEMO = """\
A demonstration key of an invented mill. Everybody has it, so a seal made with it proves nothing.
Do not seal a record of your own with it.
"""


class UnusableKeyError(Exception):
    """There is no usable key; the message says what to do."""


@dataclass(frozen=True)
class Keys:
    """The sealing key."""

    private: Ed25519PrivateKey = field(repr=False)
    """It never leaves this object."""
    path: Path
    """The file it was read from."""
    demo: bool
    """The demonstration key, which proves nothing."""

    @property
    def public(self) -> str:
        """The public key, 64 hex digits."""
        return self.private.public_key().public_bytes_raw().hex()

    def sign(self, message: bytes) -> str:
        """Return the Ed25519 signature of a message, 128 hex digits [1]_."""
        return self.private.sign(message).hex()


def is_signed_by(public: str, message: bytes, signature: str) -> bool:
    """Return whether a signature of a message is valid under a public key.

    Parameters
    ----------
    public, signature : str
        64 and 128 hex digits.
    message : bytes
        The message that was signed.
    """
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
        key.verify(bytes.fromhex(signature), message)
    except (InvalidSignature, ValueError):
        return False
    return True


def make_keys(folder: Path, *, demo: bool = False, name: str = KEY_FILE) -> Keys:
    """Make a new key in a folder, readable only by its owner.

    Parameters
    ----------
    folder : Path
        Normally ``keys/`` of the mill folder.
    demo : bool
        Mark it as the demonstration key of an invented mill.
    name : str
        Name of the file.

    Raises
    ------
    UnusableKeyError
        There is a key already, or the folder is inside a site.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    path = folder / name
    if (site := _site_around(folder)) is not None:
        raise UnusableKeyError(
            f"{folder}: it lies inside {site}, which is published; a key must not. Name a folder "
            f"outside it, as in {site.parent / MILL_KEYS}"
        )
    private = Ed25519PrivateKey.generate()
    pem = private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    try:
        write_secret(path, (_ABOUT_DEMO if demo else _ABOUT).encode() + pem)
    except FileExistsError:
        raise UnusableKeyError(
            f"{path}: there is a key already. If it is to be replaced, move it away first, and "
            "keep it: older seals were made with it"
        ) from None
    return Keys(private, path, demo)


def keys_at(path: Path) -> Keys:
    """Return the key in a file.

    Raises
    ------
    UnusableKeyError
        It is not an Ed25519 key.
    """
    return Keys(_read(path), path, demo=False)


def swap_keys(folder: Path, new: Path) -> None:
    """Replace the key by a new one; the old one is kept under a numbered name."""
    now = folder / KEY_FILE
    if now.exists():
        taken = len(list(folder.glob(f"{now.stem}.[0-9]*{now.suffix}")))
        now.rename(now.with_name(f"{now.stem}.{taken + 1}{now.suffix}"))
    new.rename(now)
    sync_folder(folder)


def find_keys(root: Path) -> Keys:
    """Return the key of a mill: its own, or the demonstration key of an invented one.

    Parameters
    ----------
    root : Path
        The mill folder.

    Raises
    ------
    UnusableKeyError
        There is none, it is not an Ed25519 key, or others may read it.
    RecordProblems
        ``content/mill.yaml`` cannot be read.
    """
    own = root / MILL_KEYS / KEY_FILE
    if own.exists():
        if os.name == "posix" and stat.S_IMODE(own.stat().st_mode) & 0o077:
            raise UnusableKeyError(
                f"{own}: others on this machine may read it. Write: chmod 600 {own}"
            )
        return Keys(_read(own), own, demo=False)
    demo = root / DEMO_KEYS / KEY_FILE
    if (
        demo.is_file()
        and validate(
            read_yaml(root / "content/mill.yaml", "content/mill.yaml"), Mill
        ).record.invented
    ):
        return Keys(_read(demo), demo, demo=True)
    raise UnusableKeyError(
        f"{own}: there is no key to seal with. Add --new-key to the command to make one; keep a "
        "copy in the mill's safe, and keep it out of the site and out of version control"
    )


def _read(path: Path) -> Ed25519PrivateKey:
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        key = load_pem_private_key(read_file(path), None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        key = None
    if not isinstance(key, Ed25519PrivateKey):
        raise UnusableKeyError(
            f"{path}: it is not an Ed25519 key without a password, in PEM form. "
            "Bring back the copy from the safe, or make a new key"
        )
    return key


def _site_around(folder: Path) -> Path | None:
    """Return the built site that contains a folder; None if there is none."""
    inside = folder.resolve()
    return next(
        (
            above
            for above in (inside, *inside.parents)
            if above.name == "site" and (above.parent / "content/mill.yaml").exists()
        ),
        None,
    )
