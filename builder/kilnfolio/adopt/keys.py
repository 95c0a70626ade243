"""A mill's two keys: one for sealing, and one for deriving the addresses of lots."""

from __future__ import annotations

import argparse
import errno
from collections.abc import Callable
from pathlib import Path

from kilnfolio.adopt.this_mill import this_mill
from kilnfolio.archive.keys import KEY_FILE as SEAL_KEY
from kilnfolio.archive.keys import MILL_KEYS, UnusableKeyError, make_keys
from kilnfolio.archive.tokens import KEY_FILE as ADDRESS_KEY
from kilnfolio.archive.tokens import make_token_key, replace_token_key, withdraw


def key_options(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``new keys``."""
    parser.add_argument(
        "folder",
        type=Path,
        nargs="?",
        default=this_mill(),
        help="the mill folder (default: the one you are in)",
    )
    parser.add_argument(
        "--replace-addresses",
        action="store_true",
        help="replace the key of the addresses; labels printed with the old one "
        "still lead to their records",
    )
    parser.add_argument(
        "--withdraw",
        action="append",
        default=[],
        metavar="LOT",
        help="let the addresses that this lot had under replaced keys lead to a "
        "page that says they were withdrawn; its packs need new labels",
    )


def new_keys(
    arguments: argparse.Namespace, ask: Callable[[str], str] | None, say: Callable[[str], None]
) -> None:
    """Make the keys that do not exist yet, readable only by their owner.

    Raises
    ------
    FileExistsError
        Both exist already.
    """
    del ask  # there is nothing to ask
    root: Path = arguments.folder
    if arguments.withdraw:
        unknown = [
            lot for lot in arguments.withdraw if not (root / f"content/lots/{lot}.yaml").is_file()
        ]
        if unknown:
            raise FileNotFoundError(
                errno.ENOENT, "there is no such lot, and nothing was written", ", ".join(unknown)
            )
        count = withdraw(root, arguments.withdraw)
        say(
            f"{', '.join(arguments.withdraw)}: the addresses under {count} replaced "
            f"key{'s' if count > 1 else ''} say from the next build on that they were withdrawn; "
            "print new labels for the packs"
        )
        return
    if arguments.replace_addresses:
        old = replace_token_key(root)
        say(
            f"{root / ADDRESS_KEY}: made; labels printed with {old} still lead to their records, "
            "so keep it"
        )
        return
    wanted = [path for path in (MILL_KEYS / SEAL_KEY, ADDRESS_KEY) if not (root / path).exists()]
    if not wanted:
        raise FileExistsError(
            errno.EEXIST,
            "the keys already exist, and seals and labels were made with them; to replace the key of the addresses: "
            "--replace-addresses",
            str(root / MILL_KEYS),
        )
    if ADDRESS_KEY in wanted:
        make_token_key(root / ADDRESS_KEY)
        say(f"{root / ADDRESS_KEY}: the key of the lots' addresses")
    if MILL_KEYS / SEAL_KEY in wanted:
        try:
            keys = make_keys(root / MILL_KEYS)
        except UnusableKeyError as error:
            raise OSError(errno.EINVAL, str(error), None) from error
        say(f"{keys.path}: the key that seals; its public key is {keys.public}")
    say("keep a copy of both in the mill's safe, and neither in the site nor under version control")
