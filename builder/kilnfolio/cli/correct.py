"""kilnfolio correct: correct a value and keep the old one."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_entry, completes_entry, open_task, terminal

EXAMPLE = "kilnfolio correct HB-26-041 S3@2026-03-03T07:10 '3978 g' --reason misread"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_entry(parser)
    field = parser.add_argument(
        "field",
        help="BOARD@TIME for a mass, or the path of another value, as in boards.S3.green_mass",
    )
    completes_entry(field)
    parser.add_argument("new", help="the new value, with its unit")
    parser.add_argument("--reason", required=True, help="why; kept with the old value")


def run(arguments: argparse.Namespace) -> int:
    """Correct a value and keep the old one."""
    from kilnfolio.adopt.entry.correcting import correct

    task, by, now = open_task(arguments)
    return correct(
        task, arguments.field, arguments.new, arguments.reason, by, now, terminal(arguments)
    )
