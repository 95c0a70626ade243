"""A process that adds to a ledger until it is killed, run by the test of the ledger's durability.

It waits for a line with a folder, lets a child process add entries there and prints the child's
process id. Forking saves starting Python for every kill.
"""

import datetime as dt
import os
import sys
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from kilnfolio.archive.adding import writing
from kilnfolio.archive.canonical import sha256
from kilnfolio.archive.durable import write_whole
from kilnfolio.archive.entries import Draft
from kilnfolio.archive.keyring import list_key
from kilnfolio.archive.keys import Keys
from kilnfolio.archive.places import dossier_path

KEYS = Keys(Ed25519PrivateKey.from_private_bytes(bytes([1]) * 32), Path("a-key"), False)
AT = dt.datetime(2026, 6, 8, 10, 0, tzinfo=dt.UTC)


def add_entries(root: Path, most: int = 10**6) -> None:
    """Seal one small record after another, as `seal` does after a review."""
    for _ in range(most):
        with writing(root) as ledger:
            number = len(ledger.ledger.entries) + 1
            list_key(root, KEYS, AT.date())
            data = b'{"number":%d}' % number
            write_whole(root / dossier_path(f"C{number}", 1), data)
            ledger.append(
                Draft(
                    kind="seal",
                    charge=f"C{number}",
                    dossier=sha256(data),
                    inputs=(),
                    by="A. N. Other",
                    at=AT,
                ),
                KEYS,
            )


def main() -> None:
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            add_entries(Path(line.strip()))
            os._exit(0)
        sys.stdout.write(f"{child}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
