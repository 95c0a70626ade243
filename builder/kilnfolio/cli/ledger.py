"""kilnfolio ledger: show the ledger's head, and maintain its keys and clock."""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_folder_option
from kilnfolio.cli.errors import ERROR, FINDINGS, OK, print_reasons

DESCRIPTION = """\
head: print the signed state of the ledger, for somebody else to keep. convert: sign the head of a
ledger that has none yet. rotate-key: replace the mill's key; the old key signs for the new one.
revoke-key: set the last day a key may be trusted. correct-clock: mark entries that a wrong clock
dated too late, so that sealing can continue."""
EXAMPLE = "kilnfolio ledger head --out head.json"
ACTIONS = ("head", "convert", "rotate-key", "revoke-key", "correct-clock")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("action", choices=ACTIONS, help="what to do")
    add_folder_option(parser)
    parser.add_argument("--by", help="who does it; kept in the ledger")
    parser.add_argument("--reason", help="why; kept in the ledger")
    parser.add_argument("--key", metavar="HEX", help="revoke-key: the public key")
    parser.add_argument(
        "--last-day",
        type=dt.date.fromisoformat,
        metavar="DAY",
        help="revoke-key: the last day it may be trusted, as 2026-10-31",
    )
    parser.add_argument("--out", type=Path, help="head: also write it to this file")


def run(arguments: argparse.Namespace) -> int:
    """Show or maintain the ledger."""
    from kilnfolio.archive.adding import SealRefusedError
    from kilnfolio.archive.keys import UnusableKeyError

    wanted = {
        "head": (),
        "convert": (),
        "rotate-key": ("by", "reason"),
        "revoke-key": ("by", "reason", "key", "last_day"),
        "correct-clock": ("by", "reason"),
    }[arguments.action]
    lacking = [f"--{name.replace('_', '-')}" for name in wanted if not vars(arguments)[name]]
    if lacking:
        print(f"kilnfolio: {arguments.action} needs {' and '.join(lacking)}", file=sys.stderr)
        return ERROR
    try:
        return _head(arguments) if arguments.action == "head" else _keep(arguments)
    except UnusableKeyError as error:
        return print_reasons(str(error), code=ERROR)
    except SealRefusedError as error:
        return print_reasons(*error.reasons)


def _head(arguments: argparse.Namespace) -> int:
    from kilnfolio.archive.canonical import canonical
    from kilnfolio.archive.checking import read_ledger
    from kilnfolio.rendering.seal_words import words_of
    from kilnfolio.runtime.files import write_whole

    ledger = read_ledger(arguments.folder)
    for difference in ledger.differences:
        print(f"kilnfolio: {difference.where}: {difference.what}", file=sys.stderr)
    if not ledger.heads:
        return print_reasons(
            "no head is signed yet; seal a charge, or convert an older ledger: "
            "kilnfolio ledger convert"
        )
    head = ledger.heads[-1]
    print(f"{head.size} entries, {head.root}")
    print(f"in words: {' '.join(words_of(head.root[:32]))}")
    if arguments.out:
        # exactly the bytes that a witness signs and a time-stamping service covers
        write_whole(arguments.out, canonical({"root": head.root, "size": head.size}))
        print(f"written to {arguments.out}")
    return FINDINGS if ledger.differences else OK


def _keep(arguments: argparse.Namespace) -> int:
    from kilnfolio.archive import upkeep
    from kilnfolio.archive.keys import find_keys
    from kilnfolio.cli.seal import now_at

    root, by, reason = arguments.folder, arguments.by, arguments.reason
    keys, at = find_keys(root), now_at(root)
    if arguments.action == "convert":
        head = upkeep.convert(root, keys)
        print(f"signed the head of {head.size} entries, {head.root}")
    elif arguments.action == "rotate-key":
        entry = upkeep.rotate_key(root, keys, by, reason, at)
        print(
            f"entry {entry.number}: {entry.public_key} is replaced by {entry.new_key}. Tell your "
            "auditor the new key by telephone or on paper, and keep a copy in the mill's safe"
        )
    elif arguments.action == "revoke-key":
        revoked = upkeep.revoke_key(
            root, keys, arguments.key.lower(), arguments.last_day, by, reason, at
        )
        print(
            f"entry {revoked.number}: {revoked.revoked} is trusted to {revoked.last_day}. Tell "
            "your auditor too: a forged bag leaves this entry out"
        )
    else:
        corrected = upkeep.correct_clock(root, keys, by, reason, at)
        print(
            f"entry {corrected.number}: the time of entries "
            f"{', '.join(map(str, corrected.wrong))} is marked as wrong"
        )
    return OK
