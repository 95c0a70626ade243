"""kilnfolio step: record that a step was set."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import (
    add_at,
    add_entry,
    completes_entry,
    number_from,
    open_task,
    terminal,
)

EXAMPLE = "kilnfolio step HB-26-041 4 --at 07:30"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_entry(parser)
    number = parser.add_argument(
        "number", nargs="?", type=number_from(1, 60), help="number of the step (default: the next)"
    )
    completes_entry(number)
    add_at(parser, "when it was set")
    parser.add_argument("--reason", help="why, if not by the rule")


def run(arguments: argparse.Namespace) -> int:
    """Record that a step was set."""
    from kilnfolio.adopt.entry import commands

    task, by, now = open_task(arguments)
    entry = commands.step(task, arguments.number, arguments.at, arguments.reason, now)
    return commands.enter(task, entry, by, terminal(arguments))
