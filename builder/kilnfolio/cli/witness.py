"""kilnfolio witness: countersign a ledger's head, or add a countersignature to the ledger."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_folder_option
from kilnfolio.cli.errors import ERROR, OK, print_reasons
from kilnfolio.runtime.files import read_file

DESCRIPTION = """\
As a witness: sign the head a mill gave you with a key of your own, --sign KEY.pem. As the mill: add
what a witness gave back, --add FILE; it may also be an RFC 3161 time-stamp token over the head's
file, as 'openssl ts' and time-stamping services make them."""
EXAMPLE = "kilnfolio witness head.json --sign my-key.pem --by 'A. Auditor' --out witness.json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "head",
        type=Path,
        nargs="?",
        help="with --sign: the head, from 'kilnfolio ledger head --out'",
    )
    parser.add_argument("--sign", type=Path, metavar="KEY", help="your own Ed25519 key, a PEM file")
    parser.add_argument("--out", type=Path, help="with --sign: the file to write")
    parser.add_argument(
        "--add",
        type=Path,
        metavar="FILE",
        help="a countersignature or a time-stamp token to add to the ledger",
    )
    add_folder_option(parser)
    parser.add_argument("--by", required=True, help="who confirms, or who adds it")


def run(arguments: argparse.Namespace) -> int:
    """Countersign a head, or add a witness's countersignature."""
    from kilnfolio.archive.adding import SealRefusedError
    from kilnfolio.archive.keys import UnusableKeyError

    if not arguments.add and not (arguments.sign and arguments.head and arguments.out):
        print("kilnfolio: name a head with --sign and --out, or a file with --add", file=sys.stderr)
        return ERROR
    try:
        return _add(arguments) if arguments.add else _sign(arguments)
    except (UnusableKeyError, ValueError) as error:
        return print_reasons(str(error), code=ERROR)
    except SealRefusedError as error:
        return print_reasons(*error.reasons)


def _sign(arguments: argparse.Namespace) -> int:
    from kilnfolio.archive.durable import write_whole
    from kilnfolio.archive.heads import kept_head
    from kilnfolio.archive.keys import keys_at
    from kilnfolio.archive.witness import countersign, countersignature_text

    signed = countersign(kept_head(arguments.head), arguments.by, keys_at(arguments.sign))
    write_whole(arguments.out, countersignature_text(signed))
    print(
        f"{arguments.out}: a head of {signed.head.size} entries, confirmed with key "
        f"{signed.public_key}"
    )
    return OK


def _add(arguments: argparse.Namespace) -> int:
    from kilnfolio.archive.keys import find_keys
    from kilnfolio.archive.upkeep import add_witness
    from kilnfolio.cli.seal import now_at

    root = arguments.folder
    entry = add_witness(root, find_keys(root), read_file(arguments.add), arguments.by, now_at(root))
    print(f"entry {entry.number}: {entry.witness} confirms the head of {entry.head.size} entries")
    return OK
