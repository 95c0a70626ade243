"""kilnfolio wick: record that the wick was changed."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_at, add_entry, open_task, terminal

EXAMPLE = "kilnfolio wick HB-26-041"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_entry(parser)
    add_at(parser)
    parser.add_argument("--note", help="what was seen")


def run(arguments: argparse.Namespace) -> int:
    """Record that the wick was changed."""
    from kilnfolio.adopt.entry import commands
    from kilnfolio.adopt.entry.times import moment

    task, by, now = open_task(arguments)
    entry = commands.entry_of(
        kind="event",
        event="wick changed",
        note=arguments.note,
        at=moment(arguments.at, task.zone, now),
    )
    return commands.enter(task, entry, by, terminal(arguments))
