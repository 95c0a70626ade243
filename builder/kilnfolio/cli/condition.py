"""kilnfolio condition: record that conditioning began or ended."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_at, add_entry, open_task, terminal

EXAMPLE = "kilnfolio condition HB-26-041 begin"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_entry(parser)
    parser.add_argument("what", choices=("begin", "end"))
    add_at(parser)
    parser.add_argument("--dry-bulb", help="dry bulb set (default: the schedule's or the rule's)")
    parser.add_argument("--emc", help="EMC set (default: the schedule's or the rule's)")


def run(arguments: argparse.Namespace) -> int:
    """Record that conditioning began or ended."""
    from kilnfolio.adopt.entry import commands

    task, by, now = open_task(arguments)
    entry = commands.stage(
        task, "conditioning", arguments.what, arguments.at, arguments.dry_bulb, arguments.emc, now
    )
    return commands.enter(task, entry, by, terminal(arguments))
