"""A small sealed mill for the tests of the archive: invented, as `tests.minimal` writes it."""

import datetime as dt
import json
from collections.abc import Sequence
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from tests.minimal import FILES, minimal_mill
from tests.reviewed import reviewed_mill

from kilnfolio.archive.bag import write_bag
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.entries import Entry
from kilnfolio.archive.heads import HEADS, sign_head
from kilnfolio.archive.keys import KEY_FILE, MILL_KEYS, Keys
from kilnfolio.archive.merkle import Tree, leaf_hash
from kilnfolio.archive.places import LEDGER
from kilnfolio.archive.remaking import Remakers
from kilnfolio.archive.seal import amend, seal
from kilnfolio.archive.trust import TrustedKey
from kilnfolio.review.dossier import Dossier

SEALED_AT = dt.datetime(2026, 6, 8, 10, 0, tzinfo=dt.timezone(dt.timedelta(hours=-4)))
NOTICE = "Guidance only: the wording comes from elsewhere."
AGAIN = Remakers(notice=NOTICE)
CHARGE, LOG = FILES["charge"], FILES["log"]


def key(number: int = 1) -> Keys:
    """Return a key made of one repeated byte, the same in every run."""
    return Keys(Ed25519PrivateKey.from_private_bytes(bytes([number]) * 32), Path("a-key"), False)


def write_key(root: Path) -> None:
    """Put that key where a mill keeps its own."""
    file = root / MILL_KEYS / KEY_FILE
    file.parent.mkdir(exist_ok=True)
    pem = key().private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    file.write_bytes(pem)
    file.chmod(0o600)


def review(root: Path, charge: str = "C1") -> Dossier:
    return reviewed_mill(root).dossiers[charge]


def seal_charge(
    root: Path, charge: str = "C1", *, keys: Keys | None = None, at: dt.datetime = SEALED_AT
) -> Entry:
    reviewed = reviewed_mill(root)
    return seal(reviewed.folder, reviewed.dossiers[charge], "A. N. Other", keys or key(), at)


def amend_charge(
    root: Path, reason: str, charge: str = "C1", *, keys: Keys | None = None, days: int = 1
) -> Entry:
    reviewed = reviewed_mill(root)
    return amend(
        reviewed.folder,
        reviewed.dossiers[charge],
        "A. N. Other",
        keys or key(),
        SEALED_AT + dt.timedelta(days=days),
        reason,
    )


def sealed_mill(root: Path, **changes) -> Path:
    """Write the minimal mill and seal its charge."""
    minimal_mill(root, **changes)
    seal_charge(root)
    return root


def two_charges(root: Path) -> Path:
    """Write a mill with two charges, C1 and C2, neither sealed."""
    minimal_mill(root)
    home = root / CHARGE
    second = home.parent.with_name("C2")
    second.mkdir()
    (second / "charge.yaml").write_text(home.read_text().replace("id: C1", "id: C2", 1))
    (second / "bulbs.csv").write_bytes((root / LOG).read_bytes())
    return root


def bag_of(root: Path, out: Path, charge: str = "C1") -> Path:
    return write_bag(root, charge, out, notice=NOTICE)


def change(path: Path, old: str, new: str) -> None:
    """Replace text that occurs exactly once in a file."""
    text = path.read_text("utf-8")
    assert text.count(old) == 1, (path, old, text.count(old))
    path.write_text(text.replace(old, new), "utf-8")


def lines_of(root: Path) -> list[bytes]:
    return (root / LEDGER).read_bytes().splitlines()


def write_lines(root: Path, lines: list[bytes], keys: Keys | None = None) -> None:
    """Rewrite a ledger and sign its head, as somebody with the mill's key could."""
    (root / LEDGER).write_bytes(b"".join(line + b"\n" for line in lines))
    head = sign_head(Tree(map(leaf_hash, lines)), keys or key())
    (root / HEADS).write_bytes(head.line + b"\n" if lines else b"")


def change_entry(line: bytes, **values) -> bytes:
    """Return a ledger line with values changed, still in canonical JSON."""
    from kilnfolio.archive.canonical import canonical

    return canonical({**json.loads(line), **values})


def sign_again(line: bytes, keys: Keys, **values) -> bytes:
    """Return a changed ledger line, signed again, as somebody with their own key would."""
    from kilnfolio.archive.canonical import canonical

    entry = {**json.loads(line), **values, "public_key": keys.public}
    del entry["signature"]
    return canonical({**entry, "signature": keys.sign(canonical(entry))})


def written_anew(lines: list[bytes], keys: Keys, **changes) -> list[bytes]:
    """Return a ledger's lines signed again with a key, each chained to the one before."""
    tree, found = Tree(), []
    for number, line in enumerate(lines, 1):
        values = changes.get(f"entry_{number}", {})
        found.append(sign_again(line, keys, before=tree.root().hex(), **values))
        tree.add(leaf_hash(found[-1]))
    return found


def kinds(differences) -> set[str]:
    return {difference.kind for difference in differences}


def verify_ledger(root: Path, *, trusted: Sequence[TrustedKey] = ()) -> tuple[Difference, ...]:
    """Return everything wrong with a mill's ledger; empty if nothing is."""
    return read_ledger(root, trusted=trusted).differences
