"""kilnfolio note: record what happened."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_at, add_entry, open_task, terminal

EXAMPLE = "kilnfolio note HB-26-041 'Door seal leaks at the bottom'"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_entry(parser)
    parser.add_argument("text", nargs="?", help="what happened, in words")
    parser.add_argument(
        "--kind",
        default="note",
        help="fans reversed, door opened, sensor "
        "changed, inspection or note (default: %(default)s)",
    )
    add_at(parser)


def run(arguments: argparse.Namespace) -> int:
    """Record what happened."""
    from kilnfolio.adopt.entry import commands
    from kilnfolio.adopt.entry.times import moment

    task, by, now = open_task(arguments)
    entry = commands.entry_of(
        kind="event",
        event=arguments.kind,
        note=arguments.text,
        at=moment(arguments.at, task.zone, now),
    )
    return commands.enter(task, entry, by, terminal(arguments))
