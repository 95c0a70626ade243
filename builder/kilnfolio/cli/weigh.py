"""kilnfolio weigh: record a round of weighings."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_at, add_entry, completes_entry, open_task, terminal

DESCRIPTION = (
    "Record a round of weighings, after showing each board's MC and daily loss, what falls due and "
    "what looks wrong. A mass without a unit is in the unit of its board."
)
EXAMPLE = "kilnfolio weigh HB-26-041 S1=3.978 S2=4.102"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    words = parser.add_argument(
        "words",
        nargs="+",
        metavar="CHARGE BOARD=MASS",
        help="the charge's number (not needed where one is open), then each "
        "board's mass, or its MC by hand meter as in S1=24%%",
    )
    completes_entry(words)
    add_entry(parser, charge=False)
    add_at(parser, "when the boards were weighed")
    parser.add_argument(
        "--unit", help="unit of masses given without one (default: that of each board)"
    )


def run(arguments: argparse.Namespace) -> int:
    """Record a round of weighings."""
    from kilnfolio.adopt.entry import commands

    first, *pairs = arguments.words
    arguments.charge = None if "=" in first else first
    pairs = arguments.words if arguments.charge is None else pairs
    task, by, now = open_task(arguments)
    entry = commands.weighing(task, pairs, arguments.at, arguments.unit, now)
    return commands.enter(task, entry, by, terminal(arguments))
