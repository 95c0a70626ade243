"""kilnfolio sign: sign the record of a charge."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_entry, open_task, terminal

EXAMPLE = "kilnfolio sign HB-26-041 --by 'D. Haldimar' --role 'drying supervisor'"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_entry(parser, yes=False)
    parser.add_argument("--role", help="what the person answers for, as in 'drying supervisor'")


def run(arguments: argparse.Namespace) -> int:
    """Sign the record of a charge."""
    from kilnfolio.adopt.entry.signing import sign

    task, by, now = open_task(arguments)
    return sign(task, by, arguments.role, now, terminal(arguments))
