"""kilnfolio finish: record that a charge ended."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_entry, open_task, terminal

EXAMPLE = "kilnfolio finish HB-26-041 --ended 06:30 --unloaded 14:00"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_entry(parser)
    parser.add_argument(
        "--ended",
        metavar="TIME",
        help="when drying, equalizing and conditioning ended (default: now)",
    )
    parser.add_argument("--unloaded", metavar="TIME", help="when the load was drawn")


def run(arguments: argparse.Namespace) -> int:
    """Record that a charge ended."""
    from kilnfolio.adopt.entry import commands

    task, by, now = open_task(arguments)
    entry = commands.finish(task, arguments.ended, arguments.unloaded, now)
    return commands.enter(task, entry, by, terminal(arguments))
