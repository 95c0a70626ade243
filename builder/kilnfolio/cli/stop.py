"""kilnfolio stop: record that the kiln stopped."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_entry, open_task, terminal

DESCRIPTION = "Record a stop. Without --to it stays open; the same command without a cause ends it."
EXAMPLE = "kilnfolio stop HB-26-041 'power cut' --from 03:10 --to 05:40"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_entry(parser)
    parser.add_argument("cause", nargs="?", help="why; without it, the open stop ends")
    parser.add_argument(
        "--from", dest="start", metavar="TIME", help="when it stopped (default: now)"
    )
    parser.add_argument("--to", dest="end", metavar="TIME", help="when it ran again")


def run(arguments: argparse.Namespace) -> int:
    """Record that the kiln stopped."""
    from kilnfolio.adopt.entry import commands

    task, by, now = open_task(arguments)
    entry = commands.stop(task, arguments.cause, arguments.start, arguments.end, now)
    return commands.enter(task, entry, by, terminal(arguments))
