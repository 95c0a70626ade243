"""Signed heads: the state of a ledger in 64 digits, which bags contain and anyone may keep.

``content/ledger/heads.jsonl`` holds one for each state since the ledger was converted, written
right after the entry. Two heads of a mill with the same size but different roots prove that it
keeps two ledgers.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from pydantic import ValidationError

from kilnfolio.archive.canonical import canonical, read_canonical, read_json
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.entries import Head, Hex64
from kilnfolio.archive.keyring import Hex32
from kilnfolio.archive.keys import Keys, is_signed_by
from kilnfolio.archive.merkle import Tree
from kilnfolio.runtime.files import read_file

HEADS = Path("content/ledger/heads.jsonl")
#: The file beside the bags of an edition with the leaf hash of every entry of the ledger.
LEAVES = "ledger-leaves.txt"
#: The file beside it with the entries that belong to no charge: keys, clocks and witnesses.
OTHERS = "ledger-others.jsonl"


class SignedHead(Head):
    """A head signed with the mill's key."""

    kind: Literal["ledger-head"] = "ledger-head"
    """Distinguishes its signature from any other."""
    public_key: Hex32
    """The key that signed it."""
    signature: Hex64
    """Ed25519 over the canonical head without this key."""

    @property
    def signed(self) -> bytes:
        """The bytes that the signature covers."""
        return canonical(self.model_dump(mode="json", exclude={"signature"}))

    @property
    def line(self) -> bytes:
        """The head as a line, without the line end."""
        return canonical(self)

    @property
    def is_valid(self) -> bool:
        """Whether the signature is valid."""
        return is_signed_by(self.public_key, self.signed, self.signature)


def sign_head(tree: Tree, keys: Keys) -> SignedHead:
    """Return the head of a ledger, signed."""
    head = SignedHead(
        size=len(tree), root=tree.root().hex(), public_key=keys.public, signature="0" * 128
    )
    return head.model_copy(update={"signature": keys.sign(head.signed)})


def read_head(data: bytes) -> SignedHead:
    """Return a signed head from its canonical JSON.

    Raises
    ------
    ValueError
        It is not a signed head.
    """
    return SignedHead.model_validate(read_canonical(data.strip()))


def kept_head(path: Path) -> Head:
    """Return a head that somebody kept: from its own file, a bag's proof, or a bag.

    Raises
    ------
    ValueError
        There is none at `path`.
    """
    file = path / "data/content/ledger/proof.json" if path.is_dir() else path
    try:
        value = read_json(read_file(file))
        head = value.get("head", value) if isinstance(value, dict) else value
        return Head(size=head["size"], root=head["root"])
    except (OSError, ValueError, KeyError, TypeError):
        raise ValueError(
            f"{path}: it is no head of a ledger: give a file that holds its size and root, or a bag"
        ) from None


def read_heads(root: Path, size: int) -> tuple[tuple[SignedHead, ...], list[Difference]]:
    """Return the heads that a mill has signed, and report lines that are not heads.

    An incomplete last line, and heads of more than `size` entries, are left out.
    """
    path = root / HEADS
    raw = read_file(path) if path.exists() else b""
    *lines, _torn = raw.split(b"\n")
    heads, differences = [], []
    for row, line in enumerate(lines, 1):
        try:
            head = read_head(line)
        except (ValidationError, ValueError):
            differences.append(
                Difference(
                    kind="head-unreadable",
                    where=f"{HEADS.as_posix()}:{row}",
                    what="this line is no signed head of a ledger",
                )
            )
            continue
        if head.size > size:
            differences.append(
                Difference(
                    kind="entries-dropped",
                    where=f"{HEADS.as_posix()}:{row}",
                    sealed=str(head.size),
                    found=str(size),
                    what=f"the mill signed a head of {head.size} entries, and the "
                    f"ledger has {size}: entries were taken off its end",
                )
            )
            continue
        heads.append(head)
    return tuple(heads), differences


def check_heads(heads: Sequence[SignedHead], tree: Tree) -> list[Difference]:
    """Report heads that do not belong to this ledger, and an invalid signature of the last head."""
    found = []
    for place, head in enumerate(heads):
        where = f"{HEADS.as_posix()}, size {head.size}"
        root = tree.root(head.size).hex()
        if root != head.root:
            found.append(
                Difference(
                    kind="head-differs",
                    where=where,
                    sealed=head.root,
                    found=root,
                    what=f"the first {head.size} entries are not those the mill signed this head of",
                )
            )
        elif place == len(heads) - 1 and not head.is_valid:
            found.append(
                Difference(kind="head-edited", where=where, what="it does not fit its signature")
            )
    return found


def head_for(heads: Sequence[SignedHead], number: int) -> SignedHead | None:
    """Return the first head that includes an entry; None if none was signed since."""
    return next((head for head in heads if head.size >= number), None)


def leaves_text(tree: Tree) -> str:
    """Return the leaf hashes of all entries, one per line; they reveal nothing of the entries."""
    return "".join(f"{leaf.hex()}\n" for leaf in tree.leaves)


def read_leaves(data: bytes) -> Tree:
    """Return the tree of the leaf hashes in a text, one per line; other lines are ignored."""
    leaves = []
    for line in data.decode("ascii", "replace").split():
        with contextlib.suppress(ValueError):
            leaves.append(bytes.fromhex(line))
    return Tree(leaves)
